"""From limits to one verdict, for a batch of studies: step down from the longest pull, attributes joined by AND.

Intersection-union (Berger 1982, from memory) needs no penalty for several attributes; a fixed sequence from the longest
pull (Hsu & Berger 1999) none for several pulls. Shapes: B studies, h pulls.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import reduce
from itertools import chain
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from analysis.instruments import GateLimits
from analysis.model.cells import Cells
from analysis.stopping.evidence import Asked, Levels, Measures, Shown, beyond_margin, stacks
from analysis.stopping.fates import Bars
from analysis.stopping.gates import GatesShown, Gating
from analysis.stopping.rule import AttributeRule
from analysis.stopping.standard_errors import Contrasts, Estimates

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Verdict = Literal["stop", "conche longer", "no hour fits", "cannot tell", "confirmed", "not confirmed"]
VERDICTS: tuple[Verdict, ...] = get_args(Verdict)
STOP, LONGER, NONE_FITS, CANNOT, CONFIRMED, NOT_CONFIRMED = range(6)
GateTable = Mapping[str, Mapping[str, GateLimits]]


def verdicts_of(bars: Bars | None) -> tuple[Verdict, ...]:
    """The verdicts that a study can end in: of one hour that is asked of a new batch, or of all its pulls."""
    ends = (CONFIRMED, NOT_CONFIRMED, CANNOT) if bars is not None and bars.but_one else range(CANNOT + 1)
    return tuple(VERDICTS[one] for one in ends)


@dataclass(frozen=True, slots=True, kw_only=True)
class AttributeLimits(Shown):
    """One attribute of a batch: what is shown of it, and the signed differences it is read from: `worse` than the
    reference, and `pairs`, every pull against each shorter one. `beyond_margin` (B, h): shown to lie beyond it.
    `panels` holds the attribute's fit, perhaps with others, in its rows `own`. `filled`: the same attribute with what
    could not be judged set to the worse end of the scale at the pulls, and to the better one."""

    beyond_margin: Flags
    panels: Contrasts
    own: slice
    sign: float
    margin: float
    worse: Estimates
    pairs: Estimates
    filled: tuple[AttributeLimits, AttributeLimits] | None = None

    @property
    def cells(self) -> Cells:
        """The attribute's own cells."""
        return self.panels.cells.rows(self.own)


@dataclass(frozen=True, slots=True)
class Verdicts:
    """The verdict of each study of a batch: index into `VERDICTS` (B,), chosen pull (B,), -1 where none; `shortest`
    (B,): the shortest pull that passes with all longer ones, -1 where not even the reference does. `passes` (B, h):
    shown to be good enough. `against_reference` (B,): whether a margin against it counts, which it does not where the
    reference itself is shown to be unfit."""

    verdict: NDArray[np.intp]
    pull: NDArray[np.intp]
    shortest: NDArray[np.intp]
    passes: Flags
    control_found: Flags
    against_reference: Flags


@dataclass(frozen=True, slots=True)
class Judged(Verdicts):
    """Verdicts with the attributes they rest on, and the limits of instruments, by name and batch."""

    attributes: Mapping[str, AttributeLimits]
    gates: GateTable = field(default_factory=dict)
    gating: Gating | None = None

    @property
    def gates_shown(self) -> GatesShown | None:
        """What all limits of instruments show together."""
        return None if self.gating is None else self.gating.shown(self.gates)

    def fails_on(self, name: str) -> Flags:
        """Which pulls are shown to fail on an attribute, or a limit of an instrument (B, h)."""
        if self.gating is not None and name in self.gates:
            return self.gating.shown({name: self.gates[name]}).fails
        limits = self.attributes[name]
        beyond = limits.beyond_margin & limits.judged[:, None] & self.against_reference[:, None]
        return limits.broken | beyond

    @property
    def fails(self) -> Flags:
        """Which pulls are shown to fail on any of them (B, h)."""
        return any_of(self.fails_on(name) for name in (*self.attributes, *self.gates))


