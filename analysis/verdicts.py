"""From limits to one verdict, for a batch of studies: step down from the longest pull, attributes joined by AND.

Intersection-union (Berger 1982, from memory) needs no penalty for several attributes; a fixed sequence from the longest
pull (Hsu & Berger 1999) none for several pulls. Shapes: B studies, h pulls; attributes that are judged together are
stacked along the batch axis, n = attributes x B rows.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.limits import Cells, Contrasts, Estimates, Fitted, PanelAlone, against, fitted, is_balanced, means

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Verdict = Literal["stop", "conche longer", "no hour fits", "cannot tell"]
VERDICTS: tuple[Verdict, ...] = ("stop", "conche longer", "no hour fits", "cannot tell")
STOP, LONGER, NONE_FITS, CANNOT = range(4)
FEWEST_ASSESSORS = 5
LEAST_OWN_DF = 2.0
WHY_NOT = (None, "too few assessors", "same score everywhere", "own error unknown")


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
    """One attribute of a batch. Flags (B, h); `why_not` (B,) indexes WHY_NOT; `told`, `rising` (the last step is shown
    to improve it) and `fails_at_reference` (B,); `worse`: signed differences to the reference. `panels` holds the
    attribute's fit, perhaps with others, in its `rows`."""

    panels: Contrasts
    rows: slice
    sign: float
    worse: Estimates
    within_margin: Flags
    within_limit: Flags
    fails: Flags
    past: Flags
    inside: Flags
    told: Flags
    rising: Flags
    fails_at_reference: Flags
    why_not: NDArray[np.intp]

    @property
    def cells(self) -> Cells:
        """The attribute's own cells."""
        return self.panels.cells.rows(self.rows)

    @property
    def improving(self) -> Flags:
        """Whether conching beyond the last pull may be worth it (B,)."""
        return self.rising & ~self.within_margin[:, -2]

    @property
    def judged(self) -> Flags:
        """Whether the attribute can be judged at all (B,)."""
        return np.asarray(self.why_not == 0)


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict of each study of a batch: index into `VERDICTS` (B,), chosen pull (B,), -1 where none; `shortest`
    (B,): the shortest pull that passes with all longer ones, -1 where not even the reference does."""

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
    adjusted: Mapping[str, Contrasts] | None = None,
) -> Judged:
    """Judge a batch of studies.

    Args:
        cells: scores of every deciding attribute, the same pulls in the same order, the last being the reference.
        wishes: what is wanted of each.
        level: one-sided level of this look.
        control: index of the pull known to differ.
        adjusted: fits of attributes that a fuller model adjusts; they take the place of `cells`.
    """
    adjusted = adjusted or {}
    plain = _stacks(cells, {name: wish for name, wish in wishes.items() if name not in adjusted})
    apart = (([name], panels) for name, panels in adjusted.items())
    return _verdict(_found(chain(apart, plain), wishes, level, control))


def answers(
    cells: Mapping[str, Cells], wishes: Mapping[str, Wish], level: float, control: int = 0
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Verdict and pull (B,) exactly as `judge` finds them, for many studies at once.

    The own and the sitting error cost most where scores are missing, and all they can do is widen limits. So studies
    that the panel error alone leaves in `cannot tell` are spared them.
    """
    stacks = list(_stacks(cells, wishes))
    studies = len(next(iter(cells.values())).sums)
    open_ = np.arange(studies)
    if not all(is_balanced(panels.cells.counts) for _names, panels in stacks):
        first = _found([(names, PanelAlone(panels)) for names, panels in stacks], wishes, level, control)
        open_ = np.flatnonzero(_may_answer(first))
        stacks = [(names, panels.rows(_rows_of(open_, len(names), studies))) for names, panels in stacks]
    verdict, pull = np.full(studies, CANNOT), np.full(studies, -1)
    if len(open_):
        judged = _verdict(_found(stacks, wishes, level, control))
        verdict[open_], pull[open_] = judged.verdict, judged.pull
    return verdict, pull


def _rows_of(studies: NDArray[np.intp], attributes: int, of: int) -> NDArray[np.intp]:
    """The rows of some studies in a stack of attributes."""
    return (np.arange(attributes)[:, None] * of + studies).ravel()


def _may_answer(found: Mapping[str, AttributeLimits]) -> Flags:
    """Whether wider limits could still end in an answer (B,): what each verdict needs and wider limits never give."""
    every = list(found.values())
    passing = _chain(np.logical_and.reduce([x.within_margin & x.within_limit & x.judged[:, None] for x in every]))
    inside = np.logical_and.reduce([x.inside for x in every])
    told = np.logical_or.reduce([x.told & x.judged for x in every])
    rising = np.logical_or.reduce([x.rising & x.judged for x in every])
    past = np.logical_or.reduce([(x.past.T & x.judged).T for x in every])
    fails = np.logical_or.reduce([(x.fails.T & x.judged).T for x in every]) | past
    shorter = (passing & inside)[:, :-1].any(1)
    return np.asarray(told & (rising | shorter) | fails.all(1) | passing.any(1) & past[:, -1])


