"""When what is to be done: pulls on the workshop's clock, what falls at night, tempering, sittings, and grams."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from functools import partial

import streamlit as st

from studyapp import calendars
from studyapp.calendars import Appointment, Calendar
from studyapp.components import acts, calendar, look
from studyapp.components.moments import appointment
from studyapp.components.plan_problems import beside
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours import rule
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.kinds.hours.rule import run_calendar
from studyapp.kinds.hours.rule.batches import of_one
from studyapp.words import _, ngettext


def draw(plan: HoursPlan, key: str, before: datetime | None) -> HoursPlan:
    """The calendar of a draft; the plan with the load and the habits typed here, and with another hour zero once that
    was taken.

    `before`: the hour zero that the present one was taken instead of, or None.
    """
    if plan.starts_at and plan.pulls:
        plan = replace(plan, habits=calendar.habits(plan.habits, key))
        unfit = [problem for problem in rule.problems(plan) if problem.where == "calendar"]
        beside(unfit, "calendar")
        plan = plan if unfit else _times(plan, key, before)
    elif plan.several:
        look.put(look.quiet(_("Each batch begins at its own time; note its hour zero on the page of its pulls.")))
    else:
        look.put(look.quiet(_("The calendar comes once the pulls and the time of hour zero are written.")))
    plan = replace(plan, load_g=_load(plan, key))
    if plan.pulls and plan.assessors:
        _quantities(plan)
    return plan


def sealed(study: HoursStudy) -> None:
    """The times of a sealed study whose start is planned, and the file of them."""
    if study.plan.starts_at is None:
        return
    with st.container(key="card-calendar"), acts.refusals():
        look.put(look.title(_("When"), 2))
        _listed(run_calendar.of_study(study), max(1, study.look))
        calendar.link(study.id)


# ---- times ---------------------------------------------------------------------------------------------------------
def _times(plan: HoursPlan, key: str, before: datetime | None) -> HoursPlan:
    """The list of what is to be done, and a start that suits working hours better where there is one."""
    found = run_calendar.calendar(plan)
    _listed(found, 1)
    if before is not None:
        look.put(
            look.chip("disc", _("Hour zero was moved here from {when}.").format(when=appointment(before)), "patina")
        )
    plan = _better(plan, found.outside, key)
    calendar.link(key)
    return plan


def _listed(run: Calendar, reached: int) -> None:
    """What is to be done up to the look that is reached, then what may have to be done for each later one."""
    shown = [one for one in run.appointments if one.kind != "rest"]
    words = partial(_what, run=run)
    look.put(calendar.rows([one for one in shown if one.look <= reached], words), look.quiet(_age(run.age.days)))
    later = sorted({one.look for one in shown if one.look > reached})
    told = _("Opening {n}, only if the verdict before cannot tell; at the earliest")
    for number in later:
        look.put(
            look.title(told.format(n=number), 2, "small"),
            calendar.rows([one for one in shown if one.look == number], words),
        )
    if later:
        look.put(look.quiet(run_calendar.keep_alike()))


def _what(one: Appointment, run: Calendar) -> str:
    if one.kind == "pull":
        return look.strong(_("pull at {hours} h").format(hours=as_hours(one.level or 0.0)))
    if one.kind == "start":
        return look.strong(_("hour zero"))
    if one.kind == "temper":
        return look.plain(calendars.in_words(one)[0])
    tasting = look.strong(calendars.in_words(one)[0])
    if one.look == 1 or one.number is None:
        return tasting
    return tasting + look.text(run_calendar.mass_older(run.mass_older(one.number)), "small")


def _better(plan: HoursPlan, outside: Sequence[Appointment], key: str) -> HoursPlan:
    """How much falls outside working hours, and another hour zero to take where that helps."""
    if not outside:
        look.put(look.text(_("Everything falls into working hours.")))
        return plan
    now = ngettext("{n} time falls when nobody is there.", "{n} times fall when nobody is there.", len(outside))
    told = now.format(n=len(outside))
    better = run_calendar.propose_start(plan)
    moved = run_calendar.moved_to(plan, better.starts)
    if better.outside >= sum(one.kind in ("pull", "start") for one in outside):
        none = _("{now} No start in the week after has fewer: ask somebody to stay, or choose other pulls.")
        look.put(look.text(none.format(now=told)))
        return plan
    look.put(look.text(_("{now} {then}").format(now=told, then=_then(moved, better.starts))))
    take = _("Begin on {when} instead").format(when=appointment(better.starts))
    return moved if st.button(take, key=f"take-start-{key}") else plan


def _then(moved: HoursPlan, start: datetime) -> str:
    """What another hour zero would change."""
    found = run_calendar.calendar(moved)
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
def _load(plan: HoursPlan, key: str) -> float | None:
    """The mass in the conche, against which the pulls are held."""
    kilos = st.number_input(
        _("Mass in the conche, kg"),
        0.1, 100000.0, plan.load_g / 1000 if plan.load_g else None, 1.0, format="%.1f", key=f"load-{key}",
    )  # fmt: skip
    plan = replace(plan, load_g=1000 * kilos if kilos else None)
    share, caution = run_calendar.share_pulled(plan), run_calendar.too_much(plan)
    if caution is not None:
        look.put(look.caution(caution))
    elif share is not None:
        look.put(look.quiet(_("All pulls together take {n} of 100 g of the load.").format(n=f"{100 * share:.1f}")))
    return plan.load_g


def _quantities(plan: HoursPlan) -> None:
    """Grams to take at each pull, known before the run starts."""
    needed = run_calendar.quantities(of_one(plan))
    heads = (_("Take at"), _("pieces"), _("warm-up"), _("spare"), _("at least"))
    look.put(
        look.title(_("Grams to take at each pull"), 2, "small"),
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
        look.quiet(_("For all sealed openings, with 50 g for instruments and 50 g kept back, rounded up.")),
        look.quiet(_("So much of each batch.")) if plan.several else "",
    )
    short = [
        one for one in needed for pull in plan.pulls if pull.hours == one.hours and (pull.mass_g or 1e9) < one.grams
    ]
    if short:
        told = _("Careful: {planned} g are planned at {hours} h, and {grams} g are needed.")
        mass = next(pull.mass_g for pull in plan.pulls if pull.hours == short[0].hours) or 0.0
        look.put(look.caution(told.format(planned=f"{mass:g}", hours=as_hours(short[0].hours), grams=short[0].grams)))
