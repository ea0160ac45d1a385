"""More pulls than a palate can take: who tastes which of them, in which sitting and order. Standard library only.

A block is what one assessor tastes in one sitting. Blocks are as balanced as their number allows: every pull equally
often, every two pulls together equally often (within one), every assessor and every sitting all pulls alike, every pull
equally often at every position (within one), and what follows what as even as that leaves free.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from itertools import chain, combinations, compress, pairwise, permutations, product
from math import comb, exp
from typing import NamedTuple

from analysis.design.serving import Row, serving_orders, shuffled

# Balanced incomplete blocks as orbits: (points, size) -> lengths of the cycles that shift the points, base blocks.
# Found by exhaustive search under these shifts; parameters as in Cochran & Cox 1957, table 11.3 (from memory).
_ORBITS: dict[tuple[int, int], tuple[tuple[int, ...], tuple[Row, ...]]] = {
    (6, 3): ((5, 1), ((0, 1, 2), (0, 2, 5))),
    (7, 3): ((7,), ((0, 1, 3),)),
    (8, 4): ((7, 1), ((0, 1, 2, 4), (0, 1, 3, 7))),
    (9, 3): ((8, 1), ((0, 1, 3), (0, 4, 8))),
    (9, 4): ((9,), ((0, 1, 2, 4), (0, 1, 4, 6))),
    (10, 3): ((9, 1), ((0, 1, 2), (0, 2, 5), (0, 3, 6), (0, 4, 9))),
    (10, 4): ((5, 5), ((0, 1, 2, 5), (0, 2, 7, 8), (0, 6, 7, 9))),
    (10, 5): ((9, 1), ((0, 1, 2, 3, 5), (0, 1, 4, 6, 9))),
    (11, 5): ((11,), ((0, 1, 2, 4, 7),)),
    (12, 3): ((12,), ((0, 1, 2), (0, 2, 7), (0, 3, 6), (0, 4, 8), (0, 4, 8))),
    (12, 4): ((12,), ((0, 1, 2, 5), (0, 1, 3, 8), (0, 2, 6, 8), (0, 3, 6, 9))),
    (12, 6): ((12,), ((0, 1, 2, 3, 5, 7), (0, 1, 3, 6, 7, 9), (0, 1, 4, 5, 8, 9))),
    (13, 3): ((13,), ((0, 1, 4), (0, 2, 7))),
    (13, 4): ((13,), ((0, 1, 3, 9),)),
    (13, 6): ((13,), ((0, 1, 2, 3, 5, 9), (0, 1, 3, 6, 7, 11))),
    (15, 3): ((15,), ((0, 1, 4), (0, 2, 8), (0, 5, 10))),
    (16, 4): ((15, 1), ((0, 1, 3, 7), (0, 5, 10, 15))),
    (16, 6): ((8, 8), ((0, 1, 2, 4, 8, 11), (0, 3, 8, 12, 13, 14))),
}
# Servings of each pull to each assessor, [sitting][assessor][pull].
Counts = Sequence[Sequence[Sequence[int]]]
_MOST_SUBSETS = 60
_PAIR_MOVES, _DEAL_MOVES, _ORDER_WORK = 8_000, 4_000, 40_000
_SAME_ORDER = 50
_EVEN_SHARE = 2


def needed(pulls: int, replicates: int, palate: int) -> bool:
    """Whether a whole serving of every pull is more than a palate takes in a sitting."""
    return pulls * replicates > palate


def palate_orders(
    pulls: int,
    palate: int,
    assessors: int,
    sittings: int,
    seed: int,
    always: Sequence[int] = (),
    before: Counts = (),
) -> list[list[list[int]]]:
    """For each sitting and assessor the pull (its index, from 0) at each of `palate` positions.

    With fewer pieces than pulls each block holds different pulls, those of `always` among them. With more, every pull
    is served equally often and the places left over go round in blocks. `before`: see `servings`.

    Raises:
        ValueError: no pull would be left to choose, or a number is too small.
    """
    return orders_of(servings(pulls, palate, assessors, sittings, seed, always, before), seed)


def orders_of(counts: Counts, seed: int) -> list[list[list[int]]]:
    """An order for every block, [sitting][assessor], that serves just what `counts` say.

    Raises:
        ValueError: blocks of unequal size, or a pull that a block serves two times more than another block serves some
            pull of these sittings.
    """
    rows = list(chain(*counts))
    served = list(compress(range(len(rows[0])), map(any, zip(*rows, strict=True))))
    whole, most = min(map(min, _only(rows, served))), max(map(max, rows))
    if most > whole + 1:
        raise ValueError(f"servings must not differ by more than one between blocks, got {counts}")
    if len(set(map(sum, rows))) > 1:
        raise ValueError(f"blocks must all be of one size, got {counts}")
    if most == whole:
        return _whole_rounds(served, counts, whole, seed)
    sets = [[tuple(pull for pull in served if row[pull] > whole) for row in day] for day in counts]
    extra = _ordered(sets, random.Random(seed))
    if not whole:
        return extra
    full = _whole_rounds(served, counts, whole, seed)
    return [_joined(first, then) for first, then in zip(full, extra, strict=True)]


def _only(rows: Sequence[Sequence[int]], served: Sequence[int]) -> list[list[int]]:
    """The counts of some pulls alone."""
    return [[row[pull] for pull in served] for row in rows]


def _whole_rounds(served: Sequence[int], counts: Counts, whole: int, seed: int) -> list[list[list[int]]]:
    """Orders of what every block serves alike: `whole` times every pull of `served`."""
    dealt = [serving_orders(len(served), len(day), whole, seed + number) for number, day in enumerate(counts)]
    return [[[served[place] for place in row] for row in day] for day in dealt]


def servings(
    pulls: int,
    palate: int,
    assessors: int,
    sittings: int,
    seed: int,
    always: Sequence[int] = (),
    before: Counts = (),
) -> list[list[list[int]]]:
    """How often each pull is served to each assessor in each sitting, [sitting][assessor][pull]; see `palate_orders`.

    `before` counts the sittings so far in the same way, these pulls only: what fell short in them comes first now, so
    that pulls, pairs and everybody's share are even over all sittings together. The same seed serves the same pulls as
    `palate_orders` does, which also finds the orders and takes longer.
    """
    whole, rest = divmod(palate, pulls)
    counts = [[[whole] * pulls for _ in range(assessors)] for _ in range(sittings)]
    if rest:
        rng = random.Random(seed)
        sets = _sets(pulls, rest, assessors, sittings, rng, () if whole else always, before)
        for day, people in enumerate(sets):
            for person, block in enumerate(people):
                for pull in block:
                    counts[day][person][pull] += 1
    return counts


def _beyond_whole(row: Sequence[int]) -> Row:
    """What a block served of everything alike tells no pull from another; only the rest of it has to be evened out."""
    least = min(row)
    return tuple(point for point, count in enumerate(row) if count > least)


def _sets(
    pulls: int,
    size: int,
    assessors: int,
    sittings: int,
    rng: random.Random,
    always: Sequence[int],
    before: Counts,
) -> list[list[Row]]:
    """The pulls of every block, [sitting][assessor]."""
    free = [pull for pull in range(pulls) if pull not in always]
    chosen = size - (pulls - len(free))
    if not 1 <= chosen <= len(free) or size >= pulls or min(assessors, sittings) < 1:
        raise ValueError(
            f"size must be above {pulls - len(free)} (pulls always served) and below {pulls} pulls, got {size}"
        )
    earlier = [[[row[pull] for pull in free] for row in day] for day in before]
    had = [_beyond_whole(row) for row in chain(*earlier)]
    blocks = balanced_blocks(len(free), chosen, assessors * sittings, rng, had)
    blocks = _dealt(blocks, len(free), assessors, sittings, rng, earlier)
    blocks = _even_shares(blocks, len(free), assessors, had, earlier)
    sets = [tuple(sorted((*always, *(free[point] for point in block)))) for block in blocks]
    return [sets[day * assessors : (day + 1) * assessors] for day in range(sittings)]


def balanced_blocks(points: int, size: int, count: int, rng: random.Random, before: Sequence[Row] = ()) -> list[Row]:
    """`count` blocks of `size` different points, each point equally often (within one), each pair as nearly as it goes.

    Both are counted over `before`, the blocks dealt earlier, and the new ones together.

    Whole balanced designs under random labels while they fit, then the best rest that a search finds; after uneven
    blocks the search alone, as whole designs would leave them as uneven. Pairs within one are not to be had for every
    number of blocks: points served less often than others share fewer blocks as well.
    """
    design = exact_design(points, size) if _is_even(before, points) else []
    whole, left = divmod(count, len(design)) if design else (0, count)
    blocks: list[Row] = []
    for _copy in range(whole):
        labels = shuffled(list(range(points)), rng)
        blocks += [tuple(sorted(labels[point] for point in block)) for block in design]
    return blocks + _near_balance(points, size, left, rng, before)


def _is_even(blocks: Sequence[Row], points: int) -> bool:
    """Whether every point stands in as many of the blocks as every other, and every pair too."""
    counts = Counter(pair for block in blocks for pair in combinations(sorted(block), 2))
    often = {sum(point in block for block in blocks) for point in range(points)}
    return len(often) == 1 and len({counts[pair] for pair in combinations(range(points), 2)}) <= 1


def exact_design(points: int, size: int) -> list[Row]:
    """The blocks of a small balanced incomplete design, every pair together equally often; empty where none is known.

    Orbits of a shift, their complements, or all subsets when these are few.
    """
    if (points, size) in _ORBITS:
        return _orbits(*_ORBITS[points, size])
    if (points, points - size) in _ORBITS:
        every = frozenset(range(points))
        return [tuple(sorted(every - set(block))) for block in exact_design(points, points - size)]
    return list(combinations(range(points), size)) if comb(points, size) <= _MOST_SUBSETS else []


def _orbits(cycles: Sequence[int], bases: Sequence[Row]) -> list[Row]:
    """Every shift of the base blocks; a base written twice counts twice."""
    following: list[int] = []
    for length in cycles:
        start = len(following)
        following += [start + (place + 1) % length for place in range(length)]
    blocks = []
    for base in bases:
        block = base
        while True:
            blocks.append(block)
            block = tuple(sorted(following[point] for point in block))
            if block == base:
                break
    return blocks


# ---- near-balance --------------------------------------------------------------------------------------------------
def _near_balance(points: int, size: int, count: int, rng: random.Random, before: Sequence[Row]) -> list[Row]:
    """Points equally often (within one); pairs made even by trading points between blocks, uphill at first."""
    if count == 0:
        return []
    blocks = _even_deal(points, size, count, rng, before)
    together = _together(points, [*before, *blocks])
    for step in range(_PAIR_MOVES if count > 1 else 0):
        if step % 100 == 0 and _spread(together) <= 1:
            break
        _trade(blocks, together, 2.0 * (1 - step / _PAIR_MOVES) ** 2 + 1e-3, rng)
    return [tuple(sorted(block)) for block in blocks]


def _even_deal(points: int, size: int, count: int, rng: random.Random, before: Sequence[Row]) -> list[set[int]]:
    """Each block takes the points dealt least so far, ties at random."""
    dealt = [sum(point in block for block in before) for point in range(points)]
    blocks = []
    for _block in range(count):
        order = sorted(shuffled(list(range(points)), rng), key=lambda point: dealt[point])
        blocks.append(set(order[:size]))
        for point in order[:size]:
            dealt[point] += 1
    return blocks


def _together(points: int, blocks: Sequence[Collection[int]]) -> list[list[int]]:
    """In how many blocks each two points stand together, both ways round."""
    together = [[0] * points for _ in range(points)]
    for block in blocks:
        for one, other in permutations(block, 2):
            together[one][other] += 1
    return together


def _spread(together: Sequence[Sequence[int]]) -> int:
    """Largest less smallest number of blocks that two points share."""
    counts = [row[other] for one, row in enumerate(together) for other in range(one)]
    return max(counts) - min(counts) if counts else 0


class _Trade(NamedTuple):
    """Block `first` gives its point `one` to block `second` for the point `other`; neither holds both."""

    first: int
    second: int
    one: int
    other: int


def _trade(blocks: list[set[int]], together: list[list[int]], heat: float, rng: random.Random) -> None:
    """Trade one point of one block for one of another if that evens the pairs, or sometimes if it does not."""
    first, second = _two(len(blocks), rng)
    gives, takes = sorted(blocks[first] - blocks[second]), sorted(blocks[second] - blocks[first])
    if not gives:
        return
    trade = _Trade(first, second, gives[_below(len(gives), rng)], takes[_below(len(takes), rng)])
    change = _pair_change(blocks, together, trade)
    if change <= 0 or rng.random() < exp(-change / heat):
        _make_trade(blocks, together, trade)


def _pair_change(blocks: Sequence[set[int]], together: Sequence[Sequence[int]], trade: _Trade) -> int:
    """What a trade adds to the unevenness of the pairs: half the change in the sum of their squares."""
    first, second, one, other = trade
    near, far = blocks[first] - {one}, blocks[second] - {other}
    change = sum(together[other][x] - together[one][x] + 1 for x in near - far)
    return change + sum(together[one][x] - together[other][x] + 1 for x in far - near)


def _make_trade(blocks: list[set[int]], together: list[list[int]], trade: _Trade) -> None:
    """Carry a trade out and keep count of the pairs."""
    first, second, one, other = trade
    near, far = blocks[first] - {one}, blocks[second] - {other}
    only_near, only_far = near - far, far - near
    for members, loses, gains in ((only_near, one, other), (only_far, other, one)):
        for x in members:
            together[loses][x] -= 1
            together[x][loses] -= 1
            together[gains][x] += 1
            together[x][gains] += 1
    blocks[first], blocks[second] = near | {other}, far | {one}


# ---- who gets which block ------------------------------------------------------------------------------------------
def _dealt(
    sets: Sequence[Row], pulls: int, assessors: int, sittings: int, rng: random.Random, before: Counts
) -> list[Row]:
    """Blocks in the order of sittings, and in each of assessors, so that every assessor (in all sittings so far) and
    every sitting gets all pulls as evenly as it goes."""
    sets = shuffled(list(sets), rng)
    own = [[sum(day[person][pull] for day in before) for pull in range(pulls)] for person in range(assessors)]
    daily = [[0] * pulls for _ in range(sittings)]
    for number, block in enumerate(sets):
        for pull in block:
            own[number % assessors][pull] += 1
            daily[number // assessors][pull] += 1
    for _move in range(_DEAL_MOVES if len(sets) > 1 else 0):
        first, second = _two(len(sets), rng)
        tables = [
            (table[first_row], table[second_row])
            for table, first_row, second_row in (
                (own, first % assessors, second % assessors),
                (daily, first // assessors, second // assessors),
            )
            if first_row != second_row
        ]
        _exchange(sets, first, second, tables)
    return sets


def _exchange(sets: list[Row], first: int, second: int, tables: Sequence[tuple[list[int], list[int]]]) -> None:
    """Exchange two blocks unless that makes the tables of their rows less even."""
    leaving, coming = set(sets[first]) - set(sets[second]), set(sets[second]) - set(sets[first])
    change = sum(
        sum(there[x] - here[x] + 1 for x in leaving) + sum(here[x] - there[x] + 1 for x in coming)
        for here, there in tables
    )
    if change > 0:
        return
    sets[first], sets[second] = sets[second], sets[first]
    for here, there in tables:
        for moved, sign in ((leaving, -1), (coming, 1)):
            for x in moved:
                here[x] += sign
                there[x] -= sign


def _served_so_far(before: Counts, assessors: int, points: int) -> list[list[int]]:
    """How often each assessor was served each point in earlier sittings."""
    served = [[0] * points for _person in range(assessors)]
    for person, row in chain.from_iterable(map(enumerate, before)):
        served[person] = [had + more for had, more in zip(served[person], row, strict=True)]
    return served


def _even_shares(dealt: Sequence[Row], points: int, assessors: int, had: Sequence[Row], before: Counts) -> list[Row]:
    """The blocks after trades within sittings, so that no assessor has had one point three times more than another.

    Whole blocks changing hands do not always get there: with few people none on hand may suit whoever was served
    unevenly before. A trade moves one point each way, so sittings and points stay as even as they were; of those that
    help most, the one that keeps the pairs most even. Where earlier sittings leave no trade that helps, none is made.
    """
    blocks = [set(block) for block in dealt]
    own = _served_so_far(before, assessors, points)
    for number, block in enumerate(blocks):
        for point in block:
            own[number % assessors][point] += 1
    together = _together(points, [*had, *blocks])
    while trades := list(_relieving(blocks, own)):
        _, _, trade = min((gain, _pair_change(blocks, together, trade), trade) for gain, trade in trades)
        _make_trade(blocks, together, trade)
        for number, sign in ((trade.first, 1), (trade.second, -1)):
            own[number % assessors][trade.one] -= sign
            own[number % assessors][trade.other] += sign
    return [tuple(sorted(block)) for block in blocks]


def _relieving(blocks: Sequence[set[int]], own: Sequence[Sequence[int]]) -> Iterator[tuple[int, _Trade]]:
    """Trades within a sitting that bring somebody nearer to an even share, and by how much (negative)."""
    assessors = len(own)
    for first in range(len(blocks)):
        if not _excess(own[first % assessors]):
            continue
        day = first - first % assessors
        for second in (number for number in range(day, day + assessors) if number != first):
            rows = [own[first % assessors], own[second % assessors]]
            now = sum(map(_excess, rows))
            for one, other in product(blocks[first] - blocks[second], blocks[second] - blocks[first]):
                after = _excess(_moved(rows[0], one, other)) + _excess(_moved(rows[1], other, one))
                if after < now:
                    yield after - now, _Trade(first, second, one, other)


def _moved(row: Sequence[int], loses: int, gains: int) -> list[int]:
    """An assessor's servings after a trade."""
    return [count - (point == loses) + (point == gains) for point, count in enumerate(row)]