def _found(
    stacks: Iterable[tuple[list[str], Contrasts]], wishes: Mapping[str, Wish], level: float, control: int
) -> dict[str, AttributeLimits]:
    """The limits of every attribute, in the order of the wishes."""
    found: dict[str, AttributeLimits] = {}
    for names, panels in stacks:
        found |= _limits(names, panels, wishes, level, control)
    return {name: found[name] for name in wishes}


# ---- the table -----------------------------------------------------------------------------------------------------
def _verdict(found: Mapping[str, AttributeLimits]) -> Judged:
    """The first verdict that fits, from the limits of all attributes."""
    every = list(found.values())

    def any_of(part: str) -> Flags:
        return np.asarray(np.logical_or.reduce([(getattr(limits, part).T & limits.judged).T for limits in every]))

    passes = np.logical_and.reduce([(x.within_margin & x.within_limit) & x.judged[:, None] for x in every])
    inside = np.logical_and.reduce([limits.inside for limits in every])
    broken = np.logical_or.reduce([x.fails_at_reference & ~x.improving & x.judged for x in every])
    past, told, improving = any_of("past"), any_of("told"), any_of("improving")
    fails = any_of("fails") | past
    passing = _chain(passes)
    last = passes.shape[1] - 1
    shortest = np.where(passing.any(1), passing.argmax(1), -1)
    within_window = inside[np.arange(len(inside)), shortest]
    shorter = (shortest >= 0) & (shortest < last)
    stop = shorter & within_window & told
    longer = ~shorter & improving & ~broken & told
    none_fits = fails.all(1) | _empty_window(passing, past)
    verdict = np.select([stop, longer, none_fits], [STOP, LONGER, NONE_FITS], CANNOT)
    return Judged(verdict, np.where(verdict == STOP, shortest, -1), shortest, passes, fails, told, found)


def _chain(passes: Flags) -> Flags:
    """Whether a pull passes with all longer ones (B, h)."""
    return np.flip(np.logical_and.accumulate(np.flip(passes, 1), axis=1), 1)


def _empty_window(passing: Flags, past: Flags) -> Flags:
    """Every pull that would do is shown to be past a note that fades."""
    return np.asarray(passing.any(1) & (~passing | past).all(1))


# ---- limits of attributes that are judged together -------------------------------------------------------------------
def _stacks(cells: Mapping[str, Cells], wishes: Mapping[str, Wish]) -> Iterator[tuple[list[str], Fitted]]:
    """Attributes of one shape stacked and fitted as one batch; those that may fade apart, as they ask for more."""
    groups: dict[object, list[str]] = {}
    for name, wish in wishes.items():
        own = cells[name]
        table = None if own.sittings is None else own.sittings.shape
        groups.setdefault((own.sums.shape, table, wish.wanted == "higher"), []).append(name)
    for names in groups.values():
        yield names, fitted(_stacked([cells[name] for name in names]))


