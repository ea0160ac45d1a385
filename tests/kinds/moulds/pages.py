"""On the screens."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import streamlit as st

from studyapp import session
from studyapp.components import look, plan_people, signing
from studyapp.records import Attribute, Problem, Staff, Study
from studyapp.registry import Kitchen, Opening, OwnPage
from studyapp.services import planning
from tests.kinds.moulds import deciding, findings
from tests.kinds.moulds.plan import MouldPlan


def asks() -> str:
    """The question."""
    return "At what temperature is the piece smoothest?"


def own_pages() -> Mapping[str, OwnPage]:
    """None."""
    return {}


def fields(by: Staff, study: Study[MouldPlan]) -> tuple[MouldPlan, Sequence[Problem]]:
    """Temperatures, and who tastes."""
    store, plan = session.store(), study.plan
    typed = st.text_input("Temperatures", " ".join(f"{each:g}" for each in plan.degrees), key=f"degrees-{study.id}")
    degrees = tuple(float(part) for part in typed.split())
    assessors = plan_people.chosen(store, by, plan.assessors, study.id)
    plan = replace(plan, degrees=degrees, assessors=assessors, attributes=(Attribute("Smoothness", wanted="higher"),))
    if plan != study.plan:
        planning.keep_plan(store, by, study.id, plan)
    return plan, ()


def chances(by: Staff, plan: MouldPlan, problems: Sequence[Problem]) -> None:
    """None are worked out."""


def caution() -> str:
    """What everybody knows."""
    return "A wet mould spoils a piece."


def beside_rule(plan: MouldPlan) -> Sequence[str]:
    """Nothing."""
    return ()


def sealed(by: Staff, study: Study[MouldPlan]) -> None:
    """Nothing."""


def kitchen(plan: MouldPlan) -> Kitchen:
    """What the fill list gives away."""
    return Kitchen("", "The fill list tells the temperature of every mould.")


def hidden(plan: MouldPlan) -> str:
    """Marks."""
    return "Marks stay hidden."


def reached_its_end(by: Staff, study: Study[MouldPlan], over: bool) -> bool:
    """With its sitting."""
    return over


def opening(plan: MouldPlan) -> Opening:
    """What changes."""
    return Opening("Opening tells the temperatures.", ("You see the means.",))


def still_open(by: Staff, study: Study[MouldPlan], left: int) -> str:
    """Whatever is left."""
    return f"{left} left." if left else ""


def closing_cost(by: Staff, study: Study[MouldPlan], gaps: Mapping[int, int], number: int, left: int) -> None:
    """Nothing: no chance is reckoned with what is missing."""


def decide(by: Staff, study: Study[MouldPlan]) -> None:
    """The sentence, and who signs it."""
    store = session.store()
    look.put(look.title(findings.kept_line(study.plan, deciding.document(store, by, study.id)), 1, "verdict"))
    signing.sign(store, by, study, over=True)
