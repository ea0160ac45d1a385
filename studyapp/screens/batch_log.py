"""Bring what the machine wrote: its columns, its bad lines, a clock that was not set; then it lies under the pulls."""

from __future__ import annotations

import streamlit as st

from studyapp import session
from studyapp.batches import Batch, Log
from studyapp.components import acts, look
from studyapp.records import Staff
from studyapp.services import batches, machine_logs
from studyapp.services.machine_logs import Found
from studyapp.words import _, ngettext

MOST_BAD = 5


def _what() -> dict[str, str]:
    return {"temperature_c": _("the mass, °C"), "speed_rpm": _("turns a minute"), "power_kw": _("power, kW")}


def draw(by: Staff, found: Batch, log: Log | None) -> None:
    """A file to choose, what was understood of it, and the button that keeps it."""
    with st.expander(_("Bring another machine log") if log else _("Bring a machine log")):
        told = _("CSV with a head line: the time first, then temperature, speed or power. Times count from hour zero.")
        look.put(look.quiet(told))
        uploaded = st.file_uploader(_("Machine log (CSV)"), ["csv", "txt"], key="machine-log")
        if uploaded is None:
            return
        with acts.refusals():
            _understood(by, found, uploaded.getvalue())


def _understood(by: Staff, found: Batch, content: bytes) -> None:
    shift = session.kept(f"log-shift-{found.id}", 0.0)
    here = machine_logs.read(content, found.zero, session.kept(f"log-taken-{found.id}", None), shift)
    first, last = here.log.hours[0], here.log.hours[-1]
    said = ngettext("{n} line, {a} to {b} h.", "{n} lines, {a} to {b} h.", here.log.lines)
    look.put(look.text(said.format(n=here.log.lines, a=f"{first:.1f}", b=f"{last:.1f}")))
    _columns(found, here)
    for number, cell in here.bad[:MOST_BAD]:
        fix = _("Fix line {n}: “{cell}” cannot be read. Left out if you go on.")
        look.put(look.text(fix.format(n=number, cell=cell), "problem copper"))
    if len(here.bad) > MOST_BAD:
        look.put(look.quiet(_("And {n} lines more.").format(n=len(here.bad) - MOST_BAD)))
    if here.odd_start_min is not None:
        _clock(found, here.odd_start_min)
    if here.log.lines > len(here.log.hours):
        step = round(here.log.step_h * 60)
        look.put(look.quiet(_("Kept as means over {n} min; keep the file itself beside.").format(n=step)))
    if st.button(_("Keep this log"), type="primary", key="keep-log"):
        batches.bring_log(session.store(), by, found.id, here.log)
        st.rerun()


def _columns(found: Batch, here: Found) -> None:
    """Which column holds what: proposed by its name, decided by who knows the machine."""
    choices = ["", *here.columns[1:]]
    taken = {}
    for what, words in _what().items():
        now = here.taken.get(what, "")
        label = _("Column of {what}").format(what=words)
        name = st.selectbox(
            label, choices, choices.index(now), format_func=lambda one: one or _("none"), key=f"log-{what}"
        )
        if name:
            taken[what] = name
    if taken != dict(here.taken):
        session.keep(f"log-taken-{found.id}", taken or None)
        st.rerun()


def _clock(found: Batch, minutes: float) -> None:
    """A log that begins about an hour off is most likely a clock that was not set to summer time; a hand decides."""
    told = _("The log begins {n} min before hour zero. Summer time?")
    if minutes > 0:
        told = _("The log begins {n} min after hour zero. Summer time?")
    look.put(look.text(told.format(n=round(abs(minutes))), "strong"))
    if st.button(_("Shift by 1 h"), key="log-shift"):
        session.keep(f"log-shift-{found.id}", -1.0 if minutes > 0 else 1.0)
        st.rerun()
