"""Readings at one pull, typed beside the instrument; an odd value is asked about, and nothing is filled in."""

from __future__ import annotations

import json

import streamlit as st

from studyapp import session
from studyapp.batches import UNITS, Batch, Curve, Reading, quantities, shown_unit
from studyapp.components import acts, drawn, look
from studyapp.components.moments import clock
from studyapp.findings import instruments
from studyapp.pictures.flow import flow
from studyapp.records import Staff
from studyapp.services import batches, readings
from studyapp.services.readings import CURVE, Asked, Read
from studyapp.words import _, ngettext

RATES = (2.0, 5.0, 10.0, 20.0, 30.0, 40.0, 50.0)  # 1/s; the steps of the usual method, common practice
PORTIONS = 3  # offered at first; whoever has read three is offered the next


def render() -> None:
    """One pull of the batch in the address."""
    by, store = session.someone("leader", "preparer"), session.store()
    found = batches.batch(store, by, session.batch_id() or "")
    read = readings.read(store, by, found.id)
    st.set_page_config(page_title=_("{batch}: readings").format(batch=found.draft.label))
    with st.container(key="narrow-readings"):
        look.put(look.crumb(found.draft.label, _("readings"), session.href("batch", batch=found.id)))
        hour = _pull(by, found, read)
        if asked := session.kept(_asked(found), None):
            _is_this_right(by, found, read, asked)
            return
        look.put(look.title(_("{h} h pull").format(h=f"{hour:g}"), 2))
        look.put(look.quiet(_("Each value is of a fresh portion. Three portions tell how far the method repeats.")))
        _state(read, hour)
        look.put(look.caution(_("The mass is hot and sticks. Spoon, gloves, and never a hand into a running machine.")))
        _add(by, found, read, hour)
        _bring(by, found)
        _undo(by, found, read, hour)


def _asked(found: Batch) -> str:
    return f"asked-{found.id}"


def _pull(by: Staff, found: Batch, read: Read) -> float:
    """Which pull: those of the batch, or another hour."""
    look.put(look.title(_("Readings")))
    known = [hour for hour, state in batches.pulls_of(session.store(), by, found) if state != "lost"]
    wanted = session.kept(f"hour-{found.id}", known[0] if known else 0.0)
    choices = [*known, *([wanted] if wanted not in known else [])]
    words = {hour: _("{h} h").format(h=f"{hour:g}") for hour in choices}
    hour = st.pills(_("Pull"), choices, default=wanted, format_func=words.__getitem__, key=f"pull-{found.id}")
    with st.expander(_("Another pull")), st.form("other-hour", border=False):
        other = st.number_input(_("Hours after hour zero"), 0.0, readings.LONGEST_HOURS, None, 0.5, key="other-hour-h")
        if st.form_submit_button(_("Read this pull")) and other is not None:
            session.keep(f"hour-{found.id}", float(other))
            st.rerun()
    return float(wanted if hour is None else hour)


def _state(read: Read, hour: float) -> None:
    """Every quantity with what was read of this pull."""
    told = instruments.values(read)
    lines = []
    for quantity, name in quantities().items():
        ones = told.get((quantity, hour), [])
        portions = ngettext("{n} portion", "{n} portions", len(ones)).format(n=len(ones))
        below = ", ".join(part for part in (instruments.read_with(read, quantity), portions if ones else "") if part)
        value = f"{instruments.shown_value(quantity, ones)} {shown_unit(UNITS[quantity])}" if ones else _("not read")
        left = look.strong(name) + f"<br><span class='say quiet'>{look.plain(below)}</span>"
        lines.append(look.row(left, look.strong(value)))
    with st.container(key="card-state"):
        look.put(look.rows(lines, "open"))
    for sentence in instruments.curves_say(read, hour):
        look.put(look.text(sentence))
    own = [one for one in read.curves if one.hours == hour and one.branch == "down"]
    if own:
        with st.container(key="card-chart-flow"):
            look.put(look.title(_("Flow curves on the way down"), 3), _portions_legend(own))
            drawn.put(json.dumps(flow(own, session.theme())), instruments.flow_says(own))


