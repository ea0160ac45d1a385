"""Plan: write the rule of one study, see what it can show, and seal it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp import session
from studyapp.components import (
    acts,
    chooser,
    look,
    panel_list,
    plan_attributes,
    plan_calendar,
    plan_people,
    plan_power,
    plan_problems,
    plan_proposals,
    plan_question,
    plan_seal,
    plan_table,
    refined,
)
from studyapp.records import AromaStudy, HoursStudy, Plan, Problem, SealSlip, Staff, Study
from studyapp.screens import aroma_plan, sealing
from studyapp.services import drafts, planning, proposals, prospects, pull_calendar, spreads
from studyapp.services.proposals import Search
from studyapp.services.spreads import Spreads
from studyapp.words import _


def render() -> None:
    """The draft with its fields, or the sealed rule to read."""
    by, store = session.someone("leader"), session.store()
    states = ("draft", "sealed", "opened", "decided")
    study = chooser.study(
        store, by, session.study_id(), states, _("Plan"), _("Nothing is planned yet. Begin under Studies.")
    )
    if study is None:
        return
    heading = _("Plan: {title}").format(title=study.plan.title)
    look.put(look.crumb(_("Studies"), study.plan.title, session.href("studies")), look.title(heading))
    if isinstance(study, AromaStudy):
        aroma_plan.draw(by, study)
        return
    if study.state != "draft":
        _sealed(by, study)
        return
    known = spreads.of_panel(store, by)
    left, right = st.columns([9, 5], gap="large")
    with left:
        plan = _fields(by, study)
        _designs(study, plan, known)
    with right, st.container(key="beside"):
        _beside(by, study, plan, known)


def _fields(by: Staff, study: Study) -> Plan:
    """The five parts; whatever was typed is kept at once."""
    store, key, plan = session.store(), study.id, study.plan
    shown = plan_problems.worth_showing(planning.problems(plan), plan, session.kept(f"tried-{key}", False))
    moves, before = session.kept(f"moves-{key}", (0, None))
    plan = plan_question.draw(plan, key, shown, moves)
    plan, tapped = plan_attributes.draw(plan, key, shown, session.kept(f"edits-{key}", 0))
    plan = plan_people.draw(store, by, plan, key, shown)
    plan = plan_table.draw(plan, key, shown)
    start = pull_calendar.start_of(plan)
    plan = plan_calendar.draw(plan, key, before[0] if before is not None and before[1] == start else None)
    if pull_calendar.start_of(plan) != start:
        session.keep(f"moves-{key}", (moves + 1, (start, pull_calendar.start_of(plan))))
    if tapped.usual:
        plan = replace(plan, attributes=plan_attributes.usual())
    if plan != study.plan:
        with acts.refusals():
            planning.keep_plan(store, by, key, plan)
            st.rerun()
    if tapped.line is not None:
        st.dialog(_("An attribute"))(_edit)(by, key, tapped.line)
    return plan


def _edit(by: Staff, study_id: str, line: int) -> None:
    """One attribute in a dialog; the rest of the plan is read anew, so that nothing typed beside it is lost."""
    plan = planning.study(session.store(), by, study_id).plan
    attributes, over = plan_attributes.edited(plan, line, f"{study_id}-{line}")
    if over:
        with acts.refusals():
            planning.keep_plan(session.store(), by, study_id, replace(plan, attributes=attributes))
            session.keep(f"edits-{study_id}", session.kept(f"edits-{study_id}", 0) + 1)
            st.rerun()


def _designs(study: Study, plan: Plan, known: Spreads) -> None:
    """Other designs and other tests for the same question, looked for when asked, while one goes on planning."""
    if not plan_power.can_be_tried(plan, planning.problems(plan)):
        return
    name, design = f"designs-{study.id}", plan_power.design(plan, known)
    with st.container(key="card-designs"), acts.refusals():
        wish = plan_proposals.asked(study.id)
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
            plan_proposals.outdated()


def _found(study_id: str, search: Search) -> None:
    """The search or its answer; the proposed design becomes a draft of its own when that is asked for."""
    if plan_proposals.draw(search, study_id) and search.found is not None and search.found.proposal.found is not None:
        by, store, chosen = session.someone("leader"), session.store(), search.found.proposal.found.plan
        draft = drafts.copy(store, by, study_id)
        title = planning.study(store, by, draft).plan.title
        planning.keep_plan(store, by, draft, replace(chosen, title=title))
        session.go("plan", study=draft)


# ---- beside the fields -------------------------------------------------------------------------------------------
def _beside(by: Staff, study: Study, plan: Plan, known: Spreads) -> None:
    """What the plan can show, and its seal."""
    problems = (*plan_question.unread(study.id), *planning.problems(plan))
    chances = st.container(key="wash-power")
    sealing.offer(study.id, problems, lambda: _asked(by, study.id))
    with chances:
        _chances(plan, problems, known)


def _chances(plan: Plan, problems: Sequence[Problem], known: Spreads) -> None:
    """The chances of each verdict: at once, then more exact; a change of the design begins anew."""
    if not plan_power.can_be_tried(plan, problems):
        session.give_up("power")
        plan_power.not_yet()
        return
    work = session.refined(
        "power", plan_power.design(plan, known), lambda: prospects.more_and_more(plan, spreads=known)
    )
    refined.draw(work, plan_power.draw)
    plan_power.resting_on(plan, known)


def _asked(by: Staff, study_id: str) -> SealSlip | None:
    """The last look at the rule as it is kept."""
    store = session.store()
    study = planning.study(store, by, study_id)
    return plan_seal.dialog(
        study, planning.rule_sentences(study.plan), lambda typed: planning.seal(store, by, study_id, typed)
    )


def _sealed(by: Staff, study: HoursStudy) -> None:
    """The sealed rule to read, what to print, and the pulls as they were really taken."""
    sealing.fresh_slip(study.id)
    panel_list.nobody_prepares(session.store(), by)
    plan_seal.sealed_view(study, planning.rule_sentences(study.plan, study.rule_version))
    plan_calendar.sealed(study)
    plan_seal.pulls(session.store(), by, study)
    sealing.way_on(by, study.id)
