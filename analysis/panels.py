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
class Panel:
    """A study as cells. `hours` ascending, the last is the reference; `control` its index of the pull known to differ.

    `rows` has per attribute the scores with a column sitting (1 when not recorded) and, if recorded, position. `people`
    counts assessors with scores per attribute; `recorded` names optional columns present.
    """

    hours: Array
    control: int
    cells: Mapping[str, Cells]
    rows: Mapping[str, pd.DataFrame]
    people: Mapping[str, int]
    recorded: frozenset[str]
    scope: Mapping[str, int]

    @property
    def servings_a_sitting(self) -> float:
        """Servings of a pull to an assessor in one sitting, on average."""
        cells = next(iter(self.cells.values()))
        return float(cells.counts[cells.counts > 0].mean()) / self.scope["sittings"]


def read(scores: pd.DataFrame, attributes: Iterable[str], control: float | None) -> Panel:
    """Read tidy scores of the named attributes.

    Raises:
        ValueError: which column, attribute, pull or score is wrong, and what is asked.
    """
    data = _checked(scores)
    wanted = list(attributes)
    rows = {name: _rows_of(data, name) for name in wanted}
    hours = np.unique(np.concatenate([frame["hours"].to_numpy(float) for frame in rows.values()]))
    if len(hours) < 2:
        raise ValueError(f"hours: at least two pulls are needed, the scores hold {len(hours)}")
    at = _control(hours, control)
    cells = {name: _cells(name, frame, hours) for name, frame in rows.items()}
    used = pd.concat(rows.values())
    scope = {
        "assessors": int(used["assessor"].nunique()),
        "sittings": int(used["sitting"].nunique()),
        "batches": int(used["batch"].nunique()) if "batch" in used else 1,
    }
    people = {name: int(frame["assessor"].nunique()) for name, frame in rows.items()}
    recorded = frozenset(column for column in ("sitting", "replicate", "position", "batch") if column in scores.columns)
    return Panel(hours, at, cells, rows, people, recorded, scope)


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


def _rows_of(data: pd.DataFrame, name: str) -> pd.DataFrame:
    frame = data[data["attribute"] == name]
    if frame.empty:
        names = sorted(map(str, data["attribute"].unique()))
        raise ValueError(f"attributes.{name}: the scores have no attribute {name!r}; they have {names}")
    return frame.reset_index(drop=True)


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


def _cells(name: str, frame: pd.DataFrame, hours: Array) -> Cells:
    """Counts, sums, sums of squares and sitting means; every pull must have been scored."""
    missing = [float(h) for h in hours if not (frame["hours"] == h).any()]
    if missing:
        raise ValueError(
            f"attributes.{name}: no score at the pulls {missing}; a deciding attribute is scored at every pull"
        )
    shape = (1, frame["assessor"].nunique(), len(hours))
    return cells_of(frame, shape)


def cells_of(frame: pd.DataFrame, shape: tuple[int, ...]) -> Cells:
    """The cells of one attribute, assessors and hours in sorted order."""
    _, a, h = shape
    person, _ = pd.factorize(frame["assessor"], sort=True)
    pull, _ = pd.factorize(frame["hours"], sort=True)
    day, days = pd.factorize(frame["sitting"], sort=True)
    y = frame["score"].to_numpy(float)
    at = person * h + pull
    counts = np.bincount(at, minlength=a * h).astype(float)
    # Squares around the cell means, so that scores far from zero lose no digits.
    sums = np.bincount(at, y, minlength=a * h)
    means = np.divide(sums, counts, out=np.zeros(a * h), where=counts > 0)
    within = float(((y - means[at]) ** 2).sum())
    S = len(days)
    table = None
    if S > 1:
        each = at * S + day
        n = np.bincount(each, minlength=a * h * S)
        total = np.bincount(each, y, minlength=a * h * S)
        table = np.divide(total, n, out=np.full(a * h * S, np.nan), where=n > 0).reshape(1, a, h, S)
    return Cells(counts.reshape(1, a, h), np.asarray(sums, float).reshape(1, a, h), np.array([within]), table)
