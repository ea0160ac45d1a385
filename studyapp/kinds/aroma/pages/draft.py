"""Plan an aroma study: say in plain words what is asked, see what it can show, and seal it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from studyapp import session
from studyapp.components.plan_slips import Slips
from studyapp.components.plan_steps import Steps, keep
from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.pages import cups, power, question, steps, table, when
from studyapp.kinds.aroma.plan import AromaPlan, AromaStudy
from studyapp.records import Problem, Staff
from studyapp.services import unread


def fields(by: Staff, study: AromaStudy) -> tuple[AromaPlan, Sequence[Problem]]:
    """The five steps; whatever was typed is kept at once. A proposal taken over draws its fields anew."""
    version = session.kept(f"taken-{study.id}", 0)
    key, store, plan = f"{study.id}-{version}", session.store(), study.plan
    slips = Slips(unread.texts(store, by, study.id))
    done = Steps(study.id, steps.of(plan), rule.problems(plan), steps.empty(plan), slips.places, session)
    with done.draw():
        plan = question.draw(plan, key, done.shown)
    with done.draw():
        plan = cups.draw(plan, key, done.shown, slips)
    with done.draw():
        plan = table.draw(store, by, plan, key, done.shown)
    with done.draw():
        proposed = question.proposal(plan, key)
        plan = question.by_hand(plan, key, done.shown)
    if proposed is not None:
        plan = question.taken(plan, proposed)
        session.keep(f"taken-{study.id}", version + 1)
    with done.draw():
        plan = when.draw(replace(plan, sittings=rule.sittings_needed(plan)), key, study.id)
    keep(store, by, study, plan, rule.problems(plan), slips, done)
    return plan, slips.problems


def chances(by: Staff, plan: AromaPlan, problems: Sequence[Problem]) -> None:
    """What the plan can show."""
    power.draw(plan, problems)
