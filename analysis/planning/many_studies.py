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

from analysis.model.cells import Cells, is_balanced
from analysis.stopping.evidence import Asked, Levels, Measures, Shown, stacks
from analysis.stopping.fates import Bars
from analysis.stopping.gates import Gating
from analysis.stopping.rule import AttributeRule
from analysis.stopping.standard_errors import Fitted, PanelAlone, own_bounds, rounding
from analysis.stopping.verdicts import CANNOT, all_of, any_of, chain_of, gate_table, judge, tabled

Flags = NDArray[np.bool_]
Rows = NDArray[np.intp]


def answers(
    cells: Mapping[str, Cells],
    wishes: Mapping[str, AttributeRule],
    level: float,
    control: int = 0,
    bars: Bars | None = None,
    gating: Gating | None = None,
) -> tuple[Rows, Rows]:
    """Verdict and pull (B,) exactly as `verdicts.judge` finds them; arguments as there. Limits of instruments may be of
    one study, the same for all."""
    first = next(iter(cells.values()))
    if any(own.served_apart for own in cells.values()) or (bars is not None and bars.but_one):
        whole = judge(cells, wishes, level, control, bars=bars, gating=gating)
        return whole.verdict, whole.pull
    studies = len(first.sums)
    look = _Look(Levels.of(level, list(wishes.values()), first.sums.shape[2], control, gates=gating), gating)
    every = [
        _Stack(panels, Asked.of([wishes[name] for name in names], studies))
        for names, panels in stacks(cells, wishes)
        if isinstance(panels, Fitted)
    ]
    open_, shown = look.narrowed(every, studies)
    verdict, pull = np.full(studies, CANNOT), np.full(studies, -1)
    if len(open_):
        gates = None if gating is None else gating.shown(gate_table(gating, list(wishes.values()), level))
        table = tabled(_by_attribute(shown, len(open_)), bars, gates=gates)
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
    """The levels of one look, and limits of instruments: with these nothing is left out, for they too can answer."""

    levels: Levels
    gating: Gating | None = None

    def narrowed(self, every: Sequence[_Stack], studies: int) -> tuple[Rows, list[Shown]]:
        """Studies that may answer, and what is shown of their attributes."""
        if self.gating is not None or all(is_balanced(stack.panels.cells.counts) for stack in every):
            return np.arange(studies), [self._whole(stack) for stack in every]
        alone = [Measures.of(PanelAlone(stack.panels), stack.asked) for stack in every]
        open_ = np.flatnonzero(_may_answer(_by_attribute([own.shown(self.levels) for own in alone], studies)))
        if not len(open_):
            return open_, []
        rows = [_rows_of(open_, studies, len(own.why_not)) for own in alone]
        some = [stack.rows(own) for stack, own in zip(every, rows, strict=True)]
        still, shown = self._settled(some, [own.rows(at) for own, at in zip(alone, rows, strict=True)], len(open_))
        return open_[still], shown

    def _settled(self, every: Sequence[_Stack], alone: Sequence[Measures], studies: int) -> tuple[Rows, list[Shown]]:
        """The same, of studies that the panel error leaves open; errors are worked out where bounds leave a doubt."""
        ends = [self._enclosed(stack, own) for stack, own in zip(every, alone, strict=True)]
        still = np.flatnonzero(_may_answer(_by_attribute([least for least, _most in ends], studies)))
        shown = []
        for stack, (low, high) in zip(every, ends, strict=True):
            left = _rows_of(still, studies, len(high.told))
            doubtful = left[low.differ(high)[left]]
            if len(doubtful):
                high.put(doubtful, self._whole(stack.rows(doubtful)))
            shown.append(high.rows(left))
        return still, shown

    def _whole(self, stack: _Stack) -> Shown:
        """What is shown, every error worked out."""
        measures = Measures.of(stack.panels, stack.asked)
        rows = measures.need_pairs()
        return measures.with_pairs(stack.panels.rows(rows), rows).shown(self.levels)

    def _enclosed(self, stack: _Stack, alone: Measures) -> tuple[Shown, Shown]:
        """What is shown with the least and with the most that the own error can be; the sitting error as it is."""
        rows = alone.need_pairs()
        some = stack.panels.rows(rows)
        least = most = alone.with_pairs(PanelAlone(some), rows)
        for name, panels in (("worse", stack.panels), ("means", stack.panels), ("pairs", some)):
            part = getattr(least, name)
            if part is not None:
                sitting = panels.by_sitting(part.weights, part.capped)
                low, high = own_bounds(panels.cells, panels.fits, part.weights)
                floor = rounding(panels.cells, part.weights)
                least = replace(least, **{name: part.under(low, sitting, floor)})
                most = replace(most, **{name: part.under(high, sitting, floor)})
        return least.shown(self.levels), most.shown(self.levels)


def _rows_of(studies: Rows, of: int, size: int) -> Rows:
    """The rows of some studies in a stack of so many rows."""
    return np.asarray((np.arange(0, size, of)[:, None] + studies).ravel())


def _by_attribute(shown: Sequence[Shown], studies: int) -> list[Shown]:
    """What is shown of each attribute of some stacks."""
    return [
        stack.rows(slice(start, start + studies)) for stack in shown for start in range(0, len(stack.told), studies)
    ]


def _may_answer(every: Sequence[Shown]) -> Flags:
    """Whether wider limits could still end in an answer (B,): what each verdict needs and wider limits never give.

    They may end a growth or a better hour that stood in the way, and push a pull out of its margin, so none of these
    is asked here.
    """
    told = any_of(x.told & x.judged for x in every)
    shorter = chain_of(all_of(x.passes for x in every))[:, :-1].any(1)
    rising = any_of(x.rising & x.judged for x in every) & all_of((x.kept | x.holds) & x.judged for x in every)
    return np.asarray(told & (shorter | rising | any_of(x.broken for x in every).all(1)))
