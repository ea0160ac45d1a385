"""The plan of a study of conching hours on the screen: its fields, other designs, and what it can show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp import session
from studyapp.components import acts, refined
from studyapp.kinds.hours import rule
from studyapp.kinds.hours.deciding import proposals, prospects
from studyapp.kinds.hours.deciding.proposals import Search
from studyapp.kinds.hours.pages import attributes, designs, limits, people, power, question, table, when
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.kinds.hours.rule import run_calendar
from studyapp.records import Problem, Staff
from studyapp.services import planning, spreads
from studyapp.words import _


def fields(by: Staff, study: HoursStudy) -> HoursPlan:
    """The five parts and other designs; whatever was typed is kept at once."""
    plan = _typed(by, study)
    _designs(by, study, plan)
    return plan


def _typed(by: Staff, study: HoursStudy) -> HoursPlan:
    """The five parts; whatever was typed is kept at once."""
    store, key, plan = session.store(), study.id, study.plan
    shown = _worth_showing(plan, session.kept(f"tried-{key}", False))
    moves, before = session.kept(f"moves-{key}", (0, None))
    plan = question.draw(plan, key, shown, moves)
    plan, tapped = attributes.draw(plan, key, shown, session.kept(f"edits-{key}", 0))
    limit = limits.draw(plan, key, shown)
    plan = people.draw(store, by, plan, key, shown)
    plan = table.draw(plan, key, shown)
    start = run_calendar.start_of(plan)
    plan = when.draw(plan, key, before[0] if before is not None and before[1] == start else None)
    if run_calendar.start_of(plan) != start:
        session.keep(f"moves-{key}", (moves + 1, (start, run_calendar.start_of(plan))))
    if tapped.usual:
        plan = replace(plan, attributes=attributes.usual())
    if plan != study.plan:
        with acts.refusals():
            planning.keep_plan(store, by, key, plan)
            st.rerun()
    if tapped.line is not None:
        st.dialog(_("An attribute"))(_edit)(by, key, tapped.line)
    if limit is not None:
        st.dialog(_("A limit"))(_edit_limit)(by, key, limit)
    return plan


def _worth_showing(plan: HoursPlan, tried: bool) -> tuple[Problem, ...]:
    """Before the first try to seal, an empty field is not a mistake yet."""
    empty = {
        "question": not plan.question,
        "pulls": not plan.pulls,
        "attributes": not plan.attributes,
        "assessors": not plan.assessors,
        "contains": not plan.contains,
    }
    return tuple(problem for problem in rule.problems(plan) if tried or not empty.get(problem.where, False))


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
    if not power.can_be_tried(plan, rule.problems(plan)):
        return
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
def problems(study: HoursStudy, plan: HoursPlan) -> tuple[Problem, ...]:
    """What keeps the plan from being sealed, with what is typed and cannot be kept."""
    return (*question.unread(study.id), *rule.problems(plan))


def chances(by: Staff, plan: HoursPlan, problems: Sequence[Problem]) -> None:
    """The chances of each verdict: at once, then more exact; a change of the design begins anew."""
    known = spreads.of_panel(session.store(), by)
    if not power.can_be_tried(plan, problems):
        session.give_up("power")
        power.not_yet()
        return
    work = session.refined("power", power.design(plan, known), lambda: prospects.more_and_more(plan, spreads=known))
    refined.draw(work, power.draw)
    power.resting_on(plan, known)
