"""Plan an aroma study: say in plain words what is asked, see what it can show, and seal it."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from studyapp import session
from studyapp.components import (
    acts,
    aroma_cups,
    aroma_power,
    aroma_question,
    aroma_seal,
    aroma_table,
    plan_seal,
)
from studyapp.records import AromaPlan, AromaStudy, Problem, SealSlip, Staff
from studyapp.screens import sealing
from studyapp.services import aroma_planning


def draw(by: Staff, study: AromaStudy) -> None:
    """The draft with its fields, or the sealed rule to read."""
    if study.state != "draft":
        _sealed(by, study)
        return
    left, right = st.columns([9, 5], gap="large")
    with left:
        plan = _fields(by, study)
    with right, st.container(key="beside"):
        _beside(by, study, plan)


def _fields(by: Staff, study: AromaStudy) -> AromaPlan:
    """The five parts; whatever was typed is kept at once. A proposal taken over draws its fields anew."""
    version = session.kept(f"taken-{study.id}", 0)
    key, store, plan = f"{study.id}-{version}", session.store(), study.plan
    shown = _worth_showing(plan, session.kept(f"tried-{study.id}", False))
    plan = aroma_question.draw(plan, key, shown)
    plan = aroma_cups.draw(plan, key, shown)
    plan = aroma_table.draw(store, by, plan, key, shown)
    proposed = aroma_question.proposal(plan, key)
    plan = aroma_question.by_hand(plan, key, shown)
    if proposed is not None:
        plan = aroma_question.taken(plan, proposed)
        session.keep(f"taken-{study.id}", version + 1)
    plan = replace(plan, sittings=aroma_planning.sittings_needed(plan))
    if plan != study.plan:
        with acts.refusals():
            aroma_planning.keep_plan(store, by, study.id, plan)
            st.rerun()
    return plan


def _worth_showing(plan: AromaPlan, tried: bool) -> tuple[Problem, ...]:
    """Before the first try to seal, an empty field is not a mistake yet."""
    empty = {
        "question": not plan.question,
        "note": not plan.note,
        "botanical": not plan.botanical.lot,
        "process": not plan.process,
        "reference": not plan.reference,
        "doses": not plan.doses,
        "batches": not plan.batches,
        "assessors": not plan.assessors,
        "contains": not plan.contains,
        "safe_food_by": not plan.safe_food_by,
    }
    found = aroma_planning.problems(plan)
    return tuple(problem for problem in found if tried or not empty.get(problem.where, False))


def _beside(by: Staff, study: AromaStudy, plan: AromaPlan) -> None:
    """What the plan can show, and its seal."""
    problems = aroma_planning.problems(plan)
    with st.container(key="wash-power"), acts.refusals():
        aroma_power.draw(plan, problems)
    sealing.offer(study.id, problems, lambda: _asked(by, study.id))


def _asked(by: Staff, study_id: str) -> SealSlip | None:
    """The last look at the rule as it is kept."""
    store = session.store()
    study = aroma_planning.study(store, by, study_id)
    return plan_seal.dialog(
        study,
        aroma_planning.rule_sentences(study.plan),
        lambda typed: aroma_planning.seal(store, by, study_id, typed),
        aroma_seal.caution(),
    )


def _sealed(by: Staff, study: AromaStudy) -> None:
    """The sealed rule to read, and the way on."""
    sealing.fresh_slip(study.id)
    plan_seal.sealed_view(study, aroma_planning.rule_sentences(study.plan), aroma_seal.cups(study.plan))
    sealing.way_on(by, study.id)
