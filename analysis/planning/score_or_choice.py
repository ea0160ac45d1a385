"""Which test for "is it the same?": scores and forced choice on the same people and the same number of pieces.

Both are asked the same: a truly identical pair must pass, a pair that differs by the margin must be noticed, and must
not be called the same more often than alpha. A difference in scale units is a distance d' = difference / spread of one
mark, as the spread of one mark is the noise of one taste.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analysis.choice.forced_choice import at_least, at_most, maximum_correct, minimum_correct, people_below
from analysis.choice.psychometric import method_named, proportion_correct, to_discriminators
from analysis.model.scores import Scores, cells_of
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw
from analysis.stopping import AttributeRule
from analysis.stopping.alpha_spending import level
from analysis.stopping.verdicts import judge

SCORES = "scores"
CHUNK = 500


@dataclass(frozen=True, slots=True)
class TestChances:
    """One test of a pair: `servings` of each sample, or sets, for each assessor in all.

    `same`: chance that a truly identical pair is shown to be the same; `noticed`: chance that a pair as different as
    the margin is found to differ. `monte_carlo_se`: of the worse known of both, 0 where they are exact.
    """

    test: str
    servings: int
    same: float
    noticed: float
    monte_carlo_se: float


def compare(
    truth: AttributeTruth,
    margin: float,
    assessors: int,
    palate: int,
    sittings: int,
    alpha: float,
    cups: Mapping[str, int],
    studies: int = 2000,
    seed: int = 1,
) -> tuple[TestChances, ...]:
    """The scores of a pair first, then each forced-choice test that fits the palate.

    Args:
        truth: spreads of the scores; its means are not used.
        margin: largest difference still acceptable, scale units.
        assessors: how many people taste.
        palate: pieces of one assessor in a sitting, two or more.
        sittings: how many sittings, all before the verdict.
        alpha: one-sided error of every claim.
        cups: cups in a set of each forced-choice test to hold beside, by its name.
        studies: simulated for the scores; forced choice is exact.
        seed: of the simulation.

    Raises:
        ValueError: palate below 2, margin or spread of one mark not above 0, or an unknown method.
    """
    if palate < 2:
        raise ValueError(f"palate must be 2 or more, got {palate}")
    if margin <= 0 or truth.error <= 0:
        raise ValueError(f"margin and error must be above 0, got {margin} and {truth.error}")
    found = [_scores(truth, margin, assessors, palate // 2, sittings, alpha, studies, seed)]
    for method, in_a_set in cups.items():
        sets = palate // in_a_set * sittings
        if sets:
            found.append(_choice(method, margin / truth.error, assessors, sets, alpha))
    return tuple(found)


def _scores(
    truth: AttributeTruth,
    margin: float,
    assessors: int,
    each: int,
    sittings: int,
    alpha: float,
    studies: int,
    seed: int,
) -> TestChances:
    """The same rule as for hours, with two samples: within the margin, and told from the reference."""
    rng = np.random.default_rng(seed)
    centre, hours, one = 5.0, (0.0, 1.0), level(alpha, 1)
    counts = []
    for difference in (0.0, margin):
        spreads = AttributeTruth(
            (centre + difference, centre), truth.assessor, truth.interaction, truth.error, truth.scale_use,
            None, truth.rounded, truth.sitting,
        )  # fmt: skip
        scenario, passed = Scenario(hours, {SCORES: spreads}), 0
        for start in range(0, studies, CHUNK):
            size = min(CHUNK, studies - start)
            y = draw(scenario, Design(assessors, each, sittings), sittings, size, rng)[SCORES]
            judged = judge({SCORES: cells_of(Scores(y))}, {SCORES: AttributeRule("lower", margin)}, one)
            passed += int((judged.control_found if difference else judged.passes[:, 0]).sum())
        counts.append(passed / studies)
    same, noticed = counts
    error = max(float(np.sqrt(p * (1 - p) / studies)) for p in counts)
    return TestChances(SCORES, each * sittings, same, noticed, error)


def _choice(method: str, distance: float, assessors: int, sets: int, alpha: float) -> TestChances:
    """Exact chances; "the same" speaks for people like these, below the share of detections that `distance` makes."""
    chance, each = method_named(method).chance, (sets,) * assessors
    right = float(proportion_correct(method, distance))
    mark = minimum_correct(sum(each), chance, alpha)
    most = maximum_correct(people_below(each, chance, to_discriminators(method, right)), sum(each), alpha)
    noticed = 0.0 if mark is None else at_least(mark, sum(each), right)
    same = 0.0 if most is None else at_most(most, sum(each), chance)
    return TestChances(method, sets, same, noticed, 0.0)
