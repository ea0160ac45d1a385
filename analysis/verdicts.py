"""From limits to one verdict, for a batch of studies: step down from the longest pull, attributes joined by AND.

Intersection-union (Berger 1982, from memory) needs no penalty for several attributes; a fixed sequence from the longest
pull (Hsu & Berger 1999) none for several pulls. Shapes: B studies, h pulls.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import chain
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.limits import Cells, Contrasts, Estimates
from analysis.shown import Asked, Measures, Shown, Wish, stacks

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Verdict = Literal["stop", "conche longer", "no hour fits", "cannot tell"]
VERDICTS: tuple[Verdict, ...] = ("stop", "conche longer", "no hour fits", "cannot tell")
STOP, LONGER, NONE_FITS, CANNOT = range(4)


@dataclass(frozen=True, slots=True, kw_only=True)
class AttributeLimits(Shown):
    """One attribute of a batch: what is shown of it, and `worse`, the signed differences to the reference it is read
    from. `panels` holds the attribute's fit, perhaps with others, in its `place`."""

    panels: Contrasts
    place: slice
    sign: float
    worse: Estimates

    @property
    def cells(self) -> Cells:
        """The attribute's own cells."""
        return self.panels.cells.rows(self.place)


@dataclass(frozen=True, slots=True)
class Table:
    """The verdict of each study of a batch: index into `VERDICTS` (B,), chosen pull (B,), -1 where none; `shortest`
    (B,): the shortest pull that passes with all longer ones, -1 where not even the reference does."""

    verdict: NDArray[np.intp]
    pull: NDArray[np.intp]
    shortest: NDArray[np.intp]
    passes: Flags
    fails: Flags
    control_found: Flags


@dataclass(frozen=True, slots=True)
class Judged(Table):
    """Verdicts with the attributes they rest on."""

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
    plain = stacks(cells, {name: wish for name, wish in wishes.items() if name not in adjusted})
    apart = (([name], panels) for name, panels in adjusted.items())
    found = _limits(chain(apart, plain), wishes, level, control)
    t = tabled(list(found.values()))
    return Judged(t.verdict, t.pull, t.shortest, t.passes, t.fails, t.control_found, found)


def _limits(
    stacked: Iterable[tuple[list[str], Contrasts]], wishes: Mapping[str, Wish], level: float, control: int
) -> dict[str, AttributeLimits]:
    """The limits of every attribute, each in its own rows of a stack, in the order of the wishes."""
    found: dict[str, AttributeLimits] = {}
    for names, panels in stacked:
        studies = len(panels.cells.sums) // len(names)
        measures = Measures.of(panels, Asked.of([wishes[name] for name in names], studies))
        shown, worse = measures.shown(level, level / len(wishes), control), measures.worse.found
        for number, name in enumerate(names):
            place = slice(number * studies, (number + 1) * studies)
            sign = float(measures.asked.sign[place.start, 0])
            found[name] = AttributeLimits(
                **shown.rows(place).parts(), panels=panels, place=place, sign=sign, worse=worse.rows(place)
            )
    return {name: found[name] for name in wishes}


# ---- the table -----------------------------------------------------------------------------------------------------
def tabled(every: Sequence[Shown]) -> Table:
    """The first verdict that fits, from what is shown of all attributes."""
    passes = all_of(x.within_margin & x.within_limit & x.judged[:, None] for x in every)
    inside = all_of(x.inside for x in every)
    broken = any_of(x.fails_at_reference & ~x.improving & x.judged for x in every)
    told = any_of(x.told & x.judged for x in every)
    improving = any_of(x.improving & x.judged for x in every)
    past = any_of(x.past & x.judged[:, None] for x in every)
    fails = any_of(x.fails & x.judged[:, None] for x in every) | past
    passing = chain_of(passes)
    last = passes.shape[1] - 1
    shortest = np.where(passing.any(1), passing.argmax(1), -1)
    within_window = inside[np.arange(len(inside)), shortest]
    shorter = (shortest >= 0) & (shortest < last)
    stop = shorter & within_window & told
    longer = ~shorter & improving & ~broken & told
    none_fits = fails.all(1) | _empty_window(passing, past)
    verdict = np.select([stop, longer, none_fits], [STOP, LONGER, NONE_FITS], CANNOT)
    return Table(verdict, np.where(verdict == STOP, shortest, -1), shortest, passes, fails, told)


def all_of(flags: Iterable[Flags]) -> Flags:
    """Joined by AND, over attributes."""
    return reduce(np.logical_and, flags)


def any_of(flags: Iterable[Flags]) -> Flags:
    """Joined by OR, over attributes."""
    return reduce(np.logical_or, flags)


def chain_of(passes: Flags) -> Flags:
    """Whether a pull passes with all longer ones (B, h)."""
    return np.flip(np.logical_and.accumulate(np.flip(passes, 1), axis=1), 1)


def _empty_window(passing: Flags, past: Flags) -> Flags:
    """Every pull that would do is shown to be past a note that fades."""
    return np.asarray(passing.any(1) & (~passing | past).all(1))
