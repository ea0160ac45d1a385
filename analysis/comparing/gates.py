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

from analysis.comparing.reading import Tasted, pulled
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
    """What all limits show of the makes that are judged, in one study or in each of B: chances (1 or B, q) of means as
    good as read, were some limit just broken (`kept`), and as bad, were it just kept (`broken`). `count` of what could
    be shown to fail of one make. `results` of every piece that is compared."""

    kept: Array
    broken: Array
    count: int
    results: Mapping[str, tuple[GateOfMake, ...]]
    reached: tuple[Reached, ...] = ()


def gated(readings: pd.DataFrame | None, rule: MakeRule, tasted: Tasted, level: float) -> Gated | None:
    """Readings held against the limits of a rule; None where it has none.

    Args:
        readings: a row a repeat, columns make, quantity, value, optionally hours, batch, unit, instrument, method, and
            points of flow curves as in `instruments.judge_gates`.
        rule: as sealed.
        tasted: the makes that were tasted.
        level: one-sided, of this look.

    Raises:
        ValueError: a make that was not tasted, readings that do not name their batch, or as `judge_gates`.
    """
    if not rule.gates:
        return None
    pieces, batches = (*tasted.makes, tasted.reference), tasted.batches or ("",)
    table = pd.DataFrame(columns=["make", "quantity", "value"]) if readings is None else readings
    own = _of_pieces(table, pieces, bool(tasted.batches))
    gates = of_makes(rule.gates)
    read = read_of(own, gates, np.arange(len(pieces), dtype=float), batches)
    results = {piece: tuple(_results(gates, read, tasted, at, level)) for at, piece in enumerate(pieces)}
    return joined(gates, read, tasted.there, results, tuple(_reached(table, rule, level)))


def of_makes(gates: Mapping[str, Gate]) -> dict[str, Gate]:
    """The limits as asked of makes, which stand in no order of hours."""
    return {name: replace(gate, monotone=False, until=None) for name, gate in gates.items()}


def joined(
    gates: Mapping[str, Gate],
    read: Mapping[str, Read],
    there: NDArray[np.bool_],
    results: Mapping[str, tuple[GateOfMake, ...]],
    reached: tuple[Reached, ...] = (),
) -> Gated:
    """Over all limits and batches of each make that is judged: the largest chance of a limit just broken, the smallest
    of one just kept. `there` as in `Tasted`; `read` of one study or of many."""
    each = there[:, :-1]
    kept, broken = np.zeros((1, each.shape[1])), np.ones((1, each.shape[1]))
    for name, own in read.items():
        for own_there, repeats in zip(each, own.repeats.values(), strict=True):
            good, bad = (one[:, :-1] for one in chances(repeats, gates[name], own.spread))
            kept = np.maximum(kept, np.where(own_there, good, 0.0))
            broken = np.minimum(broken, np.where(own_there, bad, 1.0))
    return Gated(kept, broken, len(gates) * int(each[:, 0].sum()), results, reached)


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


def _results(
    gates: Mapping[str, Gate], read: Mapping[str, Read], tasted: Tasted, at: int, level: float
) -> Iterator[GateOfMake]:
    """Every limit of one piece, batch by batch."""
    hours = np.arange(len(tasted.makes) + 1, dtype=float)
    levels = GateLevels(level, np.full(len(hours), level), level)
    for name, own in read.items():
        for (batch, repeats), there in zip(own.repeats.items(), tasted.there[:, at], strict=True):
            if not there:
                continue
            found = answered(repeats, gates[name], own.spread, hours, levels)
            pull = result_of(name, gates[name], batch, hours, own.spread, found).pulls[at]
            good, bad = (float(one[0, at]) for one in chances(repeats, gates[name], own.spread))
            told = (pull.answer, pull.mean, pull.end, pull.repeats, pull.why)
            yield GateOfMake(name, batch, *told, good, bad)


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
