"""What the hours of a batch are worth in cocoa butter: the ladder typed or brought, the answer, and its money."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import TYPE_CHECKING, Any
from zlib import crc32

import streamlit as st

from studyapp import session
from studyapp.batches import FLOWS, MOST_ADDED, UNITS, Batch, Ladder, Rung, quantities
from studyapp.components import acts, drawn, look
from studyapp.findings import butter as findings
from studyapp.pictures.butter import worth
from studyapp.records import Staff
from studyapp.services import batches, ladders, readings
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.instruments import ButterWorth

STEPS = (0.0, 1.0, 2.0, 3.0, 4.0)  # per cent of butter, common practice


def render() -> None:
    """The ladder of the batch in the address."""
    by, store = session.someone("leader", "preparer"), session.store()
    found = batches.batch(store, by, session.batch_id() or "")
    st.set_page_config(page_title=_("{batch}: butter").format(batch=found.draft.label))
    look.put(look.crumb(found.draft.label, _("butter"), session.href("batch", batch=found.id)))
    ladder = findings.with_kept(found.draft.made.ladder, readings.read(store, by, found.id))
    if asked := session.kept(_asked(found), None):
        _is_this_right(by, found, *asked)
    elif not ladder.rungs:
        look.put(look.title(_("What are the hours worth in butter?")), look.lede(_how()))
        _write(by, found)
    else:
        _answer(found, ladder)
        _prices(by, found)
        with st.expander(_("Change the ladder")):
            _write(by, found)


def _how() -> str:
    return _(
        "Weigh 0, 1, 2, 3 and 4 % cocoa butter into portions of the mass with few hours, two portions each. Read them "
        "in one session with three portions of the mass that was conched longer. The answer is how much butter these "
        "hours save."
    )


def _asked(found: Batch) -> str:
    return f"ladder-asked-{found.id}"


# ---- the answer ------------------------------------------------------------------------------------------------------
def _answer(found: Batch, ladder: Ladder) -> None:
    if findings.unread(ladder):
        look.put(look.title(_("No claim yet."), 1, "verdict"), look.lede(findings.why_unread(ladder)))
        return
    told = findings.worths(findings.table(ladder))
    mass = None if found.draft.mass_g is None else found.draft.mass_g / 1000
    look.put(
        look.title(findings.headline(told, ladder.conched_h), 1, "verdict"),
        look.lede(findings.lede(ladder, told)),
        _legend(ladder),
    )
    with st.container(key="pair-of-charts"):
        for number, (name, one) in enumerate(told.items()):
            with st.container(key=f"card-chart-{number}"):
                note = f'<span class="note">{look.strong(findings.note(name, told))}</span>'
                pace = {"stress at 5 1/s": _("Slow: {what}"), "viscosity at 40 1/s": _("Fast: {what}")}.get(
                    name, "{what}"
                )
                heading = look.title(pace.format(what=findings.heading(name)), 3)
                look.put(look.pair(heading, note), look.quiet(UNITS[name]))
                drawn.put(
                    json.dumps(worth(name, ladder, one, session.theme())), findings.picture_says(name, ladder, one)
                )
    left, right = st.columns(2)
    with left, st.container(key="card-money"):
        _money(ladder, told, mass)
    with right, st.container(key="wash-ends"):
        look.put(look.title(_("When this does not hold"), 2), look.bullets(findings.does_not_hold(ladder)))
    with st.expander(_("The numbers")):
        look.put(*(look.text(findings.says(findings.heading(name), one)) for name, one in told.items()))
    _take_out(found, ladder)


def _legend(ladder: Ladder) -> str:
    ladder_ = look.chip("disc", _("ladder")) + look.plain(_(": the mass with butter weighed in."))
    own = look.chip("diamond", _("the {h} h mass").format(h=f"{ladder.conched_h:g}"))
    bar = look.plain(
        _("The bar on the butter axis ends at the least that it is worth: at most 5 of 100 such ends lie too high.")
    )
    said = look.plain(f", {findings.portions_say(ladder)}.")
    return f'<p class="say quiet">{ladder_} {own}{said} {bar}</p>'


def _money(ladder: Ladder, told: Mapping[str, ButterWorth], mass: float | None) -> None:
    lines = [
        look.row(look.plain(label), look.strong(value)) for label, value in findings.money_lines(ladder, told, mass)
    ]
    own = look.quiet(_("money, in your currency"))
    look.put(look.title(_("In money"), 2), own, look.rows(lines), look.quiet(findings.money_says(ladder, told, mass)))


def _prices(by: Staff, found: Batch) -> None:
    """Kept with the ladder, in the workshop's own money."""
    ladder = found.draft.made.ladder
    labels = {"butter_kg": _("Cocoa butter, a kg"), "kw": _("Power of the conche, kW"), "kwh": _("A kWh")}
    with st.container(key="card-prices"), st.form("butter-prices", border=False):
        cells = st.columns(3)
        typed = {
            name: cell.number_input(label, 0.0, 1e6, getattr(ladder, name), 0.01, format="%.6g", key=f"butter-{name}")
            for cell, (name, label) in zip(cells, labels.items(), strict=True)
        }
        if st.form_submit_button(_("Reckon again")):
            with acts.refusals():
                ladders.keep(session.store(), by, found.id, replace(ladder, **typed))
                st.rerun()


def _take_out(found: Batch, ladder: Ladder) -> None:
    with st.container(horizontal=True):
        st.link_button(_("Print this page"), f"/print/butter/{found.id}", type="primary")
        table = findings.table(ladder).to_csv(index=False, na_rep="conched")
        st.download_button(_("Take out the readings"), table, "ladder.csv", "text/csv")


