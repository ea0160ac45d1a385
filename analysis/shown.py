"""What the limits of attributes show, pull by pull: attributes of one shape are looked at together.

Attributes are stacked along the batch axis: n = attributes x studies rows. Shapes: h pulls.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.contrasts import differences
from analysis.limits import Cells, Contrasts, Error, Estimates, Fitted, fitted
from analysis.small_arrays import over_pulls

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Rows = NDArray[np.intp] | slice
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
class Shown:
    """What is shown of the pulls of a batch: flags (n, h); `why_not` (n,) indexes WHY_NOT; `told` (the control from the
    reference), `rising` (the last step improves it) and `fails_at_reference` (n,)."""

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
    def improving(self) -> Flags:
        """Whether conching beyond the last pull may be worth it (n,)."""
        return self.rising & ~self.within_margin[:, -2]

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
def stacks(cells: Mapping[str, Cells], wishes: Mapping[str, Wish]) -> Iterator[tuple[list[str], Fitted]]:
    """Attributes of one shape stacked and fitted as one batch; those that may fade apart, as they ask for more."""
    groups: dict[object, list[str]] = {}
    for name, wish in wishes.items():
        own = cells[name]
        table = None if own.sittings is None else own.sittings.shape
        groups.setdefault((own.sums.shape, table, wish.wanted == "higher"), []).append(name)
    for names in groups.values():
        yield names, fitted(stacked([cells[name] for name in names]))


def stacked(parts: Sequence[Cells]) -> Cells:
    """Cells of panels one after another along the batch axis."""
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

    def under(self, own: Error, sitting: Error | None) -> Measured:
        """The same contrasts with other errors beside the panel's."""
        return replace(self, found=replace(self.found, own=own, sitting=sitting))


@dataclass(frozen=True, slots=True)
class Measures:
    """All that is asked of a stack: every pull against the last; means where a limit is set; and for notes that may
    fade, every pull against each shorter one. `few` and `constant` (n,): too few people, the same score everywhere."""

    asked: Asked
    few: Flags
    constant: Flags
    worse: Measured
    means: Measured | None
    pairs: Measured | None

    @classmethod
    def of(cls, panels: Contrasts, asked: Asked) -> Measures:
        """Ask `panels` for the contrasts."""
        h = panels.cells.sums.shape[2]
        eye = np.eye(h)

        def measured(weights: Array, capped: bool = True) -> Measured:
            return Measured(weights, capped, panels.contrast(weights, capped).times(asked.sign))

        means = None if np.isnan(asked.limit).all() else measured(eye, capped=False)
        later = np.array([eye[late] - eye[early] for late, early in _pairs(h)])
        pairs = measured(later) if (asked.sign < 0).all() else None
        few = np.broadcast_to(_people(panels.cells.counts) < FEWEST_ASSESSORS, len(panels.cells.sums))
        return cls(asked, few, _constant(panels.cells), measured(differences(h, h - 1)), means, pairs)

    def rows(self, rows: Rows) -> Measures:
        """Some of the batch."""
        worse, means, pairs = (
            part if part is None else replace(part, found=part.found.rows(rows))
            for part in (self.worse, self.means, self.pairs)
        )
        assert worse is not None
        return Measures(self.asked.rows(rows), self.few[rows], self.constant[rows], worse, means, pairs)

    def shown(self, level: float, shared: float, control: int) -> Shown:
        """What limits at one-sided `level` show; `shared` is the level of each attribute's own finding."""
        worse = self.worse.found
        within, fails = _against_margin(worse, self.asked, level)
        keeps, breaks = self._against_limit(level)
        told, rising = _improvement(worse, self.asked, shared, control)
        inside, past = self._window(level)
        at_reference = breaks[:, -1] | past[:, -1]
        return Shown(within, keeps, fails | breaks, past, inside, told, rising, at_reference, self._why_not())

    def _why_not(self) -> NDArray[np.intp]:
        """Why an attribute cannot be judged (n,), an index into WHY_NOT."""
        worse = self.worse.found
        unknown = ~((worse.own.df >= LEAST_OWN_DF) & (worse.panel.df >= 1))[:, :-1].all(1)
        return np.select([self.few, self.constant, unknown], [1, 2, 3], 0)

    def _against_limit(self, level: float) -> tuple[Flags, Flags]:
        """Whether each mean is shown to keep, and to break, the absolute limit; asked of the reference as well."""
        free = np.isnan(self.asked.limit)
        if self.means is None:
            shape = self.worse.found.estimate.shape
            return np.ones(shape, bool), np.zeros(shape, bool)
        found, bound = self.means.found, self.asked.sign * self.asked.limit
        reach = found.reach(level)
        return free | (found.estimate + reach < bound), ~free & (found.estimate - reach >= bound)

    def _window(self, level: float) -> tuple[Flags, Flags]:
        """For notes wanted higher: pulls shown no worse than every shorter pull; pulls shown worse by the margin than
        some shorter one, at level / number of shorter pulls."""
        n, h = self.worse.found.estimate.shape
        inside, past = np.ones((n, h), bool), np.zeros((n, h), bool)
        if self.pairs is None:
            return inside, past
        worse, margin = self.pairs.found, self.asked.margin
        near = worse.estimate + worse.reach(level) < margin
        for late in range(1, h):
            columns = [number for number, pair in enumerate(_pairs(h)) if pair[0] == late]
            some = worse.of(columns)
            inside[:, late] = near[:, columns].all(1)
            past[:, late] = (some.estimate - some.reach(level / late) >= margin).any(1)
        return inside, past


def _pairs(h: int) -> list[tuple[int, int]]:
    """Every pull with each shorter one."""
    return [(late, early) for late in range(1, h) for early in range(late)]


def _against_margin(worse: Estimates, asked: Asked, level: float) -> tuple[Flags, Flags]:
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


def _improvement(worse: Estimates, asked: Asked, level: float, control: int) -> tuple[Flags, Flags]:
    """Whether the control is told from the reference, and whether the last step still improves; `level` is shared."""
    step = worse.estimate.shape[1] - 2
    two = worse.of([control, step])
    reach = two.reach(level)
    same = asked.same[:, 0]
    told = (two.estimate[:, 0] > reach[:, 0]) | (same & (two.estimate[:, 0] < -reach[:, 0]))
    return told, (two.estimate[:, 1] > reach[:, 1]) & ~same


def _people(counts: Array) -> NDArray[np.intp]:
    """How many gave any score (n,)."""
    return np.asarray(np.count_nonzero(over_pulls(counts), axis=1))


def _constant(cells: Cells) -> Flags:
    """Whether every score of a panel is the same (n,)."""
    flat = cells.sums.reshape(len(cells.sums), -1)
    constant = cells.within <= 1e-24 * np.vecdot(flat, flat)
    for row in np.flatnonzero(constant):
        counts = cells.counts[row % len(cells.counts)]
        mean = cells.sums[row][counts > 0] / counts[counts > 0]
        constant[row] = np.ptp(mean) <= 1e-12 * np.abs(mean).max()
    return np.asarray(constant)
