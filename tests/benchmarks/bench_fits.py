"""How fast the fits are, as ratios in one run.

Run `python tests/benchmarks/bench_fits.py`, or with a number of data sets (15). One BLAS thread, 5 % of the scores
missing; every row runs over that many drawn studies and tells the median ratio with its range.

- *one fit*: counts and sums to variances, means and their covariances, beside statsmodels' fit of a model whose
  matrices are already built, with its best single optimiser (`other_fits`).
- *from the frame*: tidy scores to F and every difference with Satterthwaite df, beside statsmodels from the same frame
  through its formula, which gives Wald statistics only: ours does more.
- *six attributes*: one batch, beside six fits of statsmodels one after another.
- *position fixed, sitting random*: ours from the frame, beside statsmodels' fit alone, its matrices already built.
- *thirty replicates*: ours from counts, beside ours from counts of ten times as many scores; 1 is the goal.
- *routes*: what a complete panel takes by its closed form, beside the route for gaps and the one for crossed factors on
  the same scores; and the same where scores are missing. One study, and 500 at once. All of them end in the differences
  from the longest pull.

lme4 is not among the tools of this project, so it is not measured here.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import count, islice

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from other_fits import best_fit, crossed_models, hours_models
from turns import HEAD, Row, Work, beside

from analysis.model import cell_fits, mixed
from analysis.model.contrasts import contrast_of, differences
from analysis.model.crossed import CrossedProblem
from analysis.model.crossed_fits import fit_crossed

Array = NDArray[np.float64]
PANEL = ["assessor", "assessor:hours"]
BATCH = 500


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


# ---- beside statsmodels ----------------------------------------------------------------------------------------------
def from_frame(frame: pd.DataFrame) -> object:
    """Ours from the frame: labels, fit, F and contrasts."""
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    return fit.against(fit.levels[-1])


def from_cells(frame: pd.DataFrame, attribute: str | None = None) -> Work:
    """Ours from counts and sums."""
    cells = mixed.labelled(frame, "score", "hours", "assessor", attribute).cells
    return lambda: mixed.fit_cells(cells.counts, cells.sums, cells.within)


@dataclass(frozen=True, slots=True)
class Beside:
    """A drawn study, statsmodels' best fit of it from a built model, and the same from the frame."""

    frame: pd.DataFrame
    fit: Work
    from_formula: Work


def fitted(shape: tuple[int, int, int], first: int = 0) -> Iterator[Beside]:
    """Studies that statsmodels can fit, drawn one after another without end."""
    for seed in count(first):
        frame = study(*shape, seed=seed)
        best = best_fit(hours_models(frame), mixed.fit(frame, "score", ["hours"], PANEL).loglik)
        if best is not None:
            yield Beside(frame, *best)


def single_fits(sets: int) -> Iterator[Row]:
    """One attribute: from counts and sums, and from the frame."""
    for shape in ((8, 6, 2), (12, 6, 3), (50, 12, 4), (200, 12, 3)):
        drawn = list(islice(fitted(shape), sets))
        label, rounds = " x ".join(map(str, shape)), 3 if shape[0] < 50 else 1
        alone = [(d.fit, from_cells(d.frame)) for d in drawn]
        whole = [(d.from_formula, partial(from_frame, d.frame)) for d in drawn]
        yield beside(f"{label}, one fit", "statsmodels, one fit", alone, rounds)
        yield beside(f"{label}, from the frame with F and contrasts", "statsmodels, from the frame", whole, rounds)


def six_attributes(sets: int) -> Row:
    """A batch of six beside six single fits."""
    drawn, pairs = fitted((12, 6, 3), 100), []
    for _ in range(sets):
        six = list(islice(drawn, 6))
        frames = [one.frame.assign(attribute=number) for number, one in enumerate(six)]
        pairs.append((partial(_every, [one.fit for one in six]), from_cells(pd.concat(frames), "attribute")))
    return beside("12 x 6 x 3, six attributes", "statsmodels, six fits", pairs)


def _every(works: list[Work]) -> None:
    for work in works:
        work()


