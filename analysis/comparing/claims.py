"""From limits to a verdict for each make, for a batch of studies.

All attributes of a make must be shown (intersection-union, Berger 1982, from memory), so each is asked at the full
level and the largest chance counts; of several makes some may be shown and others not, so these chances are held
against Holm's steps (1979). Shapes: B studies, q makes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from analysis.comparing.batches import Apart, with_batches
from analysis.comparing.gates import Gated
from analysis.comparing.rule import MakeClaim
from analysis.model.cells import Cells
from analysis.stopping import standard_errors as bounds
from analysis.stopping import verdicts
from analysis.stopping.standard_errors import Contrasts, Estimates
from analysis.stopping.verdicts import AttributeLimits

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Codes = NDArray[np.intp]
MakeVerdict = Literal["shown", "not good enough", "cannot tell"]
MAKE_VERDICTS: tuple[MakeVerdict, ...] = ("shown", "not good enough", "cannot tell")
SHOWN, NOT_GOOD, CANNOT = range(3)


@dataclass(frozen=True, slots=True)
class ClaimLimits:
    """One attribute: signed differences from the reference (B, pieces), `p` of the claim and of its limit on the mean
    together (B, q), whether each make is shown to `fail` it (B, q), and whether the control is `told` (B,). `filled`:
    the same with what could not be judged at the worse end of the scale at the makes, and at the better."""

    limits: AttributeLimits
    worse: Estimates
    means: Estimates
    p: Array
    fails: Flags
    told: Flags
    filled: tuple[ClaimLimits, ...] = ()


@dataclass(frozen=True, slots=True)
class Beside:
    """What counts beside the attributes: makes that are `out`, how many `statements` could fail in all, and what limits
    of instruments show."""

    out: int
    statements: int
    gated: Gated | None


@dataclass(frozen=True, slots=True)
class Judged:
    """Verdicts (B, q) as indices into `MAKE_VERDICTS`. `p` of each make, `holm` adjusted for several makes, `level` at
    which each was decided (B, q); `control_found` (B,)."""

    verdict: Codes
    p: Array
    holm: Array
    level: Array
    control_found: Flags
    attributes: Mapping[str, ClaimLimits]
    plain: verdicts.Judged
    beside: Beside


def judge(
    cells: Mapping[str, Cells],
    claims: Mapping[str, MakeClaim],
    level: float,
    first: int = 1,
    fits: Mapping[str, Contrasts] | None = None,
    apart: Mapping[str, Apart] | None = None,
    out: int = 0,
    gated: Gated | None = None,
) -> Judged:
    """Judge a batch of studies.

    Args:
        cells: scores of every attribute; the pieces in the same order, the last being the reference.
        claims: what is claimed of each.
        level: one-sided level of this look.
        first: column of the first make that is judged, 1 with a control before it, else 0.
        fits: of attributes that a fuller model adjusts; they take the place of `cells`.
        apart: with a claim on the make, what its batches did to each attribute.
        out: sealed makes that hold no scores to weigh; they count with those that do.
        gated: what limits of instruments show of the makes.
    """
    wishes = {name: one.wish for name, one in claims.items()}
    plain = verdicts.judge(cells, wishes, level, 0, fits)
    q = next(iter(cells.values())).sums.shape[2] - 1 - first
    each = sum(1 + (one.limit is not None) for one in claims.values()) + (0 if gated is None else gated.count)
    beside = Beside(out, (q + out) * each, gated)
    makes = slice(first, first + q)
    found = {}
    for name, one in claims.items():
        limits = plain.attributes[name]
        worse = limits.worse if apart is None else with_batches(limits.worse, apart[name], limits.sign)
        means = bounds.means(limits.panels).rows(limits.own).times(np.array([[limits.sign]]))
        found[name] = _claimed(
            one, limits, worse, means, (level, level / beside.statements, level / len(claims)), makes
        )
    awake = _awake(found, claims, bool(first))
    return _joined(found, level, awake, plain, beside)


def _awake(found: Mapping[str, ClaimLimits], claims: Mapping[str, MakeClaim], control: bool) -> Flags:
    """Whether the panel told the control, where any claim needs that (B,); never where the control was lost."""
    told = np.logical_or.reduce([one.told for one in found.values()])
    if all(one.claim == "better" for one in claims.values()):
        return np.ones_like(told)
    return np.asarray(told & control)


def under_both(base: Judged, fills: Sequence[Judged], level: float) -> Judged:
    """What holds however the servings that could not be judged are filled in: `base` leaves them out and keeps its
    estimates, and its statements become those of both `fills`."""
    found = {}
    for name, own in base.attributes.items():
        ways = tuple(fill.attributes[name] for fill in fills)
        found[name] = replace(
            own,
            p=np.maximum.reduce([way.p for way in ways]),
            fails=np.logical_and.reduce([way.fails for way in ways]),
            told=np.logical_and.reduce([way.told for way in ways]),
            filled=ways,
        )
    awake = np.logical_and.reduce([fill.control_found for fill in fills])
    return _joined(found, level, awake, base.plain, base.beside)


def _claimed(
    one: MakeClaim,
    limits: AttributeLimits,
    worse: Estimates,
    means: Estimates,
    levels: tuple[float, float, float],
    makes: slice,
) -> ClaimLimits:
    """What is shown of one attribute, at the level of a claim, of a failure, and of the control."""
    _level, failing, shared = levels
    p, fails = answers(one, limits, worse, means, failing)
    control = worse.of([0])
    away = np.abs(control.estimate) if limits_both_ways(one) else control.estimate
    told = (away > control.reach(shared))[:, 0] & limits.judged
    return ClaimLimits(limits, worse, means, p[:, makes], fails[:, makes], told)


def answers(
    one: MakeClaim, limits: AttributeLimits, worse: Estimates, means: Estimates, failing: float
) -> tuple[Array, Flags]:
    """Of every piece (B, pieces): the chance of the claim with its limit, and whether it is false at `failing`."""
    judged = limits.judged[:, None]
    p, fails = chance(worse, one), _fails(worse, one, failing)
    if one.limit is not None:
        bound = limits.sign * one.limit
        p = np.maximum(p, _above(means, bound))
        fails = fails | (means.estimate - means.reach(failing) >= bound)
    return np.where(judged, p, 1.0), fails & judged


def limits_both_ways(one: MakeClaim) -> bool:
    """Whether a difference is worse in either direction, so that the control may be found on either side."""
    return one.wanted == "same"


def chance(worse: Estimates, one: MakeClaim) -> Array:
    """Largest chance over all errors of what is seen, were the claim just false (B, pieces)."""
    if one.claim == "better":
        return _above(worse, 0.0)
    above = _above(worse, one.margin)
    if one.claim == "no worse":
        return above
    return np.asarray(np.maximum(above, _above(replace(worse, estimate=-worse.estimate), one.margin)))


def _above(found: Estimates, edge: float) -> Array:
    """Chance of an estimate as low as this or lower if the truth lay at `edge`, the largest over all errors."""
    with np.errstate(divide="ignore", invalid="ignore"):
        every = [stdtr(error.df, (found.estimate - edge) / error.se) for error in found.errors]
    return np.asarray(np.nan_to_num(np.maximum.reduce(every), nan=1.0))


def _fails(worse: Estimates, one: MakeClaim, level: float) -> Flags:
    """Whether the claim is shown to be false (B, pieces)."""
    reach = worse.reach(level)
    if one.claim == "better":
        return np.asarray(worse.estimate - reach >= 0)
    beyond = worse.estimate - reach >= one.margin
    return np.asarray(beyond | ((one.claim == "same") & (worse.estimate + reach <= -one.margin)))


def _joined(
    found: Mapping[str, ClaimLimits], level: float, awake: Flags, plain: verdicts.Judged, beside: Beside
) -> Judged:
    """Attributes and limits of instruments by AND, makes by Holm's steps; nothing of a panel not shown awake."""
    p = np.maximum.reduce([one.p for one in found.values()])
    fails = np.logical_or.reduce([one.fails for one in found.values()])
    if beside.gated is not None:
        p = np.maximum(p, beside.gated.kept)
        fails = fails | (beside.gated.broken <= level / beside.statements)
    q, out = p.shape[1] + beside.out, beside.out
    adjusted, steps = (part[:, : p.shape[1]] for part in holm(np.pad(p, ((0, 0), (0, out)), constant_values=1.0)))
    shown = (adjusted < level) & awake[:, None]
    count = (adjusted < level).sum(1, keepdims=True)
    decided = level / np.where(adjusted < level, steps, np.maximum(q - count, 1))
    verdict = np.select([shown, fails & awake[:, None]], [SHOWN, NOT_GOOD], CANNOT)
    return Judged(verdict, p, adjusted, decided, awake, found, plain, beside)


def holm(p: Array) -> tuple[Array, Array]:
    """Chances (B, q) adjusted for several makes, and by how much each was multiplied in its step (B, q)."""
    q = p.shape[1]
    order = np.argsort(p, axis=1, kind="stable")
    times = np.arange(q, 0, -1)
    stepped = np.minimum(np.maximum.accumulate(np.take_along_axis(p, order, 1) * times, axis=1), 1.0)
    adjusted, steps = np.empty_like(p), np.empty_like(p)
    np.put_along_axis(adjusted, order, stepped, 1)
    np.put_along_axis(steps, order, np.broadcast_to(times.astype(float), p.shape), 1)
    return adjusted, steps
