"""Tidy scores as cells: labels are read into codes once, for every attribute."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.limits import Cells
from analysis.rule import Rule

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
NEEDED = ("assessor", "hours", "attribute", "score")
OPTIONAL = ("sitting", "replicate", "position", "batch")


@dataclass(frozen=True, slots=True)
class Panel:
    """A study as cells. `hours` ascending, the last is the reference; `control` its index of the pull known to differ.

    `data` holds the scores of the deciding attributes with a column sitting (1 when not recorded); `people` counts
    assessors with scores per attribute; `recorded` names the optional columns present; `scope` counts assessors,
    sittings and batches, of which there is one.
    """

    hours: Array
    control: int
    cells: Mapping[str, Cells]
    data: pd.DataFrame
    people: Mapping[str, int]
    recorded: frozenset[str]
    scope: Mapping[str, int]

    def rows(self, name: str) -> pd.DataFrame:
        """The scores of one attribute."""
        return self.data[self.data["attribute"] == name].reset_index(drop=True)


def read(scores: pd.DataFrame, rule: Rule) -> Panel:
    """The scores that `rule` decides on.

    Raises:
        ValueError: which column, attribute, pull or score is wrong, and what is asked.
    """
    attributes = list(rule.attributes)
    data, y, pulls = _checked(scores, attributes)
    _refuse_batches(data)
    _check_adjust(data[[column for column in data.columns if column in scores.columns]], rule)
    hours, pull = np.unique(pulls, return_inverse=True)
    if len(hours) < 2:
        raise ValueError(f"hours: at least two pulls are needed, the scores hold {hours.tolist()}")
    at = _control(hours, rule.control)
    person = pd.factorize(data["assessor"].astype(str), sort=True)[0]
    day = pd.factorize(data["sitting"], sort=True)[0]
    which = pd.Index(attributes).get_indexer(pd.Index(data["attribute"]))
    _refuse_contradictions(data, which, person, pull, day)
    cells = _cells(attributes, hours, y, which, person, pull, day)
    people = {name: own.sums.shape[1] for name, own in cells.items()}
    scope = {
        "assessors": int(person.max()) + 1,
        "sittings": int(day.max()) + 1,
        "batches": 1,
    }
    return Panel(hours, at, cells, data, people, frozenset(OPTIONAL) & set(scores.columns), scope)


# ---- checks at the edge ----------------------------------------------------------------------------------------------
def _check_adjust(scores: pd.DataFrame, rule: Rule) -> None:
    for part in rule.adjust:
        column = part.partition(":")[0]
        if column not in scores.columns:
            raise ValueError(f"adjust: {part!r} needs a column {column!r}; the scores have {list(scores.columns)}")
        if scores[column].isna().any():
            raise ValueError(f"adjust: {part!r} needs the {column} of every score, and some have none")


def _checked(scores: pd.DataFrame, attributes: Sequence[str]) -> tuple[pd.DataFrame, Array, Array]:
    """Rows of the deciding attributes that hold a score, the scores, and their pulls."""
    for column in NEEDED:
        if column not in scores.columns:
            raise ValueError(f"scores: the column {column!r} is missing; there are {list(scores.columns)}")
    y = _numbers(scores, "score", "every score must be a finite number; leave missing ones empty")
    data = scores[scores["attribute"].isin(attributes) & ~np.isnan(y)]
    _refuse_absent(scores, data, attributes)
    if np.isinf(y).any():
        raise ValueError("score: every score must be a finite number; leave missing ones empty")
    pulls = _numbers(data, "hours", "every pull needs a finite number of hours, 0 or more")
    if not (np.isfinite(pulls).all() and (pulls >= 0).all()):
        wrong = pulls[~(np.isfinite(pulls) & (pulls >= 0))][0]
        raise ValueError(f"hours: every pull needs a finite number of hours, 0 or more, got {wrong}")
    for column in ("assessor", "sitting"):
        if column in data and data[column].isna().any():
            raise ValueError(f"{column}: every score needs its {column}, and some have none")
    if "position" in data:
        _numbers(data, "position", "every position must be a number; leave unknown ones empty")
    if "sitting" not in data:
        data = data.assign(sitting=1)
    return data, data["score"].to_numpy(float), pulls


def batches_in(scores: pd.DataFrame) -> tuple[str, ...]:
    """The batches that the scores name, sorted; "" where some scores name one and others none."""
    if "batch" not in scores or scores["batch"].isna().all():
        return ()
    return tuple(sorted(scores["batch"].astype("string").str.strip().fillna("").unique()))


def _refuse_batches(data: pd.DataFrame) -> None:
    """Scores of two batches put together would answer for their mean, which one batch far worse can hide behind."""
    found = batches_in(data)
    if len(found) > 1:
        raise ValueError(
            f"batch: the scores are of {len(found)} batches, {list(found)}; a verdict is about one. "
            "Decide each batch on its own scores"
        )


def _numbers(data: pd.DataFrame, column: str, rule: str) -> Array:
    try:
        return data[column].to_numpy(float, na_value=np.nan)
    except (TypeError, ValueError) as problem:
        raise ValueError(f"{column}: {rule}; {problem}") from problem


def _refuse_absent(scores: pd.DataFrame, data: pd.DataFrame, attributes: Sequence[str]) -> None:
    """Every deciding attribute needs scores."""
    present = set(data["attribute"].unique())
    for name in attributes:
        if name not in present:
            names = sorted(map(str, scores["attribute"].dropna().unique()))
            raise ValueError(f"attributes.{name}: the scores have no attribute {name!r}; they have {names}")


def _refuse_contradictions(data: pd.DataFrame, which: Codes, person: Codes, pull: Codes, day: Codes) -> None:
    """The same serving cannot hold two values; without replicate or position, servings cannot be told apart."""
    extra = [column for column in ("replicate", "position", "batch") if column in data.columns]
    if not {"replicate", "position"} & set(extra):
        return
    others = [pd.factorize(data[column])[0] for column in extra]
    known = np.logical_and.reduce([codes >= 0 for codes in others])
    key = np.zeros(len(data), np.int64)
    for codes in (which, person, pull, day, *others):
        key = key * (int(codes.max()) + 2) + codes + 1
    _, first, count = np.unique(key[known], return_index=True, return_counts=True)
    if (count > 1).any():
        row = data[known].iloc[int(first[count > 1].min())]
        raise ValueError(
            f"score: assessor {row['assessor']} has two scores for one serving at {row['hours']:g} h, "
            f"{row['attribute']}; keep the right one, or number the servings in the column replicate"
        )


def _control(hours: Array, control: float | None) -> int:
    """Index of the control pull."""
    if control is None:
        return 0
    where = np.flatnonzero(np.isclose(hours, control))
    if not len(where):
        raise ValueError(f"control: {control:g} h is not among the pulls {hours.tolist()}")
    if where[0] == len(hours) - 1:
        raise ValueError(f"control: {control:g} h is the longest pull, which is the reference; name a shorter one")
    return int(where[0])


# ---- cells -----------------------------------------------------------------------------------------------------------
def _cells(
    attributes: Sequence[str], hours: Array, y: Array, which: Codes, person: Codes, pull: Codes, day: Codes
) -> dict[str, Cells]:
    """Counts, sums, sums of squares and sitting means of each attribute, without assessors who never scored it."""
    m, a, h, S = len(attributes), int(person.max()) + 1, len(hours), int(day.max()) + 1
    at = (which * a + person) * h + pull
    counts = np.asarray(np.bincount(at, minlength=m * a * h), np.float64)
    sums = np.asarray(np.bincount(at, y, m * a * h), np.float64)
    # Squares around the cell means, so that scores far from zero lose no digits.
    rest = y - (sums / np.maximum(counts, 1))[at]
    within = np.asarray(np.bincount(which, rest * rest, m), np.float64)
    table = _sitting_means(y, at * S + day, (m, a, h, S)) if S > 1 else None
    counts, sums = counts.reshape(m, a, h), sums.reshape(m, a, h)
    return {
        name: _own(name, hours, counts[i], sums[i], within[i : i + 1], None if table is None else table[i])
        for i, name in enumerate(attributes)
    }


def _sitting_means(y: Array, at: Codes, shape: tuple[int, int, int, int]) -> Array:
    """Mean of each cell in each sitting, NaN where nothing was scored."""
    size = int(np.prod(shape))
    n = np.bincount(at, minlength=size)
    total = np.asarray(np.bincount(at, y, size), np.float64)
    return np.asarray(np.divide(total, n, out=np.full(size, np.nan), where=n > 0).reshape(shape))


def _own(name: str, hours: Array, counts: Array, sums: Array, within: Array, table: Array | None) -> Cells:
    """The cells of one attribute; every pull must have been scored."""
    seen = counts.any(1)
    unscored = ~counts.any(0)
    if unscored.any():
        raise ValueError(
            f"attributes.{name}: no score at the pulls {hours[unscored].tolist()}; "
            "a deciding attribute is scored at every pull"
        )
    if seen.sum() < 2:
        raise ValueError(f"attributes.{name}: one assessor alone scored it; a panel needs at least two")
    if table is not None:
        table = table[seen][..., np.isfinite(table).any((0, 1))][None]
    return Cells(counts[seen][None], sums[seen][None], within, table if table is None or table.shape[3] > 1 else None)


def cells_of(frame: pd.DataFrame, hours: Array) -> Cells:
    """The cells of the scores of one attribute."""
    codes = [pd.factorize(frame[column], sort=True)[0] for column in ("assessor", "hours", "sitting")]
    y = frame["score"].to_numpy(float)
    return _cells(["score"], hours, y, np.zeros(len(y), np.intp), *codes)["score"]
