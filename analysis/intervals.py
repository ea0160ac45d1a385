"""One interval type for every result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Interval:
    """An interval in the unit of its estimate; None is an end that does not exist (no limit on that side)."""

    low: float | None
    high: float | None

    def __post_init__(self) -> None:
        """Refuse ends in the wrong order."""
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ValueError(f"an interval needs low <= high, got {self.low} > {self.high}")