def _portions_legend(own: list[Curve]) -> str:
    """Which sign is which portion, as the picture draws them."""
    before = ", ".join(str(one.portion) for one in own[:-1])
    parts = [look.chip("ring", _("portion {n}").format(n=before), "quiet")] if before else []
    parts.append(look.chip("disc", _("portion {n}").format(n=own[-1].portion), "patina"))
    return f'<p class="say legend">{"".join(parts)}</p>'


# ---- add -------------------------------------------------------------------------------------------------------------
def _add(by: Staff, found: Batch, read: Read, hour: float) -> None:
    look.put(look.title(_("Add a reading"), 2))
    names = {CURVE: _("Flow curve"), **quantities()}
    quantity = st.selectbox(_("What"), list(names), format_func=names.__getitem__, key="what")
    instrument, method = _method(read, quantity)
    coming = _next_portion(read, hour, quantity)
    portion = st.segmented_control(
        _("Portion"), range(1, max(PORTIONS, coming) + 1), default=coming, key=f"portion-{quantity}-{hour:g}-{coming}"
    )
    with st.form(f"read-{quantity}-{hour:g}-{portion}", border=False):
        if quantity == CURVE:
            one: Reading | Curve | None = _curve(hour, int(portion or 1), instrument, method)
        else:
            label = f"{names[quantity]}, {shown_unit(UNITS[quantity])}".rstrip(", ")
            value = st.number_input(
                label, -1e6, 1e6, None, 0.1, format="%.6g", key=f"value-{quantity}-{hour:g}-{portion}"
            )
            one = (
                None if value is None else Reading(hour, quantity, float(value), instrument, method, int(portion or 1))
            )
        if st.form_submit_button(_("Keep portion {n}").format(n=portion or 1), type="primary", width="stretch"):
            with acts.refusals():
                _keep(by, found, read, [one] if one else [])


def _method(read: Read, quantity: str) -> tuple[str, str]:
    """Instrument and method, named once; another one is a fold away."""
    used = read.used(quantity)
    if not used[0]:
        left, right = st.columns(2)
        named = session.kept(f"method-of-{quantity}", ("", ""))
        given = left.text_input(_("Instrument"), named[0], max_chars=120, key=f"instrument-{quantity}")
        method = right.text_input(_("Method"), named[1], max_chars=120, key=f"method-{quantity}")
        session.keep(f"method-of-{quantity}", (given, method))  # a question between must not take it away
        return given, method
    look.put(look.quiet(", ".join(part for part in used if part)))
    with st.expander(_("Another instrument")):
        given = st.text_input(_("Instrument"), used[0], max_chars=120, key=f"instrument-{quantity}")
        return given, st.text_input(_("Method"), used[1], max_chars=120, key=f"method-{quantity}")


def _next_portion(read: Read, hour: float, quantity: str) -> int:
    ones = read.curves if quantity == CURVE else [one for one in read.values if one.quantity == quantity]
    taken = {one.portion for one in ones if one.hours == hour}
    return next(portion for portion in range(1, len(taken) + 2) if portion not in taken)


def _curve(hour: float, portion: int, instrument: str, method: str) -> Curve | None:
    """A field a rate of the method, or a pasted column in their order."""
    branches = {"down": _("way down"), "up": _("way up"), "hold": _("hold")}
    branch = st.radio(_("Branch"), list(branches), format_func=branches.__getitem__, horizontal=True, key="branch")
    cells: list[float | None] = []
    typed: dict[float, float] = session.kept(f"typed-{hour:g}-{portion}", {})
    with st.container(key="typed-rates"):
        for rate in RATES:
            label = _("Pa at {rate} 1/s").format(rate=f"{rate:g}")
            cells.append(
                st.number_input(
                    label, -1e6, 1e6, typed.get(rate), 0.1, format="%.6g", key=f"rate-{hour:g}-{portion}-{rate:g}"
                )
            )
    pasted = st.text_area(
        _("Paste a column instead: one stress a line, at {rates} 1/s").format(
            rates=", ".join(f"{rate:g}" for rate in RATES)
        ),
        key=f"pasted-{hour:g}-{portion}",
    )
    stresses = readings.column(pasted) if pasted.strip() else cells
    points = [(rate, float(stress)) for rate, stress in zip(RATES, stresses, strict=False) if stress is not None]
    return Curve(hour, portion, branch, tuple(points), instrument, method) if points else None


