"""What a plan can show before anybody has tasted: the whole rule on simulated studies."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from studyapp.records import SCALE_HIGH, Attribute, Plan, PlanPower
from studyapp.services.planning import rule_of

if TYPE_CHECKING:
    from analysis.planning import AttributeTruth, Design, OperatingCharacteristics

STUDIES = 1000
# How much worse the shortest pull is than the longest, and the pull that is truly enough, in margins.
START, ENOUGH = 3.5, 0.1


def what_it_can_show(plan: Plan, seed: int = 1, studies: int = STUDIES) -> PlanPower:
    """Chances of each verdict if the middle pull is enough, and what two more people or one more sitting change.

    The spread of scores is assumed (assessors 1.0, their reading of a pull 0.5, a single mark 1.0 units) and said to be.
    """
    hours = tuple(sorted(pull.hours for pull in plan.pulls))
    enough = hours[len(hours) // 2] if len(hours) > 2 else hours[0]
    now = _chances(plan, hours, enough, seed, studies)
    people = _chances(replace(plan, assessors=(*plan.assessors, "+1", "+2")), hours, enough, seed, studies)
    sittings = _chances(replace(plan, sittings=plan.sittings + 1), hours, enough, seed, studies)
    stop_by = now.stop_by(enough)
    return PlanPower(
        enough_hours=enough,
        stop_by=stop_by,
        stop_later=sum(now.stop.values()) - stop_by,
        conche_longer=now.conche_longer,
        no_hour_fits=now.no_hour_fits,
        cannot_tell=now.cannot_tell,
        two_more_people=people.stop_by(enough),
        one_more_sitting=sittings.stop_by(enough),
        monte_carlo_se=now.monte_carlo_se,
        studies=studies,
        mean_looks=now.mean_looks,
    )


def _chances(plan: Plan, hours: tuple[float, ...], enough: float, seed: int, studies: int) -> OperatingCharacteristics:
    """Operating characteristics of the plan's own design and rule."""
    from analysis.planning import Scenario, operating_characteristics

    truths = {line.name: _truth(line, hours, enough) for line in plan.attributes if line.decides}
    rule = replace(rule_of(plan, plan.looks), look=1)
    return operating_characteristics(Scenario(hours, truths), rule, _design(plan), studies, seed)


def _design(plan: Plan) -> Design:
    from analysis.planning import Design

    return Design(len(plan.assessors), plan.replicates, plan.sittings, plan.next_sittings)


def _truth(line: Attribute, hours: tuple[float, ...], enough: float) -> AttributeTruth:
    """A change that slows down and is nearly over at the pull that is enough, well inside any limit."""
    from math import exp, log

    from analysis.planning import AttributeTruth

    margin = float(line.margin or 1.0)
    rate = log(START / ENOUGH) / max(enough - hours[0], 1e-9)
    worse = [START * margin * exp(-rate * (h - hours[0])) for h in hours]
    sign = -1.0 if line.wanted == "higher" else 1.0
    plateau = 3.5 if line.wanted == "lower" else SCALE_HIGH - 3.5
    if line.limit is not None:
        plateau = line.limit - sign * 1.5 * margin
    return AttributeTruth(tuple(plateau + sign * w for w in worse))
