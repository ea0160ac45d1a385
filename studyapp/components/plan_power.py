"""What a plan can show: the chance of each verdict, before anybody has tasted."""

from __future__ import annotations

from collections.abc import Sequence

from studyapp.components import look
from studyapp.findings import hours as as_hours
from studyapp.records import Plan, PlanPower, Problem
from studyapp.words import _

_NEEDED = {
    "pulls",
    "attributes",
    "assessors",
    "sittings",
    "next_sittings",
    "replicates",
    "looks",
    "alpha",
    "control",
    "palate",
}


def can_be_tried(plan: Plan, problems: Sequence[Problem]) -> bool:
    """Whether the parts that the chances rest on are there."""
    return bool(plan.pulls) and not any(problem.blocks and problem.where in _NEEDED for problem in problems)


def design(plan: Plan) -> tuple[object, ...]:
    """All of a plan that its chances depend on."""
    rules = tuple((line.wanted, line.margin, line.limit) for line in plan.attributes if line.decides)
    pulls = tuple(pull.hours for pull in plan.pulls)
    counts = (len(plan.assessors), plan.sittings, plan.next_sittings, plan.replicates, plan.looks, plan.palate)
    return (rules, pulls, plan.control, plan.alpha, counts)


def not_yet() -> None:
    """What is still missing for an answer."""
    look.put(
        look.title(_("What this plan can show"), 2),
        look.text(_("Comes once there are two pulls, one deciding attribute and five assessors.")),
    )


def draw(power: PlanPower) -> None:
    """The chances in 100 as bars, and what more people or sittings would change."""
    hours = as_hours(power.enough_hours)
    other = power.conche_longer + power.no_hour_fits
    bars = [
        look.bar(_("stop at {hours} h or earlier").format(hours=hours), _in_100(power.stop_by), power.stop_by),
        look.bar(
            _("stop, but later than {hours} h").format(hours=hours),
            _in_100(power.stop_later),
            power.stop_later,
            "later",
        ),
        look.bar(_("cannot tell"), _in_100(power.cannot_tell), power.cannot_tell, "open"),
    ]
    if round(other * 100):
        bars.append(look.bar(_("another answer"), _in_100(other), other, "open"))
    look.put(
        look.title(_("What this plan can show"), 2),
        look.text(_("If {hours} h is truly enough:").format(hours=hours)),
        *bars,
        look.text(_changed(power), "small"),
        look.text(_assumed(power), "small"),
    )


def _in_100(share: float) -> str:
    return _("{n} in 100").format(n=round(share * 100))


def _changed(power: PlanPower) -> str:
    return _("Two more people would make {now} into {people}; one more sitting, {sittings}.").format(
        now=round(power.stop_by * 100),
        people=round(power.two_more_people * 100),
        sittings=round(power.one_more_sitting * 100),
    )


def _assumed(power: PlanPower) -> str:
    return _("From {studies} invented studies with an ordinary spread of scores; your own panel may differ.").format(
        studies=f"{power.studies:,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
    )