def judge(
    cells: Mapping[str, Cells],
    wishes: Mapping[str, AttributeRule],
    level: float,
    control: int = 0,
    adjusted: Mapping[str, Contrasts] | None = None,
    bars: Bars | None = None,
    batches: int = 1,
    gating: Gating | None = None,
) -> Judged:
    """Judge a batch of studies.

    Args:
        cells: scores of every deciding attribute, the same pulls in the same order, the last being the reference.
        wishes: what is wanted of each.
        level: one-sided level of this look.
        control: index of the pull known to differ.
        adjusted: fits of attributes that a fuller model adjusts; they take the place of `cells`.
        bars: what may not be said, since sealed pulls are missing.
        batches: how many batches are each judged so, of which these are the scores of one.
        gating: limits of instruments and what was read; of this batch where it is one of several.
    """
    adjusted = adjusted or {}
    plain = stacks(cells, {name: wish for name, wish in wishes.items() if name not in adjusted})
    apart = (([name], panels) for name, panels in adjusted.items())
    found = _limits(chain(apart, plain), wishes, level, (control, batches, gating))
    table = gate_table(gating, list(wishes.values()), level, batches)
    return judged_of(found, bars, None, gating, table)


def gate_table(gating: Gating | None, wishes: Sequence[AttributeRule], level: float, batches: int = 1) -> GateTable:
    """The limits of instruments at the levels they share with attributes; `batches` as in `judge`."""
    if gating is None:
        return {}
    levels = Levels.of(level, wishes, len(gating.hours), 0, batches, gating)
    return gating.limits(level, levels.failing, levels.shared)


def judged_of(
    found: Mapping[str, AttributeLimits],
    bars: Bars | None = None,
    told: Flags | None = None,
    gating: Gating | None = None,
    gates: GateTable | None = None,
) -> Judged:
    """Verdicts from the limits of every attribute and instrument; `told` as in `tabled`."""
    gates = gates or {}
    t = tabled(list(found.values()), bars, told, None if gating is None else gating.shown(gates))
    judged = Judged(t.verdict, t.pull, t.shortest, t.passes, t.control_found, t.against_reference, found, gates, gating)
    return _of_one_hour(judged, bars) if bars is not None and bars.but_one else judged


def _of_one_hour(judged: Judged, bars: Bars) -> Judged:
    """The same asked of the last pull but one alone, which was chosen before: one hour, one test, no chain. The control
    must be found for either answer; only a limit of an instrument that is shown to be broken needs no panel."""
    asked, last, shown = judged.passes.shape[1] - 2, judged.passes.shape[1] - 1, judged.gates_shown
    passes = judged.passes[:, asked] & (True if shown is None else shown.choosable[asked])
    inside = all_of(x.inside for x in judged.attributes.values())[:, asked]
    broken = False if shown is None else shown.fails[:, asked]
    confirmed = passes & inside & judged.control_found & (not bars.keep_back(asked))
    refuted = judged.fails[:, asked] & (judged.control_found | broken) & (not bars.keep_back(asked))
    verdict = np.select([confirmed, refuted], [CONFIRMED, NOT_CONFIRMED], CANNOT)
    shortest = np.where(passes, asked, np.where(judged.passes[:, last], last, -1))
    return replace(judged, verdict=verdict, pull=np.where(confirmed, asked, -1), shortest=shortest)


