"""What a plan of a comparison can show before anybody has tasted, and what other numbers of people would change."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from studyapp.kinds.comparison.deciding import readings_of
from studyapp.kinds.comparison.plan import LETTERS, ComparisonPlan
from studyapp.kinds.comparison.rule import rule_of
from studyapp.records import Chance
from studyapp.services.spreads import ASSUMED, Spreads

if TYPE_CHECKING:
    from analysis.comparing import MakeRule
    from analysis.comparing.chances import Limits, MakeDesign, MakeTruth
    from analysis.planning import AttributeTruth

STUDIES = 2000
PEOPLE = (6, 8, 12)
BATCHES = (1, 3, 4)
# What a batch does to a note where nobody has measured it, scale units; in the middle of what the rule was tried with.
BATCH = 0.3
# By how much a make is truly better where "better" is claimed, in margins.
BETTER = 1.5
# Where hours are compared: how much worse a make begins than it ends, in margins; how often the time constant of A goes
# into its longest time, and that of B into that of A.
START, PARTS, FASTER = 3.5, 3.0, 3.0
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
class Time:
    """Chances where less time is claimed: of the sealed `pair`, A at `long` and B at `short` hours; and, where several
    hours are tasted, that `any` are shown, were `needed` those that A and B truly need."""

    pair: Chance
    short: float
    long: float
    any: Chance | None = None
    needed: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class PlanPower:
    """The chances of the plan's `own` design, of other numbers of `people`, and of so many `batches` a make (one: of
    these alone). `done` of the `wanted` designs are tried."""

    own: Ends
    people: dict[int, Ends]
    batches: dict[int, Ends]
    done: int
    wanted: int
    time: Time | None = None


def more_and_more(
    plan: ComparisonPlan, seed: int = 1, studies: int = STUDIES, spreads: Spreads = ASSUMED
) -> Iterator[PlanPower]:
    """Chances of each outcome while designs are tried, the plan's own first, with the spreads of the panel."""
    rule = replace(rule_of(plan, plan.looks), look=1)

    def tried(of: ComparisonPlan, rule: MakeRule, people: int) -> Ends:
        design = replace(design_of(of), assessors=people)
        return ends(rule, truths_of(of, spreads), design, studies, seed, limits_of(of, rule))

    wanted = 1 + len(PEOPLE) + len(BATCHES)
    time = time_of(plan, spreads, studies, seed)
    power = PlanPower(tried(plan, rule, len(plan.assessors)), {}, {}, 1, wanted, time)
    yield power
    for people in PEOPLE:
        power = replace(power, people=power.people | {people: tried(plan, rule, people)}, done=power.done + 1)
        yield power
    for batches in BATCHES:
        other = over(plan, batches)
        found = tried(other, rule_of(other, 1), len(plan.assessors))
        power = replace(power, batches=power.batches | {batches: found}, done=power.done + 1)
        yield power


def ends(
    rule: MakeRule,
    truths: dict[str, MakeTruth],
    design: MakeDesign,
    studies: int,
    seed: int,
    limits: Limits | None = None,
) -> Ends:
    """Chances of one design, were the `truths` so; and were the first make worse on the first attribute."""
    from analysis.comparing.chances import outcomes

    held = outcomes(rule, truths, design, studies, seed, limits=limits)
    name = next(iter(truths))
    worse = list(truths[name].worse)
    worse[len(rule.beside)] = BAD * rule.attributes[name].margin
    bad_truths = truths | {name: replace(truths[name], worse=tuple(worse))}
    bad = outcomes(rule, bad_truths, design, studies, seed, limits=limits)
    return Ends(
        Chance(held.all_shown, studies),
        Chance(held.any_open, studies),
        Chance(bad.chance(0, "not good enough"), studies),
    )


def truths_of(plan: ComparisonPlan, spreads: Spreads = ASSUMED) -> dict[str, MakeTruth]:
    """If the claims hold: makes that are alike, or better by half as much again as the margin where that is claimed."""
    from analysis.comparing.chances import MakeTruth

    if plan.pulls:
        slow, fast, _needed = courses(rule_of(plan, 1))
        return {
            name: MakeTruth((*slow[1:], *fast[:-1], 0.0), spread, control=slow[0])
            for name, spread in _spreads(plan, spreads).items()
        }
    return {
        line.name: MakeTruth(
            (-BETTER * (line.margin or 0) if plan.claim_of(line.name) == "better" else 0.0,) * len(plan.judged),
            _spreads(plan, spreads)[line.name],
            BATCH if plan.scope == "make" else 0.0,
        )
        for line in plan.attributes
        if line.decides
    }


def _spreads(plan: ComparisonPlan, spreads: Spreads) -> dict[str, AttributeTruth]:
    """Of every deciding attribute."""
    from analysis.planning import AttributeTruth

    deciding = [line.name for line in plan.attributes if line.decides]
    return {name: AttributeTruth((0.0, 0.0), **spreads.deviations(name)) for name in deciding}