def _excess(row: Sequence[int]) -> int:
    """By how much the most and the least served point differ beyond two."""
    return max(0, max(row) - min(row) - _EVEN_SHARE)


# ---- order within the blocks ---------------------------------------------------------------------------------------
class _Places:
    """The pull of every block at every position, balanced for position at all times.

    The servings of a pull are cut into groups as large as a block. Positions are then a proper colouring of the edges
    between blocks and groups (König 1916), so that no group has two servings at one position and a pull stands at each
    position equally often, within one. Exchanging two positions along a whole chain of blocks keeps it so.
    """

    def __init__(self, sets: Sequence[Row], rng: random.Random) -> None:
        """Place every serving, moving others along chains where two positions must give way to each other."""
        self.size = len(sets[0])
        self.group: list[list[int]] = [[-1] * self.size for _ in sets]
        self.block: list[list[int]] = []
        self.pull: list[int] = []
        for block, pull, group in self._grouped(sets):
            while group >= len(self.block):
                self.block.append([-1] * self.size)
                self.pull.append(pull)
            self._place(block, group, rng)

    def _grouped(self, sets: Sequence[Row]) -> Iterator[tuple[int, int, int]]:
        """(block, pull, group) of every serving, a group being `size` servings of one pull."""
        group = -1
        for pull in sorted({pull for row in sets for pull in row}):
            holding = [number for number, row in enumerate(sets) if pull in row]
            for count, block in enumerate(holding):
                group += count % self.size == 0
                yield block, pull, group

    def _place(self, block: int, group: int, rng: random.Random) -> None:
        free_here = [place for place in range(self.size) if self.group[block][place] < 0]
        free_there = [place for place in range(self.size) if self.block[group][place] < 0]
        both = [place for place in free_here if place in free_there]
        if both:
            place = both[_below(len(both), rng)]
        else:
            place = free_here[0]
            self._free(group, place, free_there[0])
        self.group[block][place], self.block[group][place] = group, block

    def _free(self, group: int, place: int, other: int) -> None:
        """Exchange two positions along the chain that begins at `group`, which then has `place` free."""
        blocks, groups = [], [group]
        wanted, then = place, other
        while True:
            block = self.block[groups[-1]][wanted]
            if block < 0:
                break
            blocks.append(block)
            following = self.group[block][then]
            if following < 0:
                break
            groups.append(following)
        self.turn(blocks, groups, place, other)

    def chain(self, block: int, place: int, other: int) -> tuple[list[int], list[int]]:
        """Blocks and groups that must all exchange two positions when `block` does."""
        blocks, groups = [block], []
        for ahead, back in ((place, other), (other, place)):
            here = block
            while True:
                group = self.group[here][ahead]
                if group < 0 or group in groups:
                    break
                groups.append(group)
                here = self.block[group][back]
                if here < 0 or here == block:
                    break
                blocks.append(here)
        return blocks, groups

    def turn(self, blocks: Sequence[int], groups: Sequence[int], place: int, other: int) -> None:
        """Exchange two positions in all of a chain."""
        for rows, numbers in ((self.group, blocks), (self.block, groups)):
            for number in numbers:
                row = rows[number]
                row[place], row[other] = row[other], row[place]

    def order(self, block: int) -> Row:
        """The pulls of a block in the order of tasting."""
        return tuple(self.pull[group] for group in self.group[block])


