"""Tables of chances, cell by cell: each within two Monte Carlo errors of both runs, many cells reckoned with openly.

A cell is a chance as it was told, "78" or "2.5-3.8" per cent, by separate simulations made when the rules were
specified (numpy alone), and as it is found here. Its tolerance is its own: how far the found share lies outside what
was told and its rounding, over the Monte Carlo error of both runs. Of k cells about 4.6 % lie beyond two such errors by
chance alone, so no more than that is allowed (binomial), and the largest is held against Bonferroni's bound.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from scipy import stats

Draws = Callable[[int, int], int]
T = TypeVar("T")
FAMILY = 0.01  # that a table without a fault fails one of its two bounds: at most twice this


@dataclass(frozen=True)
class Cell:
    """One chance: `told` in per cent as printed, perhaps "low-high", of `known` studies; `found`, a share, of
    `studies`."""

    name: str
    told: str
    found: float
    studies: int
    known: int = 20_000

    @property
    def ends(self) -> tuple[float, float]:
        """What was told as shares, with half a step of its rounding on either side."""
        ends = self.told.split("-")
        half = 0.5 * 10.0 ** -max(len(end.partition(".")[2]) for end in ends)
        return (float(ends[0]) - half) / 100, (float(ends[-1]) + half) / 100

    @property
    def z(self) -> float:
        """Monte Carlo errors outside of what was told; 0 inside."""
        low, high = self.ends
        near = min(max(self.found, low), high)
        spread = max(near * (1 - near), 1 / self.studies)
        return float((self.found - near) / np.sqrt(spread * (1 / self.studies + 1 / self.known)))

    def __str__(self) -> str:
        """A row of the table."""
        return f"{self.name}: told {self.told}, found {100 * self.found:.1f}, z {self.z:+.1f}"


def hold(cells: Iterable[Cell]) -> None:
    """Fail with the whole table where a cell, or too many of them, lie outside."""
    every = list(cells)
    z = np.abs([cell.z for cell in every])
    table = "\n".join(map(str, every))
    print(table)
    beyond = stats.binom.isf(FAMILY, len(every), 2 * stats.norm.sf(2))
    assert z.max() <= stats.norm.isf(FAMILY / 2 / len(every)), table
    assert (z > 2).sum() <= beyond, table


def some(cells: Sequence[T], draws: Draws) -> list[T]:
    """Every cell in a search, the first and the last in every run."""
    return list(cells) if draws(0, 1) else list(cells[:: max(len(cells) - 1, 1)])
