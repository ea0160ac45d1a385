"""Where every serving of a design stands in its sitting, from the very orders that a seal deals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.design import blocks
from analysis.design.serving import serving_orders
from analysis.planning.simulation import Design

Positions = NDArray[np.intp]
# Each deal has small unevennesses of its own; so many in turn stand for all that a seal may draw.
DEALS = 20


def dealt(design: Design, pulls: int, looks: int, seed: int) -> Design:
    """The same design with the places of its servings up to a look.

    Where everybody tastes everything, `DEALS` deals; a pattern is one deal of blocks and gets one deal of orders, over
    all sittings of a look together as a seal deals them.

    Raises:
        ValueError: a pattern whose blocks are of unequal size.
    """
    if design.pattern is None:
        deals = [_whole(design, pulls, design.sittings(looks), seed + number) for number in range(DEALS)]
    else:
        deals = [_of_pattern(design, design.pattern, looks, seed)]
    return replace(design, positions=np.stack(deals))


def _whole(design: Design, pulls: int, sittings: int, seed: int) -> Positions:
    """One deal (assessors, pulls, sittings, replicates) where everybody tastes everything."""
    # A sitting has a seed of its own, far from those of the other deals.
    orders = [
        serving_orders(pulls, design.assessors, design.replicates, DEALS * 1000 * sitting + seed)
        for sitting in range(sittings)
    ]
    return _positions(orders, pulls, design.replicates)


def _of_pattern(design: Design, pattern: NDArray[np.intp], looks: int, seed: int) -> Positions:
    """One deal (assessors, pulls, sittings, replicates) of what a pattern serves."""
    orders: list[list[list[int]]] = []
    for look in range(1, looks + 1):
        counts = pattern[:, :, len(orders) : design.sittings(look)].transpose(2, 0, 1).tolist()
        orders += blocks.orders_of(counts, seed + look)
    return _positions(orders, pattern.shape[1], design.replicates)


def _positions(orders: list[list[list[int]]], pulls: int, replicates: int) -> Positions:
    """Orders [sitting][assessor][position] as places from 1; 0 where nothing is served."""
    positions = np.zeros((len(orders[0]), pulls, len(orders), replicates), np.intp)
    for sitting, people in enumerate(orders):
        for person, order in enumerate(people):
            had = [0] * pulls
            for position, pull in enumerate(order, 1):
                positions[person, pull, sitting, had[pull]] = position
                had[pull] += 1
    return positions
