"""What a verdict costs: 12 assessors x 6 pulls x 3 replicates x 6 attributes, beside one statsmodels fit.

Run `python tests/benchmarks/bench_verdict.py`. One BLAS thread, medians of alternating runs in one process, and
`studyapp decide` on an invented study as a whole process beside a bare interpreter that imports pandas.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import subprocess
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from statistics import median

import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM

from analysis.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule, Rule, decide

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
NAMES = ("acidity", "bitterness", "astringency", "smoke", "cacao", "nutty")
DEMO = Path(__file__).parents[2] / "demo_panels" / "hours" / "stop"


def scores() -> pd.DataFrame:
    """A simulated study in tidy form."""
    truth = AttributeTruth(first_order(HOURS, 7.0, 3.5, 6.0))
    drawn = draw(Scenario(HOURS, dict.fromkeys(NAMES, truth)), Design(12, 3), 1, 1, np.random.default_rng(1))
    rows = [
        (f"A{i}", HOURS[j], name, y[0, i, j, 0, k], k + 1)
        for name, y in drawn.items()
        for i in range(12)
        for j in range(6)
        for k in range(3)
    ]
    return pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "score", "replicate"])


def timed(work: Callable[[], object]) -> float:
    """Milliseconds of one call."""
    start = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - start)


def reference_fit(data: pd.DataFrame) -> Callable[[], object]:
    """statsmodels on one attribute: assessor as group, assessor:hours as a variance component."""
    one = data[data["attribute"] == NAMES[0]]

    def fit() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            model = MixedLM.from_formula(
                "score ~ C(hours)", groups="assessor", vc_formula={"cell": "0 + C(hours)"}, re_formula="1", data=one
            )
            return model.fit(reml=True)

    return fit


def run(rounds: int = 9) -> list[tuple[str, float, str, float]]:
    """(what, median ms, beside what, median ms)."""
    data = scores()
    rule = Rule({name: AttributeRule("lower", 1.0) for name in NAMES})
    theirs = reference_fit(data)
    decide(data, rule)
    theirs()
    pairs = [(timed(lambda: decide(data, rule)), timed(theirs)) for _ in range(rounds)]
    command = [
        str(Path(sys.executable).with_name("studyapp")),
        "decide",
        str(DEMO / "scores.csv"),
        "--rule",
        str(DEMO / "RULE.toml"),
        "--json",
    ]
    bare = [sys.executable, "-c", "import pandas"]
    whole = [(timed(lambda: _quiet(command)), timed(lambda: _quiet(bare))) for _ in range(5)]
    return [
        ("verdict, six attributes", median(a for a, _ in pairs), "statsmodels, one fit", median(b for _, b in pairs)),
        (
            "studyapp decide, whole process",
            median(a for a, _ in whole),
            "python -c 'import pandas'",
            median(b for _, b in whole),
        ),
    ]


def _quiet(command: list[str]) -> None:
    subprocess.run(command, check=True, capture_output=True)


def main() -> None:
    """Print the table."""
    for name, ours, other, theirs in run():
        print(f"{name:32s} {ours:9.1f} ms   {other:28s} {theirs:9.1f} ms   ratio {theirs / ours:6.2f}")


if __name__ == "__main__":
    main()
