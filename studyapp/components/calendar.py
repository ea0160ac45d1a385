"""The calendar of a study on the screen: how the workshop works, what is to be done when, and the file of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import time

import streamlit as st

from studyapp.calendars import Appointment, Habits
from studyapp.components import look
from studyapp.components.moments import appointment, weekday
from studyapp.words import _


def habits(kept: Habits, key: str) -> Habits:
    """How the workshop works, as it is typed here. Row by row, as a phone sets columns one below the other."""

    def clock(label: str, value: str, name: str) -> str:
        return st.time_input(label, time.fromisoformat(value), key=f"{name}-{key}").isoformat("minutes")

    with st.expander(_("How the workshop works")):
        days = st.multiselect(
            _("Days somebody is there"), list(range(7)), list(kept.days), format_func=weekday, key=f"days-{key}"
        )
        left, right = st.columns(2)
        with left:
            opens = clock(_("Somebody is there from"), kept.opens, "opens")
        with right:
            closes = clock(_("until"), kept.closes, "closes")
        left, right = st.columns(2)
        with left:
            temper = st.number_input(
                _("Tempering and moulding, minutes"), 15, 720, kept.temper_minutes, 15, key=f"temper-{key}"
            )
        with right:
            rest = st.number_input(
                _("Pieces rest before a sitting, days"), 1, 60, kept.rest_days, 1, key=f"rest-days-{key}"
            )
        sitting = clock(_("Sittings begin at"), kept.sitting_at, "sitting-at")
    return Habits(opens, closes, tuple(sorted(days)), int(temper), int(rest), sitting)


def rows(appointments: Sequence[Appointment], what: Callable[[Appointment], str]) -> str:
    """When, what (as markup), and a mark where nobody is there."""
    alone = look.chip("triangle", _("nobody there"), "copper")
    return look.rows(
        (
            look.row(look.plain(appointment(one.starts)), what(one), alone if one.outside else "")
            for one in appointments
        ),
        "times",
    )


def link(study_id: str) -> None:
    """The calendar as a file for any calendar."""
    look.put(look.act(_("Take the calendar file (.ics)"), f"/calendar/{study_id}"))
