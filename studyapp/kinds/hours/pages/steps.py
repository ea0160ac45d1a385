"""The steps in which a study of conching hours is planned, and what is in each of them in a line."""

from __future__ import annotations

from studyapp.components.moments import appointment
from studyapp.components.plan_steps import Step, lines_said, table_said
from studyapp.findings import hours as as_hours
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule import run_calendar
from studyapp.words import _, ngettext


def of(plan: HoursPlan) -> tuple[Step, ...]:
    """Question, lines, limits, people, table and day, in the order of the page."""
    people = {"assessors", "sittings", "replicates", "looks", "next_sittings", "alpha", "palate"}
    return (
        Step(_("The question"), frozenset({"question", "batches", "pulls", "control"}), _pulls(plan)),
        Step(
            _("What is asked, and how much worse is still fine"), frozenset({"attributes"}), lines_said(plan.attributes)
        ),
        Step(_("Limits of instruments"), frozenset({"limits"}), _limits(plan), needed=False),
        Step(_("Who tastes, and how often"), frozenset(people), _people(plan)),
        Step(_("On the table"), frozenset({"piece_g", "rest_seconds", "contains", "traces"}), table_said(plan)),
        Step(_("When, and how much"), frozenset({"calendar"}), _day(plan), needed=False),
    )


def empty(plan: HoursPlan) -> set[str]:
    """The fields that nobody has filled: no mistake yet."""
    filled = {
        "question": plan.question,
        "batches": plan.batches or not plan.several,
        "pulls": plan.pulls,
        "attributes": plan.attributes,
        "assessors": plan.assessors,
        "contains": plan.contains,
    }
    return {place for place, value in filled.items() if not value}


def _pulls(plan: HoursPlan) -> str:
    if not plan.pulls:
        return ""
    return _("{hours} h").format(hours=", ".join(as_hours(pull.hours) for pull in plan.pulls))


def _limits(plan: HoursPlan) -> str:
    return ", ".join(one.name for one in plan.limits)


def _people(plan: HoursPlan) -> str:
    if not plan.assessors:
        return ""
    pieces = run_calendar.pieces_a_sitting(plan)
    return _("{people}, {sittings}, {pieces} each").format(
        people=ngettext("{n} person", "{n} people", len(plan.assessors)).format(n=len(plan.assessors)),
        sittings=ngettext("{n} sitting", "{n} sittings", plan.sittings).format(n=plan.sittings),
        pieces=ngettext("{n} piece", "{n} pieces", pieces).format(n=pieces),
    )


def _day(plan: HoursPlan) -> str:
    start = run_calendar.start_of(plan)
    return _("hour zero {when}").format(when=appointment(start)) if start is not None else ""
