"""How often habit stops too early: the figures behind the README's sentence.

Run `python tests/benchmarks/bench_habits.py [studies]`. Eight assessors, two replicates, pulls 0, 4, 8, 12, 16, 24 h,
first-order change from 7 to 3.5 on a 0 to 10 scale, margin 1, one look at one-sided 5 %. A stop is too early when the
pull it names is truly worse than the longest by the margin or more.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from analysis.planning.operating_characteristics import operating_characteristics
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Rule
from analysis.stopping.describe import habit_rules

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
TAUS = (3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
MARGIN = 1.0
DESIGN = Design(assessors=8, replicates=2)


@dataclass(frozen=True, slots=True)
class Row:
    """Shares of studies that stop too early, and the largest Monte Carlo error of a share."""

    tau: float
    next_pull: float
    tukey: float
    sealed_rule: float
    monte_carlo_se: float


def run(studies: int = 4000, seed: int = 3) -> list[Row]:
    """One row a time constant."""
    return [_row(tau, studies, seed) for tau in TAUS]


def _row(tau: float, studies: int, seed: int) -> Row:
    mean = first_order(HOURS, 7.0, 3.5, tau)
    worse = np.array(mean) - mean[-1]
    scenario = Scenario(HOURS, {"acidity": AttributeTruth(mean)})
    cells = draw(scenario, DESIGN, 1, studies, np.random.default_rng(seed))["acidity"].mean(axis=(3, 4))
    early = [float(((at >= 0) & (worse[at] >= MARGIN)).mean()) for at in habit_rules(cells)]
    rule = Rule({"acidity": AttributeRule("lower", MARGIN)})
    ours = operating_characteristics(scenario, rule, DESIGN, studies, seed).too_early
    return Row(tau, early[0], early[1], ours, 0.5 / np.sqrt(studies))


def main(studies: int = 4000) -> None:
    """Print the table."""
    print("too early, in 100 studies next pull     Tukey      rule   Monte Carlo error")
    for row in run(studies):
        shares = "".join(f"{100 * share:10.1f}" for share in (row.next_pull, row.tukey, row.sealed_rule))
        print(f"time constant {row.tau:4.0f} h   {shares}   {100 * row.monte_carlo_se:12.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
