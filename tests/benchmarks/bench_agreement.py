"""Does the planner end every study as `decide` and the price of an answer do? Random studies, decided four ways.

Run `python tests/benchmarks/bench_agreement.py [SEED] [STUDIES] [EVERY]`: the planner's batch beside one judge for each
study, `decide` on the same scores as a table for every so-manieth, and there the price, which offers something
after `cannot tell` alone. Gaps, blocks, trays, several limits, notes that fade. Prints how many differ: none should.
"""

from __future__ import annotations

import os
import sys
from collections import Counter
from collections.abc import Mapping

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.design import blocks
from analysis.model.scores import Scores, cells_of
from analysis.planning import price
from analysis.planning.alike import alike
from analysis.planning.look_batches import look_at
from analysis.planning.simulation import Design, Scenario, draw
from analysis.stopping import Rule, decide
from analysis.stopping.verdicts import CANNOT, VERDICTS, judge
from tests.analysis.test_many_studies import HOURS, invented

TOGETHER = 200
Ended = tuple[int, int]


def studies(rng: np.random.Generator) -> tuple[dict[str, NDArray[np.float64]], Rule, bool]:
    """Studies of one design and truth, attribute -> (B, assessor, pull, sitting, replicate), and their rule."""
    wishes, truths = invented(rng)
    people, served, missing = int(rng.integers(4, 12)), int(rng.integers(4, 6)), float(rng.choice([0, 0.05, 0.15]))
    trays = bool(rng.random() < 0.5)
    pattern = None
    if served < len(HOURS):
        pattern = np.array(blocks.servings(len(HOURS), served, people, 2, 1, (0, 4))).transpose(1, 2, 0)
    design = Design(people, int(rng.integers(1, 3)), first=2, pattern=pattern)
    rule = Rule(wishes, looks=2, control=0.0, adjust=("sitting:hours",) if trays else ())
    return draw(Scenario(HOURS, truths, missing=missing), design, 2, TOGETHER, rng), rule, trays


def judged(drawn: Mapping[str, NDArray[np.float64]], row: int, rule: Rule, level: float, trays: bool) -> Ended:
    """One study by itself, every limit worked out; `cannot tell` where `decide` refuses its scores."""
    cells = {name: cells_of(Scores(y[row : row + 1]), trays) for name, y in drawn.items()}
    for _rows, part in alike(cells):
        found = judge(part, rule.attributes, level)
        return int(found.verdict[0]), int(found.pull[0])
    return CANNOT, -1


def table(drawn: Mapping[str, NDArray[np.float64]], row: int) -> pd.DataFrame:
    """The scores of one study as a file would hold them."""
    parts = []
    for name, y in drawn.items():
        at = np.nonzero(np.isfinite(y[row]))
        columns = dict(zip(("assessor", "hours", "sitting", "replicate"), at, strict=True))
        parts.append(pd.DataFrame({**columns, "score": y[row][at], "attribute": name}))
    scores = pd.concat(parts, ignore_index=True)
    return scores.assign(hours=np.array(HOURS)[scores["hours"]])


def decided(scores: pd.DataFrame, rule: Rule) -> Ended:
    """By the public function."""
    try:
        found = decide(scores, rule)
    except ValueError:
        return CANNOT, -1
    return VERDICTS.index(found.verdict), -1 if found.hours is None else HOURS.index(found.hours)


def priced(scores: pd.DataFrame, rule: Rule) -> bool | None:
    """Whether a price is offered; None where the scores are refused."""
    try:
        return bool(price(scores, rule, draws=1))
    except ValueError:
        return None


def main(seed: int = 1, wanted: int = 66_000, every: int = 20) -> None:
    """Print how many studies were decided in each way, and how many differ."""
    from analysis.stopping.alpha_spending import level as level_of

    rng, count, differ = np.random.default_rng(seed), Counter[str](), Counter[str]()
    while count["batch and judge"] < wanted:
        drawn, rule, trays = studies(rng)
        level = level_of(rule.alpha, rule.looks)
        verdict, pull = look_at(drawn, None, rule, level, 0)
        for row, planned in enumerate(zip(verdict.tolist(), pull.tolist(), strict=True)):
            count["batch and judge"] += 1
            count[VERDICTS[planned[0]]] += 1
            differ["judge"] += judged(drawn, row, rule, level, trays) != planned
            if row % every == 0:
                scores = table(drawn, row)
                count["decide and price"] += 1
                differ["decide"] += decided(scores, rule) != planned
                offered = priced(scores, rule)
                differ["price"] += offered is not None and offered != (planned[0] == CANNOT)
    print(", ".join(f"{name}: {number}" for name, number in count.items()))
    print(f"differ from the batch: judge {differ['judge']}, decide {differ['decide']}, price {differ['price']}")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
