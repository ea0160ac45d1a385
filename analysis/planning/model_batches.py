"""Simulated studies under a rule that adjusts for position or sitting: the fuller model of `adjusted`, in batches.

Shapes: B studies, a assessors, h pulls, S sittings, r replicates, N = a h S r servings, P places.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model import mixed, reml
from analysis.model.contrasts import MeansFit
from analysis.model.crossed import CrossedProblem
from analysis.model.scores import Scores, cells_of, places_told_apart
from analysis.planning.alike import alike_rows, can_decide
from analysis.stopping import panels
from analysis.stopping.adjusted import AdjustedFit, adjusted, adjusted_cells, cells_in_force
from analysis.stopping.rule import Rule
from analysis.stopping.standard_errors import Contrasts, fitted
from analysis.stopping.verdicts import Judged, judge

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
Flags = NDArray[np.bool_]
# Entries of the columns of a model that are held at once, 2 MB; a fit holds several such.
ENTRIES_AT_ONCE = 250_000
# What is left of squares when only rounding is left; studies so close to it are decided one by one.
NEXT_TO_NOTHING = 1e-12


def told_apart(drawn: Mapping[str, Scores]) -> Flags:
    """Whether place and pull can be told apart in every attribute (B,)."""
    found = np.ones(len(next(iter(drawn.values())).values), bool)
    for some in _portions(drawn):
        for own in drawn.values():
            found[some] &= places_told_apart(own.rows(some))
    return found


def _portions(drawn: Mapping[str, Scores]) -> Iterator[Codes]:
    """Rows of studies whose columns fit into memory together."""
    first = next(iter(drawn.values()))
    studies, *shape = first.values.shape
    width = 2 * (sum(shape) + (0 if first.places is None else int(first.places.max()) + 1))
    chunk = max(1, ENTRIES_AT_ONCE // (int(np.prod(shape)) * width))
    for start in range(0, studies, chunk):
        yield np.arange(start, min(start + chunk, studies))


def judged(
    drawn: Mapping[str, Scores], apart: Flags | None, rule: Rule, level: float, control: int
) -> Iterator[tuple[Codes, Codes, Codes]]:
    """Rows, verdict and pull of studies; see `look_batches.look_at`. `apart`: see `told_apart`."""
    for some in _portions(drawn):
        by_place = np.zeros(len(some), bool) if apart is None else apart[some]
        servings = {name: own.rows(some) for name, own in drawn.items()}
        traits = {name: _Traits.of(own, by_place, "sitting" in rule.adjust) for name, own in servings.items()}
        for rows in alike_rows(np.hstack([own.key() for own in traits.values()])):
            kinds = {name: own.first(rows) for name, own in traits.items()}
            part = {name: own.rows(rows) for name, own in servings.items()}
            for found_rows, found in _of_a_kind(part, kinds, rule, level, control):
                yield some[rows[found_rows]], found.verdict, found.pull


# ---- studies that are alike ----------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Traits:
    """What shapes the model of one attribute, each (B, any): who scored, pulls by sitting, places; whether the place
    and the sitting stand in the model, a cell was scored twice, scores differ, and `rare`: a pull was not served in
    every sitting, or nothing but rounding may be left to explain."""

    people: Flags
    served: Flags
    places: Flags
    by_place: Flags
    by_sitting: Flags
    twice: Flags
    differ: Flags
    rare: Flags

    @classmethod
    def of(cls, servings: Scores, by_place: Flags, by_sitting: bool) -> _Traits:
        """Of every study; `by_place` (B,)."""
        y, seen = servings.values, servings.seen
        size = len(y)
        places = servings.columns("place").any(1) if servings.places is not None else np.zeros((size, 0), bool)
        kept = _sitting_kept(servings, by_place) if by_sitting else np.zeros(size, bool)
        twice = (seen.sum((3, 4)) > 1).any((1, 2))
        differ = np.nanmax(y, (1, 2, 3, 4)) > np.nanmin(y, (1, 2, 3, 4))
        several = seen.any((1, 2, 4)).sum(1) > 1
        served = np.asarray(seen.any((1, 4)))
        apart = np.asarray((served != served.any(1, keepdims=True)).any((1, 2))) & ~(kept & several)
        return cls(
            np.asarray(seen.any((2, 3, 4))),
            np.asarray(served).reshape(size, -1),
            np.asarray(places & by_place[:, None]),
            by_place[:, None],
            (kept & several)[:, None],
            twice[:, None],
            # Without place, and with one sitting only, no fuller model is asked for.
            (differ & (by_place | by_sitting & several))[:, None],
            (apart | _almost_copied(servings) | _almost_exact(servings, by_place, by_sitting))[:, None],
        )

    def key(self) -> Flags:
        """Everything, a row for each study."""
        return np.hstack([getattr(self, name) for name in self.__slots__])

    def first(self, rows: Codes) -> _Traits:
        """Those of the first of some studies that are alike."""
        return _Traits(*(getattr(self, name)[rows[0]] for name in self.__slots__))


def _sitting_kept(servings: Scores, by_place: Flags) -> Flags:
    """Whether the sitting can be told from the other terms of the model (B,), as `mixed.fit` finds it."""
    fixed = servings.columns("hours")
    if servings.places is not None:
        fixed = np.concatenate([fixed, servings.columns("place") * by_place[:, None, None]], 2)
    days = servings.columns("sitting")
    both = np.concatenate([fixed, days], 2)
    more = _rank(both) > _rank(fixed)
    seen = servings.seen
    count = seen.any((1, 2, 4)).sum(1)
    like_people = (seen.any((2, 4)).sum((1, 2)) == count) & (seen.any((2, 3, 4)).sum(1) == count)
    like_cells = (seen.any(4).sum((1, 2, 3)) == count) & (seen.any((3, 4)).sum((1, 2)) == count)
    return np.asarray(more & (days.sum(1).max(1) > 1) & ~like_people & ~like_cells)


def _rank(columns: Array) -> Codes:
    return np.asarray(np.linalg.matrix_rank(columns.transpose(0, 2, 1) @ columns, hermitian=True))


def _almost_copied(servings: Scores) -> Flags:
    """Whether nothing but rounding may vary within cells that were scored twice (B,)."""
    cells = cells_of(servings)
    several = np.broadcast_to(cells.counts.max((1, 2)) > 1, len(servings.values))
    return np.asarray(several & (cells.within <= NEXT_TO_NOTHING * np.nansum(servings.values**2, (1, 2, 3, 4))))


def _almost_exact(servings: Scores, by_place: Flags, by_sitting: bool) -> Flags:
    """Whether pulls, assessors, places and sittings may explain every score (B,)."""
    parts = [servings.columns("hours"), servings.columns("assessor")]
    if servings.places is not None:
        parts.append(servings.columns("place") * by_place[:, None, None])
    if by_sitting:
        parts.append(servings.columns("sitting"))
    X = np.concatenate(parts, 2)
    y = np.nan_to_num(servings.values).reshape(len(X), -1)
    centred = np.where(servings.seen.reshape(len(X), -1), y - np.nanmean(servings.values, (1, 2, 3, 4))[:, None], 0.0)
    Xt = X.transpose(0, 2, 1)
    beta = np.linalg.pinv(Xt @ X, rcond=1e-10, hermitian=True) @ (Xt @ centred[..., None])
    left = centred - (X @ beta)[..., 0]
    return np.asarray(np.vecdot(left, left) <= NEXT_TO_NOTHING * np.vecdot(centred, centred))


def _of_a_kind(
    servings: Mapping[str, Scores], kinds: Mapping[str, _Traits], rule: Rule, level: float, control: int
) -> Iterator[tuple[Codes, Judged]]:
    """Rows and judgement of studies that are alike; none where `decide` would refuse the scores."""
    size = len(next(iter(servings.values())).values)
    if any(kind.rare[0] for kind in kinds.values()):
        for row in range(size):
            yield from _alone(servings, row, rule, level, control)
        return
    cells, fits = {}, dict[str, Contrasts]()
    for name, own in servings.items():
        kind = kinds[name]
        cells[name] = adjusted_cells(own, bool(kind.by_place[0]), "sitting:hours" in rule.adjust)
        if not can_decide(cells[name]):
            return
        if kind.differ[0]:
            fits[name] = AdjustedFit(fitted(cells[name]), _fuller(own, kind))
    yield np.arange(size), judge(cells, rule.attributes, level, control, fits)


def _fuller(servings: Scores, kind: _Traits) -> MeansFit:
    """The model of `mixed.fit` for hours, place and sitting, fitted to all studies of a kind at once."""
    size, a, h = servings.values.shape[:3]
    blocks = [servings.columns("hours")]
    if kind.by_place[0]:
        blocks.append(servings.columns("place")[:, :, kind.places][..., 1:])
    fixed = sum(block.shape[2] for block in blocks)
    if kind.by_sitting[0]:
        days = servings.columns("sitting")
        blocks.append(days[:, :, days.any((0, 1))])
    y = np.nan_to_num(servings.values).reshape(size, -1)
    centre = (blocks[0].transpose(0, 2, 1) @ y[..., None])[..., 0] / blocks[0].sum(1)
    rest = y - (blocks[0] @ centre[..., None])[..., 0]
    columns = np.concatenate([*blocks, rest[..., None]], 2)
    crossed = (slice(fixed, columns.shape[2] - 1),) if kind.by_sitting[0] else ()
    problem = CrossedProblem(
        servings.seen.reshape(size, a, h, -1).sum(3).astype(np.float64)[:, kind.people],
        columns.reshape(size, a, h, -1, columns.shape[2]).sum(3)[:, kind.people],
        columns.transpose(0, 2, 1) @ columns,
        fixed,
        ("assessor", "cell") if kind.twice[0] else ("assessor",),
        crossed,
    )
    rho, point, slope = reml.optimise(problem)
    beta = point.coefficients[:, :fixed].copy()
    beta[:, :h] += centre
    average = np.hstack([np.eye(h), np.full((h, fixed - h), 1 / (fixed - h + 1))])
    return mixed.means_of(average, beta, problem, point.inverse, point.residual, rho, slope, point.residual)


# ---- studies that need to be looked at one by one --------------------------------------------------------------------
def _alone(
    servings: Mapping[str, Scores], row: int, rule: Rule, level: float, control: int
) -> Iterator[tuple[Codes, Judged]]:
    """One study, as tidy scores; nothing where they are refused."""
    frames = [_tidy(own, row).assign(attribute=name) for name, own in servings.items()]
    asked = Rule(rule.attributes, rule.alpha, rule.looks, rule.look, rule.adjust, float(control))
    try:
        panel = panels.read(pd.concat(frames), asked)
    except ValueError:
        return
    cells = cells_in_force(panel, asked)
    yield np.array([row]), judge(cells, asked.attributes, level, panel.control, adjusted(panel, asked, cells))


def _tidy(servings: Scores, row: int) -> pd.DataFrame:
    """The scores of one study as rows; a pull is named by its number."""
    at = np.nonzero(servings.seen[row])
    columns: dict[str, object] = dict(zip(("assessor", "hours", "sitting", "replicate"), at, strict=True))
    if servings.places is not None:
        columns["position"] = servings.places[row][at]
    return pd.DataFrame({**columns, "score": servings.values[row][at]})
