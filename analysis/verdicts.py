"""From limits to one verdict, for a batch of studies: step down from the longest pull, attributes joined by AND.

Intersection-union (Berger 1982, from memory) needs no penalty for several attributes; a fixed sequence from the longest
pull (Hsu & Berger 1999) none for several pulls.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.limits import Cells, Estimates, Fitted, fitted

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Verdict = Literal["stop", "conche longer", "no hour fits", "cannot tell"]
VERDICTS: tuple[Verdict, ...] = ("stop", "conche longer", "no hour fits", "cannot tell")
STOP, LONGER, NONE_FITS, CANNOT = range(4)
FEWEST_ASSESSORS = 5


class Wish(Protocol):
    """What is wanted of an attribute."""

    @property
    def wanted(self) -> str: ...
    @property
    def margin(self) -> float: ...
    @property
    def limit(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class AttributeLimits:
    """One attribute of a batch. Flags (B, h), `told`, `improving` (B,); `worse`: signed differences to the longest."""

    fit: Fitted
    worse: Estimates
    means: Estimates
    sign: float
    within_margin: Flags
    within_limit: Flags
    fails: Flags
    past: Flags
    inside: Flags
    told: Flags
    improving: Flags
    fails_at_reference: Flags


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict of each study of a batch: index into `VERDICTS` (B,), chosen pull (B,), -1 where none."""

    verdict: NDArray[np.intp]
    pull: NDArray[np.intp]
    shortest: NDArray[np.intp]
    passes: Flags
    fails: Flags
    control_found: Flags
    attributes: Mapping[str, AttributeLimits]


def judge(
    cells: Mapping[str, Cells],
    wishes: Mapping[str, Wish],
    level: float,
    control: int = 0,
    estimates: Mapping[str, tuple[Fitted, Estimates, Estimates]] | None = None,
    unjudged: frozenset[str] = frozenset(),
) -> Judged:
    """Judge a batch of studies.

    Args:
        cells: scores of every deciding attribute, the same pulls in the same order, the last being the reference.
        wishes: what is wanted of each.
        level: one-sided level of this look.
        control: index of the pull known to differ.
        estimates: (fit, differences to the reference, means) where the caller has adjusted them already.
        unjudged: attributes that cannot pass (too few assessors, one score everywhere).
    """
    count = len(wishes)
    found = {
        name: _limits(cells[name], wish, level, count, control, (estimates or {}).get(name))
        for name, wish in wishes.items()
    }
    shape = next(iter(found.values())).fails.shape
    passes, fails, inside, past = (
        np.ones(shape, bool),
        np.zeros(shape, bool),
        np.ones(shape, bool),
        np.zeros(shape, bool),
    )
    told, improving, broken = np.zeros(shape[0], bool), np.zeros(shape[0], bool), np.zeros(shape[0], bool)
    for name, limits in found.items():
        if name in unjudged:
            passes[:] = False
            continue
        passes &= limits.within_margin & limits.within_limit
        fails |= limits.fails | limits.past
        past |= limits.past
        inside &= limits.inside
        told |= limits.told
        improving |= limits.improving
        broken |= limits.fails_at_reference & ~limits.improving
    chain = np.flip(np.logical_and.accumulate(np.flip(passes, 1), axis=1), 1)
    last = shape[1] - 1
    shortest = np.where(chain.any(1), chain.argmax(1), -1)
    shorter = (shortest >= 0) & (shortest < last)
    within_window = np.take_along_axis(inside, np.maximum(shortest, 0)[:, None], 1)[:, 0]
    verdict = np.select(
        [
            shorter & within_window & told,
            ~shorter & improving & ~broken & told,
            fails.all(1) | _empty_window(chain, past),
        ],
        [STOP, LONGER, NONE_FITS],
        CANNOT,
    )
    pull = np.where(verdict == STOP, shortest, -1)
    return Judged(verdict, pull, shortest, passes, fails, told, found)


def _empty_window(chain: Flags, past: Flags) -> Flags:
    """Every pull that would do is shown to be past a note that fades."""
    return np.asarray(chain.any(1) & (~chain | past).all(1))


def _limits(
    cells: Cells, wish: Wish, level: float, count: int, control: int, given: tuple[Fitted, Estimates, Estimates] | None
) -> AttributeLimits:
    """Everything the verdict asks of one attribute."""
    sign = -1.0 if wish.wanted == "higher" else 1.0
    if given is None:
        fit = fitted(cells)
        raw, means = fit.against(cells.sums.shape[2] - 1), fit.means()
    else:
        fit, raw, means = given
    worse = raw.times(sign)
    upper, lower = worse.upper(level), worse.lower(level)
    both = wish.wanted == "same"
    within = (upper < wish.margin) & ((lower > -wish.margin) | (not both))
    fails = (lower >= wish.margin) | ((upper <= -wish.margin) & both)
    within[:, -1], fails[:, -1] = True, False
    keeps, breaks = _against_limit(means.times(sign), wish, level, sign)
    strict_lower, strict_upper = worse.lower(level / count), worse.upper(level / count)
    told = strict_lower[:, control] > 0
    if both:
        told = told | (strict_upper[:, control] < 0)
    step = within.shape[1] - 2
    improving = (strict_lower[:, step] > 0) & ~within[:, step] & (not both)
    inside, past = _window(fit, wish, level, sign)
    return AttributeLimits(
        fit,
        worse,
        means,
        sign,
        within,
        keeps,
        fails | breaks,
        past,
        inside,
        told,
        improving,
        breaks[:, -1] | past[:, -1],
    )


def _against_limit(means: Estimates, wish: Wish, level: float, sign: float) -> tuple[Flags, Flags]:
    """Whether each mean is shown to keep, and shown to break, the absolute limit."""
    if wish.limit is None:
        keeps = np.ones(means.estimate.shape, bool)
        return keeps, ~keeps
    return means.upper(level) < sign * wish.limit, means.lower(level) >= sign * wish.limit


def _window(fit: Fitted, wish: Wish, level: float, sign: float) -> tuple[Flags, Flags]:
    """For a note wanted higher: pulls shown no worse than every shorter one, pulls shown worse than some."""
    B, _, h = fit.cells.sums.shape
    inside, past = np.ones((B, h), bool), np.zeros((B, h), bool)
    if wish.wanted != "higher":
        return inside, past
    pairs = [(late, early) for late in range(1, h) for early in range(late)]
    eye = np.eye(h)
    differences = fit.contrast(np.array([eye[late] - eye[early] for late, early in pairs])).times(sign)
    upper = differences.upper(level)
    for number, (late, _early) in enumerate(pairs):
        inside[:, late] &= upper[:, number] < wish.margin
    for late in range(1, h):
        columns = [n for n, pair in enumerate(pairs) if pair[0] == late]
        lower = differences.lower(level / late)[:, columns]
        past[:, late] = (lower >= wish.margin).any(1)
    return inside, past
