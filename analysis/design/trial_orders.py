"""Orders of the cups in a forced-choice set, dealt evenly. Standard library only.

Draws use nothing of `random.Random` but its seeding by an integer and `random()`, which Python promises to keep.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from typing import TypeVar

from analysis.design.serving import shuffled

Order = TypeVar("Order")


def deal(orders: Sequence[Order], sets: int, seed: int) -> list[Order]:
    """An order for each of `sets` sets: whole rounds of all orders, shuffled within a round; the last may be cut short.

    Every order is thus used equally often, or once more. Raises ValueError.
    """
    if sets < 0:
        raise ValueError(f"sets must be 0 or more, got {sets}")
    rng = random.Random(seed)
    every = list(orders)
    dealt: list[Order] = []
    while len(dealt) < sets:
        dealt += shuffled(every, rng)
    return dealt[:sets]
