"""Orders of the cups in a forced-choice set, dealt evenly, and which answers are right. Standard library only.

An assessor's phone waits for what stands here, so neither numpy nor pandas is imported. 0 is the plain cup (blank or
reference), 1 the other one. Draws use nothing of `random.Random` but its seeding by an integer and `random()`.
"""

from __future__ import annotations

import random
from itertools import permutations

from analysis.design.serving import shuffled

Order = tuple[int, ...]

# The samples of one set, before they are put in order. In the attribute tests the stronger sample is the 1.
_SAMPLES: dict[str, tuple[Order, ...]] = {
    "triangle": ((0, 0, 1), (1, 1, 0)),
    "two-alternative": ((0, 1),),
    "three-alternative": ((0, 0, 1),),
    "tetrad": ((0, 0, 1, 1),),
    "two-out-of-five": ((0, 0, 0, 1, 1), (1, 1, 1, 0, 0)),
}
_REFERENCE_FIRST: tuple[Order, ...] = ((0, 0, 1), (0, 1, 0), (1, 0, 1), (1, 1, 0))


def orders(method: str) -> tuple[Order, ...]:
    """Every order of the samples of a set, each to be used equally (ISO 4120 7.1: six for the triangle).

    In the duo-trio test the first cup is the reference, either sample equally often. Raises ValueError.
    """
    if method == "duo-trio":
        return _REFERENCE_FIRST
    if method not in _SAMPLES:
        raise ValueError(f"method must be one of {', '.join(sorted((*_SAMPLES, 'duo-trio')))}, got {method}")
    return tuple(sorted({order for samples in _SAMPLES[method] for order in permutations(samples)}))


def deal(method: str, sets: int, seed: int) -> list[Order]:
    """An order for each of `sets` sets: whole rounds of all orders, shuffled within a round; the last may be cut short.

    Every order is thus used equally often, or once more. Raises ValueError.
    """
    if sets < 0:
        raise ValueError(f"sets must be 0 or more, got {sets}")
    rng = random.Random(seed)
    every = list(orders(method))
    dealt: list[Order] = []
    while len(dealt) < sets:
        dealt += shuffled(every, rng)
    return dealt[:sets]


def picks(method: str) -> int:
    """How many cups an answer names: a pair where the cups form two groups, else one."""
    return 2 if method in ("tetrad", "two-out-of-five") else 1


def right_answers(method: str, order: Order) -> tuple[frozenset[int], ...]:
    """The places (from 0) that a right answer names; two answers are right where either group may be named.

    Triangle: the odd cup. Duo-trio: the one like the reference. Attribute tests: the stronger sample. Tetrad: either
    pair of like cups. Two-out-of-five: the pair. Raises ValueError for an order that the method does not serve.
    """
    if order not in orders(method):
        raise ValueError(f"{order} is no order of the {method} test")
    ones = frozenset(place for place, sample in enumerate(order) if sample == 1)
    zeros = frozenset(range(len(order))) - ones
    if method == "tetrad":
        return zeros, ones
    if method == "duo-trio":
        return ((ones if order[0] else zeros) - {0},)
    if method.endswith("-alternative"):
        return (ones,)
    return (min(ones, zeros, key=len),)
