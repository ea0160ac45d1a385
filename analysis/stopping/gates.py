"""Limits of instruments in the rule: what was read of every batch, and what it shows beside flavour.

A limit is kept in every batch, whatever is claimed of flavour; it joins the attributes by AND. Shapes: B studies, h
pulls.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.instruments import (
    Gate,
    GateLevels,
    GateLimits,
    GateResult,
    Read,
    Repeats,
    Spread,
    answered,
    batches_of,
    read_of,
    result_of,
    settling,
)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
# So many more repeats are offered at most, the fewest of which settle an open pull this often.
MOST_REPEATS, SETTLED = 6, 0.7


@dataclass(frozen=True, slots=True)
class MoreRepeats:
    """So many `more` fresh portions of the pull at `hours` of a `batch` make limit `gate` kept there with `chance`,
    were its mean as it was read; None where nothing was read that a chance could come from."""

    gate: str
    batch: str
    hours: float
    more: int
    chance: float | None


@dataclass(frozen=True, slots=True)
class GatesShown:
    """What all limits show together: flags (B, h) and (B,). `passes`, `chained` (asked of every longer pull), `fails`;
    `choosable` (h,): no limit ends before; `improving`: some limit that is not kept at the reference came nearer in
    every batch; `held`: every other limit is kept there."""

    passes: Flags
    chained: Flags
    fails: Flags
    choosable: Flags
    improving: Flags
    held: Flags


@dataclass(frozen=True, slots=True)
class Gating:
    """The limits of a rule with what was read of each. `served`: which pulls a batch served, all where it is not named;
    `one_is_enough`: whether a pull fails that fails in one batch; for a recipe it must in all. `once`:
    a limit counts once among what could fail, since whoever counts reckons with the batches beside."""

    gates: Mapping[str, Gate]
    read: Mapping[str, Read]
    hours: Array
    served: Mapping[str, Flags] = field(default_factory=dict)
    one_is_enough: bool = True
    once: bool = False

    @classmethod
    def of(
        cls, readings: pd.DataFrame | None, gates: Mapping[str, Gate], hours: Array, batches: Sequence[str] = ()
    ) -> Gating | None:
        """The readings of the `batches` that were tasted; none where the rule has no limits of instruments.

        Raises:
            ValueError: several batches were tasted, and readings that do not name theirs; or as `read_of`.
        """
        if not gates:
            return None
        named = [] if readings is None else batches_of(readings)
        if "" in named and (len(named) > 1 or len(batches) > 1):
            raise ValueError("readings, batch: some readings do not name their batch, and there are several")
        judged = list(batches) if batches and "" not in named else None
        return cls(gates, read_of(readings, gates, hours, judged), hours)

    @property
    def per_pull(self) -> Array:
        """How many limits could be shown to fail at each pull (h,)."""
        ways = {name: 1 if self.once else len(own.repeats) for name, own in self.read.items()}
        return np.asarray(np.sum([ways[name] * self._asked(gate) for name, gate in self.gates.items()], 0, dtype=float))

    def _asked(self, gate: Gate) -> Flags:
        return self.hours <= (np.inf if gate.until is None else gate.until)

    def of_batch(self, batch: str, hours: Array) -> Gating:
        """One batch alone with the pulls that it served; spread stays that of all."""
        at = np.searchsorted(self.hours, hours)
        read = {name: Read(_only(own, batch, at), own.spread) for name, own in self.read.items()}
        return Gating(self.gates, read, hours)

    def at(self, pulls: NDArray[np.intp]) -> Gating:
        """Some of the pulls, by their places."""
        read = {
            name: Read({batch: one.at(pulls) for batch, one in own.repeats.items()}, own.spread)
            for name, own in self.read.items()
        }
        return replace(self, read=read, hours=self.hours[pulls])

    def rows(self, rows: NDArray[np.intp] | slice) -> Gating:
        """Some of the studies."""
        read = {
            name: Read(
                {b: one.rows(rows) for b, one in own.repeats.items()}, Spread(own.spread.sd[rows], own.spread.df)
            )
            for name, own in self.read.items()
        }
        return replace(self, read=read)

    def limits(self, level: float, failing: Array, shared: float) -> dict[str, dict[str, GateLimits]]:
        """Every limit in every batch, at levels as in `GateLevels`."""
        levels = GateLevels(level, failing, shared)
        return {name: {b: self._one(name, b, levels) for b in own.repeats} for name, own in self.read.items()}

    def _one(self, name: str, batch: str, levels: GateLevels) -> GateLimits:
        own = self.read[name]
        found = answered(own.repeats[batch], self.gates[name], own.spread, self.hours, levels)
        served = self.served.get(batch)
        return found if served is None else replace(found, asked=found.asked & served)

    def shown(self, limits: Mapping[str, Mapping[str, GateLimits]]) -> GatesShown:
        """What they show together."""
        each = [self._of_one(self.gates[name], list(own.values())) for name, own in limits.items()]
        return GatesShown(
            passes=np.logical_and.reduce([one.passes for one in each]),
            chained=np.logical_and.reduce([one.chained for one in each]),
            fails=np.logical_or.reduce([one.fails for one in each]),
            choosable=np.logical_and.reduce([one.choosable for one in each]),
            improving=np.logical_or.reduce([one.improving for one in each]),
            held=np.logical_and.reduce([one.held for one in each]),
        )

    def _of_one(self, gate: Gate, batches: Sequence[GateLimits]) -> GatesShown:
        """What one limit shows over all batches."""
        passes = np.logical_and.reduce([one.passes for one in batches])
        fails = [one.fails & one.asked for one in batches]
        improving = np.logical_and.reduce([one.improving & one.asked[-1] for one in batches])
        return GatesShown(
            passes=passes,
            chained=np.logical_and.reduce([one.chained for one in batches]),
            fails=(np.logical_or if self.one_is_enough else np.logical_and).reduce(fails),
            choosable=self._asked(gate),
            improving=improving,
            held=improving | passes[:, -1],
        )

    def results(self, limits: Mapping[str, Mapping[str, GateLimits]]) -> tuple[GateResult, ...]:
        """The numbers of the first study, limit by limit and batch by batch."""
        return tuple(
            result_of(name, self.gates[name], batch, self.hours, self.read[name].spread, one)
            for name, own in limits.items()
            for batch, one in own.items()
        )


def _only(own: Read, batch: str, at: NDArray[np.intp]) -> dict[str, Repeats]:
    name = batch if batch in own.repeats else ""
    return {name: own.repeats[name].at(at)}


def more_repeats(
    gating: Gating, limits: Mapping[str, Mapping[str, GateLimits]], first: int, level: float
) -> tuple[MoreRepeats, ...]:
    """What more repeats would do for every pull from `first` on at which a limit is open, where flavour is ready."""
    open_ = [(name, batch, one, at) for name, own in limits.items() for batch, one in own.items() for at in _open(one)]
    return tuple(_offer(gating, *each, level) for each in open_ if each[-1] >= first)


def _open(one: GateLimits) -> list[int]:
    """Pulls at which a limit that is asked is open, of the first study."""
    return np.flatnonzero(one.asked & (one.why_open[0] != 0)).tolist()


def _offer(gating: Gating, name: str, batch: str, one: GateLimits, at: int, level: float) -> MoreRepeats:
    gate, spread, r = gating.gates[name], gating.read[name].spread, int(one.counts[at])
    own = max(float(spread.sd[0]), float(gating.read[name].repeats[batch].own_sd[0, at]))
    hours = float(gating.hours[at])
    if not np.isfinite(one.guard[0, at]):
        return MoreRepeats(name, batch, hours, max(gate.repeats, 2) - r if r < max(gate.repeats, 2) else 1, None)
    excess, chance, more = float(one.excess[0, at]), 0.0, 0
    while more < MOST_REPEATS and chance < SETTLED:
        more += 1
        chance = settling(excess, own, spread.df, r, more, level, gate.uncertainty)
    return MoreRepeats(name, batch, hours, more, chance)
