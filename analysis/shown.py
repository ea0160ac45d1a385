"""What the limits of attributes show, pull by pull: attributes of one shape are looked at together.

Attributes are stacked along the batch axis: n = attributes x studies rows. Shapes: h pulls, P pairs of pulls.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.cells import Cells, people, stacked
from analysis.contrasts import differences
from analysis.copies import constant, copied, good_end
from analysis.limits import Contrasts, Error, Estimates, contrasts_of

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp] | slice
FEWEST_ASSESSORS = 5
# Fewer df of the own error are not trusted; the slack keeps rounding from deciding at exactly so many.
LEAST_OWN_DF = 2.0 - 1e-9
WHY_NOT = (None, "too few assessors", "same score everywhere", "copied", "own error unknown")
# Growth of a note wanted lower counts from this share of the margin on, a note that holds stays below that one.
GROWN, HOLDS = 1 / 2, 1 / 3


class Wish(Protocol):
    """What is wanted of an attribute."""

    @property
    def wanted(self) -> str: ...
    @property
    def margin(self) -> float: ...
    @property
    def limit(self) -> float | None: ...


@dataclass(frozen=True, slots=True)
class Levels:
    """One-sided levels of a look: `level` of what must all hold, `shared` by the attributes of which one is to be
    found, and `failing` (h,) for each statement that could fail at a pull, NaN where there is none. `control` is the
    index of the pull known to differ."""

    level: float
    shared: float
    failing: Array
    control: int

    @classmethod
    def of(cls, level: float, wishes: Sequence[Wish], pulls: int, control: int) -> Levels:
        """Statements that could fail: each margin but at the reference, each limit, and each note wanted lower or
        higher, which may be past its best, but at the first pull (Bonferroni)."""
        count = np.full(pulls, float(sum(wish.limit is not None for wish in wishes)))
        count[:-1] += len(wishes)
        count[1:] += sum(wish.wanted != "same" for wish in wishes)
        failing = np.divide(level, count, out=np.full(pulls, np.nan), where=count > 0)
        return cls(level, level / len(wishes), failing, control)


@dataclass(frozen=True, slots=True)
class Shown:
    """What is shown of the pulls of a batch: flags (n, h) and (n,); `why_not` (n,) indexes WHY_NOT.

    (n, h): `within_margin`, `within_limit`; `beyond_margin` and `breaks` of the limit; `past` its best; `inside` its
    window; `bettered` by the margin by some longer pull short of the reference. (n,): `told`, the control from the
    reference; `rising`, the last two steps improve it; `kept`, the reference is no worse than any shorter pull;
    `holds`, it did not lose while another note rose; `nobody` marked anything, at the good end of the scale.
    """

    within_margin: Flags
    within_limit: Flags
    beyond_margin: Flags
    breaks: Flags
    past: Flags
    inside: Flags
    bettered: Flags
    told: Flags
    rising: Flags
    kept: Flags
    holds: Flags
    nobody: Flags
    why_not: NDArray[np.intp]

    @property
    def passes(self) -> Flags:
        """Whether a pull passes by this attribute (n, h)."""
        return self.within_margin & self.within_limit & self.judged[:, None]

    @property
    def broken(self) -> Flags:
        """Whether a pull is shown to be unfit whatever the reference (n, h)."""
        return (self.breaks | self.past) & self.judged[:, None]

    @property
    def improving(self) -> Flags:
        """Whether conching beyond the last pull may be worth it (n,)."""
        return self.rising & ~self.within_margin[:, -2] & self.judged

    @property
    def judged(self) -> Flags:
        """Whether the attribute can be judged at all (n,)."""
        return np.asarray(self.why_not == 0)

    def parts(self) -> dict[str, NDArray[Any]]:
        """Every array by its name."""
        return {field.name: getattr(self, field.name) for field in fields(Shown)}

    def rows(self, rows: Rows) -> Shown:
        """Some of the batch."""
        return Shown(**{name: values[rows] for name, values in self.parts().items()})

    def differ(self, other: Shown) -> Flags:
        """In which rows anything is not the same (n,)."""
        size = len(self.told)
        pairs = zip(self.parts().values(), other.parts().values(), strict=True)
        return np.asarray(np.logical_or.reduce([(one != two).reshape(size, -1).any(1) for one, two in pairs]))

    def put(self, rows: Rows, some: Shown) -> None:
        """Write what is shown of some of the batch."""
        for values, new in zip(self.parts().values(), some.parts().values(), strict=True):
            values[rows] = new


# ---- attributes of one shape ----------------------------------------------------------------------------------------
def stacks(cells: Mapping[str, Cells], wishes: Mapping[str, Wish]) -> Iterator[tuple[list[str], Contrasts]]:
    """Attributes of one shape, served alike, stacked and fitted as one batch."""
    groups: dict[object, list[str]] = {}
    for name in wishes:
        groups.setdefault(_shape(name, cells[name]), []).append(name)
    for names in groups.values():
        yield names, contrasts_of(stacked([cells[name] for name in names]))


def _shape(name: str, own: Cells) -> object:
    """What attributes must share to be fitted together; what was not served in every sitting stands alone."""
    if own.served_apart:
        return name
    sittings = None if own.sittings is None else own.sittings.sums.shape
    return own.sums.shape, sittings, own.trays, own.top


@dataclass(frozen=True, slots=True)
class Asked:
    """The wishes of a stack, a row for each panel: all (n, 1); `limit` is NaN where none is set."""

    sign: Array
    margin: Array
    limit: Array
    same: Flags

    @classmethod
    def of(cls, wishes: Sequence[Wish], studies: int) -> Asked:
        """Each wish for every study of its attribute."""

        def column(values: Sequence[object], kind: type) -> NDArray[Any]:
            return np.repeat(np.array(values, kind), studies)[:, None]

        return cls(
            column([-1.0 if wish.wanted == "higher" else 1.0 for wish in wishes], float),
            column([wish.margin for wish in wishes], float),
            column([np.nan if wish.limit is None else wish.limit for wish in wishes], float),
            column([wish.wanted == "same" for wish in wishes], bool),
        )

    def rows(self, rows: Rows) -> Asked:
        """Some of the batch."""
        return Asked(self.sign[rows], self.margin[rows], self.limit[rows], self.same[rows])


# ---- from estimates to flags ----------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Measured:
    """Contrasts `weights` (k, h) of a stack, and what was found: signed so that more is worse."""

    weights: Array
    capped: bool
    found: Estimates

    def under(self, own: Error, sitting: Error | None, floor: Array) -> Measured:
        """The same contrasts with other errors beside the panel's, none below the `floor` that recording leaves."""
        return replace(self, found=replace(self.found, own=own, sitting=sitting).at_least(floor))


