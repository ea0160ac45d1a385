"""What every assessor reads before tasting; the same on the plan of every kind of study."""

from __future__ import annotations

import streamlit as st

from studyapp.records import StudyPlan
from studyapp.words import _


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
