"""Scores of makes as arrays: the pieces stand where a study of hours has its pulls, the reference last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.comparing.missing import Left, left
from analysis.comparing.rule import FEWEST_BATCHES, MOST_MAKES, MakeRule
from analysis.model.scores import Scores
from analysis.stopping import panels
from analysis.stopping.panels import Panel, batches_in

Codes = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Served:
    """Scores by piece. `makes` are those judged; `pieces` all of them in the order of the columns: control, other
    pulls, makes, reference. With a claim on the make, `by_lot` holds the scores by piece and batch, a column each,
    `lots` what each column is of, and `batches` the names of these."""

    panel: Panel
    makes: tuple[str, ...]
    pieces: tuple[str, ...]
    by_lot: Mapping[str, Scores] = field(default_factory=dict)
    lots: Lots | None = None
    batches: tuple[str, ...] = ()

    @property
    def first(self) -> int:
        """Column of the first make that is judged."""
        return len(self.pieces) - 1 - len(self.makes)

    @property
    def tasted(self) -> Tasted:
        """What was tasted of the makes and of the reference."""
        lots, count = self.lots, len(self.makes) + 1
        if lots is None:
            return Tasted(self.makes, self.pieces[-1], (), np.ones((1, count), bool))
        there = np.zeros((len(self.batches), count), bool)
        of_make = (lots.batch >= 0) & (lots.piece >= self.first)
        there[lots.batch[of_make], lots.piece[of_make] - self.first] = True
        return Tasted(self.makes, self.pieces[-1], self.batches, there)


@dataclass(frozen=True, slots=True)
class Tasted:
    """Makes that are judged, and the reference; names of their batches, none where there is one of each; and which
    batch is `there` of which make, the reference last (batches or 1, makes + 1)."""

    makes: tuple[str, ...]
    reference: str
    batches: tuple[str, ...]
    there: NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Lots:
    """Of which piece and batch each column is, by number (columns,); batch -1 belongs to none of the makes."""

    piece: Codes
    batch: Codes


@dataclass(frozen=True, slots=True)
class Told:
    """What was served, and what is left of it: see `missing.Left`, whose `fills` are arrays here."""

    served: Served
    left: Left
    fills: tuple[Served, ...] = ()


def pulled(make: str, hours: float) -> str:
    """The name of a piece where makes are tasted after several hours."""
    return f"{make} {hours:g} h"


def read(scores: pd.DataFrame, rule: MakeRule) -> Told:
    """The scores that `rule` decides on: columns assessor, make, attribute, score, optionally sitting, replicate,
    position, batch; and `why`, `reason` of what is missing.

    Raises:
        ValueError: which column, make, attribute or score is wrong, and what is asked.
    """
    if "make" not in scores:
        raise ValueError(f"scores: the column 'make' is missing; there are {list(scores.columns)}")
    found = left(scores, rule)
    return Told(_served(found.scored, found), found, tuple(_served(way, found) for way in found.fills))


def _served(scores: pd.DataFrame, found: Left) -> Served:
    rule = found.rule
    beside = tuple(name for name in rule.beside if (scores["make"] == name).any())
    makes = tuple(sorted(set(scores["make"]) - {rule.reference, rule.control, *beside}))
    pieces = (*(() if rule.control is None else (rule.control,)), *beside, *makes, rule.reference)
    _check_pieces(scores, found, makes, pieces)
    if rule.claim == "make":
        return _by_batch(scores, rule, makes, pieces)
    _refuse_several_batches(scores)
    return Served(_panel(scores, scores["make"].map(pieces.index), rule), makes, pieces)


def _panel(scores: pd.DataFrame, column: pd.Series, rule: MakeRule) -> Panel:
    """The scores with the number of a column in the place of hours."""
    frame = scores.drop(columns=["make", "batch", "hours"], errors="ignore")
    return panels.read(frame.assign(hours=column.astype(float)), rule.plain)


def _check_pieces(scores: pd.DataFrame, found: Left, makes: tuple[str, ...], pieces: tuple[str, ...]) -> None:
    """Every make that is named was served, and scored on every deciding attribute."""
    unknown = set(makes) - set(found.rule.pulls) if found.rule.pulls else ()
    if unknown:
        raise ValueError(f"make: {min(unknown)!r} is none of the pulls of the rule, {list(found.rule.pulls)}")
    if not makes and found.lost:
        raise ValueError("make: every make that was to be judged is lost or was never scored; serve it again")
    if not 1 <= len(makes) < MOST_MAKES:
        raise ValueError(
            f"make: two to {MOST_MAKES} makes are compared, the reference among them, got {len(makes) + 1}"
        )
    for name in found.rule.attributes:
        scored = set(scores.loc[scores["attribute"] == name, "make"])
        missing = [piece for piece in pieces if piece not in scored]
        if missing:
            raise ValueError(f"attributes.{name}: no score of {missing[0]!r}; every piece is scored on every attribute")


def _refuse_several_batches(scores: pd.DataFrame) -> None:
    for make, own in scores.groupby("make"):
        found = batches_in(own)
        if len(found) > 1:
            raise ValueError(
                f"batch: {make} was tasted from {len(found)} batches, {list(found)}; seal the claim 'make', or keep "
                "the scores of one batch of each"
            )


# ---- several batches of each make ------------------------------------------------------------------------------------
def _by_batch(scores: pd.DataFrame, rule: MakeRule, makes: tuple[str, ...], pieces: tuple[str, ...]) -> Served:
    """Scores by piece and batch, and the same by piece, whose replicates are then those of all its batches."""
    batches = _batches(scores, rule, makes)
    known = scores.assign(batch=scores["batch"].astype(str) if "batch" in scores else "")
    columns = sorted({(pieces.index(make), batch) for make, batch in zip(known["make"], known["batch"], strict=True)})
    number = {(pieces[piece], batch): place for place, (piece, batch) in enumerate(columns)}
    place = pd.Series([number[key] for key in zip(known["make"], known["batch"], strict=True)], scores.index)
    fine = _panel(scores, place, rule)
    piece = np.array([of for of, _batch in columns])
    at = {batch: where for where, batch in enumerate(batches)}
    lots = Lots(piece, np.array([at.get(batch, -1) for _piece, batch in columns]))
    together = {name: together_by(own, piece) for name, own in fine.scores.items()}
    panel = replace(fine, hours=np.arange(len(pieces), dtype=float), scores=together)
    return Served(panel, makes, pieces, fine.scores, lots, batches)


def together_by(scores: Scores, piece: Codes) -> Scores:
    """Scores (B, a, columns, S, r) by piece (B, a, pieces, S, r x batches), NaN where a piece has fewer batches."""
    each = [np.flatnonzero(piece == number) for number in range(int(piece.max()) + 1)]
    most = max(map(len, each))

    def joined(part: NDArray[np.float64] | Codes, empty: float) -> NDArray[np.float64]:
        B, a, _columns, S, r = part.shape
        found = np.full((B, a, len(each), S, most * r), empty, part.dtype)
        for number, columns in enumerate(each):
            for turn, column in enumerate(columns):
                found[:, :, number, :, turn * r : (turn + 1) * r] = part[:, :, column]
        return np.asarray(found)

    positions = None if scores.positions is None else np.asarray(joined(scores.positions, -1), np.intp)
    return replace(scores, values=joined(scores.values, np.nan), positions=positions)


def _batches(scores: pd.DataFrame, rule: MakeRule, makes: tuple[str, ...]) -> tuple[str, ...]:
    """The batches of the makes, by name. Each make has as many, and the same ones where they are pairs."""
    named = {make: batches_in(scores[scores["make"] == make]) for make in (rule.reference, *makes)}
    for make, found in named.items():
        if "" in found or len(found) < FEWEST_BATCHES:
            raise ValueError(
                f"batch: a claim on the make needs {FEWEST_BATCHES} batches of each or more, all named; {make} has "
                f"{len(set(found) - {''})}"
            )
        wrong = set(found) != set(named[rule.reference]) if rule.pairs else len(found) != len(named[rule.reference])
        if wrong:
            what = "the same batches" if rule.pairs else "as many batches"
            raise ValueError(f"batch: every make needs {what} as {rule.reference}, {make} has {list(found)}")
    return tuple(sorted({batch for found in named.values() for batch in found}))