# ---- write -----------------------------------------------------------------------------------------------------------
def _write(by: Staff, found: Batch) -> None:
    """One quantity at a time by hand, or all of them as a table; the others stay as they are."""
    now = found.draft.made.ladder
    look.put(look.caution(_("Warm mass and melted butter burn. Weigh away from the running machine.")))
    names = quantities()
    quantity = st.segmented_control(
        _("What is read"), FLOWS, default=FLOWS[0], format_func=names.__getitem__, key="ladder-quantity"
    )
    with st.form("ladder", border=False), acts.refusals(), st.container(key="typed-ladder"):
        head = _head(found, now)
        rungs = _steps(now, quantity or FLOWS[0])
        pasted, uploaded = _table()
        if st.form_submit_button(_("Keep the ladder"), type="primary"):
            others = tuple(one for one in now.rungs if one.quantity != quantity)
            told = ladders.from_file(*_content(pasted, uploaded)) if pasted.strip() or uploaded else (*others, *rungs())
            _keep(by, found, replace(head, rungs=told))


def _head(found: Batch, now: Ladder) -> Ladder:
    cells = st.columns(3)
    known = [hour for hour, state in batches.pulls_of(session.store(), session.someone(), found) if state != "lost"]
    longest = now.conched_h or max(known, default=None)
    labels = (_("Hours of the mass with butter"), _("Hours of the conched mass"))
    kept = (now.short_h if now.rungs else None, longest)
    short, conched = (
        cell.number_input(label, 0.0, 1000.0, value, 0.5, format="%.6g", key=f"ladder-hours-{n}")
        for n, (cell, label, value) in enumerate(zip(cells[:2], labels, kept, strict=True))
    )
    began = date.fromisoformat(now.day) if now.day else date.today()
    day = cells[2].date_input(_("Read on"), began, key="ladder-day")
    left, right = st.columns(2)
    instrument = left.text_input(_("Instrument"), now.instrument, max_chars=120, key="ladder-instrument")
    method = right.text_input(_("Method"), now.method, max_chars=120, key="ladder-method")
    iso = day.isoformat() if day else ""
    hours = (0.0, 0.0) if short is None or conched is None else (short, conched)  # refused when it is kept
    now = replace(now, short_h=hours[0], conched_h=hours[1], day=iso, asked=False)
    return replace(now, instrument=instrument.strip(), method=method.strip())


def _steps(now: Ladder, quantity: str) -> Callable[[], tuple[Rung, ...]]:
    """A line a step: what was added, and the readings of its portions; gives what makes rungs of them."""
    own = [one for one in now.rungs if one.quantity == quantity]
    added = sorted({one.added for one in own if one.added is not None}) or list(STEPS)
    look.put(look.quiet(_("Readings of the portions in {unit}, with a space between.").format(unit=UNITS[quantity])))
    typed: list[tuple[float | None, str]] = []
    kept = f"{quantity}-{crc32(repr(own).encode())}"  # fields show what is kept, also after a table was brought
    for number, step in enumerate(added):
        cells = st.columns([1, 3])
        key = f"{kept}-{number}"
        share = cells[0].number_input(
            _("Butter added, %"), 0.0, MOST_ADDED, step, 0.1, format="%.6g", key=f"step-{key}"
        )
        label = _("Portions of step {n}").format(n=number + 1)
        typed.append((share or 0.0, cells[1].text_input(label, _told(own, step), key=f"portions-{key}")))
    typed.append((None, st.text_input(_("Portions of the conched mass"), _told(own, None), key=f"conched-{kept}")))
    return lambda: tuple(Rung(quantity, share, value) for share, text in typed for value in ladders.portions(text))


def _told(own: list[Rung], step: float | None) -> str:
    return " ".join(f"{one.value:g}" for one in own if one.added == step)


def _table() -> tuple[str, Any]:
    with st.expander(_("Bring a file, or paste a table")):
        told = _("A head line with added, quantity, value; a row a fresh portion, “conched” for the conched mass.")
        look.put(look.quiet(told))
        uploaded = st.file_uploader(_("Ladder (CSV, XLSX or Parquet)"), ["csv", "xlsx", "parquet"], key="ladder-file")
        return st.text_area(_("Or paste it here"), key="ladder-pasted"), uploaded


def _content(pasted: str, uploaded: Any) -> tuple[str, bytes]:
    return (uploaded.name, uploaded.getvalue()) if uploaded else ("pasted.csv", pasted.encode())


def _keep(by: Staff, found: Batch, ladder: Ladder) -> None:
    """Keep what is usual; what is odd is asked about first, and nothing is kept until then."""
    if questions := ladders.odd(ladder):
        session.keep(_asked(found), (ladder, questions))
    else:
        ladders.keep(session.store(), by, found.id, ladder)
    st.rerun()


def _is_this_right(by: Staff, found: Batch, ladder: Ladder, questions: list[str]) -> None:
    look.put(look.title(_("Is this right?"), 2))
    look.put(*(look.box("copper", "", look.text(sentence)) for sentence in questions))
    if st.button(_("Read the instrument again, type it"), type="primary", key="again"):
        session.forget(_asked(found))
        st.rerun()
    if st.button(_("Keep it as it is"), key="as-it-is"):
        with acts.refusals():
            ladders.keep(session.store(), by, found.id, replace(ladder, asked=True))
            session.forget(_asked(found))
            st.rerun()
    look.put(look.quiet(_("Nothing is filled in for you.")))