def _ordered(days: Sequence[Sequence[Row]], rng: random.Random) -> list[list[list[int]]]:
    """An order for every block: balanced for position, near-balanced for what stands before, none shared."""
    sets = [block for day in days for block in day]
    assessors, size = len(days[0]), len(sets[0])
    places = _Places(sets, rng)
    tally = _Tally(places, assessors)
    work = 0
    while size > 1 and work < _ORDER_WORK:
        block, (place, other) = _below(len(sets), rng), _two(size, rng)
        blocks, groups = places.chain(block, place, other)
        work += len(blocks) + 5
        before = tally.without(blocks)
        places.turn(blocks, groups, place, other)
        if tally.added(blocks) > before:
            tally.without(blocks)
            places.turn(blocks, groups, place, other)
            tally.added(blocks)
    rows = [list(places.order(number)) for number in range(len(sets))]
    return [rows[start : start + assessors] for start in range(0, len(rows), assessors)]


class _Tally:
    """How uneven the neighbours are, and how often two assessors share an order in a sitting."""

    def __init__(self, places: _Places, assessors: int) -> None:
        """Count the orders as they stand."""
        self.places, self.assessors = places, assessors
        self.follows: Counter[tuple[int, int]] = Counter()
        self.orders: Counter[tuple[int, Row]] = Counter()
        self.added(range(len(places.group)))

    def added(self, blocks: Sequence[int]) -> int:
        """Count these blocks in; returns what they add to the unevenness."""
        cost = 0
        for block in blocks:
            order = self.places.order(block)
            for pair in pairwise(order):
                cost += 2 * self.follows[pair] + 1
                self.follows[pair] += 1
            cost += _SAME_ORDER * self.orders[block // self.assessors, order]
            self.orders[block // self.assessors, order] += 1
        return cost

    def without(self, blocks: Sequence[int]) -> int:
        """Count these blocks out; returns what they had added."""
        cost = 0
        for block in blocks:
            order = self.places.order(block)
            for pair in pairwise(order):
                self.follows[pair] -= 1
                cost += 2 * self.follows[pair] + 1
            self.orders[block // self.assessors, order] -= 1
            cost += _SAME_ORDER * self.orders[block // self.assessors, order]
        return cost


def _joined(full: list[list[int]], extra: list[list[int]]) -> list[list[int]]:
    """Whole servings, then the extra ones; rows change hands so that nobody gets a pull twice running."""
    for here, then in enumerate(extra):
        if full[here][-1] != then[0]:
            continue
        for there, other in enumerate(extra):
            if full[there][-1] != then[0] and full[here][-1] != other[0]:
                full[here], full[there] = full[there], full[here]
                break
    return [first + then for first, then in zip(full, extra, strict=True)]


def _two(count: int, rng: random.Random) -> tuple[int, int]:
    """Two different numbers below `count`."""
    first, second = _below(count, rng), _below(count - 1, rng)
    return first, second + (second >= first)


def _below(count: int, rng: random.Random) -> int:
    return int(rng.random() * count)
