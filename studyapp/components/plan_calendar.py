"""When what is to be done: pulls on the workshop's clock, what falls at night, tempering, sittings, and grams."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, time
from urllib.parse import urlencode

import streamlit as st

from studyapp.components import acts, look
from studyapp.components.moments import appointment
from studyapp.findings import hours as as_hours
from studyapp.records import HoursStudy, Plan
from studyapp.services import pull_calendar
from studyapp.services.pull_calendar import Appointment, Habits, WorkingHours
from studyapp.words import _, ngettext


def draw(plan: Plan, key: str, before: datetime | None) -> Plan:
    """The calendar of a draft; the plan with the load typed here, and with another hour zero once that was taken.

    `before`: the hour zero that the present one was taken instead of, or None.
    """
    with st.container(key="card-calendar"):
        look.put(look.title(_("5. When, and how much"), 2))
        start = pull_calendar.start_of(plan)
        if start is None:
            look.put(look.quiet(_("The calendar comes once the pulls and the time of hour zero are written.")))
        else:
            with acts.refusals():
                plan = _times(plan, start, key, before)
        plan = replace(plan, load_g=_load(plan, key))
        if plan.pulls and plan.assessors:
            _quantities(plan)
    return plan


def sealed(study: HoursStudy) -> None:
    """The times of a sealed study whose start is planned, for the workshop as it works, and the file of them."""
    start = pull_calendar.start_of(study.plan)
    if start is None:
        return
    with st.container(key="card-calendar"), acts.refusals():
        look.put(look.title(_("When"), 2))
        habits = _habits(study.id)
        _listed(pull_calendar.calendar(study.plan, start, habits).appointments)
        link(study.id, habits)


def link(study_id: str, habits: Habits) -> None:
    """The calendar as a file for any calendar."""
    query = urlencode(pull_calendar.habits_query(habits))
    look.put(look.act(_("Take the calendar file (.ics)"), f"/calendar/{study_id}?{query}"))


# ---- times ---------------------------------------------------------------------------------------------------------
def _times(plan: Plan, start: datetime, key: str, before: datetime | None) -> Plan:
    """The list of what is to be done, and a start that suits working hours better where there is one."""
    habits = _habits(key)
    found = pull_calendar.calendar(plan, start, habits)
    _listed(found.appointments)
    look.put(look.quiet(_age(found.age.days)))
    if before is not None:
        look.put(
            look.chip("disc", _("Hour zero was moved here from {when}.").format(when=appointment(before)), "patina")
        )
    plan = _better(plan, start, habits, found.outside, key)
    link(key, habits)
    return plan


def _habits(key: str) -> Habits:
    with st.expander(_("How the workshop works")):
        left, right = st.columns(2)
        with left:
            opens = st.time_input(_("Somebody is there from"), time(8), key=f"opens-{key}")
            temper = st.number_input(_("Tempering and moulding, minutes"), 15, 720, 120, 15, key=f"temper-{key}")
            sitting = st.time_input(_("Sittings begin at"), time(10, 30), key=f"sitting-at-{key}")
        with right:
            closes = st.time_input(_("until"), time(18), key=f"closes-{key}")
            rest = st.number_input(_("Pieces rest before a sitting, days"), 1, 60, 7, 1, key=f"rest-days-{key}")
            weekend = st.checkbox(_("Saturdays and Sundays as well"), key=f"weekend-{key}")
    working = WorkingHours(opens, closes, frozenset(range(7 if weekend else 5)))
    return Habits(working, int(temper), int(rest), sitting)


def _listed(appointments: Sequence[Appointment]) -> None:
    heads = (_("When"), _("What"), _("Somebody there"))
    look.put(look.table(heads, [_row(one) for one in appointments if one.kind != "rest"], "words"))


def _row(one: Appointment) -> tuple[str, str, str]:
    when = appointment(one.starts).replace(
        " ", "\N{NO-BREAK SPACE}", 2
    )  # on a phone the time alone takes a second line
    return when, _what(one), _("nobody there") if one.outside else _("yes")


def _what(one: Appointment) -> str:
    if one.kind == "pull":
        return _("pull at {hours} h").format(hours=as_hours(one.hours or 0.0))
    if one.kind == "start":
        return _("hour zero")
    if one.kind == "temper":
        return _("temper and mould all pulls for tasting {n}").format(n=one.number)
    return _("tasting {n}").format(n=one.number)


def _better(plan: Plan, start: datetime, habits: Habits, outside: Sequence[Appointment], key: str) -> Plan:
    """How much falls outside working hours, and another hour zero to take where that helps."""
    if not outside:
        look.put(look.text(_("Everything falls into working hours.")))
        return plan
    now = ngettext("{n} time falls when nobody is there.", "{n} times fall when nobody is there.", len(outside))
    told = now.format(n=len(outside))
    better = pull_calendar.propose_start(plan, start, habits.working)
    moved = pull_calendar.moved_to(plan, better.starts)
    if better.outside >= sum(one.kind in ("pull", "start") for one in outside):
        none = _("{now} No start in the week after has fewer: ask somebody to stay, or choose other pulls.")
        look.put(look.text(none.format(now=told)))
        return plan
    look.put(look.text(_("{now} {then}").format(now=told, then=_then(moved, better.starts, habits))))
    take = _("Begin on {when} instead").format(when=appointment(better.starts))
    return moved if st.button(take, key=f"take-start-{key}") else plan


def _then(moved: Plan, start: datetime, habits: Habits) -> str:
    """What another hour zero would change."""
    found = pull_calendar.calendar(moved, start, habits)
    tasting = next(one.starts for one in found.appointments if one.kind == "sitting")
    told = ngettext(
        "With hour zero on {when} it would be {n} time; the last pull is then taken on {pull}, the first tasting is on "
        "{tasting}.",
        "With hour zero on {when} it would be {n} times; the last pull is then taken on {pull}, the first tasting is "
        "on {tasting}.",
        len(found.outside),
    )
    last = max(one.starts for one in found.appointments if one.kind == "pull")
    return told.format(
        when=appointment(start), n=len(found.outside), pull=appointment(last), tasting=appointment(tasting)
    )


def _age(days: int) -> str:
    return ngettext(
        "All pulls are tempered together for each sitting, so that every piece is {n} day old when it is tasted.",
        "All pulls are tempered together for each sitting, so that every piece is {n} days old when it is tasted.",
        days,
    ).format(n=days)


# ---- mass ----------------------------------------------------------------------------------------------------------
def _load(plan: Plan, key: str) -> float | None:
    """The mass in the conche, against which the pulls are held."""
    kilos = st.number_input(
        _("Mass in the conche, kg"),
        0.1, 100000.0, plan.load_g / 1000 if plan.load_g else None, 1.0, format="%.1f", key=f"load-{key}",
    )  # fmt: skip
    plan = replace(plan, load_g=1000 * kilos if kilos else None)
    share, caution = pull_calendar.share_pulled(plan), pull_calendar.too_much(plan)
    if caution is not None:
        look.put(look.caution(caution))
    elif share is not None:
        look.put(look.quiet(_("All pulls together take {n} of 100 g of the load.").format(n=f"{100 * share:.1f}")))
    return plan.load_g


def _quantities(plan: Plan) -> None:
    """Grams to take at each pull, known before the run starts."""
    needed = pull_calendar.quantities(plan)
    heads = (_("Take at"), _("pieces"), _("warm-up"), _("spare"), _("at least"))
    look.put(
        look.title(_("Grams to take at each pull"), 3),
        look.table(
            heads,
            [
                (
                    _("{hours} h").format(hours=as_hours(one.hours)),
                    str(one.cups),
                    str(one.warm_up),
                    str(one.spare),
                    _("{n} g").format(n=one.grams),
                )
                for one in needed
            ],
        ),
        look.quiet(_("For all sealed looks, with 50 g for instruments and 50 g kept back, rounded up.")),
    )
    short = [
        one for one in needed for pull in plan.pulls if pull.hours == one.hours and (pull.mass_g or 1e9) < one.grams
    ]
    if short:
        told = _("Careful: {planned} g are planned at {hours} h, and {grams} g are needed.")
        mass = next(pull.mass_g for pull in plan.pulls if pull.hours == short[0].hours) or 0.0
        look.put(look.caution(told.format(planned=f"{mass:g}", hours=as_hours(short[0].hours), grams=short[0].grams)))
