"""Sixth part of an aroma plan: when batches are made, how long their pieces age, and when they are tasted."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from studyapp.calendars import Appointment
from studyapp.components import acts, calendar, look
from studyapp.components.plan_problems import beside
from studyapp.kinds.aroma.findings.calendar import age, in_words
from studyapp.kinds.aroma.plan import AromaPlan, AromaStudy
from studyapp.kinds.aroma.rule import problems, run_calendar
from studyapp.words import _


def draw(plan: AromaPlan, key: str, study_id: str) -> AromaPlan:
    """The plan with what was typed here."""
    left, right = st.columns(2)
    with left:
        start = st.datetime_input(_("Infusing planned at"), run_calendar.start_of(plan), key=f"start-{key}")
    plan = replace(plan, starts_at=start.isoformat(timespec="minutes") if start is not None else None)
    if plan.starts_at is None:
        look.put(look.quiet(_("The calendar comes once the time is written.")))
        return plan
    with right:
        minutes = st.number_input(
            _("One batch with its cleaning, minutes"), 5, 1440, plan.batch_minutes, 5, key=f"batch-minutes-{key}"
        )
    plan = replace(plan, batch_minutes=int(minutes), habits=calendar.habits(plan.habits, key))
    open_ = [problem for problem in problems(plan) if problem.where in ("calendar", "doses", "batches")]
    beside(open_, "calendar")
    if not open_:
        _times(plan, study_id)
    return plan


def sealed(study: AromaStudy) -> None:
    """The times of a sealed study whose start is planned, and the file of them."""
    if study.plan.starts_at is None:
        return
    with st.container(key="card-calendar"):
        look.put(look.title(_("When"), 2))
        _times(study.plan, study.id)


def _times(plan: AromaPlan, study_id: str) -> None:
    with acts.refusals():
        found = run_calendar.calendar(plan)
        shown = [one for one in found.appointments if one.kind != "rest"]

        def what(one: Appointment) -> str:
            said = in_words(one, plan)[0]
            return look.plain(said) if one.kind == "temper" else look.strong(said)

        look.put(calendar.rows(shown, what), look.quiet(age(found.age.days)))
        calendar.link(study_id)
