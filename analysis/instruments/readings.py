"""From a table of readings to the answers of every limit, pull by pull and batch by batch."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.instruments.flow import named, read_off
from analysis.instruments.gates import (
    WHY_OPEN,
    Gate,
    GateLevels,
    GateLimits,
    Repeats,
    Spread,
    answered,
    check_gates,
    turning,
)

Array = NDArray[np.float64]
Answer = Literal["passes", "fails", "open"]
COLUMNS = ("hours", "quantity", "value", "batch", "unit", "instrument", "method")
CURVE = ("shear_rate", "stress", "branch", "curve")


@dataclass(frozen=True, slots=True)
class GatePull:
    """One pull under one limit. `mean` in the unit of the limit (geometric where spread is relative), `end` the end of
    the mean's guard that decides, `guard` on the scale of the judgement; None where there is none. `why` tells why an
    answer is open; `inferred`: taken from the next shorter pull, for the quantity cannot get worse; `asked`: no longer
    than the limit is asked."""

    hours: float
    mean: float | None
    end: float | None
    guard: float | None
    answer: Answer
    repeats: int
    why: str | None
    inferred: bool
    asked: bool


@dataclass(frozen=True, slots=True)
class GateResult:
    """One limit in one batch ("" where batches are not told apart). `sd` of repeats and its `df`; `shortest_hours`: the
    shortest pull from which on it is kept; `turns`: a longer pull that is asked fails after a shorter one passed."""

    name: str
    gate: Gate
    batch: str
    pulls: tuple[GatePull, ...]
    sd: float
    df: float
    improving: bool
    shortest_hours: float | None
    turns: bool


@dataclass(frozen=True, slots=True)
class Read:
    """What was read for one limit: `repeats` of every batch by its name, and their common spread."""

    repeats: Mapping[str, Repeats]
    spread: Spread


def judge_gates(
    readings: pd.DataFrame | None, gates: Mapping[str, Gate], hours: Sequence[float], level: float
) -> tuple[GateResult, ...]:
    """Every limit in every batch by itself, for a page of readings; in a verdict `stopping` shares the level out.

    Args:
        readings: a row a repeat, columns hours, quantity, value, optionally batch, unit, instrument, method; points of
            flow curves have shear_rate (1/s), stress (Pa), branch ("up", "down") and curve (a fresh portion each).
        gates: by name.
        hours: the pulls.
        level: one-sided.

    Raises:
        ValueError: a limit is impossible, or a reading was made otherwise than its limit says.
    """
    check_gates(gates)
    pulls = np.sort(np.asarray(hours, float))
    levels = GateLevels(level, np.full(len(pulls), level), level)
    found = []
    for name, read in read_of(readings, gates, pulls).items():
        for batch, repeats in read.repeats.items():
            limits = answered(repeats, gates[name], read.spread, pulls, levels)
            found.append(result_of(name, gates[name], batch, pulls, read.spread, limits))
    return tuple(found)


def read_of(
    readings: pd.DataFrame | None, gates: Mapping[str, Gate], hours: Array, batches: Sequence[str] | None = None
) -> dict[str, Read]:
    """The readings of every limit in the `batches` that are judged, else in all, on the scale of its judgement. Spread
    is taken over every hour and batch read, whichever are asked for. Raises ValueError as `judge_gates`."""
    table = pd.DataFrame(columns=list(COLUMNS)) if readings is None else readings
    names = batches_of(table)
    asked = names if batches is None else list(batches)
    return {name: _read(name, gate, table, hours, sorted({*names, *asked}), asked) for name, gate in gates.items()}


def batches_of(readings: pd.DataFrame) -> list[str]:
    """The batches that readings name, or one without a name."""
    return sorted(set(_texts(readings, "batch"))) or [""]


def _read(
    name: str, gate: Gate, table: pd.DataFrame, hours: Array, batches: Sequence[str], judged: Sequence[str]
) -> Read:
    own = values_of(name, gate, table)
    if gate.log and not (own["value"] > 0).all():
        raise ValueError(f"gates.{name}: a reading of {gate.quantity} is not above 0, and its spread is relative")
    own = own.assign(scaled=gate.scaled(own["value"].to_numpy(float)))
    every = np.unique([*own["hours"], *hours])
    whole = {batch: _repeats(own[own["batch"] == batch], every) for batch in batches}
    at = np.searchsorted(every, hours)
    return Read({one: whole[one].at(at) for one in judged}, Spread.of(gate, list(whole.values())))


def _repeats(own: pd.DataFrame, hours: Array) -> Repeats:
    values = [own.loc[own["hours"] == hour, "scaled"].to_numpy(float) for hour in hours]
    counts = np.array([len(some) for some in values], np.intp)
    table = np.full((1, len(hours), max(counts.max(initial=0), 1)), np.nan)
    for at, some in enumerate(values):
        table[0, at, : len(some)] = some
    return Repeats.of(table, counts)


def values_of(name: str, gate: Gate, table: pd.DataFrame) -> pd.DataFrame:
    """Columns hours, batch, value of every reading of the quantity of a limit, those read off flow curves too.

    Raises:
        ValueError: another unit, instrument or method than the limit names; a curve that does not reach its rate.
    """
    table = table if "value" in table else table.assign(value=np.nan)
    is_point = _filled(table, "shear_rate")
    own = table[(_texts(table, "quantity").map(named) == named(gate.quantity)) & ~is_point]
    found = [own.assign(batch=_texts(own, "batch"))[["hours", "batch", "value"]]]
    curves = _beside(table[is_point] if turning(gate.quantity) else table[:0], own)
    _refuse_others(name, gate, own, ("unit", "instrument", "method"))
    _refuse_others(name, gate, curves, ("instrument", "method"))
    keys = [_texts(curves, "batch"), curves["hours"].astype(float), _texts(curves, "curve")]
    for (batch, hours, curve), points in curves.groupby(keys):
        value = read_off(points, gate.quantity)
        if value is None:
            raise ValueError(
                f"gates.{name}: {gate.quantity} cannot be read off flow curve {curve or '1'} at {hours:g} h, "
                "the rates measured on its way down do not reach so far"
            )
        found.append(pd.DataFrame({"hours": [hours], "batch": [batch], "value": [value]}))
    return pd.concat(found, ignore_index=True).astype({"hours": float, "value": float})


def _beside(curves: pd.DataFrame, own: pd.DataFrame) -> pd.DataFrame:
    """Curves of pulls that have no value of their own; else one portion could count twice."""
    told = set(zip(_texts(own, "batch"), own["hours"].astype(float), strict=True))
    keys = zip(_texts(curves, "batch"), curves["hours"].astype(float), strict=True)
    return curves[np.array([key not in told for key in keys], bool)]


def _refuse_others(name: str, gate: Gate, own: pd.DataFrame, columns: Sequence[str]) -> None:
    """What reads otherwise cannot stand beside it."""
    for column in columns:
        sealed = getattr(gate, column)
        for told in dict.fromkeys(_texts(own, column)):
            if sealed and told and told.casefold() != sealed.casefold():
                raise ValueError(
                    f"gates.{name}: {gate.quantity} was sealed with the {column} {sealed!r}; "
                    f"{told!r} reads otherwise and cannot stand beside it"
                )


def _texts(table: pd.DataFrame, column: str) -> pd.Series[str]:
    """A column as texts without spaces around, "" where it is empty or missing."""
    if column not in table:
        return pd.Series("", index=table.index, dtype=object)
    cells = table[column].astype(object)
    return cells.where(cells.notna(), "").astype(str).str.strip()


def _filled(table: pd.DataFrame, column: str) -> pd.Series[bool]:
    return table[column].notna() if column in table else pd.Series(False, index=table.index)


# ---- in numbers to show ----------------------------------------------------------------------------------------------
def result_of(name: str, gate: Gate, batch: str, hours: Array, spread: Spread, limits: GateLimits) -> GateResult:
    """One limit in one batch, of the first study of its limits."""
    shortest = int(limits.own_shortest()[0])
    passes, fails = limits.passes[0], limits.fails[0] & limits.asked
    first = int(passes.argmax()) if passes.any() else len(hours)
    return GateResult(
        name=name,
        gate=gate,
        batch=batch,
        pulls=tuple(_pull(gate, hours, limits, at) for at in range(len(hours))),
        sd=float(spread.sd[0]),
        df=spread.df,
        improving=bool(limits.improving[0]),
        shortest_hours=float(hours[shortest]) if shortest < len(hours) else None,
        turns=bool(fails[first:].any()),
    )


def _pull(gate: Gate, hours: Array, limits: GateLimits, at: int) -> GatePull:
    answer: Answer = "passes" if limits.passes[0, at] else "fails" if limits.fails[0, at] else "open"
    excess, guard = limits.excess[0, at], limits.guard[0, at]
    return GatePull(
        hours=float(hours[at]),
        mean=_known(gate.unscaled(excess)),
        end=_known(gate.unscaled(excess + (-guard if answer == "fails" else guard))),
        guard=_known(guard),
        answer=answer,
        repeats=int(limits.counts[at]),
        why=WHY_OPEN[int(limits.why_open[0, at])],
        inferred=bool(limits.inferred[0, at]),
        asked=bool(limits.asked[at]),
    )


def _known(value: float | Array) -> float | None:
    return float(value) if np.isfinite(value) else None
