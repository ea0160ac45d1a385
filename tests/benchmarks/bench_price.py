"""Is the price of an answer honest? Of studies told "40 %", how many does the next sitting really settle?

Run `python tests/benchmarks/bench_price.py [studies]`. Eight assessors, two replicates a sitting, six pulls, two sealed
looks; first-order change with a time constant between 3 and 10 h, assessor:hours sd between 0 and 1. Each study that
ends its first look in `cannot tell` is told its price, then a second sitting is drawn from the truth and judged. A flat
prior errs low, so a bin may promise less than it keeps, but at most 5 points more.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.looks import level
from analysis.planning import cells_of_draw
from analysis.stopping import AttributeRule, Rule, price
from analysis.verdicts import CANNOT, judge

Array = NDArray[np.float64]
HOURS = np.array([0.0, 4.0, 8.0, 12.0, 16.0, 24.0])
RULE = Rule({"acidity": AttributeRule("lower", 1.0)}, looks=2)
ASSESSORS, REPLICATES = 8, 2
EDGES = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])


@dataclass(frozen=True, slots=True)
class Bin:
    """Studies that were told a chance between `low` and `high`: the mean chance told, the share settled, its error."""

    low: float
    high: float
    studies: int
    told: float
    settled: float
    monte_carlo_se: float


def told_and_settled(studies: int, seed: int, draws: int = 400, trays: float = 0.0) -> Iterator[tuple[float, bool]]:
    """(chance told, settled by a second sitting) of each study that needs one; `trays` is the sd of pull x sitting."""
    rng = np.random.default_rng(seed)
    rule = RULE if trays == 0 else Rule(RULE.attributes, looks=2, adjust=("sitting:hours",))
    first = 1 if trays == 0 else 2
    for _ in range(studies):
        y = _study(rng, first + 1, trays)
        if _verdict(y[:, :, :first], trays) != CANNOT:
            continue
        offered = price(_tidy(y[:, :, :first]), rule, draws=draws, seed=int(rng.integers(2**31)))
        yield offered[0].settles, _verdict(y, trays) != CANNOT


def _study(rng: np.random.Generator, sittings: int, trays: float) -> Array:
    """Scores (assessors, pulls, sittings, replicates) of one study with a truth of its own."""
    mean = 3.5 + 3.5 * np.exp(-HOURS / rng.uniform(3, 10))
    cell = rng.uniform(0, 1) * rng.standard_normal((ASSESSORS, 6, 1, 1))
    tray = trays * rng.standard_normal((1, 6, sittings, 1))
    error = rng.standard_normal((ASSESSORS, 6, sittings, REPLICATES))
    return mean[:, None, None] + rng.standard_normal((ASSESSORS, 1, 1, 1)) + cell + tray + error


def _verdict(y: Array, trays: float) -> int:
    cells = cells_of_draw(y[None], trays > 0)
    return int(judge({"acidity": cells}, RULE.attributes, level(0.05, 2)).verdict[0])


def _tidy(y: Array) -> pd.DataFrame:
    person, pull, sitting, replicate = np.indices(y.shape).reshape(4, -1)
    columns = {"assessor": person, "hours": HOURS[pull], "sitting": sitting, "replicate": replicate, "score": y.ravel()}
    return pd.DataFrame(columns).assign(attribute="acidity")


def run(studies: int = 1000, seed: int = 7, trays: float = 0.0) -> list[Bin]:
    """Five bins of the chance told."""
    told, settled = (
        np.array(values, float) for values in zip(*told_and_settled(studies, seed, trays=trays), strict=True)
    )
    which = np.clip(np.searchsorted(EDGES, told, "right") - 1, 0, 4)
    bins = []
    for k in range(5):
        inside = which == k
        n = int(inside.sum())
        share = float(settled[inside].mean()) if n else float("nan")
        error = float(np.sqrt(share * (1 - share) / n)) if n else float("nan")
        mean = float(told[inside].mean()) if n else float("nan")
        bins.append(Bin(float(EDGES[k]), float(EDGES[k + 1]), n, mean, share, error))
    return bins


def main(studies: int = 1000) -> None:
    """Print the tables."""
    for trays in (0.0, 0.3):
        print(f"trays sd {trays:g}: told   studies   mean told   settled   Monte Carlo error")
        for one in run(studies, trays=trays):
            print(
                f"      {one.low:4.1f} to {one.high:3.1f} {one.studies:9d} {one.told:11.2f} {one.settled:9.2f} "
                f"{one.monte_carlo_se:11.2f}"
            )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
