"""What the limits of attributes show, pull by pull: attributes of one shape are looked at together.

Attributes are stacked along the batch axis: n = attributes x studies rows. Shapes: h pulls, P pairs of pulls.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.model.cells import Cells, people, stacked
from analysis.model.contrasts import differences
from analysis.stopping.copies import constant, copied, good_end
from analysis.stopping.gates import Gating
from analysis.stopping.rule import AttributeRule
from analysis.stopping.standard_errors import Contrasts, Error, Estimates, contrasts_of

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp] | slice
FEWEST_ASSESSORS = 5
# Fewer df of the own error are not trusted; the slack keeps rounding from deciding at exactly so many.
LEAST_OWN_DF = 2.0 - 1e-9
WHY_NOT = (None, "too few assessors", "same score everywhere", "copied", "own error unknown")
# Growth of a note wanted lower counts from this share of the margin on, a note that holds stays below that one.
GROWN, HOLDS = 1 / 2, 1 / 3


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
    def of(
        cls,
        level: float,
        wishes: Sequence[AttributeRule],
        pulls: int,
        control: int,
        batches: int = 1,
        gates: Gating | None = None,
    ) -> Levels:
        """Statements that could fail: each margin but at the reference, each limit, and each note wanted lower or
        higher, which may be past its best, but at the first pull (Bonferroni); all of these in each of the `batches`
        that are judged alone. Limits of instruments count among what could fail and what is to be found."""
        count = np.full(pulls, float(sum(wish.limit is not None for wish in wishes)))
        count[:-1] += len(wishes)
        count[1:] += sum(not wish.both_ways for wish in wishes)
        count += 0.0 if gates is None else gates.per_pull
        count *= batches
        failing = np.divide(level, count, out=np.full(pulls, np.nan), where=count > 0)
        return cls(level, level / (len(wishes) + (0 if gates is None else len(gates.gates))), failing, control)


@dataclass(frozen=True, slots=True)
class Shown:
    """What is shown of the pulls of a batch: flags (n, h) and (n,); `why_not` (n,) indexes WHY_NOT.

    (n, h): `within_margin`, `within_limit`; `breaks` the limit; `past` its best; `inside` its window; `bettered` by the
    margin by some longer pull short of the reference, if it passes. (n,): `told`, the control from the
    reference; `rising`, the last two steps improve it; `kept`, the reference is no worse than any shorter pull;
    `holds`, it did not lose while another note rose; `nobody` marked anything, at the good end of the scale.
    """

    within_margin: Flags
    within_limit: Flags
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

    def parts(self) -> dict[str, Any]:
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
def stacks(cells: Mapping[str, Cells], wishes: Mapping[str, AttributeRule]) -> Iterator[tuple[list[str], Contrasts]]:
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
    def of(cls, wishes: Sequence[AttributeRule], studies: int) -> Asked:
        """Each wish for every study of its attribute."""

        def column(values: Sequence[object], kind: type) -> NDArray[Any]:
            return np.repeat(np.array(values, kind), studies)[:, None]

        return cls(
            column([wish.sign for wish in wishes], float),
            column([wish.margin for wish in wishes], float),
            column([np.nan if wish.limit is None else wish.limit for wish in wishes], float),
            column([wish.both_ways for wish in wishes], bool),
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

    @classmethod
    def of(cls, panels: Contrasts, weights: Array, sign: Array, capped: bool = True) -> Measured:
        """Ask `panels` for them."""
        return cls(weights, capped, panels.contrast(weights, capped).times(sign))

    def under(self, own: Error, sitting: Error | None, floor: Array) -> Measured:
        """The same contrasts with other errors beside the panel's, none below the `floor` that recording leaves."""
        return replace(self, found=replace(self.found, own=own, sitting=sitting).at_least(floor))


