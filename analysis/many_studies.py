"""Verdicts of many studies at once, exactly as `judge` finds them, without working out what cannot matter.

The panel's own error is quick to find. The other errors cost most where scores are missing, and all they can do is
widen limits. So studies that the panel error alone leaves in `cannot tell` are spared them; of the rest, the own error
is first enclosed between bounds, and worked out only where it matters on which side of a margin it ends.
Shapes: B studies; a stack of attributes has n = attributes x B rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.limits import Cells, Fitted, PanelAlone, is_balanced, own_bounds
from analysis.shown import Asked, Measures, Shown, Wish, stacks
from analysis.verdicts import CANNOT, all_of, any_of, chain_of, tabled

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]


def answers(
    cells: Mapping[str, Cells], wishes: Mapping[str, Wish], level: float, control: int = 0
) -> tuple[Rows, Rows]:
    """Verdict and pull (B,) exactly as `verdicts.judge` finds them; arguments as there."""
    studies = len(next(iter(cells.values())).sums)
    look = _Look(level, level / len(wishes), control)
    every = [
        _Stack(panels, Asked.of([wishes[name] for name in names], studies)) for names, panels in stacks(cells, wishes)
    ]
    if all(is_balanced(stack.panels.cells.counts) for stack in every):
        open_, shown = np.arange(studies), [look.shown(Measures.of(stack.panels, stack.asked)) for stack in every]
    else:
        open_, shown = look.narrowed(every, studies)
    verdict, pull = np.full(studies, CANNOT), np.full(studies, -1)
    if len(open_):
        table = tabled(_by_attribute(shown, len(open_)))
        verdict[open_], pull[open_] = table.verdict, table.pull
    return verdict, pull


@dataclass(frozen=True, slots=True)
class _Stack:
    """Attributes of one shape, and what is asked of them."""

    panels: Fitted
    asked: Asked

    def rows(self, rows: Rows) -> _Stack:
        """Some of the batch."""
        return _Stack(self.panels.rows(rows), self.asked.rows(rows))


@dataclass(frozen=True, slots=True)
class _Look:
    """One-sided level, the part of it that each attribute's own finding gets, and the pull known to differ."""

    level: float
    shared: float
    control: int

    def shown(self, measures: Measures) -> Shown:
        """What limits at this level show."""
        return measures.shown(self.level, self.shared, self.control)

    def narrowed(self, every: Sequence[_Stack], studies: int) -> tuple[Rows, list[Shown]]:
        """Studies that may answer, and what is shown of their attributes."""
        alone = [Measures.of(PanelAlone(stack.panels), stack.asked) for stack in every]
        open_ = np.flatnonzero(_may_answer(_by_attribute([self.shown(own) for own in alone], studies)))
        if not len(open_):
            return open_, []
        rows = [_rows_of(open_, studies, len(own.few)) for own in alone]
        some = [stack.rows(own) for stack, own in zip(every, rows, strict=True)]
        ends = [_enclosed(stack.panels, own.rows(at)) for stack, own, at in zip(some, alone, rows, strict=True)]
        least, most = ([self.shown(two[end]) for two in ends] for end in (0, 1))
        still = np.flatnonzero(_may_answer(_by_attribute(least, len(open_))))
        shown = []
        for stack, low, high in zip(some, least, most, strict=True):
            left = _rows_of(still, len(open_), len(high.told))
            doubtful = left[low.differ(high)[left]]
            if len(doubtful):
                own = stack.rows(doubtful)
                high.put(doubtful, self.shown(Measures.of(own.panels, own.asked)))
            shown.append(high.rows(left))
        return open_[still], shown


def _rows_of(studies: Rows, of: int, size: int) -> Rows:
    """The rows of some studies in a stack of so many rows."""
    return np.asarray((np.arange(0, size, of)[:, None] + studies).ravel())


def _by_attribute(shown: Sequence[Shown], studies: int) -> list[Shown]:
    """What is shown of each attribute of some stacks."""
    return [
        stack.rows(slice(start, start + studies)) for stack in shown for start in range(0, len(stack.told), studies)
    ]


def _enclosed(panels: Fitted, alone: Measures) -> tuple[Measures, Measures]:
    """Measures with the least and with the most that the own error can be; the sitting error as it is."""
    least, most = alone, alone
    for name in ("worse", "means", "pairs"):
        part = getattr(alone, name)
        if part is not None:
            sitting = panels.by_sitting(part.weights, part.capped)
            low, high = own_bounds(panels.cells, panels.fits, part.weights)
            least = replace(least, **{name: part.under(low, sitting)})
            most = replace(most, **{name: part.under(high, sitting)})
    return least, most


def _may_answer(every: Sequence[Shown]) -> Flags:
    """Whether wider limits could still end in an answer (B,): what each verdict needs and wider limits never give."""
    passing = chain_of(all_of(x.within_margin & x.within_limit & x.judged[:, None] for x in every))
    inside = all_of(x.inside for x in every)
    told = any_of(x.told & x.judged for x in every)
    rising = any_of(x.rising & x.judged for x in every)
    past = any_of(x.past & x.judged[:, None] for x in every)
    fails = any_of(x.fails & x.judged[:, None] for x in every) | past
    shorter = (passing & inside)[:, :-1].any(1)
    return np.asarray(told & (rising | shorter) | fails.all(1) | passing.any(1) & past[:, -1])
