"""Tidy scores as arrays: labels are read into codes once, for every attribute."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.model.cells import TOP
from analysis.model.scores import Scores, of_codes
from analysis.stopping.rule import Rule

Array = NDArray[np.float64]
Codes = NDArray[np.intp]
NEEDED = ("assessor", "hours", "attribute", "score")
OPTIONAL = ("sitting", "replicate", "position", "batch")
# The longer of the two scales that files use.
HUNDRED = 100.0


@dataclass(frozen=True, slots=True)
class Panel:
    """A study as arrays. `hours` ascending, the last is the reference; `control` its index of the pull known to differ.

    `scores` of each deciding attribute, a batch of one: assessors and sittings stand in an order that their names have
    no part in, the same for all attributes. `assessors` are the names (a,), `position_labels` those of the places in
    use. `data` holds the rows they were read from, with a column sitting (1 when not recorded); `top` is the upper end
    of the scale; `people` counts assessors with scores per attribute; `recorded` names the optional columns present;
    `scope` counts assessors, sittings and batches. Where several batches are read together, each sitting of each is
    one of its own, `batches` are their names and `batch_of` (S,) the number of each sitting's.
    """

    hours: Array
    control: int
    scores: Mapping[str, Scores]
    assessors: NDArray[np.str_]
    position_labels: Array
    data: pd.DataFrame
    top: float
    people: Mapping[str, int]
    recorded: frozenset[str]
    scope: Mapping[str, int]
    batches: tuple[str, ...] = ()
    batch_of: Codes | None = None

    def rows(self, name: str) -> pd.DataFrame:
        """The scores of one attribute."""
        return self.data[self.data["attribute"] == name].reset_index(drop=True)


def read(scores: pd.DataFrame, rule: Rule, together: bool = False) -> Panel:
    """The scores that `rule` decides on; of several batches only where these are asked for `together`.

    Raises:
        ValueError: which column, attribute, pull or score is wrong, and what is asked.
    """
    attributes = list(rule.attributes)
    data, y, pulls = _checked(scores, attributes)
    batches = batches_in(data)
    if not together:
        _refuse_batches(batches)
    _check_adjust(data[[column for column in data.columns if column in scores.columns]], rule)
    hours, pull = np.unique(pulls, return_inverse=True)
    if len(hours) < 2:
        raise ValueError(f"hours: at least two pulls are needed, the scores hold {hours.tolist()}")
    at = _control(hours, rule.control)
    which = pd.Index(attributes).get_indexer(pd.Index(data["attribute"]))
    lot = pd.Index(batches).get_indexer(pd.Index(_named(data["batch"]))) if together else np.zeros(len(data), np.intp)
    trays = data["sitting"].astype(str) + (":" + pd.Series(lot, data.index).astype(str) if together else "")
    named = [pd.factorize(labels)[0] for labels in (data["assessor"].astype(str), trays)]
    person, day = (_unnamed(codes, pull, attributes, which, y) for codes in named)
    _refuse_contradictions(data, which, person, pull, day)
    position_labels, positions = _positions(data)
    every = of_codes(y, (which, person, pull, day), positions)
    one_by_one = {name: every.rows(slice(number, number + 1)) for number, name in enumerate(attributes)}
    for name, own in one_by_one.items():
        _refuse_few(name, hours, own)
    people = {name: int(own.seen.any((0, 2, 3, 4)).sum()) for name, own in one_by_one.items()}
    scope = {
        "assessors": int(person.max()) + 1,
        "sittings": int(data["sitting"].astype(str).nunique()) if together else int(day.max()) + 1,
        "batches": len(batches) if together else 1,
    }
    of = (batches, lot[np.unique(day, return_index=True)[1]]) if together else ()
    names = data["assessor"].to_numpy()[np.unique(person, return_index=True)[1]].astype(str)
    top, recorded = TOP if y.max() <= TOP else HUNDRED, frozenset(OPTIONAL) & set(scores.columns)
    return Panel(hours, at, one_by_one, names, position_labels, data, top, people, recorded, scope, *of)


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
    return tuple(sorted(_named(scores["batch"]).unique()))


def _named(batch: pd.Series[Any]) -> pd.Series[Any]:
    """Names of batches as they are told apart, "" where there is none."""
    return batch.astype("string").str.strip().fillna("")


def of_batch(scores: pd.DataFrame, name: str) -> pd.Series[bool]:
    """Which rows are of a batch."""
    return _named(scores["batch"]) == name


def _refuse_batches(found: Sequence[str]) -> None:
    """Scores of two batches put together would answer for their mean, which one batch far worse can hide behind."""
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


# ---- arrays ----------------------------------------------------------------------------------------------------------
def _unnamed(codes: Codes, pull: Codes, attributes: Sequence[str], which: Codes, y: Array) -> Codes:
    """Numbers for people, or sittings, in the order of what was scored there, so that no name changes a draw.

    Sums over sorted scores, since a sum of the same numbers in another order differs in its last digit.
    """
    by_name = np.argsort(np.array(attributes))
    rank = np.argsort(by_name)[which]
    key = (codes * len(attributes) + rank) * (pull.max() + 1) + pull
    order = np.lexsort((y, key))
    size = (int(codes.max()) + 1) * len(attributes) * (int(pull.max()) + 1)
    counts = np.bincount(key, minlength=size)
    sums = np.bincount(key[order], y[order], size)
    traits = np.hstack([table.reshape(int(codes.max()) + 1, -1) for table in (counts, np.round(sums, 9))])
    position = np.lexsort(traits.T[::-1])
    return np.asarray(np.argsort(position)[codes], np.intp)


def _positions(data: pd.DataFrame) -> tuple[Array, Codes | None]:
    """The positions in use, and the number of each score's, -1 where it is not known; None where none is."""
    position = data["position"].to_numpy(float, na_value=np.nan) if "position" in data else np.array([])
    known = np.isfinite(position)
    position_labels, numbers = np.unique(position[known], return_inverse=True)
    positions = np.full(len(position), -1)
    positions[known] = numbers
    return position_labels, positions if known.any() else None


def _refuse_few(name: str, hours: Array, scores: Scores) -> None:
    """Every pull of a deciding attribute must have been scored, and by two people in all."""
    seen = scores.seen
    unscored = ~seen.any((0, 1, 3, 4))
    if unscored.any():
        raise ValueError(
            f"attributes.{name}: no score at the pulls {hours[unscored].tolist()}; "
            "a deciding attribute is scored at every pull"
        )
    if seen.any((0, 2, 3, 4)).sum() < 2:
        raise ValueError(f"attributes.{name}: one assessor alone scored it; a panel needs at least two")
