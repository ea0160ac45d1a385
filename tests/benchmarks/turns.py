"""Two pieces of work timed by turns on many data sets, and told as ratios with their spread.

The works of a pair run one after the other, several times over, so that a busy moment of the machine falls on both.
Each is run twice in a row and the second run is timed: both are warm alike, however long either takes. A data set
gives one ratio, of the medians of its turns; a row tells the median of these ratios and the smallest and largest.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median

Work = Callable[[], object]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table: what ours is, what it is beside, and milliseconds of both for every data set."""

    name: str
    other: str
    other_ms: tuple[float, ...]
    ours_ms: tuple[float, ...]

    @property
    def ratios(self) -> list[float]:
        """How many times longer the other takes, a data set each."""
        return [theirs / ours for theirs, ours in zip(self.other_ms, self.ours_ms, strict=True)]

    def __str__(self) -> str:
        low, high = min(self.ratios), max(self.ratios)
        return (
            f"{self.name:56}{median(self.ours_ms):10.3f}{median(self.other_ms):10.2f}{median(self.ratios):8.2f}"
            f"{f'{low:.2f} to {high:.2f}':>17}{len(self.ratios):5}   {self.other}"
        )


HEAD = f"{'':56}{'ours, ms':>10}{'other, ms':>10}{'ratio':>8}{'range':>17}{'sets':>5}   other"


def beside(name: str, other: str, pairs: Sequence[tuple[Work, Work]], rounds: int = 3) -> Row:
    """Time (other, ours) of every data set by turns, `rounds` turns each."""
    times = [_turns(theirs, ours, rounds) for theirs, ours in pairs]
    return Row(name, other, tuple(theirs for theirs, _ in times), tuple(ours for _, ours in times))


def _turns(theirs: Work, ours: Work, rounds: int) -> tuple[float, float]:
    taken = [(warm(theirs), warm(ours)) for _ in range(rounds)]
    return median(first for first, _ in taken), median(second for _, second in taken)


def of_processes() -> float:
    """Seconds of processor time of all processes that this one has waited for: a clock for whole commands, which a busy
    machine delays but does not make dearer."""
    spent = os.times()
    return spent.children_user + spent.children_system


def warm(work: Work) -> float:
    """Milliseconds of processor time of the second of two runs."""
    work()
    start = time.process_time()
    work()
    return 1000 * (time.process_time() - start)
