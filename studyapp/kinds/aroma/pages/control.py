"""The cup that is known to differ, in an aroma plan: whether one is served, what is in it, and how many sets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.kinds.aroma import rule
from studyapp.kinds.aroma.plan import AromaPlan, Control, ControlMade
from studyapp.kinds.aroma.rule import control
from studyapp.records import Problem
from studyapp.words import _

_MOST = 600


def draw(plan: AromaPlan, key: str, problems: Sequence[Problem]) -> AromaPlan:
    """The plan with what was chosen here; a study of doses has no control."""
    if not control.can_have(plan):
        return replace(plan, control=None)
    words: dict[ControlMade | Literal["none"], str] = {
        "none": _("none"),
        "stronger": _("a stronger infusion"),
        "spike": _("a spike, named"),
    }
    made = st.radio(
        _("The control: a cup known to differ, served blind among the others"),
        list(words),
        list(words).index(plan.control.made if plan.control else "none"),
        format_func=words.__getitem__,
        key=f"control-{key}",
    )
    if made == "none":
        plan = replace(plan, control=None)
        look.put(look.quiet(control.without(plan)))
        return plan
    plan = replace(plan, control=_cup(plan, made, key))
    beside(problems, "control")
    return plan


def _cup(plan: AromaPlan, made: ControlMade, key: str) -> Control:
    """What is in it, and how many sets, no fewer than the plan needs unless somebody types so."""
    least = control.fewest(plan, rule.main_sets(plan))
    kept = plan.control or Control(sets=least)
    left, right = st.columns([2, 1])
    example = _("40 g of leaf per kg, 30 min") if made == "stronger" else _("0.2 g of peppermint oil per kg")
    holds = left.text_input(_("What is in it"), kept.holds, 120, key=f"holds-{key}", placeholder=example)
    sets = right.number_input(_("Sets with it in all"), 1, _MOST, min(kept.sets, _MOST), 1, key=f"controls-{key}")
    told = _(
        "At least {n} here. Always after a person's own sets, with the same rest: before them it would dull the "
        "tongue. It is judged first and counts nowhere else."
    )
    look.put(look.quiet(told.format(n=least)))
    return Control(made, holds, int(sets))
