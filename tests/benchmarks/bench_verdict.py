"""What a verdict costs: 12 assessors x 6 pulls x 3 replicates x 6 attributes, as ratios in one run.

Run `python tests/benchmarks/bench_verdict.py`, or with a number of studies (15). One BLAS thread.

- *verdict*: `decide` from tidy scores to verdict, tables and warnings, warm, on that many drawn studies, complete ones
  (whose fits have a closed form) and ones with 5 % of the scores missing (which have none), beside one fit of
  statsmodels to one of the six attributes, its model already built, with its best single optimiser (`other_fits`). The
  two do different work: the row tells whether a whole verdict is to be had in the time of one fit elsewhere.
- *whole process*, processor time: `studyapp decide` on every invented study, from process start, beside a bare
  interpreter that imports pandas. Files and bytecode are in the system's memory for both; the first run after
  a reboot is slower.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from itertools import count, islice
from pathlib import Path
from statistics import median

import numpy as np
import pandas as pd
from other_fits import best_fit, hours_models
from turns import HEAD, Row, Work, beside, of_processes

from analysis.model import mixed
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Rule, decide

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
NAMES = ("acidity", "bitterness", "astringency", "smoke", "cacao", "nutty")
RULE = Rule(dict.fromkeys(NAMES, AttributeRule("lower", 1.0)))
DEMO = Path(__file__).parents[2] / "demo_panels" / "hours"
PROCESS_RUNS = 3


def scores(missing: float, seed: int) -> pd.DataFrame:
    """A simulated study in tidy form."""
    rng = np.random.default_rng(seed)
    truth = AttributeTruth(first_order(HOURS, 7.0, 3.5, 6.0))
    drawn = draw(Scenario(HOURS, dict.fromkeys(NAMES, truth)), Design(12, 3), 1, 1, rng)
    rows = [
        (f"A{i}", HOURS[j], name, y[0, i, j, 0, k], k + 1)
        for name, y in drawn.items()
        for i in range(12)
        for j in range(6)
        for k in range(3)
    ]
    frame = pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "score", "replicate"])
    return frame[rng.random(len(frame)) >= missing].reset_index(drop=True)


def verdicts(sets: int) -> Iterator[Row]:
    """Whole verdicts beside one fit of one attribute."""
    for label, missing in (("complete", 0.0), ("5 % missing", 0.05)):
        yield beside(f"verdict, six attributes, {label}", "statsmodels, one fit", list(islice(_pairs(missing), sets)))


def _pairs(missing: float) -> Iterator[tuple[Work, Work]]:
    for seed in count():
        data = scores(missing, seed)
        one = data[data["attribute"] == NAMES[0]]
        best = best_fit(hours_models(one), mixed.fit(one, "score", ["hours"], ["assessor", "assessor:hours"]).loglik)
        if best is not None:
            yield best[0], partial(decide, data, RULE)


def processes() -> Row:
    """`studyapp decide` on every invented study, each beside importing pandas, by turns."""
    command = str(Path(sys.executable).with_name("studyapp"))
    pandas, ours = [], []
    for folder in sorted(DEMO.iterdir()):
        work = [command, "decide", str(folder / "scores.csv"), "--rule", str(folder / "RULE.toml"), "--json"]
        turns = [(_spent([sys.executable, "-c", "import pandas"]), _spent(work)) for _ in range(PROCESS_RUNS)]
        pandas.append(median(bare for bare, _ in turns))
        ours.append(median(whole for _, whole in turns))
    return Row("studyapp decide, whole process", "python -c 'import pandas'", tuple(pandas), tuple(ours))


def _spent(command: list[str]) -> float:
    """Milliseconds of processor time of one process."""
    start = of_processes()
    subprocess.run(command, check=True, capture_output=True)
    return 1000 * (of_processes() - start)


def main(sets: int) -> None:
    """Print the table."""
    print(HEAD)
    for row in verdicts(sets):
        print(row, flush=True)
    print(processes())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
