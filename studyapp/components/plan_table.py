"""What lies on the table and what every assessor reads before tasting; the same on the plan of every kind of study."""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import streamlit as st

from studyapp.records import StudyPlan
from studyapp.words import _

P = TypeVar("P", bound=StudyPlan)


def allergens(plan: StudyPlan, key: str) -> tuple[str, str]:
    """What the pieces contain and what may be in them by trace, as every assessor will read it."""
    contains = st.text_area(
        _("Contains: every ingredient, allergens named"),
        plan.contains,
        key=f"contains-{key}",
        placeholder=_("Cocoa mass, cane sugar, cocoa butter"),
    )
    traces = st.text_area(
        _("Traces possible: what else is handled on these machines"),
        plan.traces,
        key=f"traces-{key}",
        placeholder=_("milk, hazelnut, almond"),
    )
    return contains, traces


def piece_and_rest(plan: P, key: str, rest: str) -> P:
    """The plan with the size of a piece and the rest between what is tasted; `rest` names that field."""
    left, right = st.columns(2)
    with left:
        grams = st.number_input(_("Piece, g"), 0.5, 50.0, float(plan.piece_g), 0.5, format="%.1f", key=f"piece-{key}")
    with right:
        minutes = st.number_input(rest, 0.0, 60.0, plan.rest_seconds / 60, 0.5, format="%.1f", key=f"rest-{key}")
    return replace(plan, piece_g=grams, rest_seconds=round(minutes * 60))


def routine(plan: P, key: str) -> P:
    """The plan with what is done with a piece, and in the rest after it."""
    swallow = st.text_input(_("Swallow or spit"), plan.swallow, key=f"swallow-{key}")
    in_rest = st.text_input(_("What to do in the rest"), plan.routine, key=f"routine-{key}")
    return replace(plan, swallow=swallow, routine=in_rest)
