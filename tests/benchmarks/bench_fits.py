"""How fast the fits are, as ratios in one run: statsmodels' mixed model beside ours, drawing beside judging.

Run `python tests/benchmarks/bench_fits.py`. One BLAS thread, medians of alternating runs, 5 % of the scores missing
unless said otherwise. lme4 is not among the tools of this project, so it is not measured here.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median

import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM

from analysis import mixed
from analysis.drawn_cells import cells_of_draw
from analysis.simulation import AttributeTruth, Design, Scenario, draw, first_order
from analysis.stopping import AttributeRule
from analysis.verdicts import judge

PANEL = ["assessor", "assessor:hours"]
HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the table: what was compared, the median milliseconds of each, and their ratio."""

    name: str
    other: str
    other_ms: float
    ours_ms: float

    @property
    def ratio(self) -> float:
        """How many times longer the other takes."""
        return self.other_ms / self.ours_ms


def study(assessors: int, pulls: int, replicates: int, missing: float = 0.05, seed: int = 1) -> pd.DataFrame:
    """One attribute of a study, a row a score, with position and sitting."""
    rng = np.random.default_rng(seed)
    at = np.indices((assessors, pulls, replicates)).reshape(3, -1)
    score = (
        rng.normal(0, 1, assessors)[at[0]]
        + rng.normal(0, 0.5, (assessors, pulls))[at[0], at[1]]
        + rng.normal(0, 1, at.shape[1])
        + 4
        + 3 * np.exp(-at[1])
    )
    frame = pd.DataFrame({"assessor": at[0], "hours": at[1] * 4, "sitting": at[2], "score": score})
    frame["assessor"] = "A" + frame["assessor"].astype(str)
    order = frame.assign(key=rng.random(len(frame))).groupby(["assessor", "sitting"])["key"]
    frame["position"] = order.rank().astype(int)
    return frame[rng.random(len(frame)) >= missing].reset_index(drop=True)


def alternating(
    other: Callable[[], object], ours: Callable[[], object], rounds: int, repeat: int
) -> tuple[float, float]:
    """Median milliseconds of both, run by turns; ours `repeat` times a turn."""
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(rounds):
        for which, call, number in ((0, other, 1), (1, ours, repeat)):
            start = time.process_time()
            for _ in range(number):
                call()
            times[which].append((time.process_time() - start) / number * 1e3)
    return median(times[0]), median(times[1])


def statsmodels_fit(frame: pd.DataFrame) -> Callable[[], object]:
    """The same model in the layout statsmodels is fastest with: assessors as groups, cells as a component."""
    model = MixedLM.from_formula(
        "score ~ C(hours)", frame, groups="assessor", re_formula="1", vc_formula={"cell": "0 + C(hours)"}
    )
    return lambda: model.fit(reml=True)


def statsmodels_from_frame(frame: pd.DataFrame) -> Callable[[], object]:
    """The same from the frame on, the way a user calls it."""
    return lambda: statsmodels_fit(frame)()


def statsmodels_crossed(frame: pd.DataFrame) -> Callable[[], object]:
    """Position fixed, sitting crossed: everything is a component of one group."""
    parts = {"a": "0 + C(assessor)", "c": "0 + C(assessor):C(hours)", "s": "0 + C(sitting)"}
    model = MixedLM.from_formula(
        "score ~ C(hours) + C(position)", frame, groups=np.ones(len(frame)), re_formula="0", vc_formula=parts
    )
    return lambda: model.fit(reml=True)


def from_frame(frame: pd.DataFrame) -> Callable[[], object]:
    """Ours from the frame: labels, fit, F and contrasts."""

    def call() -> object:
        fit = mixed.fit(frame, "score", ["hours"], PANEL)
        return fit.against(fit.levels[-1])

    return call


def from_cells(frame: pd.DataFrame, attribute: str | None = None) -> Callable[[], object]:
    """Ours from counts and sums."""
    read = mixed.cells_of(frame, "score", "hours", "assessor", attribute)
    return lambda: mixed.fit_cells(read.counts, read.sums, read.within_ss)