@dataclass(frozen=True, slots=True)
class Measures:
    """All that is asked of a stack: every pull against the last; means where a limit is set; every pull against each
    shorter one, None while only what might be is asked. `why_not` (n,) indexes WHY_NOT, the own error apart; `nobody`
    (n,) marked anything, at the good end of the scale."""

    asked: Asked
    why_not: NDArray[np.intp]
    nobody: Flags
    worse: Measured
    means: Measured | None
    pairs: Measured | None

    @classmethod
    def of(cls, panels: Contrasts, asked: Asked, pairs: bool = True) -> Measures:
        """Ask `panels` for the contrasts."""
        h = panels.cells.sums.shape[2]

        def measured(weights: Array, capped: bool = True) -> Measured:
            return Measured(weights, capped, panels.contrast(weights, capped).times(asked.sign))

        means = None if np.isnan(asked.limit).all() else measured(np.eye(h), capped=False)
        worse = measured(differences(h, h - 1))
        why_not, nobody = _unfit(panels.cells, asked)
        return cls(asked, why_not, nobody, worse, means, measured(_later(h)) if pairs else None)

    def rows(self, rows: Rows) -> Measures:
        """Some of the batch."""
        worse, means, pairs = (
            part if part is None else replace(part, found=part.found.rows(rows))
            for part in (self.worse, self.means, self.pairs)
        )
        assert worse is not None
        return Measures(self.asked.rows(rows), self.why_not[rows], self.nobody[rows], worse, means, pairs)

    def shown(self, levels: Levels) -> Shown:
        """What limits at these levels show."""
        worse, asked = self.worse.found, self.asked
        within, beyond, kept, holds = _against_reference(worse, asked, levels)
        keeps, breaks = self._against_limit(levels)
        told, rising = _improvement(worse, asked, levels)
        past, inside, bettered = self._window(levels)
        return Shown(
            within_margin=within,
            within_limit=keeps,
            beyond_margin=beyond,
            breaks=breaks,
            past=past,
            inside=inside,
            bettered=bettered,
            told=told,
            rising=rising,
            kept=kept,
            holds=holds & keeps[:, -1],
            nobody=self.nobody,
            why_not=self._why_not(),
        )

    def _why_not(self) -> NDArray[np.intp]:
        """Why an attribute cannot be judged (n,)."""
        worse = self.worse.found
        unknown = ~((worse.own.df >= LEAST_OWN_DF) & (worse.panel.df >= 1))[:, :-1].all(1)
        return np.where((self.why_not == 0) & unknown, WHY_NOT.index("own error unknown"), self.why_not)

    def _against_limit(self, levels: Levels) -> tuple[Flags, Flags]:
        """Whether each mean is shown to keep, and to break, the absolute limit; asked of the reference as well."""
        free = np.isnan(self.asked.limit)
        if self.means is None:
            shape = self.worse.found.estimate.shape
            return np.ones(shape, bool), np.zeros(shape, bool)
        found, bound = self.means.found, self.asked.sign * self.asked.limit
        keeps = found.estimate + found.reach(levels.level) < bound
        return free | keeps, ~free & (found.estimate - found.reach_at(levels.failing) >= bound)

    def _window(self, levels: Levels) -> tuple[Flags, Flags, Flags]:
        """Which pulls are past their best, inside the window, and bettered by a longer one short of the reference."""
        if self.pairs is None:
            return self._might_be_past()
        worse, directed = self.pairs.found, ~self.asked.same
        shape = self.worse.found.estimate.shape
        h = shape[1]
        late, early = np.array(pairs_of(h)).T
        steps = worse.estimate - worse.reach_at(levels.failing[late] / late)
        grown, lost = self._moved(worse, levels, late)
        closer = late < h - 1
        between = np.where(closer, h - 2.0 - early, np.nan)
        gains = -worse.estimate - worse.reach_at(levels.level / between)
        past, inside, bettered = np.zeros(shape, bool), np.ones(shape, bool), np.zeros(shape, bool)
        for number, (after, before) in enumerate(zip(late, early, strict=True)):
            past[:, after] |= steps[:, number] >= self.asked.margin[:, 0]
            inside[:, after] &= ~np.where(self.asked.sign[:, 0] < 0, lost[:, number], grown[:, number])
            bettered[:, before] |= closer[number] & (gains[:, number] >= self.asked.margin[:, 0])
        return past & directed, inside | ~directed, bettered & directed

    def _moved(self, worse: Estimates, levels: Levels, late: NDArray[np.intp]) -> tuple[Flags, Flags]:
        """Pairs of pulls whose later one is shown to have grown, and is not shown to have kept what was there."""
        grown = worse.estimate > worse.reach_at(levels.level / late)
        lost = worse.estimate + worse.reach(levels.level) >= self.asked.margin
        return grown & (worse.estimate >= GROWN * self.asked.margin), lost

    def _might_be_past(self) -> tuple[Flags, Flags, Flags]:
        """What no limit speaks against: past where some shorter pull was better by the margin, inside, not bettered."""
        estimate = self.worse.found.estimate
        best = np.minimum.accumulate(estimate, axis=1)
        past = ~self.asked.same & (estimate - best >= self.asked.margin)
        return past, np.ones(past.shape, bool), np.zeros(past.shape, bool)


