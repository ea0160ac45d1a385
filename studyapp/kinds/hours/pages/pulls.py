"""When a pull was really taken, noted on the page of a sealed study."""

from __future__ import annotations

import streamlit as st

from studyapp.components import acts, look
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours import setting_out
from studyapp.kinds.hours.pages.question import hot
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.records import Staff
from studyapp.store import Store
from studyapp.words import _


def note(store: Store, by: Staff, study: HoursStudy) -> None:
    """Keep when a pull was really taken."""
    with st.container(key="card-pulls"), st.form(f"pull-{study.id}", border=False):
        look.put(look.title(_("Note a pull"), 2), look.quiet(_("When it was really taken, not when it was planned.")))
        look.put(look.caution(hot()))
        first, second, third = st.columns(3)
        hours = first.selectbox(
            _("Pull"),
            [pull.hours for pull in study.plan.pulls],
            format_func=lambda value: _("{hours} h").format(hours=as_hours(value)),
            key=f"pull-hours-{study.id}",
        )
        taken = second.datetime_input(_("Taken at"), "now", key=f"pull-at-{study.id}")
        mass = third.number_input(_("Mass, g"), 0.0, 100000.0, None, format="%.0f", key=f"pull-mass-{study.id}")
        if st.form_submit_button(_("Note the pull")) and taken is not None:
            with acts.refusals():
                setting_out.note_pull(store, by, study.id, hours, taken.isoformat(timespec="minutes"), mass)
                look.put(look.chip("disc", _("Kept."), "patina"))
