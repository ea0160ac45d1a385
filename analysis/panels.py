"""Tidy scores as cells: labels are read into codes once, for every attribute."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.limits import Cells

Array = NDArray[np.float64]
NEEDED = ("assessor", "hours", "attribute", "score")


@dataclass(frozen=True, slots=True)
class Marks:
    """The scores of one attribute as arrays: row numbers in the data, assessor, pull and sitting codes, scores."""

    row: NDArray[np.intp]
    person: NDArray[np.intp]
    pull: NDArray[np.intp]
    day: NDArray[np.intp]
    score: Array


@dataclass(frozen=True, slots=True)
class Panel:
    """A study as cells. `hours` ascending, the last is the reference; `control` its index of the pull known to differ.

    `data` has a column sitting (1 when not recorded) and, if recorded, position. `people` counts assessors with scores
    per attribute; `constant` names attributes with one score everywhere; `recorded` names optional columns present.
    """

    data: pd.DataFrame
    hours: Array
    control: int
    marks: Mapping[str, Marks]
    cells: Mapping[str, Cells]
    people: Mapping[str, int]
    constant: frozenset[str]
    recorded: frozenset[str]
    scope: Mapping[str, int]

    def rows(self, name: str) -> pd.DataFrame:
        """The scores of one attribute as a frame."""
        return self.data.iloc[self.marks[name].row].reset_index(drop=True)

    @property
    def servings_a_sitting(self) -> float:
        """Servings of a pull to an assessor in one sitting, on average."""
        cells = next(iter(self.cells.values()))
        return float(cells.counts[cells.counts > 0].mean()) / self.scope["sittings"]


def read(scores: pd.DataFrame, attributes: Iterable[str], control: float | None) -> Panel:
    """Read tidy scores of the named attributes; labels become codes once, for all of them.

    Raises:
        ValueError: which column, attribute, pull or score is wrong, and what is asked.
    """
    data = _checked(scores)
    marks = _marks(data, list(attributes))
    every = np.concatenate([one.row for one in marks.values()])
    hours = np.unique(data["hours"].to_numpy(float)[every])
    if len(hours) < 2:
        raise ValueError(f"hours: at least two pulls are needed, the scores hold {len(hours)}")
    at = _control(hours, control)
    cells = {name: _cells(name, one, data["hours"].to_numpy(float), hours) for name, one in marks.items()}
    batches = data["batch"].iloc[every].nunique() if "batch" in data.columns else 1
    scope = {
        "assessors": len(np.unique(np.concatenate([one.person for one in marks.values()]))),
        "sittings": len(np.unique(np.concatenate([one.day for one in marks.values()]))),
        "batches": int(batches),
    }
    people = {name: len(np.unique(one.person)) for name, one in marks.items()}
    constant = frozenset(name for name, one in marks.items() if (one.score == one.score[0]).all())
    recorded = frozenset(column for column in ("sitting", "replicate", "position", "batch") if column in scores.columns)
    return Panel(data, hours, at, marks, cells, people, constant, recorded, scope)


def _marks(data: pd.DataFrame, attributes: list[str]) -> dict[str, Marks]:
    """Split the scores by attribute, as codes."""
    codes, names = pd.factorize(data["attribute"])
    known = {str(name): number for number, name in enumerate(names)}
    columns = [pd.factorize(data[column], sort=True)[0] for column in ("assessor", "hours", "sitting")]
    scores = data["score"].to_numpy(float)
    found = {}
    for name in attributes:
        if name not in known:
            raise ValueError(f"attributes.{name}: the scores have no attribute {name!r}; they have {sorted(known)}")
        at = np.flatnonzero(codes == known[name])
        person, pull, day = (column[at] for column in columns)
        found[name] = Marks(at, person, pull, day, scores[at])
    return found


def _checked(scores: pd.DataFrame) -> pd.DataFrame:
    """Finite scores of known pulls, with a sitting column."""
    for column in NEEDED:
        if column not in scores.columns:
            raise ValueError(f"scores: the column {column!r} is missing; there are {list(scores.columns)}")
    data = scores.dropna(subset=["score"])
    if data.empty:
        raise ValueError("scores: there is no score in them")
    values, hours = data["score"].to_numpy(float), data["hours"].to_numpy(float)
    if not np.isfinite(values).all():
        raise ValueError("score: every score must be a finite number; leave missing ones empty")
    if not (np.isfinite(hours).all() and (hours >= 0).all()):
        raise ValueError("hours: every pull needs a finite number of hours, 0 or more")
    if "sitting" not in data.columns:
        data = data.assign(sitting=1)
    _refuse_contradictions(data)
    return data


def _refuse_contradictions(data: pd.DataFrame) -> None:
    """The same serving cannot hold two values."""
    keys = [
        c for c in ("assessor", "hours", "attribute", "sitting", "replicate", "position", "batch") if c in data.columns
    ]
    if not {"replicate", "position"} & set(keys):
        return
    twice = data[data.duplicated(keys, keep=False)]
    if len(twice):
        first = twice.iloc[0]
        raise ValueError(
            f"score: {first['assessor']}, {first['hours']:g} h, {first['attribute']} has two scores for one serving"
        )


def _control(hours: Array, control: float | None) -> int:
    """Index of the control pull."""
    if control is None:
        return 0
    where = np.flatnonzero(np.isclose(hours, control))
    if not len(where):
        raise ValueError(f"control: {control:g} h is not among the pulls {[float(h) for h in hours]}")
    if where[0] == len(hours) - 1:
        raise ValueError(f"control: {control:g} h is the longest pull, which is the reference; name a shorter one")
    return int(where[0])


def _cells(name: str, marks: Marks, at: Array, hours: Array) -> Cells:
    """Counts, sums, sums of squares and sitting means; every pull must have been scored."""
    seen = np.unique(at[marks.row])
    missing = [float(h) for h in hours if h not in seen]
    if missing:
        raise ValueError(
            f"attributes.{name}: no score at the pulls {missing}; a deciding attribute is scored at every pull"
        )
    return cells_of(marks, marks.score)


def cells_of(marks: Marks, scores: Array) -> Cells:
    """The cells of one attribute, assessors and pulls in sorted order; `scores` may be adjusted ones."""
    person, pull, day = (np.unique(codes, return_inverse=True)[1] for codes in (marks.person, marks.pull, marks.day))
    a, h, S = person.max() + 1, pull.max() + 1, day.max() + 1
    at = person * h + pull
    counts, sums = _tally(at, scores, a * h)
    # Squares around the cell means, so that scores far from zero lose no digits.
    means = np.divide(sums, counts, out=np.zeros(a * h), where=counts > 0)
    within = float(((scores - means[at]) ** 2).sum())
    table = None
    if S > 1:
        n, total = _tally(at * S + day, scores, a * h * S)
        table = np.divide(total, n, out=np.full(a * h * S, np.nan), where=n > 0).reshape(1, a, h, S)
    return Cells(counts.reshape(1, a, h), sums.reshape(1, a, h), np.array([within]), table)


def _tally(at: NDArray[np.intp], scores: Array, size: int) -> tuple[Array, Array]:
    """How many scores fall into each cell, and their sum."""
    counts = np.bincount(at, minlength=size).astype(float)
    return counts, np.bincount(at, scores, minlength=size).astype(float)
