"""Write the record of a batch: everything may stay empty, and nothing that was kept before is lost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

import streamlit as st

from studyapp import session
from studyapp.batches import MOST_WORDS, Batch, Draft, Happening, Making, Mill, Part, Phase
from studyapp.components import acts, look
from studyapp.errors import BadInput
from studyapp.findings.batches import orders
from studyapp.services import batches
from studyapp.services.readings import as_number
from studyapp.words import _

MOST_PHASES = 20
MINUTES = "minutes"


def render() -> None:
    """The fields of the batch in the address."""
    by, store = session.someone("leader", "preparer"), session.store()
    found = batches.batch(store, by, session.batch_id() or "")
    look.put(look.crumb(found.draft.label, _("write"), session.href("batch", batch=found.id)))
    look.put(look.title(_("Write the batch")))
    narrow, _beside_it = st.columns([1, 3])
    count = narrow.number_input(
        _("Phases of the programme"), 0, MOST_PHASES, len(found.draft.phases), 1, key=f"phases-{found.id}"
    )
    look.put(look.caution(_hot()))
    with st.form("batch", border=False), acts.refusals():
        draft = _fields(found, int(count))
        if st.form_submit_button(_("Keep the record"), type="primary"):
            batches.keep(store, by, found.id, draft())
            session.go("batch", batch=found.id)


def _hot() -> str:
    return _("A conche and a mill are hot and keep turning. Write beside them, not over them; no sleeve, no hair near.")


def _fields(found: Batch, phases: int) -> Any:
    """Every field; gives what makes the draft of them, once they are read without a refusal."""
    draft = found.draft
    with st.container(key="card-head"):
        named = _head(draft)
    with st.container(key="card-programme"):
        look.put(look.title(_("Programme"), 2))
        look.put(look.quiet(_("Hours after hour zero. What was otherwise goes under “as it was”.")))
        kept = [*draft.phases, *(Phase(_("Phase {n}").format(n=n + 1)) for n in range(len(draft.phases), phases))]
        rows = [_phase(number, phase) for number, phase in enumerate(kept[:phases])]
        happened = _happened(draft.made)
    with st.container(key="card-recipe"):
        parts, roast = _recipe(draft.made)
    with st.container(key="card-mill"):
        order, mill, conche, tolerance = _mill(draft.made)
    with st.container(key="card-contents"):
        contains, traces = _contents(draft.made)

    def made() -> Draft:
        told = replace(
            draft.made,
            parts=tuple(parts),
            roast=roast,
            order=order,
            mill=mill,
            conche=conche,
            tolerance_c=tolerance,
            contains=contains,
            traces=traces,
            happened=happenings(happened),
        )
        return Draft(**named, made=told, phases=tuple(rows))

    return made


def _head(draft: Draft) -> dict[str, Any]:
    left, right = st.columns(2)
    label = left.text_input(_("Name of the batch"), draft.label, max_chars=120, key="b-label")
    recipe = right.text_input(_("Recipe"), draft.recipe, max_chars=120, key="b-recipe")
    machine = left.text_input(_("Conche"), draft.machine, max_chars=120, key="b-machine")
    lot = right.text_input(_("Cocoa lot"), draft.lot, max_chars=120, key="b-lot")
    mass = _number(left, _("Mass in the conche, kg"), None if draft.mass_g is None else draft.mass_g / 1000, "b-mass")
    began = datetime.fromisoformat(draft.started_at) if draft.started_at else None
    at = right.datetime_input(_("Hour zero was at"), began, key="b-at")
    return {
        "label": label,
        "recipe": recipe,
        "machine": machine,
        "lot": lot,
        "mass_g": None if mass is None else mass * 1000,
        "started_at": at.isoformat(timespec=MINUTES) if at else None,
    }


def _number(place: Any, label: str, value: float | None, key: str) -> float | None:
    found = place.number_input(label, 0.0, 1e6, value, 0.1, format="%.6g", key=key)
    return None if found is None else float(found)


# ---- the programme ---------------------------------------------------------------------------------------------------
def _phase(number: int, phase: Phase) -> Phase:
    """One phase as planned; what was otherwise, and air, fold away."""
    key = f"b-phase-{number}"
    with st.container(key=f"line-phase-{number}"):
        cells = st.columns([3, 2, 2, 2, 2])
        name = cells[0].text_input(_("Phase {n}").format(n=number + 1), phase.name, max_chars=80, key=f"{key}-name")
        start = _number(cells[1], _("from, h"), phase.from_hours, f"{key}-from")
        end = _number(cells[2], _("to, h"), phase.to_hours, f"{key}-to")
        degrees = _number(cells[3], _("°C"), phase.temperature_c, f"{key}-degrees")
        turns = _number(cells[4], _("turns a min"), phase.speed_rpm, f"{key}-turns")
        with st.expander(_("As it was; air, extraction, shear")):
            real, words = _as_it_was(key, phase), _beside(key, phase)
    from_h, to_h, real_c, real_turns = real
    air, extraction, again, notes = words
    told = (from_h, to_h, real_c, real_turns)
    return Phase(name, start, end, degrees, turns, *told, air, extraction, again, notes)


def _as_it_was(key: str, phase: Phase) -> Sequence[float | None]:
    cells = st.columns(4)
    labels = (_("really from, h"), _("really to, h"), _("really °C"), _("really turns a min"))
    values = (phase.real_from_hours, phase.real_to_hours, phase.real_temperature_c, phase.real_speed_rpm)
    return [
        _number(cell, label, value, f"{key}-real-{n}")
        for n, (cell, label, value) in enumerate(zip(cells, labels, values, strict=True))
    ]


def _beside(key: str, phase: Phase) -> Sequence[str]:
    cells = st.columns(4)
    labels = (_("Hot air"), _("Extraction"), _("Recirculation"), _("Added, shear, notes"))
    values = (phase.air, phase.extraction, phase.recirculation, phase.words)
    return [
        cell.text_input(label, value, max_chars=MOST_WORDS, key=f"{key}-words-{n}")
        for n, (cell, label, value) in enumerate(zip(cells, labels, values, strict=True))
    ]


def _happened(made: Making) -> str:
    lines = "\n".join(f"{one.from_hours:g} - {one.to_hours:g}: {one.words}" for one in made.happened)
    hint = _("14 - 14.5: lid open")
    return st.text_area(_("What happened: a line each, hours first"), lines, placeholder=hint, key="b-happened")


def happenings(text: str) -> tuple[Happening, ...]:
    """Lines such as "14 - 14.5: lid open". Raises BadInput, naming the line."""
    found = []
    for number, line in enumerate((one for one in text.splitlines() if one.strip()), 1):
        span, colon, words = line.partition(":")
        ends = [as_number(end) for end in span.split(" - " if " - " in span else "-", 1)]
        start, end = ends[0], ends[-1]
        if not colon or start is None or end is None or not words.strip():
            raise BadInput(_("Fix line {n} of what happened: write it as 14 - 14.5: lid open.").format(n=number))
        found.append(Happening(start, end if end > start else start + 1 / 60, words.strip()))
    return tuple(found)


# ---- recipe, mill, what is in it -------------------------------------------------------------------------------------
def _recipe(made: Making) -> tuple[list[Part], str]:
    """The usual ingredients and two rows for others; empty rows are left out."""
    look.put(look.title(_("Recipe"), 2))
    usual = [_("cocoa"), _("sugar"), _("milk powder"), _("cocoa butter"), _("lecithin")]
    rows = list(made.parts) if made.parts else [Part(name) for name in usual]
    found = []
    for number, part in enumerate([*rows, Part(""), Part("")]):
        cells = st.columns([3, 2, 2, 3])
        name = cells[0].text_input(
            _("Ingredient {n}").format(n=number + 1), part.name, max_chars=80, key=f"b-in-{number}"
        )
        share = _number(cells[1], _("per cent"), part.percent, f"b-share-{number}")
        lot = cells[2].text_input(_("lot"), part.lot, max_chars=80, key=f"b-lot-{number}")
        when = cells[3].text_input(_("when, if later"), part.when, max_chars=80, key=f"b-when-{number}")
        if name.strip() and (share is not None or lot or when):
            found.append(Part(name.strip(), share, lot.strip(), when.strip()))
    return found, st.text_input(_("Roast"), made.roast, max_chars=MOST_WORDS, key="b-roast")


def _mill(made: Making) -> tuple[str, Mill, str, float]:
    look.put(look.title(_("Mill and conche"), 2))
    mill, names, keys = made.mill, orders(), list(orders())
    left, right = st.columns(2)
    order = left.selectbox(_("Order"), keys, keys.index(made.order), format_func=names.__getitem__, key="b-order")
    kind = right.text_input(_("Type of mill"), mill.kind, max_chars=120, key="b-mill")
    balls = left.text_input(_("Balls or gap"), mill.balls, max_chars=120, key="b-balls")
    turns = _number(right, _("Turns a minute of the mill"), mill.speed_rpm, "b-mill-turns")
    minutes = _number(left, _("Minutes in the mill"), mill.minutes, "b-mill-minutes")
    energy = _number(right, _("Energy of the mill, kWh"), mill.energy_kwh, "b-mill-energy")
    air = left.text_input(_("Air into the mill"), mill.air, max_chars=120, key="b-mill-air")
    acids = right.text_input(_("Acids drawn off"), mill.extraction, max_chars=120, key="b-mill-acids")
    conche = left.text_input(_("Type of conche"), made.conche, max_chars=120, key="b-conche")
    within = _number(right, _("Temperature is as planned within, °C"), made.tolerance_c, "b-tolerance")
    return order, Mill(kind, balls, turns, minutes, energy, air, acids), conche, within or 0.0


def _contents(made: Making) -> tuple[str, str]:
    look.put(look.title(_("What is in it"), 2))
    contains = st.text_area(
        _("Contains: every ingredient, allergens named"), made.contains, max_chars=MOST_WORDS, key="b-contains"
    )
    traces = st.text_input(_("Traces of"), made.traces, max_chars=MOST_WORDS, key="b-traces")
    told = _(
        "Copy both from the bags. A draft of a study that names nothing yet takes them over; a change is compared anew."
    )
    look.put(look.quiet(told))
    return contains, traces
