"""Flavour and instruments over one axis of hours on the screen: a row each, the one that decides last."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import streamlit as st

from analysis.instruments import GateResult
from analysis.stopping import AttributeResult, Decision
from studyapp.components import drawn, look
from studyapp.components.drawn import Make, Once
from studyapp.findings.numbers import hours, opening
from studyapp.kinds.hours.findings import attribute_alt
from studyapp.kinds.hours.findings.batches import batches_alt
from studyapp.kinds.hours.findings.instruments import (
    by_name,
    limit_alt,
    limit_heading,
    limit_heads,
    limit_lines,
    row_says,
)
from studyapp.kinds.hours.findings.missing import lost_alt, lost_hours
from studyapp.kinds.hours.findings.scale import shared_scale
from studyapp.kinds.hours.pictures.rows import Axis, flavour_row, limit_row, y_words
from studyapp.pictures.theme import Theme
from studyapp.words import _


def draw(decision: Decision, judged: Sequence[AttributeResult], legend: str, theme: Theme, once: Once) -> None:
    """One card with a row an attribute and a limit."""
    look.put(look.title(_("When is each of them ready?"), 2), legend)
    names = list(dict.fromkeys([*(result.name for result in judged), *(one.name for one in decision.gates)]))
    names.sort(key=lambda name: name == decision.binding)
    lost = lost_hours(decision)
    with st.container(key="card-rows"):
        for number, name in enumerate(names):
            axis = Axis(sorted(decision.passes), decision.hours, theme, number == 0, number == len(names) - 1)
            make, alt, counts = _row(decision, judged, name, axis)
            with st.container(key=f"row-{number}"):
                head, picture = st.columns([1, 4])
                with head:
                    look.put(
                        look.title(opening(name), 3), look.text(row_says(decision, name), "strong"), look.quiet(counts)
                    )
                with picture:
                    drawn.put(once(f"row {name}", make), alt)
        if lost:
            look.put(look.quiet(lost_alt(lost)))


def _row(decision: Decision, judged: Sequence[AttributeResult], name: str, axis: Axis) -> tuple[Make, str, str]:
    """What draws a row, what it says in words, and what its scale counts."""
    limits = by_name(decision, name)
    if limits:
        return partial(limit_row, limits, axis), limit_alt(decision, name), y_words(limits[0])
    result = next(one for one in judged if one.name == name)
    counts = _("worse than {h} h by, units of the 0 to 10 scale").format(h=hours(result.reference_hours))
    make = partial(flavour_row, result, shared_scale(judged), axis, decision.batches)
    return make, f"{attribute_alt(result)} {batches_alt(decision, name)}".strip(), counts


def numbers(limit: GateResult) -> None:
    """Every pull of one limit in one batch as a table."""
    look.put(look.title(opening(limit_heading(limit)), 3), look.table(limit_heads(limit), limit_lines(limit)))