def fits(rounds: int) -> list[Row]:
    """Single fits and six attributes against statsmodels."""
    rows = []
    for shape in ((8, 6, 2), (12, 6, 3), (50, 12, 4), (200, 12, 3)):
        frame = study(*shape)
        label = "x".join(map(str, shape))
        few = rounds if shape[0] < 50 else max(rounds // 4, 1)
        times = alternating(statsmodels_fit(frame), from_cells(frame), few, 20)
        rows.append(Row(f"{label}, one fit", "statsmodels", *times))
        times = alternating(statsmodels_from_frame(frame), from_frame(frame), few, 10)
        rows.append(Row(f"{label}, from the frame with F and contrasts", "statsmodels", *times))
    six = [study(12, 6, 3, seed=seed).assign(attribute=seed) for seed in range(6)]
    theirs, ours = [statsmodels_fit(frame) for frame in six], from_cells(pd.concat(six), "attribute")
    times = alternating(lambda: [fit() for fit in theirs], ours, max(rounds // 3, 1), 20)
    rows.append(Row("12x6x3, six attributes", "statsmodels", *times))
    frame = study(12, 6, 3)
    times = alternating(
        statsmodels_crossed(frame),
        lambda: mixed.fit(frame, "score", ["hours", "position"], [*PANEL, "sitting"]),
        max(rounds // 3, 1),
        5,
    )
    rows.append(Row("12x6x3, position fixed, sitting random, from the frame", "statsmodels, fit alone", *times))
    return rows


def flatness(rounds: int) -> list[Row]:
    """A fit costs the same however many replicates stand behind the counts."""
    few, many = study(12, 6, 3), study(12, 6, 30)
    times = alternating(from_cells(many), from_cells(few), rounds * 5, 1)
    return [Row("12x6x3 against 12x6x30, from counts", "thirty replicates", *times)]


def whole_rule(rounds: int, studies: int, missing: float, attributes: int, chunk: int = 500) -> Row:
    """Drawing complete scores of studies 12 x 6 x 3, against the whole rule on them, cells included."""
    truth = AttributeTruth(first_order(HOURS, 7.0, 3.5, 6.0))
    names = [f"attribute {number}" for number in range(attributes)]
    scenario = Scenario(HOURS, dict.fromkeys(names, truth), missing=missing)
    wishes = dict.fromkeys(names, AttributeRule("lower", 1.0))
    chunks = [np.random.default_rng(seed) for seed in range(studies // chunk)]
    held = [draw(scenario, Design(12, 3), 1, chunk, rng) for rng in chunks[: 2000 // chunk]]

    def drawing() -> None:
        for rng in chunks:
            draw(scenario, Design(12, 3), 1, chunk, rng)

    def judging() -> None:
        for number in range(len(chunks)):
            scores = held[number % len(held)]
            judge({name: cells_of_draw(y, False) for name, y in scores.items()}, wishes, 0.05)

    label = f"{missing:.0%} missing" if missing else "complete"
    name = f"{studies:,} studies 12x6x3, {label}, {attributes} attribute{'s' * (attributes > 1)}: whole rule"
    return Row(name, "drawing their scores", *alternating(drawing, judging, rounds, 1))


def run(rounds: int = 12) -> list[Row]:
    """Every comparison."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return [
            *fits(rounds),
            *flatness(rounds),
            whole_rule(5, 10_000, 0.0, 1),
            whole_rule(3, 10_000, 0.0, 6),
            whole_rule(3, 2_000, 0.05, 1),
            whole_rule(1, 2_000, 0.05, 6),
        ]


def main() -> None:
    """Print the table."""
    print(f"{'':70}{'other, ms':>12}{'ours, ms':>12}{'ratio':>9}   other")
    for row in run():
        print(f"{row.name:70}{row.other_ms:12.3f}{row.ours_ms:12.3f}{row.ratio:9.2f}   {row.other}")


if __name__ == "__main__":
    main()