@dataclass(frozen=True, slots=True)
class Measures:
    """All that is asked of a stack: every pull against the last; means where a limit is set; and of the rows `paired`,
    None while only what might be is asked, every pull against each shorter one. `why_not` (n,) indexes WHY_NOT, the
    own error apart; `nobody` (n,) marked anything, at the good end of the scale."""

    asked: Asked
    why_not: NDArray[np.intp]
    nobody: Flags
    worse: Measured
    means: Measured | None
    pairs: Measured | None = None
    paired: NDArray[np.intp] | None = None

    @classmethod
    def of(cls, panels: Contrasts, asked: Asked) -> Measures:
        """Ask `panels` for all contrasts but pairs."""
        h = panels.cells.sums.shape[2]
        why_not, nobody = _unfit(panels.cells, asked)
        means = None if np.isnan(asked.limit).all() else Measured.of(panels, np.eye(h), asked.sign, capped=False)
        return cls(asked, why_not, nobody, Measured.of(panels, differences(h, h - 1), asked.sign), means)

    def with_pairs(self, panels: Contrasts, rows: NDArray[np.intp]) -> Measures:
        """The same with the pairs of some of the `panels`, those in `rows` of this stack."""
        if not len(rows):
            return replace(self, paired=rows)
        later = Measured.of(panels, _later(panels.cells.sums.shape[2]), self.asked.sign[rows])
        return replace(self, pairs=later, paired=rows)

    def rows(self, rows: Rows) -> Measures:
        """Some of the batch, pairs apart."""
        worse, means = (
            part if part is None else replace(part, found=part.found.rows(rows)) for part in (self.worse, self.means)
        )
        assert worse is not None
        return Measures(self.asked.rows(rows), self.why_not[rows], self.nobody[rows], worse, means)

    def need_pairs(self) -> NDArray[np.intp]:
        """Rows where differences between shorter pulls may matter: notes wanted higher, and those of which some pull
        looks worse than a shorter one, or better than one that might pass."""
        worse, margin = self.worse.found.estimate, self.asked.margin
        past = worse - np.minimum.accumulate(worse, axis=1) >= GROWN * margin
        passing = np.maximum.accumulate(np.where(worse < margin, worse, -np.inf)[:, :-1], axis=1)
        better = passing - worse[:, :-1] >= margin
        asked = (self.asked.sign < 0) | (past.any(1, keepdims=True) | better.any(1, keepdims=True)) & ~self.asked.same
        return np.flatnonzero(asked[:, 0])

    def shown(self, levels: Levels) -> Shown:
        """What limits at these levels show."""
        worse, asked = self.worse.found, self.asked
        within, kept, holds = _against_reference(worse, asked, levels.level)
        keeps, breaks = self._against_limit(levels)
        told, rising = _improvement(worse, asked, levels)
        past, inside, bettered = self._window(levels)
        return Shown(
            within_margin=within,
            within_limit=keeps,
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
        if self.paired is None:
            return self._might_be_past()
        shape = self.worse.found.estimate.shape
        past, inside, bettered = np.zeros(shape, bool), np.ones(shape, bool), np.zeros(shape, bool)
        if self.pairs is not None:
            window = _window_of(self.pairs.found, self.asked.rows(self.paired), levels)
            past[self.paired], inside[self.paired], bettered[self.paired] = window
        return past, inside, bettered

    def _might_be_past(self) -> tuple[Flags, Flags, Flags]:
        """What no limit speaks against: past where some shorter pull was better by the margin, inside, not bettered."""
        estimate = self.worse.found.estimate
        best = np.minimum.accumulate(estimate, axis=1)
        past = ~self.asked.same & (estimate - best >= self.asked.margin)
        return past, np.ones(past.shape, bool), np.zeros(past.shape, bool)


def _window_of(worse: Estimates, asked: Asked, levels: Levels) -> tuple[Flags, Flags, Flags]:
    """Past, inside, bettered (n, h), from every pull less each shorter one."""
    h = len(levels.failing)
    late, early = np.array(pairs_of(h)).T
    directed, margin = ~asked.same, asked.margin
    lost = worse.estimate - worse.reach_at(levels.failing[late] / late) >= margin
    grown = (worse.estimate > worse.reach_at(levels.level / late)) & (worse.estimate >= GROWN * margin)
    open_ = worse.estimate + worse.reach(levels.level) >= margin
    outside = np.where(asked.sign < 0, open_, grown)
    between = np.where(late < h - 1, h - 2.0 - early, np.nan)
    better = -worse.estimate - worse.reach_at(levels.level / between) >= margin

    def gathered(pairs: Flags, at: NDArray[np.intp]) -> Flags:
        return np.stack([pairs[:, at == pull].any(1) for pull in range(h)], 1)

    return gathered(lost, late) & directed, ~gathered(outside, late) | ~directed, gathered(better, early) & directed


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
    nobody = same_everywhere
    if same_everywhere.any():
        nobody = same_everywhere & good_end(cells, asked.sign[:, 0], asked.same[:, 0])
    alike = copied(cells) & ~same_everywhere
    return np.select([few, same_everywhere & ~nobody, alike], [1, 2, 3], 0), nobody


def _against_reference(worse: Estimates, asked: Asked, level: float) -> tuple[Flags, Flags, Flags]:
    """Of each pull whether it is shown within its margin of the reference (n, h); and whether the reference is shown no
    worse than any shorter pull, and holds (n,)."""
    reach = worse.reach(level)
    above = worse.estimate + reach < asked.margin
    below = worse.estimate - reach > -asked.margin
    within = above & (below | ~asked.same)
    within[:, -1] = True
    shorter = slice(0, -1)
    kept = np.where(asked.same[:, 0], within[:, shorter].all(1), below[:, shorter].all(1))
    little = (worse.estimate > -HOLDS * asked.margin)[:, shorter].all(1)
    still = np.abs(worse.estimate[:, -2]) < HOLDS * asked.margin[:, 0]
    return within, kept, np.where(asked.same[:, 0], still, little) | kept


def beyond_margin(worse: Estimates, asked: Asked, levels: Levels) -> Flags:
    """Whether each pull is shown to lie beyond its margin of the reference (n, h)."""
    far = worse.reach_at(levels.failing)
    beyond = (worse.estimate - far >= asked.margin) | (asked.same & (worse.estimate + far <= -asked.margin))
    beyond[:, -1] = False
    return np.asarray(beyond)


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
