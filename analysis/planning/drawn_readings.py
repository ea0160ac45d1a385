"""Readings of instruments drawn from a scenario, as a workshop might take them before the key is first opened."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.instruments import Gate, Read, Repeats, Spread
from analysis.stopping.gates import Gating

Array = NDArray[np.float64]
# Readings come from a stream of their own, so that a limit changes no score that is drawn.
STREAM = 7
# Where nobody says how instruments read, limits are kept by so many spreads of repeats, and repeats spread so much of
# the limit: then flavour decides, and how far limits cost an answer is not told.
INSIDE, USUAL_SPREAD, USUAL_REPEATS = 20.0, 0.01, 3


@dataclass(frozen=True, slots=True)
class GateTruth:
    """The truth behind one limit: `mean` per pull, in its unit; `sd` of repeats and `off`, by how much instrument and
    method read wrong in a whole study (both sd, relative where the limit is on logs); `repeats` at every pull."""

    mean: tuple[float, ...]
    sd: float
    repeats: int = 2
    off: float = 0.0

    def __post_init__(self) -> None:
        """Refuse impossible truths by name."""
        if self.repeats < 1:
            raise ValueError(f"repeats must be 1 or more, got {self.repeats}")
        for label, value in (("sd", self.sd), ("off", self.off)):
            if not 0 <= value < np.inf:
                raise ValueError(f"{label} must be finite and not below 0, got {value}")
        if not np.isfinite(self.mean).all():
            raise ValueError(f"mean: every value must be finite, got {list(self.mean)}")

    def broken(self, gate: Gate, hours: Array) -> NDArray[np.bool_]:
        """Pulls (h,) at which the limit is truly broken, where it is asked."""
        asked = hours <= (np.inf if gate.until is None else gate.until)
        return np.asarray((gate.scaled(np.array(self.mean)) >= 0) & asked)

    def turns(self, gate: Gate, hours: Array) -> bool:
        """Whether a pull that is asked breaks the limit after a shorter one keeps it: then no hour can be chosen."""
        broken = self.broken(gate, hours)
        kept = np.flatnonzero(~broken)
        return bool(len(kept)) and bool(broken[kept[0] :].any())


def usual_readings(gate: Gate, pulls: int) -> GateTruth:
    """The truth behind a limit that every pull keeps by far."""
    sd = USUAL_SPREAD if gate.log else USUAL_SPREAD * max(abs(gate.limit), USUAL_SPREAD)
    value = float(gate.unscaled(np.array(-INSIDE * (sd + gate.uncertainty))))
    return GateTruth((value,) * pulls, sd, max(gate.repeats, USUAL_REPEATS))


def read_gates(
    truths: Mapping[str, GateTruth], gates: Mapping[str, Gate], hours: Array, studies: int, seed: int, batches: int = 1
) -> Gating | None:
    """Readings of so many studies, of every batch; None without limits. Batches are named by their numbers."""
    if not gates:
        return None
    rng = np.random.default_rng([seed, STREAM])
    named = [""] if batches == 1 else [str(number) for number in range(batches)]
    return Gating(gates, {name: _read(truths[name], gates[name], studies, rng, named) for name in sorted(gates)}, hours)


def _read(truth: GateTruth, gate: Gate, studies: int, rng: np.random.Generator, batches: Sequence[str]) -> Read:
    mean = gate.scaled(np.array(truth.mean))
    off = truth.off * rng.standard_normal((studies, 1, 1))
    repeats = {}
    for batch in batches:
        values = mean[:, None] + off + truth.sd * rng.standard_normal((studies, len(mean), truth.repeats))
        repeats[batch] = Repeats.of(values, np.full(len(mean), truth.repeats))
    return Read(repeats, Spread.of(gate, list(repeats.values())))
