"""First part of a plan: the question, what is conched, and when samples are pulled from it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from typing import Literal

import streamlit as st

from studyapp import calendars
from studyapp.components import look
from studyapp.components.moments import day_of
from studyapp.components.plan_problems import beside
from studyapp.components.plan_slips import Slips
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours import rule
from studyapp.kinds.hours.pages import claim
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.rule import run_calendar
from studyapp.kinds.hours.rule.confirming import claims
from studyapp.records import Problem
from studyapp.words import _


def draw(
    plan: HoursPlan, key: str, problems: Sequence[Problem], moves: int, slips: Slips, known: Sequence[str] = ()
) -> HoursPlan:
    """The plan with what was typed here. `moves` counts how often another card set hour zero; it is then read anew.
    `known` names batches that have a record and no other study."""
    plan = replace(
        plan,
        title=st.text_input(_("Name of the study"), plan.title, max_chars=120, key=f"title-{key}") or plan.title,
        question=st.text_area(
            _("What shall this study decide?"),
            plan.question,
            key=f"question-{key}",
            placeholder=_("From how many hours of conching on is this recipe as good as at 24 h?"),
        ),
    )
    beside(problems, "question")
    plan = _batch(plan if plan.confirms else claim.claim(plan, key), key, known)
    beside(problems, "batches")
    plan = _pulls(_widens(plan, key), key, slips)
    plan = _start_and_mass(plan, key, moves)
    beside(problems, "pulls")
    look.put(look.caution(hot()))
    plan = replace(plan, control=_control(plan, key))
    beside(problems, "control")
    return plan if plan.confirms else replace(plan, lost_reference=_lost_reference(plan, key))


def _batch(plan: HoursPlan, key: str, known: Sequence[str]) -> HoursPlan:
    left, right = st.columns(2)
    with left:
        recipe = st.text_input(_("Recipe"), plan.recipe, key=f"recipe-{key}", placeholder=_("Dark 72 %, two origins"))
    with right:
        if plan.several:
            plan = replace(plan, batches=claim.names(plan, key, known))
        else:
            batch = st.text_input(_("Batch"), plan.batch, key=f"batch-{key}", placeholder=_("lot 14"))
            plan = replace(plan, batch=batch)
    left, right = st.columns(2)
    with left:
        machine = st.text_input(_("Conche"), plan.machine, key=f"machine-{key}")
    with right:
        zero = st.text_input(
            _("Hour zero is when"), plan.hour_zero, key=f"zero-{key}", placeholder=_("the mass has reached 60 °C")
        )
    return replace(plan, recipe=recipe, machine=machine, hour_zero=zero)


def _widens(plan: HoursPlan, key: str) -> HoursPlan:
    """What shall be claimed of all batches together, where an hour is confirmed; sealed before anybody tastes."""
    if plan.confirms is None:
        return plan
    named = claims()
    chosen = st.radio(
        _("This study confirms {h} h in a new batch. Once it does:").format(h=as_hours(plan.confirms.hours)),
        list(named),
        list(named).index(plan.confirms.claim),
        format_func=named.__getitem__,
        key=f"widens-{key}",
    )
    return replace(plan, confirms=replace(plan.confirms, claim=chosen or plan.confirms.claim))


def hot() -> str:
    """The caution beside taking a sample from a running machine."""
    return _(
        "Careful: hot mass and moving parts hurt. Take samples with guards on and gloves, never alone, as the "
        "machine's manual and your site's rules say."
    )


# ---- pulls -------------------------------------------------------------------------------------------------------
def _pulls(plan: HoursPlan, key: str, slips: Slips) -> HoursPlan:
    kept = tuple(pull.hours for pull in plan.pulls)
    hours = slips.read(
        "pulls", _("Pulls, hours after hour zero"), ", ".join(as_hours(hour) for hour in kept), read_hours, kept,
        f"pulls-{key}", "0, 4, 8, 12, 16, 24",
    )  # fmt: skip
    if hours == kept:
        return plan
    mass = plan.pulls[0].mass_g if plan.pulls else None
    return replace(plan, pulls=tuple(Pull(hour, mass) for hour in hours))


def read_hours(typed: str) -> tuple[float, ...]:
    """Hours from a typed list such as "0, 4, 8"; a semicolon or a space separates as well.

    Raises:
        ValueError: with the sentence to show, when a part is not a number or not an hour that a run can have.
    """
    ambiguous = re.search(r"\d+,\d+", typed) if re.search(r",\s|;", typed) else None
    if ambiguous:
        told = _("Fix the pulls: is “{part}” one pull or two? Write {one} or {two}.")
        part = ambiguous.group()
        raise ValueError(told.format(part=part, one=part.replace(",", "."), two=part.replace(",", ", ")))
    hours = []
    for part in typed.replace(";", " ").replace(",", " ").split():
        try:
            hours.append(float(part))
        except ValueError:
            digits = "".join(letter for letter in part if letter.isdigit() or letter == ".") or "8"
            told = _("Fix the pulls: “{part}” is not a number of hours. Write {digits}.")
            raise ValueError(told.format(part=part, digits=digits)) from None
    beyond = rule.beyond_a_run(hours)
    if beyond:
        raise ValueError(beyond)
    return tuple(sorted(hours))


def _start_and_mass(plan: HoursPlan, key: str, moves: int) -> HoursPlan:
    """When the run begins, and what each pull shall weigh; the mass is asked once there is a pull to keep it with."""
    left, right = st.columns(2)
    start = None
    if plan.several:
        left, right = right, left
    else:
        with left:
            planned = run_calendar.start_of(plan)
            start = st.datetime_input(_("Hour zero planned at"), planned, key=f"start-{key}-{moves}")
        plan = run_calendar.moved_to(plan, start)
    if not plan.pulls:
        return plan
    with right:
        mass = st.number_input(
            _("Mass of each pull, g"), 0.0, 100000.0, plan.pulls[0].mass_g, 10.0, format="%.0f", key=f"mass-{key}"
        )
    if start is not None:
        look.put(look.quiet(_("Planned: {times}.").format(times=_times(plan, start))))
    return replace(plan, pulls=tuple(replace(pull, mass_g=mass) for pull in plan.pulls))


def _times(plan: HoursPlan, start: datetime) -> str:
    return "; ".join(_time(pull.hours, calendars.after(start, pull.hours)) for pull in plan.pulls)


def _time(hours: float, at: datetime) -> str:
    return _("{hours} h on {day} at {time}").format(hours=as_hours(hours), day=day_of(at), time=at.strftime("%H:%M"))


def _control(plan: HoursPlan, key: str) -> float | None:
    """The pull that everybody should tell from the longest; unless the panel finds it, sameness is not believed."""
    shorter = sorted({pull.hours for pull in plan.pulls})[:-1]
    if not shorter:
        return plan.control
    start = shorter.index(plan.control) if plan.control in shorter else 0
    return st.selectbox(
        _("Pull known to differ (the panel must find it)"),
        shorter,
        start,
        format_func=lambda hours: _("{hours} h").format(hours=as_hours(hours)),
        key=f"control-{key}-{len(shorter)}",
    )


def _lost_reference(plan: HoursPlan, key: str) -> Literal["next", "none"]:
    """What the verdict is held against when the longest pull is lost; sealed, so nobody chooses it afterwards."""
    said = _("If the longest pull is lost before anybody tasted it, hold the others against the next longest")
    taken = st.checkbox(said, plan.lost_reference == "next", key=f"lost-reference-{key}")
    return "next" if taken else "none"
