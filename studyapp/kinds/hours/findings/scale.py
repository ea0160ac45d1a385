"""The axis of worsening that all pictures of a decision share, on screen and on paper."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, floor
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, PullResult

HEADROOM = 0.6  # units kept free for the words along the top
MOST_TICKS = 6


@dataclass(frozen=True, slots=True)
class Scale:
    """Lowest and highest worsening drawn, scale units."""

    low: float
    high: float

    @property
    def ticks(self) -> list[int]:
        """Whole units to label, at most about six, clear of the words along the top."""
        first, last = floor(self.low) + 1, floor(self.high - HEADROOM)
        return list(range(first, last + 1, max(1, ceil((last - first) / MOST_TICKS))))

    def shows_limit(self, result: AttributeResult) -> bool:
        """Whether the limit of an attribute lies on its picture, clear of the top."""
        at = limit_at(result)
        return at is not None and self.low <= at <= self.high - HEADROOM / 2


def shared_scale(results: Iterable[AttributeResult]) -> Scale:
    """One scale for all attributes, wide enough for every bar and margin."""
    ends = [0.0, -1.0]
    for result in results:
        ends += [end for pull in result.pulls for end in _bar(pull)]
        ends.append(result.rule.margin + 0.5)
        if result.rule.both_ways:
            ends.append(-result.rule.margin - 0.2)
    return Scale(low=floor(min(ends) * 2) / 2, high=ceil((max(ends) + HEADROOM) * 4) / 4)


def limit_at(result: AttributeResult) -> float | None:
    """Where the limit on the mean lies on the axis of worsening; None without one."""
    if result.rule.limit is None:
        return None
    reference = next(pull for pull in result.pulls if pull.hours == result.reference_hours)
    return (result.rule.limit - reference.mean) * result.rule.sign


def _bar(pull: PullResult) -> tuple[float, ...]:
    ends = (pull.decisive_lower, pull.decisive_upper)
    return tuple(end for end in ends if end is not None) or (pull.difference,)
