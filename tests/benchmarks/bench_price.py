"""Is the price of an answer honest? Of studies told "40 %", how many does what was offered really settle?

Run `python tests/benchmarks/bench_price.py [studies [case ...]]`; 2,000 undecided studies a case by default. Each study
has a truth of its own: the course of the case, assessor:hours sd between 0 and 1. One that ends
its first look in `cannot tell` is told a price; then what was offered is served 40 times to the same people, drawn from
the truth, and judged. A chance may be told too low, but at most 5 points too high: a bin that is higher, by more than
two Monte Carlo errors, is marked.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis import blocks
from analysis.drawn_cells import cells_of_draw
from analysis.stopping import AttributeRule, Rule, check_rule, price, price_new_study
from analysis.verdicts import CANNOT, judge

Array = NDArray[np.float64]
HOURS = np.array([0.0, 4.0, 8.0, 12.0, 16.0, 24.0])
EDGES = np.array([0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
FUTURES, PARTS, CORRELATION = 40, 10, 0.3
TOO_HIGH = 0.05


# ---- what may be true ------------------------------------------------------------------------------------------------
def first_order(rng: np.random.Generator) -> Array:
    """7 to 3.5 with a time constant between 3 and 10 h."""
    return np.asarray(3.5 + 3.5 * np.exp(-HOURS / rng.uniform(3, 10)))


def slow(rng: np.random.Generator) -> Array:
    """The same with 8 to 24 h: the longest pull is often too short."""
    return np.asarray(3.5 + 3.5 * np.exp(-HOURS / rng.uniform(8, 24)))


def linear(rng: np.random.Generator) -> Array:
    """7 to 3.5 on a straight line until 8 to 20 h, then flat."""
    return np.asarray(7 - 3.5 * np.minimum(HOURS / rng.uniform(8, 20), 1))


def step(rng: np.random.Generator) -> Array:
    """1 to 4 units lost between two pulls."""
    return np.where(np.arange(6) < rng.integers(1, 6), 3.5 + rng.uniform(1, 4), 3.5)


@dataclass(frozen=True, slots=True)
class Case:
    """A kind of truth and of study. `trays`: sd of pull x sitting; `palate`: pieces a sitting where blocks are dealt;
    `offer`: which one is checked."""

    course: Callable[[np.random.Generator], Array] = first_order
    attributes: int = 1
    looks: int = 2
    assessors: int = 8
    replicates: int = 2
    first: int = 1
    trays: float = 0.0
    missing: float = 0.0
    palate: int | None = None
    limit: float | None = None
    error: float = 1.0
    offer: str = "all pulls"

    @property
    def rule(self) -> Rule:
        """The rule of the first look."""
        wishes = {f"note {number}": AttributeRule("lower", 1.0, self.limit) for number in range(self.attributes)}
        return Rule(wishes, looks=self.looks, adjust=("sitting:hours",) if self.trays else ())


CASES = {
    "first order": Case(),
    "trays, two sittings before": Case(trays=0.3, first=2),
    "trays, one sitting before": Case(trays=0.3),
    "slow": Case(slow),
    "linear then flat": Case(linear),
    "step": Case(step),
    "two attributes": Case(attributes=2),
    "three attributes": Case(attributes=3),
    "limit 4.5": Case(limit=4.5),
    "three looks, the next": Case(looks=3),
    "three looks, all left": Case(looks=3, offer="all looks"),
    "8 % missing": Case(missing=0.08),
    "blocks, 4 of 6": Case(palate=4, replicates=1),
    "6 x 1": Case(assessors=6, replicates=1),
    "12 x 2": Case(assessors=12),
    "error 0.6": Case(error=0.6),
    "error 1.5": Case(error=1.5),
    "new study": Case(looks=1, offer="new study"),
}


@dataclass(frozen=True, slots=True)
class Truth:
    """Means of every assessor at every pull (attributes, assessors, pulls, 1, 1); `sittings` are drawn from it."""

    case: Case
    cells: Array

    @classmethod
    def drawn(cls, case: Case, rng: np.random.Generator) -> Truth:
        """A truth of the case."""
        m, a = case.attributes, case.assessors
        mean = np.stack([case.course(rng) for _ in range(m)])[:, None, :]
        person = _correlated(rng, m, (a, 1))
        own = rng.uniform(0, 1, (m, 1, 1)) * _correlated(rng, m, (a, len(HOURS)))
        return cls(case, (mean + person + own)[..., None, None])

    def sittings(self, count: int, times: int, rng: np.random.Generator, before: Array | None = None) -> Array:
        """Scores (attributes, times, assessors, pulls, count, replicates), NaN where nothing was scored; blocks even
        out what was served in `before`, scores of one study in the same shape."""
        case, h = self.case, len(HOURS)
        tray = case.trays * _correlated(rng, case.attributes, (times, 1, h, count, 1))
        error = case.error * _correlated(rng, case.attributes, (times, case.assessors, h, count, case.replicates))
        y = self.cells[:, None] + tray + error
        if case.palate is not None:
            had = [] if before is None else np.isfinite(before[0, 0]).sum(3).transpose(2, 0, 1).tolist()
            seed = int(rng.integers(2**31))
            dealt = blocks.servings(h, case.palate, case.assessors, count, seed, (0, h - 1), had)
            y = np.where((np.array(dealt).transpose(1, 2, 0) > 0)[..., None], y, np.nan)
        return np.where(rng.random(y.shape[1:]) < case.missing, np.nan, y)


def _correlated(rng: np.random.Generator, attributes: int, shape: tuple[int, ...]) -> Array:
    """Standard normals (attributes, ...), correlated between attributes."""
    rho = CORRELATION if attributes > 1 else 0.0
    common, own = rng.standard_normal((1, *shape)), rng.standard_normal((attributes, *shape))
    return np.asarray(np.sqrt(rho) * common + np.sqrt(1 - rho) * own)


# ---- told and settled ------------------------------------------------------------------------------------------------
def told_and_settled(case: Case, studies: int, seed: int, draws: int = 400) -> Array:
    """(chance told, share of `FUTURES` that settled) of so many undecided studies, (studies, 2)."""
    rng = np.random.default_rng(seed)
    found: list[tuple[float, float]] = []
    while len(found) < studies:
        truth = Truth.drawn(case, rng)
        y = truth.sittings(case.first, 1, rng)
        if _verdict(case, y)[0] == CANNOT:
            found.append((_told(case, y, draws, int(rng.integers(2**31))), _settled(truth, y, rng)))
    return np.array(found)


def _told(case: Case, y: Array, draws: int, seed: int) -> float:
    """The chance told with the offer of the case."""
    ask = price_new_study if case.offer == "new study" else price
    offered = ask(_tidy(y[:, 0]), case.rule, draws=draws, seed=seed)
    return next(offer.settles for offer in offered if offer.name == case.offer)


def _settled(truth: Truth, y: Array, rng: np.random.Generator) -> float:
    """Share of drawn futures in which the rule gives an answer."""
    case = truth.case
    if case.offer == "new study":
        return float((_verdict(case, truth.sittings(case.first, FUTURES, rng)) != CANNOT).mean())
    served = np.broadcast_to(y, (len(y), FUTURES, *y.shape[2:]))
    answered = np.zeros(FUTURES, bool)
    for _look in range(case.looks - 1 if case.offer == "all looks" else 1):
        served = np.concatenate([served, truth.sittings(1, FUTURES, rng, served[:, :1])], axis=4)
        answered |= _verdict(case, served) != CANNOT
    return float(answered.mean())


def _verdict(case: Case, y: Array) -> NDArray[np.intp]:
    rule = case.rule
    cells = {name: cells_of_draw(own, bool(case.trays)) for name, own in zip(rule.attributes, y, strict=True)}
    return judge(cells, rule.attributes, check_rule(rule)).verdict


def _tidy(y: Array) -> pd.DataFrame:
    """Scores (attributes, assessors, pulls, sittings, replicates) as a table."""
    attribute, person, pull, sitting, replicate = np.indices(y.shape).reshape(5, -1)
    columns = {"assessor": person, "hours": HOURS[pull], "sitting": sitting, "replicate": replicate, "score": y.ravel()}
    names = [f"note {number}" for number in range(len(y))]
    return pd.DataFrame(columns).assign(attribute=np.array(names)[attribute]).dropna(subset=["score"])


# ---- the tables ------------------------------------------------------------------------------------------------------
def _part(name: str, studies: int, seed: int) -> Array:
    return told_and_settled(CASES[name], studies, seed)


def main(studies: int, names: list[str]) -> None:
    """Print a table a case."""
    with ProcessPoolExecutor(2) as pool:
        for name in names:
            each = -(-studies // PARTS)
            parts = pool.map(_part, [name] * PARTS, [each] * PARTS, range(7, 7 + PARTS))
            told, settled = np.concatenate(list(parts)).T
            print(f"{name}: told   studies   mean told   settled   too high by, Monte Carlo error", flush=True)
            for low, high in pairwise(EDGES):
                inside = (told >= low) & (told < high if high < 1 else told <= 1)
                if inside.sum() > 1:
                    print(_line(low, high, told[inside], settled[inside]), flush=True)


def _line(low: float, high: float, told: Array, settled: Array) -> str:
    """One bin; the Monte Carlo error is that of the mean of told less settled."""
    off = told - settled
    error = off.std(ddof=1) / np.sqrt(len(off))
    mark = "  TOO HIGH" if off.mean() > TOO_HIGH and off.mean() > TOO_HIGH + 2 * error else ""
    return (
        f"      {low:4.1f} to {high:3.1f} {len(told):9d} {told.mean():11.3f} {settled.mean():9.3f} "
        f"{off.mean():+12.3f} {error:8.3f}{mark}"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000, sys.argv[2:] or list(CASES))
