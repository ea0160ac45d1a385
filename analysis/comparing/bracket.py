"""How many hours longer one make needs than another: a bracket, no difference of two shortest hours.

Both makes are tasted after several hours and held against one common reference, the longest pull of the slower. The
hours that a make needs are the shortest of its pulls that is good enough with all longer ones. At half the level each
it is shown of the fast make that it needs at most h hours, stepping down from its longest pull (a fixed sequence, Hsu
& Berger 1999), and of the slow one that it needs more than l, stepping up from its shortest: its first pull that is
truly good enough is shown not to be in at most that share of studies. So the slow make needs over l - h hours longer,
and that is false in at most the level (Bonferroni). Two references would compare two questions.
Shapes: B studies, columns pieces.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analysis.comparing.claims import ClaimLimits, Judged, answers
from analysis.comparing.rule import MakeClaim, MakeRule
from analysis.stopping.alpha_spending import level as level_of_look

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Answer = Literal["reference", "good enough", "not good enough", "open", "lost", "no answer"]


@dataclass(frozen=True, slots=True)
class PullAnswer:
    """One pull of one make against the common reference, at the level of its make; "no answer": taken back or never
    scored."""

    piece: str
    make: str
    hours: float
    answer: Answer


@dataclass(frozen=True, slots=True)
class Bracket:
    """What is shown of the hours: the `fast` make needs `at_most`, the `slow` one `more_than`, None where nothing is;
    `over`: by so many hours more the slow one needs longer, None where that is not shown. `level` of each make."""

    slow: str
    fast: str
    more_than: float | None
    at_most: float | None
    over: float | None
    level: float
    pulls: tuple[PullAnswer, ...]


def half(rule: MakeRule) -> float:
    """The level at which each make is asked at one look."""
    return level_of_look(rule.alpha / 2, rule.looks)


def shown_of(ways: Sequence[Mapping[str, ClaimLimits]], rule: MakeRule) -> tuple[Flags, Flags]:
    """Which pieces are shown good enough and which shown not to be (B, pieces), in all `ways` of filling in what could
    not be judged. One failing attribute is enough, so these share the level."""
    level = half(rule)
    each = level / sum(1 + (one.limit is not None) for one in rule.attributes.values())
    good, bad = [], []
    for way in ways:
        told = [_asked(one, way[name], each) for name, one in rule.attributes.items()]
        good.append(np.logical_and.reduce([p < level for p, _fails in told]))
        bad.append(np.logical_or.reduce([fails for _p, fails in told]))
    return np.logical_and.reduce(good), np.logical_and.reduce(bad)


def _asked(claim: MakeClaim, own: ClaimLimits, each: float) -> tuple[Array, Flags]:
    return answers(claim, own.limits, own.worse, own.means, each)


def hours_over(good: Flags, bad: Flags, slow: Array, fast: Array, awake: Flags) -> tuple[Array, Array]:
    """Hours that the fast make needs at most, and that the slow one needs more than (B,), NaN where not shown.

    Args:
        good, bad: what is shown of every pull, the columns as in `slow` followed by `fast`.
        slow, fast: hours of the pulls but the reference, each ascending.
        awake: whether the control was found (B,).
    """
    chained = np.flip(np.logical_and.accumulate(np.flip(good[:, len(slow) :], 1), axis=1), 1)
    failing = np.logical_and.accumulate(bad[:, : len(slow)], axis=1)
    passed = chained.any(1) & awake
    at_most = np.where(passed, fast[chained.argmax(1)], np.nan)
    count = failing.sum(1)
    more_than = np.where((count > 0) & awake, slow[np.maximum(count, 1) - 1], np.nan)
    return at_most, more_than


def order_of(rule: MakeRule) -> tuple[list[str], list[str]]:
    """The pulls of the slow and of the fast make, but the reference, each by its hours."""
    slow = rule.pulls[rule.reference].make
    by_hours = sorted(rule.pulls, key=lambda name: rule.pulls[name].hours)
    own = [name for name in by_hours if rule.pulls[name].make == slow and name != rule.reference]
    return own, [name for name in by_hours if rule.pulls[name].make != slow]


def bracket(
    judged: Judged,
    fills: Sequence[Judged],
    rule: MakeRule,
    pieces: Sequence[str],
    out: Collection[str],
    speaks: bool,
) -> Bracket:
    """The hours of one study.

    Args:
        judged, fills: as weighed, of `pieces` in the order of the columns.
        rule: as sealed, with its `pulls`.
        out: pulls that were taken back or that nobody scored; they are never good enough and never shown not to be. A
            pull that was lost steps out.
        speaks: False where nothing may be said of any make.
    """
    good, bad = shown_of([one.attributes for one in fills or (judged,)], rule)
    every = order_of(rule)
    slow, fast = ([name for name in own if name in pieces or name in out] for own in every)
    columns = [pieces.index(name) if name in pieces else -1 for name in (*slow, *fast)]
    scored = np.array([column >= 0 for column in columns])
    good, bad = good[:, columns] & scored, bad[:, columns] & scored
    hours = [np.array([rule.pulls[name].hours for name in own]) for own in (slow, fast)]
    at_most, more_than = (
        (np.array([np.nan]),) * 2
        if not slow or not fast
        else hours_over(good, bad, hours[0], hours[1], judged.control_found & speaks)
    )
    told = {name: _answer(bool(g), bool(b)) for name, g, b in zip((*slow, *fast), good[0], bad[0], strict=True)}
    gap = float(more_than[0] - at_most[0])
    return Bracket(
        rule.pulls[rule.reference].make,
        rule.pulls[every[1][-1]].make,
        _known(more_than[0]),
        _known(at_most[0]),
        gap if gap > 0 else None,
        half(rule),
        tuple(_pull(rule, name, told, pieces, out) for name in (*every[0], rule.reference, *every[1])),
    )


def _pull(
    rule: MakeRule, name: str, told: Mapping[str, Answer], pieces: Sequence[str], out: Collection[str]
) -> PullAnswer:
    answer: Answer = "lost"
    if name == rule.reference:
        answer = "reference"
    elif name in out:
        answer = "no answer"
    elif name in pieces:
        answer = told[name]
    return PullAnswer(name, rule.pulls[name].make, rule.pulls[name].hours, answer)


def _answer(good: bool, bad: bool) -> Answer:
    if good:
        return "good enough"
    return "not good enough" if bad else "open"


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