@cache
def pairs_of(h: int) -> list[tuple[int, int]]:
    """Every pull with each shorter one."""
    return [(late, early) for late in range(1, h) for early in range(late)]


def _later(h: int) -> Array:
    """Weights (P, h) of every pull less each shorter one."""
    eye = np.eye(h)
    return np.array([eye[late] - eye[early] for late, early in pairs_of(h)])


def _unfit(cells: Cells, asked: Asked) -> tuple[NDArray[np.intp], Flags]:
    """Why the scores are no ground for a judgement (n,), whatever their error: an index into WHY_NOT; and where nobody
    marked anything, at the good end of the scale, which is ground enough."""
    few = np.broadcast_to(people(cells.counts) < FEWEST_ASSESSORS, len(cells.sums))
    same_everywhere = constant(cells)
    nobody = same_everywhere & good_end(cells, asked.sign[:, 0], asked.same[:, 0])
    alike = copied(cells) & ~same_everywhere
    return np.select([few, same_everywhere & ~nobody, alike], [1, 2, 3], 0), nobody


def _against_reference(worse: Estimates, asked: Asked, levels: Levels) -> tuple[Flags, Flags, Flags, Flags]:
    """Of each pull whether it is shown within its margin of the reference, and shown beyond it (n, h); and whether the
    reference is shown no worse than any shorter pull, and holds (n,)."""
    reach, far = worse.reach(levels.level), worse.reach_at(levels.failing)
    above = worse.estimate + reach < asked.margin
    below = worse.estimate - reach > -asked.margin
    within = above & (below | ~asked.same)
    beyond = (worse.estimate - far >= asked.margin) | (asked.same & (worse.estimate + far <= -asked.margin))
    within[:, -1], beyond[:, -1] = True, False
    shorter = slice(0, -1)
    kept = np.where(asked.same[:, 0], within[:, shorter].all(1), below[:, shorter].all(1))
    little = worse.estimate > -HOLDS * asked.margin
    still = np.abs(worse.estimate[:, -2:-1]) < HOLDS * asked.margin
    return within, beyond, kept, np.where(asked.same, still, little[:, shorter].all(1, keepdims=True))[:, 0] | kept


def _improvement(worse: Estimates, asked: Asked, levels: Levels) -> tuple[Flags, Flags]:
    """Whether the control is told from the reference, and whether the last two steps both improve, at shared level."""
    last = worse.estimate.shape[1] - 1
    some = worse.of([levels.control, last - 1, max(last - 2, 0)])
    reach = some.reach(levels.shared)
    same = asked.same[:, 0]
    told = (some.estimate[:, 0] > reach[:, 0]) | (same & (some.estimate[:, 0] < -reach[:, 0]))
    if last < 2:
        return told, np.zeros_like(told)
    return told, (some.estimate[:, 1:] > reach[:, 1:]).all(1) & ~same
