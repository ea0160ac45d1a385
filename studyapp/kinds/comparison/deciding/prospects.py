"""What a plan of a comparison can show before anybody has tasted, and what other numbers of people would change."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.kinds.comparison.plan import ComparisonPlan
from studyapp.kinds.comparison.rule import rule_of
from studyapp.records import Chance
from studyapp.services.spreads import ASSUMED, Spreads

if TYPE_CHECKING:
    from analysis.comparing import MakeRule
    from analysis.comparing.chances import MakeDesign, MakeTruth

STUDIES = 2000
PEOPLE = (6, 8, 12)
BATCHES = (1, 3, 4)
# What a batch does to a note where nobody has measured it, scale units; in the middle of what the rule was tried with.
BATCH = 0.3
# By how much a make is truly better where "better" is claimed, in margins.
BETTER = 1.5
# By how many margins a make is worse that ought to be found out.
BAD = 2.0


@dataclass(frozen=True, slots=True)
class Ends:
    """Chances of one design. If the claims hold: that every make is `shown`, that of some nothing can be told (`open`);
    `missed`: that a make which is `BAD` margins worse on one attribute is shown not to be good enough."""

    shown: Chance
    open: Chance
    missed: Chance


@dataclass(frozen=True, slots=True)
class PlanPower:
    """The chances of the plan's `own` design, of other numbers of `people`, and of so many `batches` a make (one: of
    these alone). `done` of the `wanted` designs are tried."""

    own: Ends
    people: dict[int, Ends]
    batches: dict[int, Ends]
    done: int
    wanted: int


def more_and_more(
    plan: ComparisonPlan, seed: int = 1, studies: int = STUDIES, spreads: Spreads = ASSUMED
) -> Iterator[PlanPower]:
    """Chances of each outcome while designs are tried, the plan's own first, with the spreads of the panel."""
    rule = replace(rule_of(plan, plan.looks), look=1)

    def tried(of: ComparisonPlan, rule: MakeRule, people: int) -> Ends:
        design = replace(design_of(of), assessors=people)
        return ends(rule, truths_of(of, spreads), design, studies, seed)

    wanted = 1 + len(PEOPLE) + len(BATCHES)
    power = PlanPower(tried(plan, rule, len(plan.assessors)), {}, {}, 1, wanted)
    yield power
    for people in PEOPLE:
        power = replace(power, people=power.people | {people: tried(plan, rule, people)}, done=power.done + 1)
        yield power
    for batches in BATCHES:
        other = over(plan, batches)
        found = tried(other, rule_of(other, 1), len(plan.assessors))
        power = replace(power, batches=power.batches | {batches: found}, done=power.done + 1)
        yield power


def ends(rule: MakeRule, truths: dict[str, MakeTruth], design: MakeDesign, studies: int, seed: int) -> Ends:
    """Chances of one design, were the `truths` so; and were the first make worse on the first attribute."""
    from analysis.comparing.chances import outcomes

    held = outcomes(rule, truths, design, studies, seed)
    name = next(iter(truths))
    worse = (BAD * rule.attributes[name].margin, *truths[name].worse[1:])
    bad = outcomes(rule, truths | {name: replace(truths[name], worse=worse)}, design, studies, seed)
    return Ends(
        Chance(held.all_shown, studies),
        Chance(held.any_open, studies),
        Chance(bad.chance(0, "not good enough"), studies),
    )


def truths_of(plan: ComparisonPlan, spreads: Spreads = ASSUMED) -> dict[str, MakeTruth]:
    """If the claims hold: makes that are alike, or better by half as much again as the margin where that is claimed."""
    from analysis.comparing.chances import MakeTruth
    from analysis.planning import AttributeTruth

    return {
        line.name: MakeTruth(
            (-BETTER * (line.margin or 0) if plan.claim_of(line.name) == "better" else 0.0,) * len(plan.judged),
            AttributeTruth((0.0, 0.0), **spreads.deviations(line.name)),
            BATCH if plan.scope == "make" else 0.0,
        )
        for line in plan.attributes
        if line.decides
    }


def design_of(plan: ComparisonPlan) -> MakeDesign:
    """Who tastes how often before the first look."""
    from analysis.comparing.chances import MakeDesign

    batches = plan.batches if plan.scope == "make" else 1
    return MakeDesign(len(plan.assessors), plan.sittings, plan.replicates, batches)


def over(plan: ComparisonPlan, batches: int) -> ComparisonPlan:
    """The same plan over so many batches, one sitting each, for the claim on the make; one: on these batches alone."""
    alone = replace(plan, batches=batches, looks=1, faster="")
    if batches == 1:
        return replace(alone, scope="these batches")
    return replace(alone, scope="make", sittings=batches)
