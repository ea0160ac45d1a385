"""A rule typed in fields for scores that were tasted elsewhere; it becomes the same text as a rule file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import streamlit as st

from studyapp.components import look
from studyapp.findings import hours as as_hours
from studyapp.records import Wanted
from studyapp.wishes import WISHES
from studyapp.words import _


@dataclass(frozen=True, slots=True)
class TypedLine:
    """One deciding attribute as typed."""

    name: str
    wanted: Wanted
    margin: float
    limit: float | None


def draw(attributes: Sequence[str], pulls: Sequence[float]) -> str:
    """Fields for each attribute found in the scores; the rule as TOML."""
    deciding = st.multiselect(_("Attributes that decide"), list(attributes), list(attributes), key="bring-deciding")
    lines = [_line(name, number) for number, name in enumerate(attributes) if name in deciding]
    shorter = sorted(pulls)[:-1]
    control = st.selectbox(
        _("Pull known to differ"),
        shorter,
        format_func=lambda hours: _("{hours} h").format(hours=as_hours(hours)),
        key=f"bring-control-{len(shorter)}",
    )
    return toml(lines, control)


def _line(name: str, number: int) -> TypedLine:
    names: dict[Wanted, str] = {name: wish.choice() for name, wish in WISHES.items()}
    with st.container(key=f"card-rule-{number}"):
        look.put(look.title(name, 3))
        first, second, third = st.columns(3)
        wanted = first.selectbox(_("Wanted"), list(names), format_func=names.__getitem__, key=f"bring-wanted-{number}")
        margin = second.number_input(_("Margin"), 0.1, 100.0, 1.0, 0.1, format="%.1f", key=f"bring-margin-{number}")
        limit = third.number_input(_("Limit, if any"), value=None, step=0.1, format="%.1f", key=f"bring-limit-{number}")
    return TypedLine(name, wanted, margin, limit)


def toml(lines: Sequence[TypedLine], control: float | None) -> str:
    """The typed rule as the text of a rule file; one look at 5 %."""
    parts = ["alpha = 0.05", "looks = 1", "look = 1"]
    if control is not None:
        parts.append(f"control = {float(control)!r}")
    for line in lines:
        quoted = line.name.replace("\\", "\\\\").replace('"', '\\"')
        parts += [
            "",
            f'[attributes."{quoted}"]',
            f'wanted = "{line.wanted}"',
            f"margin = {round(float(line.margin), 6)!r}",
        ]
        if line.limit is not None:
            parts.append(f"limit = {round(float(line.limit), 6)!r}")
    return "\n".join([*parts, ""])
