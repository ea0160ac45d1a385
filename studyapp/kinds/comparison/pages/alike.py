"""Third part of a comparison: what was read of every make before the tasting, to be alike or to keep a limit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import streamlit as st

from studyapp.components import look
from studyapp.components.plan_problems import beside
from studyapp.components.plan_slips import Slips
from studyapp.kinds.comparison.plan import LETTERS, ComparisonPlan, Likewise
from studyapp.records import Problem
from studyapp.words import _


def usual() -> tuple[Likewise, ...]:
    """What most often differs unseen."""
    return (
        Likewise(_("Fat"), "%", 0.5),
        Likewise(_("Fineness, D90"), "um", 2.0),
        Likewise(_("Moisture"), "%", 0.1),
        Likewise(_("Age when tasted"), _("days"), 1.0),
    )


def draw(plan: ComparisonPlan, key: str, problems: Sequence[Problem], slips: Slips) -> ComparisonPlan:
    """The plan with its quantities as they stand here."""
    look.put(look.quiet(_about(plan)), look.quiet(_roles()))
    version = f"{key}-{len(plan.alike)}"
    rows = [_row(plan, one, f"{version}-{number}", slips) for number, one in enumerate(plan.alike)]
    kept = [one for one, stays in rows if stays]
    beside(problems, "alike")
    with st.container(horizontal=True):
        if st.button(_("Add a quantity"), key=f"add-alike-{version}"):
            kept.append(Likewise(_("Quantity {n}").format(n=len(kept) + 1), "", 1.0))
        if not plan.alike and st.button(_("Start with the usual four"), key=f"usual-alike-{version}"):
            kept = list(usual())
    return replace(plan, alike=tuple(kept))


def _about(plan: ComparisonPlan) -> str:
    if plan.scope == "make":
        return _(
            "By one method for all. Write as many readings of each batch, one batch after another, as 30.1 30.0 29.9."
        )
    return _("By one method for all. Write readings of fresh portions, as 30.1 30.0 29.9; none is said as such.")


def _roles() -> str:
    return _(
        "Alike up to: a larger difference stands beside the verdict; 0 only reports it. At least or at most: a limit "
        "that every make must keep for itself; it decides with flavour."
    )


def _row(plan: ComparisonPlan, one: Likewise, key: str, slips: Slips) -> tuple[Likewise, bool]:
    """One quantity with its tolerance and the readings of every make, and whether it stays."""
    with st.container(key=f"line-alike-{key}"):
        named, unit, tolerance, low, high, out = st.columns([4, 2, 2, 2, 2, 3], vertical_alignment="bottom")
        with named:
            name = st.text_input(_("Quantity"), one.name, max_chars=40, key=f"alike-{key}").strip()
        with unit:
            of = st.text_input(_("Unit"), one.unit, max_chars=12, key=f"unit-{key}").strip()
        with tolerance:
            most = st.number_input(_("Alike up to"), 0.0, 1e6, one.tolerance, 0.1, format="%g", key=f"tolerance-{key}")
        with low:
            least = st.number_input(_("At least"), 0.0, 1e6, one.at_least, 0.1, format="%g", key=f"least-{key}")
        with high:
            bound = st.number_input(_("At most"), 0.0, 1e6, one.at_most, 0.1, format="%g", key=f"most-{key}")
        with out:
            stays = not st.button(_("Take it out"), key=f"drop-alike-{key}")
        cells = st.columns(len(plan.makes))
        read = [_readings(cell, one, place, key, slips) for place, cell in enumerate(cells)]
    read_of = replace(one, name=name, unit=of, tolerance=float(most), readings=tuple(read))
    return replace(read_of, at_least=least, at_most=bound), stays


def _readings(
    cell: st.delta_generator.DeltaGenerator, one: Likewise, place: int, key: str, slips: Slips
) -> tuple[float, ...]:
    before = one.readings[place] if place < len(one.readings) else ()
    letter = LETTERS[place]
    with cell:
        label, shown = _("Read of {letter}").format(letter=letter), " ".join(f"{value:g}" for value in before)
        return slips.read(f"alike {one.name} {letter}", label, shown, numbers, before, f"read-{place}-{key}")


def numbers(typed: str) -> tuple[float, ...]:
    """Readings from a typed list; raises ValueError with the sentence to show."""
    found = []
    for part in typed.replace(";", " ").split():
        try:
            found.append(float(part))
        except ValueError:
            told = _("Fix the reading: “{part}” is not a number. Write 30.1, with a point and a blank between two.")
            raise ValueError(told.format(part=part)) from None
    return tuple(found)