def _limits(
    stacked: Iterable[tuple[list[str], Contrasts]],
    wishes: Mapping[str, AttributeRule],
    level: float,
    design: tuple[int, int, Gating | None],
) -> dict[str, AttributeLimits]:
    """The limits of every attribute, each in its own rows of a stack, in the order of the wishes; `design`: control,
    the number of batches, limits of instruments."""
    found: dict[str, AttributeLimits] = {}
    for names, panels in stacked:
        studies = len(panels.cells.sums) // len(names)
        asked = Asked.of([wishes[name] for name in names], studies)
        measures = Measures.of(panels, asked).with_pairs(panels, np.arange(len(panels.cells.sums)))
        levels = Levels.of(level, list(wishes.values()), panels.cells.sums.shape[2], *design)
        shown, worse = measures.shown(levels), measures.worse.found
        beyond = beyond_margin(worse, asked, levels)
        assert measures.pairs is not None
        for number, name in enumerate(names):
            own = slice(number * studies, (number + 1) * studies)
            found[name] = AttributeLimits(
                **shown.rows(own).parts(),
                beyond_margin=beyond[own],
                panels=panels,
                own=own,
                sign=float(asked.sign[own.start, 0]),
                margin=wishes[name].margin,
                worse=worse.rows(own),
                pairs=measures.pairs.found.rows(own),
            )
    return {name: found[name] for name in wishes}


# ---- the table -----------------------------------------------------------------------------------------------------
def tabled(
    every: Sequence[Shown], bars: Bars | None = None, told: Flags | None = None, gates: GatesShown | None = None
) -> Verdicts:
    """The first verdict that fits and that `bars` leave, from what is shown of all attributes; `told` (B,): whether the
    control is found, where several batches must each have shown it; `gates`: what limits of instruments show."""
    tasted = all_of(x.passes for x in every)
    bars = bars or Bars(np.zeros(tasted.shape[1], bool))
    broken = any_of(x.broken for x in every)
    gates = gates or _no_gates(tasted.shape[1])
    passes, broken = tasted & gates.passes, broken | gates.fails
    told = any_of(x.told & x.judged for x in every) if told is None else told
    chained = chain_of(tasted & gates.chained & ~bars.stop)
    passing, last = chained & gates.choosable & ~bars.stepped_out, passes.shape[1] - 1
    shortest = np.where(passing.any(1), passing.argmax(1), -1)
    stop = (shortest >= 0) & (shortest < last) & told & _stands(every, shortest)
    improving = any_of(x.improving for x in every) | gates.improving
    longer = ~passes[:, :-1].any(1) & improving & _nothing_lost(every) & gates.held & told
    none = broken.all(1) & (told | gates.fails.all(1)) & (not bars.none)
    verdict = np.select([stop, longer & (not bars.longer), none], [STOP, LONGER, NONE_FITS], CANNOT)
    if bars.any:
        verdict = np.full_like(verdict, CANNOT)
    pull = np.where(verdict == STOP, shortest, -1)
    return Verdicts(verdict, pull, shortest, passes, told, ~broken[:, -1])


def _no_gates(pulls: int) -> GatesShown:
    """What no limit of an instrument shows: nothing that stands in the way."""
    every, none = np.ones((1, pulls), bool), np.zeros((1, pulls), bool)
    return GatesShown(every, every, none, every[0], none[:, 0], every[:, 0])


def _stands(every: Sequence[Shown], shortest: NDArray[np.intp]) -> Flags:
    """Whether the shortest passing pull lies inside the window of every note, and no longer one is shown better."""
    rows = np.arange(len(shortest))
    inside = all_of(x.inside for x in every)
    bettered = any_of(x.bettered & x.judged[:, None] for x in every)
    return np.asarray(inside[rows, shortest] & ~bettered[rows, shortest])


def _nothing_lost(every: Sequence[Shown]) -> Flags:
    """Whether every note that improves is shown to be no worse at the reference than before, and all others hold."""
    return all_of(x.judged & np.where(x.improving, x.kept, x.holds) for x in every)


def all_of(flags: Iterable[Flags]) -> Flags:
    """Joined by AND, over attributes."""
    return reduce(np.logical_and, flags)


def any_of(flags: Iterable[Flags]) -> Flags:
    """Joined by OR, over attributes."""
    return reduce(np.logical_or, flags)


def chain_of(passes: Flags) -> Flags:
    """Whether a pull passes with all longer ones (B, h)."""
    return np.flip(np.logical_and.accumulate(np.flip(passes, 1), axis=1), 1)