def _stacked(parts: Sequence[Cells]) -> Cells:
    """Attributes one after another along the batch axis."""
    first = parts[0]
    if len(parts) == 1:
        return first
    shared = len(first.counts) == 1 and all(np.array_equal(part.counts, first.counts) for part in parts)
    counts = (
        first.counts if shared else np.concatenate([np.broadcast_to(part.counts, part.sums.shape) for part in parts])
    )
    tables = [part.sittings for part in parts if part.sittings is not None]
    return Cells(
        counts,
        np.concatenate([part.sums for part in parts]),
        np.concatenate([part.within for part in parts]),
        np.concatenate(tables) if tables else None,
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """The wishes of a stack, a row for each panel: all (n, 1); `limit` is NaN where none is set."""

    sign: Array
    margin: Array
    limit: Array
    same: Flags

    @classmethod
    def of(cls, wishes: Sequence[Wish], studies: int) -> _Asked:
        """Each wish for every study of its attribute."""

        def column(values: Sequence[object], kind: type) -> NDArray[Any]:
            return np.repeat(np.array(values, kind), studies)[:, None]

        return cls(
            column([-1.0 if wish.wanted == "higher" else 1.0 for wish in wishes], float),
            column([wish.margin for wish in wishes], float),
            column([np.nan if wish.limit is None else wish.limit for wish in wishes], float),
            column([wish.wanted == "same" for wish in wishes], bool),
        )


def _limits(
    names: Sequence[str], panels: Contrasts, wishes: Mapping[str, Wish], level: float, control: int
) -> dict[str, AttributeLimits]:
    """Everything the verdict asks of some attributes, each in its own rows."""
    n, _, h = panels.cells.sums.shape
    studies = n // len(names)
    asked = _Asked.of([wishes[name] for name in names], studies)
    worse = against(panels, h - 1).times(asked.sign)
    within, fails = _against_margin(worse, asked, level)
    keeps, breaks = _against_limit(panels, asked, level)
    told, rising = _improvement(worse, asked, level / len(wishes), control)
    inside, past = _window(panels, asked, level)
    flags: dict[str, NDArray[Any]] = {
        "within_margin": within,
        "within_limit": keeps,
        "fails": fails | breaks,
        "past": past,
        "inside": inside,
        "told": told,
        "rising": rising,
        "fails_at_reference": breaks[:, -1] | past[:, -1],
        "why_not": _why_not(panels.cells, worse),
    }
    found = {}
    for number, name in enumerate(names):
        rows = slice(number * studies, (number + 1) * studies)
        own = {part: values[rows] for part, values in flags.items()}
        found[name] = AttributeLimits(panels, rows, float(asked.sign[rows.start, 0]), worse.rows(rows), **own)
    return found


def _against_margin(worse: Estimates, asked: _Asked, level: float) -> tuple[Flags, Flags]:
    """Whether each pull is shown to lie within its margin of the reference, and shown to lie beyond it."""
    reach = worse.reach(level)
    upper, lower = worse.estimate + reach, worse.estimate - reach
    within = upper < asked.margin
    fails = lower >= asked.margin
    if asked.same.any():
        within &= ~asked.same | (lower > -asked.margin)
        fails |= asked.same & (upper <= -asked.margin)
    within[:, -1], fails[:, -1] = True, False
    return within, fails


def _against_limit(panels: Contrasts, asked: _Asked, level: float) -> tuple[Flags, Flags]:
    """Whether each mean is shown to keep, and shown to break, the absolute limit; asked of the reference as well."""
    n, _, h = panels.cells.sums.shape
    free = np.isnan(asked.limit)
    if free.all():
        return np.ones((n, h), bool), np.zeros((n, h), bool)
    found = means(panels).times(asked.sign)
    reach, bound = found.reach(level), asked.sign * asked.limit
    return free | (found.estimate + reach < bound), ~free & (found.estimate - reach >= bound)


def _improvement(worse: Estimates, asked: _Asked, level: float, control: int) -> tuple[Flags, Flags]:
    """Whether the control is told from the reference, and whether the last step still improves; `level` is shared."""
    step = worse.estimate.shape[1] - 2
    two = worse.of([control, step])
    reach = two.reach(level)
    same = asked.same[:, 0]
    told = (two.estimate[:, 0] > reach[:, 0]) | (same & (two.estimate[:, 0] < -reach[:, 0]))
    return told, (two.estimate[:, 1] > reach[:, 1]) & ~same


def _window(panels: Contrasts, asked: _Asked, level: float) -> tuple[Flags, Flags]:
    """For notes wanted higher: pulls shown no worse than every shorter pull; pulls shown worse than some shorter one by
    the margin, at level / number of shorter pulls."""
    n, _, h = panels.cells.sums.shape
    inside, past = np.ones((n, h), bool), np.zeros((n, h), bool)
    if not (asked.sign < 0).all():
        return inside, past
    pairs = [(late, early) for late in range(1, h) for early in range(late)]
    eye = np.eye(h)
    worse = panels.contrast(np.array([eye[late] - eye[early] for late, early in pairs])).times(asked.sign)
    near = worse.estimate + worse.reach(level) < asked.margin
    for late in range(1, h):
        columns = [number for number, pair in enumerate(pairs) if pair[0] == late]
        some = worse.of(columns)
        inside[:, late] = near[:, columns].all(1)
        past[:, late] = (some.estimate - some.reach(level / late) >= asked.margin).any(1)
    return inside, past


def _why_not(cells: Cells, worse: Estimates) -> NDArray[np.intp]:
    """Why an attribute cannot be judged (n,), an index into WHY_NOT."""
    n = len(cells.sums)
    people = (cells.counts > 0).any(2).sum(1)
    unknown = ~((worse.own.df >= LEAST_OWN_DF) & (worse.panel.df >= 1))[:, :-1].all(1)
    few = np.broadcast_to(people < FEWEST_ASSESSORS, n)
    return np.select([few, _constant(cells), unknown], [1, 2, 3], 0)


def _constant(cells: Cells) -> Flags:
    """Whether every score of a panel is the same (n,)."""
    flat = cells.sums.reshape(len(cells.sums), -1)
    constant = cells.within <= 1e-24 * np.vecdot(flat, flat)
    for row in np.flatnonzero(constant):
        counts = cells.counts[row % len(cells.counts)]
        mean = cells.sums[row][counts > 0] / counts[counts > 0]
        constant[row] = np.ptp(mean) <= 1e-12 * np.abs(mean).max()
    return np.asarray(constant)
