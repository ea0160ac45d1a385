"""Who tastes what when: balanced orders and three-digit codes. Standard library only.

An assessor's phone waits for what stands here, so neither numpy nor pandas is imported. Draws use nothing of
`random.Random` but its seeding by an integer and `random()`, the two that Python promises never to change: the same
seed gives the same trays on every machine and every version.
"""

from __future__ import annotations

import random
from math import factorial
from typing import TypeVar

Item = TypeVar("Item")
Row = tuple[int, ...]
LOWEST_CODE, HIGHEST_CODE = 100, 999
_TRIES = 60


def williams(n: int) -> list[list[int]]:
    """Orders of `n` samples (numbered from 0), balanced for position and for the sample before.

    Even `n`: one Latin square of `n` rows in which each ordered pair of neighbours stands once. Odd `n`: two squares,
    the second mirroring the first, 2n rows, each ordered pair twice. Source: Williams 1949, Aust J Sci Res A 2:149;
    zig-zag first row 0, 1, n-1, 2, n-2 ..., the others by adding 1 modulo n.
    """
    if n < 2:
        raise ValueError(f"a serving order needs two samples or more, got {n}")
    zigzag = [0] + [(k + 1) // 2 if k % 2 else n - k // 2 for k in range(1, n)]
    square = [[(sample + shift) % n for sample in zigzag] for shift in range(n)]
    return square if n % 2 == 0 else square + [row[::-1] for row in square]


def serving_orders(pulls: int, assessors: int, replicates: int, seed: int) -> list[list[int]]:
    """For each assessor the pull (its index, from 0) at each position of a sitting.

    A sitting is `replicates` blocks; a block is one Williams row, so that every pull comes back before any comes
    again. In every block, each position holds each pull equally often over the assessors, or once more; ordered
    neighbours inside blocks are as even as that allows. Rows are dealt at random. No two assessors share an order in a
    block while an unused order exists, nobody gets the same pull twice running, and an assessor's blocks differ
    where they can (with two pulls they cannot). Returns `assessors` lists of `pulls * replicates` indices.
    """
    _check_sizes(pulls, assessors, replicates)
    rng = random.Random(seed)
    rest = _RestDeck(pulls, rng)
    served: list[list[Row]] = [[] for _ in range(assessors)]
    for block in range(replicates):
        for row, had in zip(_dealt(served, rest, block, rng), served, strict=True):
            had.append(row)
    return [[pull for row in had for pull in row] for had in served]


def codes(count: int, seed: int, taken: frozenset[str] = frozenset()) -> list[str]:
    """`count` different codes of three random digits, 100 to 999, none of them in `taken`."""
    free = [str(code) for code in range(LOWEST_CODE, HIGHEST_CODE + 1) if str(code) not in taken]
    if not 0 <= count <= len(free):
        raise ValueError(f"{count} codes were asked for and {len(free)} of 900 are free; serve fewer cups a sitting")
    return shuffled(free, random.Random(seed))[:count]


def _check_sizes(pulls: int, assessors: int, replicates: int) -> None:
    for name, value, least in (("pulls", pulls, 2), ("assessors", assessors, 1), ("replicates", replicates, 1)):
        if value < least:
            raise ValueError(f"{name} must be {least} or more, got {value}")


def _below(k: int, rng: random.Random) -> int:
    return int(rng.random() * k)


def shuffled(items: list[Item], rng: random.Random) -> list[Item]:
    """A shuffled copy (Fisher-Yates); `Random.shuffle` may change between versions, `random()` may not."""
    copy = list(items)
    for last in range(len(copy) - 1, 0, -1):
        other = _below(last + 1, rng)
        copy[last], copy[other] = copy[other], copy[last]
    return copy


def _relabelled(pulls: int, rng: random.Random) -> list[list[Row]]:
    """The Latin squares of one Williams design (one or two) under random labels, rows shuffled within a square.

    Relabelled designs are cosets of one cyclic or dihedral group: two of them share all rows or none.
    """
    labels = shuffled(list(range(pulls)), rng)
    rows = [tuple(labels[sample] for sample in row) for row in williams(pulls)]
    return [shuffled(rows[start : start + pulls], rng) for start in range(0, len(rows), pulls)]


class _RestDeck:
    """Rows for the assessors left over after whole designs: always of one Latin square in a block.

    The deck goes on from block to block, so that the pairs one block lacks come in the next; with an odd number of
    pulls the two squares take turns for the same reason.
    """

    def __init__(self, pulls: int, rng: random.Random) -> None:
        """Draw the design that the leftovers of all blocks share."""
        self.squares = _relabelled(pulls, rng)
        self.start = _below(len(self.squares), rng)
        self.given = [0] * len(self.squares)

    def rows(self, count: int, block: int) -> list[Row]:
        """`count` rows for this block: a whole square first if it fills one, then part of the other."""
        pulls = len(self.squares[0])
        first = (self.start + block) % len(self.squares)
        whole = self.squares[first] if count >= pulls else []
        part = (first + 1) % len(self.squares) if whole else first
        begin, need = self.given[part], count - len(whole)
        self.given[part] = begin + need
        return [*whole, *(self.squares[part][(begin + k) % pulls] for k in range(need))]


def _block_rows(pulls: int, assessors: int, rest: _RestDeck, block: int, rng: random.Random) -> list[Row]:
    """The multiset of rows of one block: whole designs under different labels, then the leftovers."""
    per_design = pulls * len(rest.squares)
    whole, left = divmod(assessors, per_design)
    rows = rest.rows(left, block)
    used = {row for square in rest.squares for row in square} if left else set()
    for _ in range(whole):
        design = _fresh_design(pulls, used, rng)
        used.update(design)
        rows.extend(design)
    return rows


def _fresh_design(pulls: int, used: set[Row], rng: random.Random) -> list[Row]:
    """A design none of whose orders was used yet; once all orders are, the count begins anew."""
    if len(used) >= factorial(pulls):
        used.clear()
    while True:
        design = [row for square in _relabelled(pulls, rng) for row in square]
        if design[0] not in used:
            return design


def _dealt(served: list[list[Row]], rest: _RestDeck, block: int, rng: random.Random) -> list[Row]:
    """One row for each assessor, none beginning with the pull that the assessor has just had."""
    pulls = len(rest.squares[0])
    if pulls == 2 and block:  # a second block that does not repeat the last pull is the first one again
        return [had[-1] for had in served]
    rows = _block_rows(pulls, len(served), rest, block, rng)
    for _ in range(_TRIES):
        for new_only in (True, False):
            dealt = _swapped(shuffled(rows, rng), served, new_only)
            if dealt is not None:
                return dealt
        rows = _block_rows(pulls, len(served), rest, block, rng)
    raise AssertionError("no order without a repeat was found")  # pragma: no cover


def _swapped(rows: list[Row], served: list[list[Row]], new_only: bool) -> list[Row] | None:
    """Swap rows between assessors until each may have theirs; None when a row finds no partner."""

    def fits(row: Row, had: list[Row]) -> bool:
        return not had or (row[0] != had[-1][-1] and not (new_only and row in had))

    for here, had in enumerate(served):
        if fits(rows[here], had):
            continue
        partners = (there for there, other in enumerate(served) if fits(rows[there], had) and fits(rows[here], other))
        there = next(partners, None)
        if there is None:
            return None
        rows[here], rows[there] = rows[there], rows[here]
    return rows
