"""Blocks for a palate: published designs, balance as a property, and orders nobody shares."""

from __future__ import annotations

import csv
import random
from collections import Counter
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from analysis.design.blocks import balanced_blocks, exact_design, needed, orders_of, palate_orders, servings

# Parameters of balanced incomplete block designs: Cochran & Cox 1957, table 11.3, and ISO 29842; each row of the file
# carries its own source and provenance (two rows from public pages, the others from memory), identities recomputed.
REFERENCE = Path(__file__).parents[1] / "reference/10b_bib_parameters.csv"
PUBLISHED = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))


def _together(blocks: list[tuple[int, ...]], points: int) -> list[int]:
    """In how many blocks each two points stand together."""
    counts = Counter(pair for block in blocks for pair in combinations(sorted(block), 2))
    return [counts[pair] for pair in combinations(range(points), 2)]


def _often(blocks: list[tuple[int, ...]], points: int) -> list[int]:
    counts = Counter(point for block in blocks for point in block)
    return [counts[point] for point in range(points)]


@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: f"{row['t']}-{row['k']}-{row['b']}")
def test_published_designs_come_out_exactly(row: dict[str, str]) -> None:
    """With the published number of blocks every point stands in r of them and every pair in lambda."""
    t, k, b = int(row["t"]), int(row["k"]), int(row["b"])
    blocks = balanced_blocks(t, k, b, random.Random(3))
    assert all(len(set(block)) == k for block in blocks)
    assert _often(blocks, t) == [int(row["r"])] * t
    assert _together(blocks, t) == [int(row["lambda"])] * len(_together(blocks, t))


@pytest.mark.parametrize("points", range(3, 17))
def test_every_known_design_is_balanced(points: int) -> None:
    """Also those that are complements or all subsets."""
    for size in range(1, points):
        blocks = exact_design(points, size)
        if blocks:
            assert len(set(_often(blocks, points))) == 1
            assert len(set(_together(blocks, points))) <= 1


@pytest.mark.parametrize(
    ("points", "size", "count"), [(6, 4, 12), (8, 6, 12), (8, 6, 16), (8, 6, 24), (7, 5, 21), (9, 6, 12), (10, 6, 20)]
)
def test_pairs_are_within_one_where_points_are_even(points: int, size: int, count: int) -> None:
    """Eight to twelve assessors in one or two sittings, numbers of blocks that serve every pull equally often."""
    together = _together(balanced_blocks(points, size, count, random.Random(1)), points)
    assert max(together) - min(together) <= 1


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_blocks_are_nearly_balanced_for_any_numbers(data: st.DataObject) -> None:
    """Points within one; no two pairs further apart than three."""
    points = data.draw(st.integers(3, 12))
    size = data.draw(st.integers(1, points - 1))
    blocks = balanced_blocks(points, size, data.draw(st.integers(1, 40)), random.Random(data.draw(st.integers(0, 999))))
    often, together = _often(blocks, points), _together(blocks, points)
    assert all(len(set(block)) == size for block in blocks)
    assert max(often) - min(often) <= 1
    assert max(together) - min(together) <= 3


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_orders_are_balanced_for_position(data: st.DataObject) -> None:
    """Every pull at every position equally often, within one; the pulls always served are in every block."""
    pulls = data.draw(st.integers(5, 12))
    size = data.draw(st.integers(4, min(6, pulls - 1)))
    always = data.draw(st.sampled_from([(), (0, pulls - 1)]))
    assessors, sittings = data.draw(st.integers(5, 12)), data.draw(st.integers(1, 3))
    days = palate_orders(pulls, size, assessors, sittings, data.draw(st.integers(0, 999)), always)
    rows = [row for day in days for row in day]
    assert [len(day) for day in days] == [assessors] * sittings
    assert all(len(set(row)) == size and set(always) <= set(row) for row in rows)
    at = Counter(cell for row in rows for cell in enumerate(row))
    for pull in range(pulls):
        counts = [at[place, pull] for place in range(size)]
        assert max(counts) - min(counts) <= 1
    assert all(len({tuple(row) for row in day}) == assessors for day in days)


def test_what_stands_before_is_nearly_balanced() -> None:
    """Four sittings of thirty over nine pulls: 600 neighbours over 72 pairs, chance alone would spread far wider."""
    days = palate_orders(9, 6, 30, 4, seed=5)
    pairs = Counter(pair for day in days for row in day for pair in pairwise(row))
    counts = [pairs[one, other] for one in range(9) for other in range(9) if one != other]
    assert sum(counts) == 600
    assert min(counts) >= 6
    assert max(counts) <= 11


def test_everybody_and_every_sitting_meets_all_pulls() -> None:
    """Eight pulls, six a sitting with reference and control in each: nobody misses a pull over three sittings."""
    counts = servings(8, 6, 12, 3, seed=2, always=(0, 7))
    for person in range(12):
        own = [sum(day[person][pull] for day in counts) for pull in range(8)]
        assert own[0] == own[7] == 3
        assert min(own) >= 1
        assert max(own[1:7]) <= 3
    for day in counts:
        daily = [sum(row[pull] for row in day) for pull in range(1, 7)]
        assert max(daily) - min(daily) <= 1


