"""How long forced-choice answers take, as ratios in one run: commands from process start, fits and tables warm.

Run `python tests/benchmarks/bench_choice.py`. Medians of alternating runs. The yardsticks are an empty interpreter and
the import of numpy, which no statistics can do without.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from statistics import median

import numpy as np

from analysis.choice_planning import panel_reach, plan_different
from analysis.forced_choice import judge_panel
from analysis.sequential import plan
from analysis.threshold import DoseAnswers, fit, fit_test, standing_apart

STUDYAPP = shutil.which("studyapp", path=os.path.dirname(sys.executable)) or "studyapp"
CHOICE = [STUDYAPP, "choice", "--method", "triangle", "--trials", "36", "--correct", "21"]
PLAN = [STUDYAPP, "plan", "choice", "--method", "triangle", "--assessors", "8", "--replicates", "4"]


def milliseconds(work: Callable[[], object]) -> float:
    """Wall time of one run."""
    start = time.perf_counter()
    work()
    return 1000 * (time.perf_counter() - start)


def medians(works: Mapping[str, Callable[[], object]], runs: int) -> dict[str, float]:
    """Median milliseconds of each piece of work, run in turn so that a busy moment falls on all of them."""
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(runs):
        for name, work in works.items():
            times[name].append(milliseconds(work))
    return {name: median(found) for name, found in times.items()}


def process(*command: str) -> Callable[[], object]:
    """A run of a command from process start, its output thrown away."""
    return lambda: subprocess.run(command, stdout=subprocess.DEVNULL, check=True)


def panel(assessors: int = 12, replicates: int = 4) -> DoseAnswers:
    """A simulated panel: six doubling doses, guess rate 1/3, threshold 20, seed 1."""
    random = np.random.default_rng(1)
    doses = 5.0 * 2.0 ** np.arange(6)
    m = np.log(20) + 0.6 * random.standard_normal((assessors, 1))
    correct = random.binomial(replicates, 1 / 3 + 0.657 / (1 + np.exp(-(np.log(doses) - m) / 0.5)))
    return DoseAnswers(tuple(map(str, range(assessors))), doses, np.full_like(correct, replicates), correct)


def tables() -> None:
    """What 6 to 12 people with 1 to 6 trials each can find and show."""
    for assessors in range(6, 13):
        for replicates in range(1, 7):
            panel_reach("triangle", assessors, replicates, 0.05)


def show(title: str, found: Mapping[str, float], yardstick: str) -> None:
    """A table: median milliseconds and how many times the yardstick."""
    print(f"\n{title}")
    for name, time_ms in found.items():
        print(f"  {name:<46}{time_ms:>10.2f} ms {time_ms / found[yardstick]:>9.1f} x")


def main() -> None:
    """Print the three tables."""
    starts = {
        "python -c pass": process(sys.executable, "-c", "pass"),
        "python -c 'import numpy'": process(sys.executable, "-c", "import numpy"),
        "studyapp choice": process(*CHOICE),
        "studyapp choice --json": process(*CHOICE, "--json"),
        "studyapp plan choice, with a panel": process(*PLAN),
    }
    show("From process start", medians(starts, 7), "python -c 'import numpy'")
    answers = panel()
    fitted = fit(answers, "three-alternative")
    fits = {
        "threshold and limits, 12 x 6 x 4": lambda: fit(answers, "three-alternative"),
        "test of fit, 999 panels": lambda: fit_test(fitted),
        "who stands apart, 12 fits": lambda: standing_apart(fitted),
    }
    show("Threshold, warm", medians(fits, 7), "threshold and limits, 12 x 6 x 4")
    plans = {
        "one test of 8 x 4": lambda: judge_panel("triangle", [4] * 8, [2] * 8),
        "trials for .05/.10/30 %": lambda: plan_different("triangle", 0.05, 0.1, 0.3),
        "sequential plan, cap 60": lambda: plan("triangle", 0.05, 0.05, 0.3, 60),
        "tables for 6-12 people x 1-6 trials": tables,
    }
    show("Planning, warm", medians(plans, 7), "one test of 8 x 4")


if __name__ == "__main__":
    main()