def with_positions(sets: int) -> Row:
    """A further fixed factor and a crossed one, both of some size: at a variance of zero statsmodels seldom arrives."""
    pairs = list(islice(_positioned(), sets))
    return beside("12 x 6 x 3, position fixed, sitting random, from frame", "statsmodels, one fit", pairs)


def _positioned() -> Iterator[tuple[Work, Work]]:
    for seed in count():
        frame = study(12, 6, 3, seed=seed)
        frame["score"] += 0.3 * (frame["position"] == 1) + 0.6 * (frame["sitting"] - 1)
        ours = partial(mixed.fit, frame, "score", ["hours", "position"], [*PANEL, "sitting"])
        best = best_fit(crossed_models(frame), ours().loglik)
        if best is not None:
            yield best[0], ours


def flatness(sets: int) -> Row:
    """A fit costs the same however many replicates stand behind the counts."""
    pairs = [(from_cells(study(12, 6, 30, seed=s)), from_cells(study(12, 6, 3, seed=s))) for s in range(sets)]
    return beside("12 x 6 x 3, from counts", "12 x 6 x 30", pairs)


# ---- the routes among themselves -------------------------------------------------------------------------------------
def panels(batch: int, missing: float, seed: int) -> tuple[Array, Array, Array]:
    """Counts and sums (B, 12, 6) of three replicates, squares within cells (B,)."""
    rng = np.random.default_rng(seed)
    person, cell = rng.normal(0, 1, (batch, 12, 1, 1)), rng.normal(0, 0.5, (batch, 12, 6, 1))
    y = person + cell + rng.normal(0, 1, (batch, 12, 6, 3))
    seen = rng.random(y.shape) >= missing
    counts = seen.sum(3).astype(float)
    sums = np.where(seen, y, 0).sum(3)
    mean = sums / np.maximum(counts, 1)
    return counts, sums, np.where(seen, (y - mean[..., None]) ** 2, 0).sum((1, 2, 3))


def by_own_route(counts: Array, sums: Array, within: Array) -> object:
    """Whatever `fit_cells` takes: the closed form where nothing is missing."""
    return mixed.fit_cells(counts, sums, within).difference(5)


def by_weights(counts: Array, sums: Array, within: Array) -> object:
    """The route for gaps."""
    none = np.zeros(len(sums), bool)
    return cell_fits._weighted(counts, sums, within, none, cell_fits.BOTH).difference(5)


def by_columns(counts: Array, sums: Array, within: Array) -> object:
    """The route for crossed factors, with the pulls as columns and nothing crossed."""
    h = sums.shape[2]
    columns = np.concatenate([counts[..., None] * np.eye(h), sums[..., None]], 3)
    cross = np.zeros((len(sums), h + 1, h + 1))
    cross[:, :h, :h] = counts.sum(1)[..., None] * np.eye(h)
    cross[:, :h, h] = cross[:, h, :h] = sums.sum(1)
    cross[:, h, h] = within + (sums**2 / np.maximum(counts, 1)).sum((1, 2))
    problem = CrossedProblem(counts, columns, cross, h, ("assessor", "cell"))
    return contrast_of(fit_crossed(problem, np.zeros((len(sums), h)), np.eye(h)), differences(h, 5))


def routes(sets: int) -> Iterator[Row]:
    """Each kind of panel by its own route, beside the more general ones."""
    for batch, label in ((1, "one study"), (BATCH, f"{BATCH} studies")):
        few = sets if batch == 1 else max(sets // 3, 3)
        for missing, kind, others in (
            (0.0, "complete", ((by_weights, "route for gaps"), (by_columns, "route for crossed factors"))),
            (0.05, "5 % missing", ((by_columns, "route for crossed factors"),)),
        ):
            for other, name in others:
                drawn = [panels(batch, missing, seed) for seed in range(few)]
                pairs = [(partial(other, *data), partial(by_own_route, *data)) for data in drawn]
                yield beside(f"12 x 6 x 3, {kind}, {label}", name, pairs)


def run(sets: int = 15) -> Iterator[Row]:
    """Every comparison."""
    yield from single_fits(sets)
    yield six_attributes(sets)
    yield with_positions(sets)
    yield flatness(sets)
    yield from routes(sets)


def main(sets: int) -> None:
    """Print the table."""
    print(HEAD)
    for row in run(sets):
        print(row, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