@pytest.mark.parametrize(("pulls", "palate"), [(8, 6), (5, 6), (4, 6), (3, 6), (6, 6)])
def test_what_is_served_is_what_was_counted(pulls: int, palate: int) -> None:
    """The counts used to try a plan are those that are dealt, also where every pull fits once or twice."""
    days = palate_orders(pulls, palate, 8, 2, 4, always=(0, pulls - 1))
    counts = servings(pulls, palate, 8, 2, 4, always=(0, pulls - 1))
    assert [[[row.count(pull) for pull in range(pulls)] for row in day] for day in days] == counts
    assert all(len(row) == palate and all(a != b for a, b in pairwise(row)) for day in days for row in day)


def test_blocks_that_leave_nothing_to_choose_are_refused() -> None:
    """Two pieces cannot hold reference, control and a pull to judge."""
    with pytest.raises(ValueError, match="size must be above 2"):
        palate_orders(8, 2, 8, 2, 1, always=(0, 7))


def test_blocks_are_needed_only_beyond_the_palate() -> None:
    """Six pulls once fit a palate of six; twice they do not."""
    assert not needed(6, 1, 6)
    assert needed(6, 2, 6)


# ---- sittings that follow others -----------------------------------------------------------------------------------
@pytest.mark.parametrize("row", PUBLISHED, ids=lambda row: f"{row['t']}-{row['k']}-{row['b']}")
def test_blocks_dealt_in_two_parts_make_up_the_published_design(row: dict[str, str]) -> None:
    """A third of the published number of blocks first, the rest knowing of them: each point in r blocks, every pair
    in lambda of them, within one."""
    t, k, b = int(row["t"]), int(row["k"]), int(row["b"])
    rng = random.Random(4)
    first = balanced_blocks(t, k, b // 3, rng)
    blocks = first + balanced_blocks(t, k, b - b // 3, rng, first)
    assert _often(blocks, t) == [int(row["r"])] * t
    assert all(abs(count - int(row["lambda"])) <= 1 for count in _together(blocks, t))


@st.composite
def _plans(draw: st.DrawFn) -> tuple[int, int, int, int]:
    """Pulls, palate, people and seed of a study that needs blocks, reference and control in each."""
    pulls = draw(st.integers(5, 10))
    return pulls, draw(st.integers(3, pulls - 1)), draw(st.integers(5, 12)), draw(st.integers(0, 999))


@settings(max_examples=25, deadline=None)
@given(_plans())
@example((10, 5, 8, 735))  # dealing whole blocks alone left somebody with three more of one pull than of another
@example((10, 6, 5, 754))
def test_a_later_sitting_evens_out_the_earlier_ones(plan: tuple[int, int, int, int]) -> None:
    """Three sittings dealt one after another: pulls within one over all of them, pairs within three, and everybody
    has had each pull in turn equally often, within two."""
    pulls, palate, people, seed = plan
    always = (0, pulls - 1)
    days: list[list[list[int]]] = []
    for sitting in range(3):
        days += servings(pulls, palate, people, 1, seed + sitting, always, days)
    turns = range(1, pulls - 1)
    often = [sum(row[pull] for day in days for row in day) for pull in turns]
    sets = [tuple(pull - 1 for pull in turns if row[pull]) for day in days for row in day]
    together = _together(sets, pulls - 2)
    own = [[sum(day[person][pull] for day in days) for pull in turns] for person in range(people)]
    assert max(often) - min(often) <= 1
    assert max(together) - min(together) <= 3
    assert all(max(row) - min(row) <= 2 for row in own)


def test_open_pulls_are_dealt_with_what_was_served_of_them() -> None:
    """After 2, 4 and 0 servings of three pulls in turn, four more go to what came short: 3, 4 and 3, then all alike."""
    first = [[[1, 0, 1, 1, 0, 1], [1, 1, 0, 1, 0, 1], [1, 0, 1, 1, 0, 1], [1, 1, 0, 1, 0, 1]]]
    left = [[[row[pull] for pull in (0, 1, 3, 4, 5)] for row in day] for day in first]
    second = servings(5, 3, 4, 1, 7, (0, 4), left)
    assert [sum(row[pull] for row in second[0]) for pull in range(5)] == [4, 1, 0, 3, 4]
    third = servings(5, 3, 4, 1, 7, (0, 4), [*left, *second])
    assert sorted(sum(row[pull] for day in (*left, *second, *third) for row in day) for pull in (1, 2, 3)) == [4, 5, 5]


@pytest.mark.parametrize(("counts", "says"), [([[[3, 0, 1]]], "more than one"), ([[[1, 0], [1, 1]]], "one size")])
def test_orders_for_uneven_blocks_are_refused(counts: list[list[list[int]]], says: str) -> None:
    """Positions can only be balanced over blocks of one size."""
    with pytest.raises(ValueError, match=says):
        orders_of(counts, 1)
