"""The plan of a study of conching hours on the screen: its fields, other designs, and what it can show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial

import streamlit as st

from studyapp import session
from studyapp.components import acts, refined
from studyapp.components.plan_slips import Slips
from studyapp.components.plan_steps import Steps, keep
from studyapp.kinds.hours import rule
from studyapp.kinds.hours.deciding import proposals, prospects
from studyapp.kinds.hours.deciding.proposals import Search
from studyapp.kinds.hours.pages import attributes, designs, limits, people, power, question, steps, table, when
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.kinds.hours.rule import run_calendar
from studyapp.records import Problem, Staff
from studyapp.services import batches, planning, spreads, unread
from studyapp.words import _


def fields(by: Staff, study: HoursStudy) -> tuple[HoursPlan, Sequence[Problem]]:
    """The six steps and other designs; whatever was typed is kept at once."""
    slips = Slips(unread.texts(session.store(), by, study.id))
    plan = _typed(by, study, slips)
    _designs(by, study, plan)
    return plan, slips.problems


def _typed(by: Staff, study: HoursStudy, slips: Slips) -> HoursPlan:
    """The six steps; whatever was typed is kept at once."""
    store, key, plan = session.store(), study.id, study.plan
    done = Steps(key, steps.of(plan), rule.problems(plan), steps.empty(plan), slips.places, session)
    moves, before = session.kept(f"moves-{key}", (0, None))
    free = [one.draft.label for one in batches.everywhere(store, by) if one.study in (None, study.id)]
    with done.draw():
        plan = question.draw(plan, key, done.shown, moves, slips, free)
    with done.draw():
        plan, tapped = attributes.draw(plan, key, done.shown, session.kept(f"edits-{key}", 0))
    with done.draw():
        limit = limits.draw(plan, key, done.shown)
    with done.draw():
        plan = people.draw(store, by, plan, key, done.shown)
    with done.draw():
        plan = table.draw(plan, key, done.shown)
    start = run_calendar.start_of(plan)
    with done.draw():
        plan = when.draw(plan, key, before[0] if before is not None and before[1] == start else None)
    if run_calendar.start_of(plan) != start:
        session.keep(f"moves-{key}", (moves + 1, (start, run_calendar.start_of(plan))))
    if tapped.usual:
        plan = replace(plan, attributes=attributes.usual())
    keep(store, by, study, plan, rule.problems(plan), slips, done)
    if tapped.line is not None:
        st.dialog(_("An attribute"))(_edit)(by, key, tapped.line)
    if limit is not None:
        st.dialog(_("A limit"))(_edit_limit)(by, key, limit)
    return plan


def _edit(by: Staff, study_id: str, line: int) -> None:
    """One attribute in a dialog; the rest of the plan is read anew, so that nothing typed beside it is lost."""
    plan = planning.study(session.store(), by, study_id).plan
    lines, over = attributes.edited(plan, line, f"{study_id}-{line}")
    if over:
        with acts.refusals():
            planning.keep_plan(session.store(), by, study_id, replace(plan, attributes=lines))
            session.keep(f"edits-{study_id}", session.kept(f"edits-{study_id}", 0) + 1)
            st.rerun()


def _edit_limit(by: Staff, study_id: str, number: int) -> None:
    """One limit in a dialog, kept in the same way."""
    plan = planning.study(session.store(), by, study_id).plan
    edited, over = limits.edited(plan, number, f"{study_id}-limit-{number}")
    if over:
        with acts.refusals():
            planning.keep_plan(session.store(), by, study_id, replace(plan, limits=edited))
            st.rerun()


def _designs(by: Staff, study: HoursStudy, plan: HoursPlan) -> None:
    """Other designs and other tests for the same question, looked for when asked, while one goes on planning."""
    if plan.several or plan.confirms or not power.can_be_tried(plan, rule.problems(plan)):
        return  # other designs are looked for of one batch alone, and whoever confirms an hour has the pieces given
    known = spreads.of_panel(session.store(), by)
    name, design = f"designs-{study.id}", power.design(plan, known)
    with st.container(key="card-designs"), acts.refusals():
        wish = designs.asked(study.id)
        if wish is not None:
            session.refined(
                name,
                (design, wish),
                lambda: proposals.searching(plan, wish.chance / 100, wish.nameable, spreads=known),
            )
        asked, work = session.kept(name, (None, None))
        if work is not None and asked[0] == design:
            refined.draw(work, lambda search: _found(study.id, search))
        elif asked is not None:
            session.give_up(name)
            session.keep(name, (asked, None))
            designs.outdated()


def _found(study_id: str, search: Search) -> None:
    """The search or its answer; the proposed design becomes a draft of its own when that is asked for."""
    if designs.draw(search, study_id) and search.found is not None and search.found.proposal.found is not None:
        by, store, chosen = session.someone("leader"), session.store(), search.found.proposal.found.plan
        draft = planning.copy(store, by, study_id)
        title = planning.study(store, by, draft).plan.title
        planning.keep_plan(store, by, draft, replace(chosen, title=title))
        session.go("plan", study=draft)


# ---- beside the fields -------------------------------------------------------------------------------------------
def chances(by: Staff, plan: HoursPlan, problems: Sequence[Problem]) -> None:
    """The chances of each verdict: at once, then more exact; a change of the design begins anew."""
    known = spreads.of_panel(session.store(), by)
    if not power.can_be_tried(plan, problems):
        session.give_up("power")
        power.not_yet()
        return
    work = session.refined("power", power.design(plan, known), lambda: prospects.more_and_more(plan, spreads=known))
    refined.draw(work, partial(power.draw, confirms=plan.confirms is not None))
    power.resting_on(plan, known)
