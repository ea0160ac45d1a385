"""Makes that were lost, taken back or never scored, and servings that nobody could judge.

The rules are those of pulls (`stopping.fates`). A make that was lost before anybody tasted it steps out: nothing is
said about it. One that was taken back after a score, or that nobody scored, stays, is never shown, and counts with the
others, or a failing make could be made to step out. Nothing takes the place of a lost reference, and a panel whose
control is lost cannot be shown awake. With a claim on the make the unit is the batch: a pair without its reference
tells no difference, and a make that lacks a batch that others have is not shown: it may have been at its worst there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import pandas as pd

from analysis.comparing.rule import MakeRule
from analysis.stopping import fates
from analysis.stopping.fates import LOST, UNJUDGED, UNREAD, Fates

Column = tuple[str, str]


@dataclass(frozen=True, slots=True)
class LostPiece:
    """A piece without scores, in one sitting or (None) in every, of one batch or (None) as a whole. "lost": for a
    physical `reason` before anybody tasted it there; "taken back": after a score; "unread": no score came of it."""

    make: str
    fate: Literal["lost", "taken back", "unread"]
    sitting: str | None = None
    batch: str | None = None
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class UnjudgedPiece:
    """How many servings of a piece could not be judged on an attribute, for reasons that may lie in its taste."""

    attribute: str
    make: str
    count: int


@dataclass(frozen=True, slots=True)
class Left:
    """The scores that count, by make and batch; `fills`: the same with what could not be judged filled in, the makes at
    the worse end and the reference at the better, and the other way round; none where all were judged.

    `out`: makes that were sealed and can never be shown, though they count. `rule` has no control where that is lost.
    """

    scored: pd.DataFrame
    rule: MakeRule
    fills: tuple[pd.DataFrame, ...] = ()
    lost: tuple[LostPiece, ...] = ()
    unjudged: tuple[UnjudgedPiece, ...] = ()
    out: tuple[str, ...] = ()


def left(scores: pd.DataFrame, rule: MakeRule) -> Left:
    """Tell scores from what is said of those that are missing.

    Args:
        scores: as for `compare`.
        rule: as sealed.

    Raises:
        ValueError: the reference is lost.
    """
    data = scores if "why" in scores else scores.assign(why="")
    told, unjudged = data["why"].isin((LOST, UNREAD)), data["why"] == UNJUDGED
    scored = data["attribute"].isin(list(rule.attributes)) & (data["score"].notna() | unjudged)
    data = data[told | scored]
    if not (told | unjudged).any():
        return Left(data.drop(columns=["why", "reason"], errors="ignore"), rule)
    data, columns = _numbered(data, rule)
    found = fates.sorted_out(data, rule.plain)
    gone, out = _gone(found, columns, rule)
    ways = (
        []
        if found.unjudged.empty
        else [found.filled(way, _columns_of(columns, rule.reference)) for way in (True, False)]
    )
    return Left(
        _kept(found.scored, gone | out, found, columns, rule),
        replace(rule, control=None) if rule.control in gone | out else rule,
        tuple(_kept(way, gone | out, found, columns, rule) for way in ways),
        tuple(_lost(found, columns, rule)),
        tuple(_unjudged(found, columns)),
        tuple(sorted(out - {rule.control})),
    )


# ---- pieces as numbers -----------------------------------------------------------------------------------------------
def _numbered(data: pd.DataFrame, rule: MakeRule) -> tuple[pd.DataFrame, list[Column]]:
    """The rows with the number of their piece in the place of hours, and the make and batch of every number; a make
    without a batch is told of all its batches."""
    batches = data["batch"].fillna("").astype(str) if rule.claim == "make" and "batch" in data else ""
    data = data.drop(columns="hours", errors="ignore").assign(lot=batches)
    note = data["why"].isin((LOST, UNREAD))
    known = {make: sorted(set(own) - {""}) for make, own in data.loc[~note].groupby("make")["lot"]}
    lots = [
        known.get(make, [""]) or [""] if is_note and lot == "" else [lot]
        for make, lot, is_note in zip(data["make"], data["lot"], note, strict=True)
    ]
    data = data.assign(lot=pd.Series(lots, data.index, object)).explode("lot", ignore_index=True)
    if rule.claim == "make" and "sitting" in data:  # a batch that no sitting served is lost as a whole
        data["sitting"] = data["sitting"].where(~_never_served(data))
    columns = sorted(set(zip(data["make"], data["lot"], strict=True)))
    number = {column: float(place) for place, column in enumerate(columns)}
    hours = [number[column] for column in zip(data["make"], data["lot"], strict=True)]
    return data.drop(columns="lot").assign(hours=hours), columns


def _never_served(data: pd.DataFrame) -> pd.Series[bool]:
    """Notes on a piece of which nothing was ever scored."""
    note = data["why"].isin((LOST, UNREAD))
    there = set(zip(data.loc[~note, "make"], data.loc[~note, "lot"], strict=True))
    untasted = [key not in there for key in zip(data["make"], data["lot"], strict=True)]
    return note & pd.Series(untasted, data.index)


def _columns_of(columns: list[Column], make: str) -> frozenset[float]:
    return frozenset(float(number) for number, (of, _batch) in enumerate(columns) if of == make)


# ---- what is left ----------------------------------------------------------------------------------------------------
def _gone(found: Fates, columns: list[Column], rule: MakeRule) -> tuple[set[str], set[str]]:
    """Pieces that step out, and those that stay and are never shown. Raises ValueError without a reference."""
    lost = {one.hours for one in found.lost if one.fate == "lost" and one.sitting is None}
    paired = _without_reference(found, columns, rule)
    gone, out = set[str](), set[str]()
    for make in {make for make, _batch in columns}:
        own = _columns_of(columns, make)
        missing = {number for number in own & found.out if columns[int(number)][1] not in paired}
        if own <= lost:
            gone.add(make)
        elif missing == own or (missing and make != rule.control):  # the control may be found in what is left of it
            out.add(make)
    if rule.reference in gone | out:
        raise ValueError(
            f"make: {rule.reference} was lost or never scored, and every other make is held against it; without it "
            "there is no verdict"
        )
    return gone, out


def _without_reference(found: Fates, columns: list[Column], rule: MakeRule) -> set[str]:
    """Batches whose pair holds no reference, so that they tell no difference of any make."""
    if rule.claim != "make" or not rule.pairs:
        return set()
    return {columns[int(number)][1] for number in _columns_of(columns, rule.reference) & found.out}


def _kept(
    data: pd.DataFrame, without: Collection[str], found: Fates, columns: list[Column], rule: MakeRule
) -> pd.DataFrame:
    """The rows of pieces that are weighed."""
    rows = data[~data["make"].isin(without) & ~data["hours"].isin(found.out)].drop(columns="hours")
    unpaired = _without_reference(found, columns, rule)
    return rows[~rows["batch"].astype(str).isin(unpaired) | (rows["make"] == rule.control)] if unpaired else rows


def _lost(found: Fates, columns: list[Column], rule: MakeRule) -> list[LostPiece]:
    """What is said of each loss, batch by batch where the batch is the unit."""
    every = []
    for one in found.lost:
        make, batch = columns[int(one.hours)]
        every.append(LostPiece(make, one.fate, one.sitting, batch or None, one.reason))
    return sorted(every, key=lambda one: (one.make, one.batch or "", one.sitting or ""))


def _unjudged(found: Fates, columns: list[Column]) -> list[UnjudgedPiece]:
    counts: Mapping[tuple[str, str], int] = Counter()
    for one in found.counted:
        counts[one.attribute, columns[int(one.hours)][0]] += one.count  # type: ignore[index]
    return [UnjudgedPiece(name, make, count) for (name, make), count in sorted(counts.items())]
