"""Two other programs' numbers beside ours: asked only when somebody wants to know, for that takes seconds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import streamlit as st

from studyapp.components import acts, look
from studyapp.findings.numbers import opening
from studyapp.kinds.hours.findings.cross_check import opinion_intro, second_opinions
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping.cross_check import AttributeCheck

Ask = Callable[[], "Mapping[str, AttributeCheck]"]


def draw(ask: Ask) -> None:
    """A box to tick, and below it what they say. Ticking it runs this part alone, not the page and its verdict."""
    st.fragment(_drawn)(ask)


def _drawn(ask: Ask) -> None:
    look.put(look.title(_("A second opinion"), 3))
    if not st.checkbox(_("Ask two other programs about these numbers"), key="second-opinion"):
        return
    with acts.refusals(), st.spinner(_("Asking statsmodels and pingouin…")):
        opinions = second_opinions(ask())
        look.put(look.text(opinion_intro(), "small"))
        for opinion in opinions:
            look.put(
                look.title(opening(opinion.name), 3),
                look.table(opinion.heads, opinion.rows, "wide"),
                look.bullets(opinion.says),
            )
