"""The price of an answer: what more sittings would probably settle, by the whole rule at the level of the next looks.

Truths are drawn that the scores leave likely (`likely_truths`), new sittings from these within the palate
(`next_sittings`), and the rule judges them (`likely_ends`). What is told of the chance found so is less: rounded down
to a tenth, and no more than a half where nothing but this study tells how much its panel differs. Of studies told a
chance at least about as many settle (`tests/benchmarks/bench_price.py`), so it is printed as "at least about".
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import floor
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.planning.likely_ends import Undecided, ends
from analysis.planning.next_sittings import Anew, Course, Service, anew, share_missing, usual_designs, ways_on
from analysis.planning.pooled_spreads import INTERACTION, Strata
from analysis.stopping import fates, orders, outcome, panels
from analysis.stopping.adjusted import InForce
from analysis.stopping.confirming import as_confirmed, asked_of
from analysis.stopping.gates import Gating
from analysis.stopping.rule import Rule, check_rule
from analysis.stopping.standard_errors import fitted
from analysis.stopping.verdicts import CANNOT, VERDICTS, Judged, judge, verdicts_of

# No prior holds with every panel: one that happened to agree in its first look is taken for one that does, and of those
# told 8 of 10 six settled. So a half is the most that one study alone is told. How a panel differs is known from two
# earlier studies of eight people and six pulls (70 degrees of freedom); even then, of the few told more than seven of
# ten, seven settled.
MOST_ALONE, MOST, ENOUGH_DF = 0.5, 0.7, 60.0

Courses = Callable[[panels.Panel, Judged], list[Course]]
History = Mapping[str, Strata]


@dataclass(frozen=True, slots=True)
class Offer:
    """One way to an answer after `cannot tell`: serving `pulls` (hours), at most `replicates` times each to a person in
    a sitting, before the next look, at "all looks" that are left, of "more batches" of the recipe, or in a "new study"
    which starts from no score.

    It takes `looks` looks and `sittings` sittings at most, `mean_sittings` on average, of `people`; `pieces` is the
    most that a person tastes in one sitting, `palates` counts people times sittings, `servings` all pieces of the most
    sittings, `of_a_pull` the most of them that one pull gives.
    `chances` of each verdict in the studies drawn; `settles` is the share of them with an answer, `monte_carlo_se` its
    error. `told` is what is said of it, which is less (`price.told`).
    """

    name: Literal[
        "all pulls", "open pulls", "more replicates", "all looks", "more batches", "new study"
    ]  # fmt: skip
    pulls: tuple[float, ...]
    looks: int
    sittings: int
    mean_sittings: float
    replicates: int
    pieces: int
    palates: int
    servings: int
    chances: Mapping[str, float]
    settles: float
    monte_carlo_se: float
    told: float
    people: int
    of_a_pull: int


@dataclass(frozen=True, slots=True)
class Draws:
    """How many ends are drawn of an offer, with which seed; what earlier studies of the panel tell of its spread, by
    attribute; and what instruments read, which more sittings leave as it is."""

    number: int
    seed: int
    history: History | None
    readings: pd.DataFrame | None = None


def price(
    scores: pd.DataFrame,
    rule: Rule,
    draws: int = 2000,
    seed: int = 1,
    sealed: Service | None = None,
    history: Mapping[str, Strata] | None = None,
    readings: pd.DataFrame | None = None,
) -> tuple[Offer, ...]:
    """Ways to an answer after `cannot tell`; empty after any other verdict, and when no sealed look is left.

    Args:
        scores, rule, readings: as for `decide`.
        draws: simulated studies an offer.
        seed: of the draws; the same seed gives the same chances.
        sealed: what a plan sealed about later sittings; None: one sitting more, served as so far.
        history: sums of squares of earlier studies of this panel, by attribute (`pooled_spreads`); None: only this
            study tells how much its panel differs.
    """
    if rule.look >= rule.looks:
        return ()
    made = Draws(draws, seed, history, readings)
    return tuple(_priced(scores, rule, made, lambda panel, now: ways_on(panel, now, rule, sealed)))


def price_new_study(
    scores: pd.DataFrame,
    rule: Rule,
    draws: int = 2000,
    seed: int = 1,
    history: Mapping[str, Strata] | None = None,
    designs: Sequence[Anew] | None = None,
    readings: pd.DataFrame | None = None,
) -> Iterator[Offer]:
    """What new studies of these designs would probably say, one after another; without any, the same study anew, with
    twice as many sittings, and with two more people. The old scores shape the guess but are not counted again. Empty
    unless the verdict is `cannot tell`. Other arguments as for `price`."""

    def courses(panel: panels.Panel, _now: Judged) -> list[Course]:
        return [anew(panel, design) for design in (usual_designs(panel) if designs is None else designs)]

    return _priced(scores, rule, Draws(draws, seed, history, readings), courses)


def told(settles: float, earlier: Iterable[Strata | None]) -> float:
    """What is said of a chance.

    Args:
        settles: share of drawn studies that end in an answer.
        earlier: of each deciding attribute, what earlier studies tell of its spread.

    Returns:
        the chance rounded down to a tenth, at most .7, or .5 unless earlier studies tell enough of every attribute.
    """
    known = all(strata is not None and strata.df[INTERACTION] >= ENOUGH_DF for strata in earlier)
    tenths = floor(round(settles * 10, 9)) / 10
    return min(tenths, MOST if known else MOST_ALONE)


def can_be_priced(told: fates.Fates) -> bool:
    """Whether more sittings can be drawn: not where a sealed pull stays without passing, where no verdict is left to
    give, or where servings could not be judged, since nothing tells how those would have ended."""
    bars = told.bars
    return told.unjudged.empty and (bars is None or not (bars.any or bars.stop.any()))


def _priced(scores: pd.DataFrame, rule: Rule, draws: Draws, courses: Courses) -> Iterator[Offer]:
    """Offers after `cannot tell`, none after an answer or where orders stand in the way of one.

    Raises:
        ValueError: draws below 1, or as `decide`.
    """
    if draws.number < 1:
        raise ValueError(f"draws must be 1 or more, got {draws.number}")
    level, rule = check_rule(rule), as_confirmed(rule)
    told = fates.read(scores, rule)
    panel = panels.read(told.scored, told.rule)
    told = asked_of(panel, told, rule)
    if not can_be_priced(told):
        return
    force = InForce.of_study(panel, rule)
    gating = Gating.of(draws.readings, rule.gates, panel.hours, panels.batches_in(told.scored))
    now = judge(force.cells, rule.attributes, level, panel.control, force.fits, told.bars, gating=gating)
    if now.verdict[0] != CANNOT or orders.forbid(panel, rule) or outcome.by_taste(now, told).verdict[0] != CANNOT:
        return  # where only an instrument stands in the way, no sitting would settle it
    study = Undecided(
        {name: fitted(force.cells[name]) for name in sorted(force.cells)},
        rule.attributes,
        panel.hours,
        level,
        panel.control,
        _people(panel),
        "sitting:hours" in rule.adjust,
        share_missing(panel),
        draws.history or {},
        told.bars,
        gating,
    )
    for course in courses(panel, now):
        yield _offer(study, course, draws, panel.scope["assessors"] + course.more)


def _people(panel: panels.Panel) -> dict[str, NDArray[np.intp]]:
    """Places in the panel of the assessors who scored each attribute."""
    return {name: np.flatnonzero(own.seen.any((0, 2, 3, 4))) for name, own in panel.scores.items()}


def _offer(study: Undecided, course: Course, draws: Draws, assessors: int) -> Offer:
    """Chances of each verdict when `course` is served."""
    verdict, used = ends(study, course.looks, draws.number, draws.seed, course.name == "new study", course.more)
    chances = np.bincount(verdict, minlength=len(VERDICTS)) / draws.number
    settles = round(float(1 - chances[CANNOT]), 12)
    return Offer(
        name=course.name,
        pulls=tuple(study.hours[course.pulls].tolist()),
        looks=len(course.looks),
        sittings=course.sittings,
        mean_sittings=float(used.mean()),
        replicates=max(int(served.max()) for served in course.looks),
        pieces=course.pieces,
        palates=course.sittings * assessors,
        servings=sum(int(served.sum()) for served in course.looks),
        chances={verdict: float(chances[VERDICTS.index(verdict)]) for verdict in verdicts_of(study.bars)},
        settles=settles,
        monte_carlo_se=float(np.sqrt(settles * (1 - settles) / draws.number)),
        told=told(settles, (study.earlier.get(name) for name in study.fits)),
        people=assessors,
        of_a_pull=int(np.concatenate(course.looks).sum((0, 1)).max()),
    )
