"""Plan an aroma study: say in plain words what is asked, see what it can show, and seal it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp import session
from studyapp.components import acts
from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.pages import cups, power, question, table, when
from studyapp.kinds.aroma.plan import AromaPlan, AromaStudy
from studyapp.records import Problem, Staff
from studyapp.services import planning


def fields(by: Staff, study: AromaStudy) -> AromaPlan:
    """The six parts; whatever was typed is kept at once. A proposal taken over draws its fields anew."""
    version = session.kept(f"taken-{study.id}", 0)
    key, store, plan = f"{study.id}-{version}", session.store(), study.plan
    shown = _worth_showing(plan, session.kept(f"tried-{study.id}", False))
    plan = question.draw(plan, key, shown)
    plan = cups.draw(plan, key, shown)
    plan = table.draw(store, by, plan, key, shown)
    proposed = question.proposal(plan, key)
    plan = question.by_hand(plan, key, shown)
    if proposed is not None:
        plan = question.taken(plan, proposed)
        session.keep(f"taken-{study.id}", version + 1)
    plan = when.draw(replace(plan, sittings=rule.sittings_needed(plan)), key, study.id)
    if plan != study.plan:
        with acts.refusals():
            planning.keep_plan(store, by, study.id, plan)
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
        "control": not (plan.control and plan.control.holds),
    }
    found = rule.problems(plan)
    return tuple(problem for problem in found if tried or not empty.get(problem.where, False))


def problems(study: AromaStudy, plan: AromaPlan) -> tuple[Problem, ...]:
    """What keeps the plan from being sealed, what is typed and could not be read first."""
    key = f"{study.id}-{session.kept(f'taken-{study.id}', 0)}"
    return (*cups.unread(plan, key), *rule.problems(plan))


def chances(by: Staff, plan: AromaPlan, problems: Sequence[Problem]) -> None:
    """What the plan can show."""
    power.draw(plan, problems)