def _keep(by: Staff, found: Batch, read: Read, ones: list[Reading | Curve]) -> None:
    """Keep what is usual; what is odd is asked about first, and nothing is kept until then."""
    if not ones:
        look.put(look.text(_("Nothing is typed yet."), "problem copper"))
        return
    questions = [asked for one in ones for asked in readings.odd(one, read)]
    if questions:
        session.keep(_asked(found), (ones, questions))
    else:
        readings.keep(session.store(), by, found.id, ones)
        session.keep(f"hour-{found.id}", ones[0].hours)
        session.forget(f"typed-{ones[0].hours:g}-{ones[0].portion}")
    st.rerun()


def _is_this_right(by: Staff, found: Batch, read: Read, asked: tuple[list[Reading | Curve], list[Asked]]) -> None:
    """The odd value with its reason, beside what it is compared with; two ways on."""
    from dataclasses import replace

    ones, questions = asked
    look.put(look.title(_("Is this right?"), 2))
    for question in questions:
        look.put(look.box("copper", "", look.text(question.sentence)))
    curve = next((question.of for question in questions if isinstance(question.of, Curve)), None)
    if curve is not None:
        others = [one for one in read.curves if (one.hours, one.branch) == (curve.hours, curve.branch)]
        drawn.put(json.dumps(flow([*others, curve], session.theme())), instruments.flow_says([*others, curve]))
    if st.button(_("Read the instrument again, type it"), type="primary", width="stretch", key="again"):
        _again(curve, questions)
        session.forget(_asked(found))
        st.rerun()
    if st.button(_("Keep it as it is"), width="stretch", key="as-it-is"):
        with acts.refusals():
            readings.keep(session.store(), by, found.id, [replace(one, asked=True) for one in ones])
            session.forget(_asked(found))
            st.rerun()
    look.put(
        look.quiet(_("Nothing is filled in for you. Kept as it is, it stays marked as asked about, with your name."))
    )


def _again(curve: Curve | None, questions: list[Asked]) -> None:
    """What nobody asked about need not be typed again; what is odd is."""
    if curve is not None:
        odd = {question.at for question in questions if question.of is curve}
        typed = {rate: stress for at, (rate, stress) in enumerate(curve.points) if at not in odd}
        session.keep(f"typed-{curve.hours:g}-{curve.portion}", typed)


# ---- a file, and back ------------------------------------------------------------------------------------------------
def _bring(by: Staff, found: Batch) -> None:
    with st.expander(_("Bring a file, or paste a table")):
        look.put(look.quiet(_("A head line with {names}.").format(names=", ".join(readings.COLUMNS))))
        uploaded = st.file_uploader(_("Readings (CSV, XLSX or Parquet)"), ["csv", "xlsx", "parquet"], key="readings")
        pasted = st.text_area(_("Or paste it here"), key="readings-pasted")
        name, content = (uploaded.name, uploaded.getvalue()) if uploaded else ("pasted.csv", pasted.encode())
        if st.button(_("Read the table"), key="readings-read") and content.strip():
            with acts.refusals():
                ones = readings.from_file(name, content)
                _keep(by, found, readings.read(session.store(), by, found.id), ones)


def _undo(by: Staff, found: Batch, read: Read, hour: float) -> None:
    """What was kept of this pull, newest first, each with the way back."""
    own: list[Reading | Curve] = [*(one for one in read.values if one.hours == hour)]
    own += [one for one in read.curves if one.hours == hour]
    if not own:
        return
    with st.expander(_("Take something back")):
        look.put(look.quiet(_("What you take back stays in the record, with your name and the time.")))
        for number, one in enumerate(sorted(own, key=lambda each: each.at, reverse=True)):
            told = _("{what}, portion {n}, by {who}, {at}").format(
                what=instruments.one_says(one), n=one.portion, who=one.by, at=clock(one.at)
            )
            if st.button(_("Take back: {what}").format(what=told), key=f"undo-{number}"):
                with acts.refusals():
                    readings.undo(session.store(), by, found.id, one)
                    st.rerun()
