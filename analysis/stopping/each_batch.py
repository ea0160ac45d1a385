"""A claim on each of several batches: every batch judged alone, and what is shown of all of them.

Flags that must hold are joined by AND over batches, those that stand in the way by OR; a batch that lost a pull has no
say on it. Shapes: B studies, h pulls of all batches together, k contrasts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.stopping.fates import Bars
from analysis.stopping.gates import Gating
from analysis.stopping.standard_errors import Error, Estimates
from analysis.stopping.verdicts import AttributeLimits, GateTable, Judged, all_of, any_of, judged_of

Flags = NDArray[np.bool_]
# Flags by pull, with what a batch says of a pull that it lost; by study; and those of which one batch is enough.
BY_PULL = {"within_margin": True, "within_limit": True, "breaks": False, "past": False, "inside": True}
BY_PULL |= {"bettered": False, "beyond_margin": False}
BY_STUDY = ("told", "kept", "nobody")
ONE_IS_ENOUGH = ("breaks", "past", "bettered", "beyond_margin")


def in_each(
    batches: Sequence[Judged],
    served: Flags,
    level: float,
    bars: Bars | None = None,
    gating: Gating | None = None,
    gates: GateTable | None = None,
) -> Judged:
    """What holds in each of the batches.

    Args:
        batches: each judged alone, a pull that it lost having no column.
        served: which batch served which pull (b, h).
        level: one-sided level of this look, at which the worst batch of a contrast is told.
        bars: what may not be said, by the pulls of all batches.
        gating: limits of instruments in every batch, and `gates`, what is shown of them.
    """
    found = {name: _joined([one.attributes[name] for one in batches], served, level) for name in batches[0].attributes}
    # Where a shorter pull passes in one batch, that one needs no more hours.
    ended = any_of(np.asarray(one.passes[:, :-1].any(1)) for one in batches)
    found = {name: replace(own, rising=own.rising & ~ended) for name, own in found.items()}
    return judged_of(found, bars, all_of(one.control_found for one in batches), gating, gates)


def _joined(ways: Sequence[AttributeLimits], served: Flags, level: float) -> AttributeLimits:
    """One attribute over all batches."""
    parts: dict[str, Any] = {name: _by_pull(ways, served, name) for name in BY_PULL}
    parts |= {name: all_of(getattr(way, name) for way in ways) for name in BY_STUDY}
    parts["rising"] = all_of(way.improving for way in ways)
    parts["holds"] = all_of(np.where(way.improving, way.kept, way.holds) for way in ways)
    parts["why_not"] = np.max([way.why_not for way in ways], 0)
    worse = _worst(list(map(_widened, (way.worse for way in ways), served)), level)
    return replace(ways[0], **parts, worse=worse, filled=_filled(ways, served, level))


def _filled(
    ways: Sequence[AttributeLimits], served: Flags, level: float
) -> tuple[AttributeLimits, AttributeLimits] | None:
    """The same under either filling, where something could not be judged; a batch without that is the same in both."""
    if not any(way.filled for way in ways):
        return None
    worse, better = zip(*(way.filled or (way, way) for way in ways), strict=True)
    return _joined(worse, served, level), _joined(better, served, level)


def _by_pull(ways: Sequence[AttributeLimits], served: Flags, name: str) -> Flags:
    """A flag of each pull over all batches."""
    join = any_of if name in ONE_IS_ENOUGH else all_of
    return join(_at(getattr(way, name), own, BY_PULL[name]) for way, own in zip(ways, served, strict=True))


def _at(flags: Flags, served: Flags, unserved: bool) -> Flags:
    """Flags of the pulls that a batch served (B, any) at their places among all (B, h)."""
    whole = np.full((len(flags), len(served)), unserved)
    whole[:, served] = flags
    return whole


def _widened(found: Estimates, served: Flags) -> Estimates:
    """Estimates by pull at their places among all, nothing where a batch lost it."""

    def put(values: NDArray[np.float64], empty: float) -> NDArray[np.float64]:
        whole = np.full((len(values), len(served)), empty)
        whole[:, served] = values
        return whole

    def error(one: Error) -> Error:
        return Error(put(one.se, 0.0), put(one.df, 1.0))

    sitting = None if found.sitting is None else error(found.sitting)
    return Estimates(put(found.estimate, -np.inf), put(found.df, 1.0), error(found.panel), error(found.own), sitting)


def _worst(ways: Sequence[Estimates], level: float) -> Estimates:
    """Of each contrast the batch whose upper limit is largest."""
    most = np.argmax([way.upper(level) for way in ways], 0)

    def chosen(every: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
        return np.asarray(np.take_along_axis(np.stack(every), most[None], 0)[0])

    def error(every: Sequence[Error]) -> Error:
        return Error(chosen([one.se for one in every]), chosen([one.df for one in every]))

    sittings = [way.sitting for way in ways if way.sitting is not None]
    return Estimates(
        chosen([way.estimate for way in ways]),
        chosen([way.df for way in ways]),
        error([way.panel for way in ways]),
        error([way.own for way in ways]),
        error(sittings) if len(sittings) == len(ways) else None,
    )
