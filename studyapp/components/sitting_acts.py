"""What a leader can do to a sitting: open it, pause it, note a deviation, close it."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from studyapp import registry
from studyapp.components import acts, look, moments, sitting_rows
from studyapp.records import Sitting, Staff
from studyapp.services import accounts, planning, watching
from studyapp.store import Store, clock
from studyapp.words import _, ngettext


def begin(store: Store, by: Staff, sitting: Sitting, planned: datetime | None) -> None:
    """Before the first person comes; one that is `planned` for another day is asked about."""
    look.put(
        look.lede(_("Nothing is served yet. Open the sitting when the first tray is ready and people are seated.")),
        look.quiet(_("Tasting is a free choice each time. Nobody is asked why they sit out.")),
    )
    away = abs((planned.date() - clock.now().astimezone().date()).days) if planned else 0
    if away and planned:
        told = ngettext(
            "By its plan this sitting is on {day}, {n} day from today. Is it the right study?",
            "By its plan this sitting is on {day}, {n} days from today. Is it the right study?",
            away,
        )
        look.put(look.caution(told.format(day=moments.appointment(planned), n=away), _("Careful")))
    word = _("Open it today all the same") if away else _("Open the sitting")
    if st.button(word, type="primary", key="open-sitting"):
        with acts.refusals():
            watching.open_sitting(store, by, sitting.id)
            st.rerun()


def run(store: Store, by: Staff, sitting: Sitting) -> None:
    """While it runs: note, pause or go on, close."""
    if st.button(_("Note a departure"), width="stretch", key="deviation"):
        st.dialog(_("Note a departure"))(_note)(store, by, sitting)
    if sitting.state == "closed":
        look.put(look.quiet(_("This sitting is closed.")))
        return
    paused = sitting.state == "paused"
    word, key = (_("Go on"), "resume") if paused else (_("Pause the sitting"), "pause")  # a second tap must not undo
    if st.button(word, width="stretch", key=key):
        with acts.refusals():
            (watching.resume if paused else watching.pause)(store, by, sitting.id)
            st.rerun()
    if st.button(_("Close the sitting"), width="stretch", key="close"):
        progress = watching.progress(store, by, sitting.id)
        if progress.of > progress.saved:
            st.dialog(_("Close the sitting"))(_close)(store, by, sitting)
            return
        with acts.refusals():
            watching.close_sitting(store, by, sitting.id)
            st.rerun()


def _note(store: Store, by: Staff, sitting: Sitting) -> None:
    look.put(
        look.text(
            _("Whatever went otherwise than planned: a late tray, a wrong code, a warm room. The report prints it.")
        )
    )
    sentence = st.text_area(_("What happened, when, and to which tray"), max_chars=500, key="deviation-text")
    if st.button(_("Note it"), type="primary", key="deviation-note"):
        with acts.refusals():
            watching.note_deviation(store, accounts.still(store, by), sitting.study, sentence)
            st.rerun()


def _close(store: Store, by: Staff, sitting: Sitting) -> None:
    progress = watching.progress(store, by, sitting.id)
    left = progress.of - progress.saved
    told = _("What is marked is kept. Open phones are told at once, and whoever said not today needs no reason.")
    look.put(look.text(sitting_rows.not_finished(progress)), look.quiet(told))
    reason = ""
    if left:
        study = planning.study(store, by, sitting.study)
        gaps = watching.staying_missing(store, by, sitting.study)
        registry.pages(study.kind).closing_cost(by, study, gaps, sitting.number, left)
        reason = st.text_input(_("Reason"), max_chars=200, key="close-reason")
    if st.button(_("Close it"), type="primary", key="close-now"):
        with acts.refusals():
            watching.close_sitting(store, accounts.still(store, by), sitting.id, reason)
            st.rerun()