def limits_of(plan: ComparisonPlan, rule: MakeRule) -> Limits | None:
    """What instruments read: what is already read, where every make was read enough, else that all limits are kept by
    far; None without limits."""
    import numpy as np

    from analysis.comparing.gates import gated
    from analysis.comparing.reading import Tasted
    from analysis.comparing.rule import check_make_rule
    from analysis.planning import usual_readings

    if not rule.gates:
        return None
    if not read_already(plan):
        return {name: usual_readings(gate, len(plan.makes)) for name, gate in rule.gates.items()}
    batches = tuple(str(number + 1) for number in range(plan.batches)) if plan.scope == "make" else ()
    there = np.ones((max(len(batches), 1), len(plan.makes)), bool)
    return gated(readings_of(plan), rule, Tasted(plan.judged, LETTERS[0], batches, there), check_make_rule(rule))


def read_already(plan: ComparisonPlan) -> bool:
    """Whether every make was read for every limit, at least once in every batch."""
    limited = [one for one in plan.alike if one.limited]
    least = plan.batches if plan.scope == "make" else 1
    return all(
        len(one.readings) >= len(plan.makes) and all(len(own) >= least for own in one.readings) for one in limited
    )


# ---- less time -------------------------------------------------------------------------------------------------------
def time_of(plan: ComparisonPlan, spreads: Spreads, studies: int, seed: int) -> Time | None:
    """Chances where less time is claimed; None where it is not."""
    import numpy as np

    from analysis.comparing.chances import hours_over_drawn

    if plan.faster:
        line = next(line for line in plan.attributes if line.name == plan.faster)
        slow = BETTER * (line.margin or 0.0)
        chance = _pair_chance(plan, (slow, 0.0), spreads, studies, seed)
        return Time(chance, plan.short_hours or 0.0, plan.long_hours or 0.0)
    if not plan.pulls:
        return None
    rule = rule_of(plan, 1)
    slow_course, fast_course, needed = courses(rule)
    over = hours_over_drawn(rule, (slow_course, fast_course), design_of(plan), studies, seed, _spreads(plan, spreads))
    long = plan.pulls[0][-1]
    short = next((h for h in plan.pulls[1] if h >= needed[1]), plan.pulls[1][-1])
    pair = replace(plan, pulls=(), faster=next(iter(rule.attributes)), short_hours=short, long_hours=long)
    worse = _left(rule, short)
    any_ = Chance(float(np.isfinite(over).mean()), studies)
    return Time(_pair_chance(pair, worse, spreads, studies, seed), short, long, any_, needed)


def _pair_chance(plan: ComparisonPlan, worse: tuple[float, float], spreads: Spreads, studies: int, seed: int) -> Chance:
    """Of a sealed pair, A and B in the short time being so much worse than A in the long one."""
    from analysis.comparing.chances import MakeTruth, less_time

    truths = {name: MakeTruth((worse[1],), own, control=worse[0]) for name, own in _spreads(plan, spreads).items()}
    rule = replace(rule_of(plan, 1), gates={})
    return Chance(less_time(rule, truths, design_of(plan), studies, seed), studies)


def courses(rule: MakeRule) -> tuple[tuple[float, ...], tuple[float, ...], tuple[float, float]]:
    """How much worse A and B are than the reference at each of their pulls, scale units, and the hours that each truly
    needs: notes that fade by first order, in B so many times as fast."""
    from analysis.comparing.bracket import order_of

    slow, fast = (
        tuple(_left(rule, rule.pulls[name].hours)[of] for name in own) for of, own in enumerate(order_of(rule))
    )
    longest, margin = rule.pulls[rule.reference].hours, _margin(rule)
    end = START * margin * math.exp(-PARTS)
    times = (longest / PARTS, longest / PARTS / FASTER)
    needed = tuple(time * math.log(START * margin / (margin + end)) for time in times)
    return slow, fast, (needed[0], needed[1])


def _left(rule: MakeRule, hours: float) -> tuple[float, float]:
    """How much worse A and B are after so many hours than the reference."""
    start, part = START * _margin(rule), PARTS * hours / rule.pulls[rule.reference].hours
    end = start * math.exp(-PARTS)
    return start * math.exp(-part) - end, start * math.exp(-part * FASTER) - end


def _margin(rule: MakeRule) -> float:
    return max(one.margin for one in rule.attributes.values())


def design_of(plan: ComparisonPlan) -> MakeDesign:
    """Who tastes how often before the first look."""
    from analysis.comparing.chances import MakeDesign

    batches = plan.batches if plan.scope == "make" else 1
    return MakeDesign(len(plan.assessors), plan.sittings, plan.replicates, batches)


def over(plan: ComparisonPlan, batches: int) -> ComparisonPlan:
    """The same plan over so many batches, one sitting each, for the claim on the make; one: on these batches alone."""
    alone = replace(plan, batches=batches, looks=1, faster="", pulls=())
    if batches == 1:
        return replace(alone, scope="these batches")
    return replace(alone, scope="make", sittings=batches)
