"""What a plan of a comparison can show before anybody has tasted, and what other numbers of people would change."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.kinds.comparison.plan import ComparisonPlan
from studyapp.kinds.comparison.rule import rule_of
from studyapp.records import Chance

if TYPE_CHECKING:
    from analysis.comparing.chances import MakeDesign, MakeTruth, Outcomes

STUDIES = 4000
PEOPLE = (6, 8, 12)
# What a batch does to a note where nobody has measured it, scale units; in the middle of what the rule was tried with.
BATCH = 0.3
# By how much a make is truly better where "better" is claimed, in margins.
BETTER = 1.5


@dataclass(frozen=True, slots=True)
class PlanPower:
    """Chances that every make is shown if the claims hold: `own` of this plan, with the chance to be shown not good
    enough; `people` for other numbers of assessors; `batches`, of one to four batches a make (one: of these alone).
    None before any such study was tried; `done` of `wanted` are."""

    own: Chance
    not_good: Chance
    people: dict[int, Chance]
    batches: dict[int, Chance]
    done: int
    wanted: int


def more_and_more(plan: ComparisonPlan, seed: int = 1, studies: int = STUDIES) -> Iterator[PlanPower]:
    """Chances of each verdict while designs are tried, the plan's own first."""
    from analysis.comparing.chances import outcomes

    rule, truths = replace(rule_of(plan, plan.looks), look=1), truths_of(plan)
    own = outcomes(rule, truths, design_of(plan), studies, seed)
    power = PlanPower(Chance(own.all_shown, studies), Chance(_not_good(own), studies), {}, {}, 1, 1 + len(PEOPLE) + 3)
    yield power
    for people in PEOPLE:
        found = outcomes(rule, truths, replace(design_of(plan), assessors=people), studies, seed)
        power = replace(power, people=power.people | {people: Chance(found.all_shown, studies)}, done=power.done + 1)
        yield power
    for batches in (1, 3, 4):
        other = over(plan, batches)
        found = outcomes(rule_of(other, 1), truths_of(other), design_of(other), studies, seed)
        power = replace(power, batches=power.batches | {batches: Chance(found.all_shown, studies)}, done=power.done + 1)
        yield power


def _not_good(found: Outcomes) -> float:
    return max(found.chance(make, "not good enough") for make in range(len(found.shares)))


def truths_of(plan: ComparisonPlan) -> dict[str, MakeTruth]:
    """If the claims hold: makes that are alike, or better by half as much again as the margin where that is claimed."""
    from analysis.comparing.chances import MakeTruth

    return {
        line.name: MakeTruth(
            (-BETTER * (line.margin or 0) if plan.claim_of(line.name) == "better" else 0.0,) * len(plan.judged),
            batch=BATCH if plan.scope == "make" else 0.0,
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
