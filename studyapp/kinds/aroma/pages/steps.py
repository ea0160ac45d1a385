"""The steps in which a study of an aroma is planned, and what is in each of them in a line."""

from __future__ import annotations

from studyapp.components.moments import appointment
from studyapp.components.plan_steps import Step
from studyapp.findings import hours as plain_number
from studyapp.kinds.aroma.findings.plans import aim_name
from studyapp.kinds.aroma.plan import AromaPlan
from studyapp.kinds.aroma.rule import run_calendar
from studyapp.methods import METHODS
from studyapp.words import _, ngettext


def of(plan: AromaPlan) -> tuple[Step, ...]:
    """Question, cups, people, test and day, in the order of the page."""
    cups = {"botanical", "process", "doses", "batches", "reference", "blank"}
    people = {"assessors", "contains", "traces", "safe_food_by", "piece_g", "rest_seconds", "most_g_a_day"}
    test = {"method", "trials_each", "sets_a_sitting", "sittings", "pd_limit", "alpha", "beta", "share", "cap"}
    return (
        Step(_("The question"), frozenset({"question", "note"}), _question(plan)),
        Step(_("What is in the cups"), frozenset(cups), _cups(plan)),
        Step(_("Who tastes, and what they must know"), frozenset(people), _people(plan)),
        Step(_("The test: how many, and how sure"), frozenset(test | {"sequential", "control"}), _test(plan)),
        Step(_("When"), frozenset({"calendar"}), _day(plan), needed=False),
    )


def empty(plan: AromaPlan) -> set[str]:
    """The fields that nobody has filled: no mistake yet."""
    filled = {
        "question": plan.question,
        "note": plan.note,
        "botanical": plan.botanical.lot,
        "process": plan.process,
        "reference": plan.reference,
        "doses": plan.doses,
        "batches": plan.batches,
        "assessors": plan.assessors,
        "contains": plan.contains,
        "safe_food_by": plan.safe_food_by,
        "control": plan.control and plan.control.holds,
    }
    return {place for place, value in filled.items() if not value}


def _question(plan: AromaPlan) -> str:
    return aim_name(plan.aim) if plan.question else ""


def _cups(plan: AromaPlan) -> str:
    plant = plan.botanical.name
    if not plan.doses or not plant:
        return plant
    unit = {"min": _("min"), "g": _("g per kg")}[plan.dose_unit]
    doses = ", ".join(plain_number(dose) for dose in plan.doses)
    return _("{plant}; {doses} {unit}").format(plant=plant, doses=doses, unit=unit)


def _people(plan: AromaPlan) -> str:
    if not plan.assessors:
        return ""
    people = ngettext("{n} person", "{n} people", len(plan.assessors)).format(n=len(plan.assessors))
    return _("{people}; contains {contains}").format(people=people, contains=plan.contains) if plan.contains else people


def _test(plan: AromaPlan) -> str:
    if not plan.assessors:
        return ""
    return _("{test}, {sets} of each person, {sittings}").format(
        test=METHODS[plan.method].title(),
        sets=ngettext("{n} set", "{n} sets", plan.trials_each).format(n=plan.trials_each),
        sittings=ngettext("{n} sitting", "{n} sittings", plan.sittings).format(n=plan.sittings),
    )


def _day(plan: AromaPlan) -> str:
    start = run_calendar.start_of(plan)
    return _("infusing {when}").format(when=appointment(start)) if start is not None else ""
