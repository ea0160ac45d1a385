"""Limits of instruments that a make must keep beside its claims: each in every batch of it that was tasted.

A limit is answered for a make as for a pull (`instruments.gates`), with one spread of repeats over all makes and
batches that its method read. Where makes were read at several hours, it is also said from which hour each keeps the
limit; that describes, and no number of hours saved follows from it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.comparing.reading import Served, pulled
from analysis.comparing.rule import MakeRule
from analysis.instruments import (
    Gate,
    GateLevels,
    Read,
    answered,
    batches_of,
    chances,
    read_of,
    result_of,
)

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GateOfMake:
    """One limit of one make in one batch ("" where there is one): what was read, the `answer` at the level of the look,
    the chance `p` of so low a mean, were the truth at the limit, and that of so high a one, `broken`."""

    name: str
    batch: str
    answer: str
    mean: float | None
    end: float | None
    repeats: int
    why: str | None
    p: float
    broken: float


@dataclass(frozen=True, slots=True)
class Reached:
    """From which of the hours read one make keeps a limit; None where not even at the `longest`."""

    name: str
    make: str
    hours: float | None
    longest: float


@dataclass(frozen=True, slots=True)
class Gated:
    """What all limits show of the makes that are judged: chances (1, q) of means as good as read, were some limit just
    broken (`kept`), and as bad, were it just kept (`broken`). `count` of what could be shown to fail of one make.
    `results` of every piece that is compared."""

    kept: Array
    broken: Array
    count: int
    results: Mapping[str, tuple[GateOfMake, ...]]
    reached: tuple[Reached, ...] = ()


def gated(readings: pd.DataFrame | None, rule: MakeRule, served: Served, level: float) -> Gated | None:
    """Readings held against the limits of a rule; None where it has none.

    Args:
        readings: a row a repeat, columns make, quantity, value, optionally hours, batch, unit, instrument, method, and
            points of flow curves as in `instruments.judge_gates`.
        rule: as sealed.
        served: the pieces that were tasted.
        level: one-sided, of this look.

    Raises:
        ValueError: a make that was not tasted, readings that do not name their batch, or as `judge_gates`.
    """
    if not rule.gates:
        return None
    pieces, batches = (*served.makes, rule.reference), served.batches or ("",)
    table = pd.DataFrame(columns=["make", "quantity", "value"]) if readings is None else readings
    own = _of_pieces(table, pieces, bool(served.batches))
    of_make = {name: replace(gate, monotone=False, until=None) for name, gate in rule.gates.items()}
    read = read_of(own, of_make, np.arange(len(pieces), dtype=float), batches)
    results = {piece: tuple(_results(of_make, read, served, batches, at, level)) for at, piece in enumerate(pieces)}
    chances_of = _chances(of_make, read, served, batches)
    return Gated(*chances_of, len(rule.gates) * _batches_each(served), results, tuple(_reached(table, rule, level)))


def _of_pieces(table: pd.DataFrame, pieces: Sequence[str], several: bool) -> pd.DataFrame:
    """The readings of the pieces that were tasted, by their number; of a make read at several hours but tasted at one,
    those of its longest."""
    named = table["make"].astype(str)
    if "hours" in table:
        hours = table["hours"].astype(float)
        by_hours = pd.Series([pulled(m, h) for m, h in zip(named, hours, strict=True)], table.index, object)
        last = hours == hours.groupby(named).transform("max")
        named = by_hours.where(by_hours.isin(pieces), named.where(last, ""))
    own = table.assign(hours=named.map({piece: float(at) for at, piece in enumerate(pieces)}))
    own = own[own["hours"].notna()]
    if not several:
        return own.drop(columns="batch", errors="ignore")
    if "" in batches_of(own) and len(own):
        raise ValueError("readings, batch: some readings do not name their batch, and there are several")
    return own


def _batches_each(served: Served) -> int:
    """Batches of each make that is judged."""
    return 1 if served.lots is None else int((served.lots.piece == served.first).sum())


def _has(served: Served, batch: int, piece: int) -> bool:
    """Whether a batch is one of a piece, by their numbers; pieces count from the first make."""
    if served.lots is None:
        return True
    return bool(((served.lots.piece == served.first + piece) & (served.lots.batch == batch)).any())


def _results(
    gates: Mapping[str, Gate], read: Mapping[str, Read], served: Served, batches: Sequence[str], at: int, level: float
) -> Iterator[GateOfMake]:
    """Every limit of one piece, batch by batch."""
    hours = np.arange(len(served.makes) + 1, dtype=float)
    levels = GateLevels(level, np.full(len(hours), level), level)
    for name, own in read.items():
        for number, batch in enumerate(batches):
            if not _has(served, number, at):
                continue
            repeats = own.repeats[batch]
            found = answered(repeats, gates[name], own.spread, hours, levels)
            pull = result_of(name, gates[name], batch, hours, own.spread, found).pulls[at]
            good, bad = (float(one[0, at]) for one in chances(repeats, gates[name], own.spread))
            told = (pull.answer, pull.mean, pull.end, pull.repeats, pull.why)
            yield GateOfMake(name, batch, *told, good, bad)


def _chances(
    gates: Mapping[str, Gate], read: Mapping[str, Read], served: Served, batches: Sequence[str]
) -> tuple[Array, Array]:
    """Over all limits and batches of each make that is judged: the largest chance of the one, the smallest of the
    other (1, q)."""
    kept, broken = np.zeros((1, len(served.makes))), np.ones((1, len(served.makes)))
    for name, own in read.items():
        for number, batch in enumerate(batches):
            there = np.array([_has(served, number, at) for at in range(len(served.makes))])
            good, bad = (one[:, :-1] for one in chances(own.repeats[batch], gates[name], own.spread))
            kept = np.maximum(kept, np.where(there, good, 0.0))
            broken = np.minimum(broken, np.where(there, bad, 1.0))
    return kept, broken


def _reached(table: pd.DataFrame, rule: MakeRule, level: float) -> Iterator[Reached]:
    """Of makes that were read at several hours, from which on each keeps a limit by itself."""
    if "hours" not in table or table.groupby("make")["hours"].nunique().max() < 2:
        return
    by_make = table.assign(batch=table["make"].astype(str), hours=table["hours"].astype(float))
    for name, gate in rule.gates.items():
        for make, own in by_make.groupby("batch"):
            hours = np.unique(own["hours"])
            read = read_of(by_make, {name: gate}, hours, [str(make)])[name]
            levels = GateLevels(level, np.full(len(hours), level), level)
            found = answered(read.repeats[str(make)], gate, read.spread, hours, levels)
            shortest = result_of(name, gate, str(make), hours, read.spread, found).shortest_hours
            yield Reached(name, str(make), shortest, float(hours[-1]))
