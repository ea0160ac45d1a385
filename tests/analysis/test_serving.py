"""Serving orders and codes: published designs, balance as a property, and draws that no upgrade may change."""

from __future__ import annotations

import csv
import random
import subprocess
import sys
from collections import Counter
from itertools import pairwise, permutations
from math import factorial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.design.serving import codes, serving_orders, williams

# Published and recomputed Williams designs; each row of the file carries its own source and provenance (public pages:
# forum.bebac.at entries 23051, 23053, 24359; the crossdes manual page; paasp.net; Williams 1949).
REFERENCE = Path(__file__).parents[1] / "reference/10a_williams_designs.csv"
DESIGNS = list(csv.DictReader(REFERENCE.read_text(encoding="utf-8").splitlines()))


def _rows(sequences: str) -> list[tuple[int, ...]]:
    """Printed sequences ("ABDC / BCAD" or "1 2 3 / 2 3 1") as indices from 0."""
    split = [row.split() if " " in row else list(row) for row in sequences.split(" / ")]
    names = sorted({name for row in split for name in row}, key=lambda name: (len(name), name))
    return [tuple(names.index(name) for name in row) for row in split]


def _positions_balanced(rows: list[tuple[int, ...]]) -> bool:
    return all(
        len(set(Counter(column).values())) == 1 and len(set(column)) == len(rows[0])
        for column in zip(*rows, strict=True)
    )


def _pair_counts(rows: list[tuple[int, ...]]) -> list[int]:
    counts = Counter(pair for row in rows for pair in pairwise(row))
    return [counts[pair] for pair in permutations(range(len(rows[0])), 2)]


def _blocks(order: list[int], pulls: int) -> list[tuple[int, ...]]:
    return [tuple(order[start : start + pulls]) for start in range(0, len(order), pulls)]


@pytest.mark.parametrize("design", DESIGNS, ids=lambda design: design["design"])
def test_a_printed_design_is_balanced_exactly_where_its_source_says_so(design: dict[str, str]) -> None:
    """The measures used below agree with every published design, the faulty ones included."""
    rows = _rows(design["sequences"])
    counts = _pair_counts(rows)
    assert len(rows) == int(design["n_sequences"])
    assert all(sorted(row) == list(range(len(row))) for row in rows)
    assert _positions_balanced(rows) == (design["each_position_balanced"] == "True")
    assert (min(counts), max(counts)) == (int(design["min_ordered_pair_count"]), int(design["max_ordered_pair_count"]))
    assert (min(counts) == max(counts)) == (design["first_order_carryover_balanced"] == "True")


@pytest.mark.parametrize("design", [d for d in DESIGNS if "constructed" in d["design"]], ids=lambda d: d["design"])
def test_williams_gives_the_recomputed_designs(design: dict[str, str]) -> None:
    """The same set of orders as Williams 1949's rule, recomputed by other code."""
    rows = _rows(design["sequences"])
    assert {tuple(row) for row in williams(len(rows[0]))} == set(rows)


def test_williams_of_ten_begins_with_the_printed_rows() -> None:
    """Six rows of the crossdes manual page; alone they are not balanced, all ten are."""
    printed = next(d for d in DESIGNS if "first six printed rows" in d["design"])
    assert [tuple(row) for row in williams(10)[:6]] == _rows(printed["sequences"])


@pytest.mark.parametrize("n", range(2, 16))
def test_williams_is_balanced_for_position_and_for_the_sample_before(n: int) -> None:
    """Each ordered pair once (even) or twice (odd): Williams 1949."""
    rows = [tuple(row) for row in williams(n)]
    assert len(rows) == (n if n % 2 == 0 else 2 * n)
    assert _positions_balanced(rows)
    assert set(_pair_counts(rows)) == {1 if n % 2 == 0 else 2}


@pytest.mark.parametrize("n", [-1, 0, 1])
def test_williams_refuses_fewer_than_two_samples(n: int) -> None:
    """One sample has no order."""
    with pytest.raises(ValueError, match="two samples or more"):
        williams(n)


sittings = st.tuples(st.integers(2, 9), st.integers(1, 30), st.integers(1, 4), st.integers(0, 2**32))


@settings(max_examples=150, deadline=None)
@given(sittings)
def test_orders_are_as_balanced_as_the_number_of_assessors_allows(sitting: tuple[int, int, int, int]) -> None:
    """In every block every position holds each pull equally often, or once more; pairs follow within two."""
    pulls, assessors, replicates, seed = sitting
    orders = serving_orders(pulls, assessors, replicates, seed)
    assert len(orders) == assessors
    for rows in zip(*(_blocks(order, pulls) for order in orders), strict=True):
        assert all(sorted(row) == list(range(pulls)) for row in rows)
        for column in zip(*rows, strict=True):
            counts = [Counter(column)[pull] for pull in range(pulls)]
            assert max(counts) - min(counts) <= 1
        pairs = _pair_counts(list(rows))
        assert max(pairs) - min(pairs) <= (1 if pulls % 2 == 0 else 2)


@settings(max_examples=150, deadline=None)
@given(sittings)
def test_no_pull_comes_twice_running_and_no_two_assessors_share_an_order(sitting: tuple[int, int, int, int]) -> None:
    """While there are orders nobody has yet."""
    pulls, assessors, replicates, seed = sitting
    orders = serving_orders(pulls, assessors, replicates, seed)
    assert all(one != two for order in orders for one, two in pairwise(order))
    if assessors <= factorial(pulls):
        for rows in zip(*(_blocks(order, pulls) for order in orders), strict=True):
            assert len(set(rows)) == assessors


@pytest.mark.parametrize(("pulls", "assessors"), [(4, 8), (5, 10), (6, 6), (6, 12), (7, 14), (8, 8)])
def test_whole_designs_are_balanced_exactly(pulls: int, assessors: int) -> None:
    """Numbers of assessors that fill whole designs leave nothing uneven."""
    orders = serving_orders(pulls, assessors, 2, seed=5)
    for rows in zip(*(_blocks(order, pulls) for order in orders), strict=True):
        assert _positions_balanced(list(rows))
        assert len(set(_pair_counts(list(rows)))) == 1


@pytest.mark.parametrize("pulls", [3, 5, 7])
def test_two_replicates_make_up_for_half_an_odd_design(pulls: int) -> None:
    """As many assessors as pulls: the mirrored square comes in the second block, and pairs are even over both."""
    orders = serving_orders(pulls, pulls, 2, seed=11)
    rows = [row for order in orders for row in _blocks(order, pulls)]
    assert set(_pair_counts(rows)) == {2}


def test_mean_positions_stay_within_the_stop_rules_two_places() -> None:
    """The decision refuses orders whose mean positions differ by more than two places; six assessors or more never do.

    (Five is the smallest panel that can decide at all.)
    """
    for pulls in range(2, 9):
        for assessors in range(5, 15):
            orders = serving_orders(pulls, assessors, 2, seed=assessors)
            means = [
                sum(position for order in orders for position, pull in enumerate(order) if pull == wanted)
                / (2 * assessors)
                for wanted in range(pulls)
            ]
            assert max(means) - min(means) <= 2


def test_an_assessor_gets_another_order_in_every_block_where_that_is_possible() -> None:
    """Otherwise each pull would stand at one position for that assessor."""
    for seed in range(50):
        for order in serving_orders(6, 8, 3, seed):
            assert len(set(_blocks(order, 6))) >= 2


def test_another_seed_gives_other_orders_and_the_same_seed_the_same() -> None:
    """Rows are dealt at random, and can be dealt again."""
    assert serving_orders(6, 8, 2, seed=1) == serving_orders(6, 8, 2, seed=1)
    assert len({str(serving_orders(6, 8, 2, seed)) for seed in range(30)}) == 30


@pytest.mark.parametrize(
    ("sizes", "named"), [((1, 8, 2), "pulls"), ((6, 0, 2), "assessors"), ((6, 8, 0), "replicates")]
)
def test_sizes_that_make_no_sitting_are_refused_by_name(sizes: tuple[int, int, int], named: str) -> None:
    """The message names the argument, the rule and the value."""
    with pytest.raises(ValueError, match=rf"{named} must be \d or more, got \d"):
        serving_orders(*sizes, seed=1)


@given(st.integers(0, 700), st.integers(0, 2**40), st.frozensets(st.integers(100, 999).map(str), max_size=200))
def test_codes_are_three_digits_different_and_free(count: int, seed: int, taken: frozenset[str]) -> None:
    """100 to 999, each once, none that is taken."""
    drawn = codes(count, seed, taken)
    assert len(set(drawn)) == len(drawn) == count
    assert all(100 <= int(code) <= 999 and code not in taken for code in drawn)


def test_codes_run_out_with_a_sentence() -> None:
    """There are 900 of them."""
    assert len(codes(900, seed=1)) == 900
    with pytest.raises(ValueError, match="901 codes were asked for and 900 of 900 are free"):
        codes(901, seed=1)
    with pytest.raises(ValueError, match="899 of 900"):
        codes(900, seed=1, taken=frozenset({"500"}))


def test_codes_spread_over_their_range() -> None:
    """Every first digit comes equally often: chi-square on 9000 codes stays below its 0.1 % point for 8 df, 26.12."""
    firsts = Counter(code[0] for seed in range(90) for code in codes(100, seed))
    assert sum((firsts[str(digit)] - 1000) ** 2 / 1000 for digit in range(1, 10)) < 26.12


# Draws of this module itself, kept so that no upgrade of Python or of the code changes a tray unseen.
SNAPSHOT_ORDERS = [
    [5, 3, 0, 4, 1, 2, 1, 0, 5, 2, 3, 4],
    [0, 5, 1, 3, 2, 4, 0, 3, 5, 1, 2, 4],
    [2, 1, 4, 0, 3, 5, 4, 2, 1, 5, 3, 0],
    [2, 4, 0, 3, 1, 5, 1, 4, 3, 2, 0, 5],
    [3, 4, 5, 2, 0, 1, 5, 0, 2, 3, 4, 1],
    [4, 2, 3, 1, 5, 0, 3, 1, 0, 4, 5, 2],
    [1, 0, 2, 5, 4, 3, 2, 5, 4, 0, 1, 3],
]
SNAPSHOT_CODES = ["479", "672", "677", "745", "562", "572", "737", "386", "166", "483", "162", "968"]


def test_draws_are_the_ones_recorded() -> None:
    """A changed draw would make a printed tray sheet disagree with a later rerun."""
    assert serving_orders(6, 7, 2, seed=20) == SNAPSHOT_ORDERS
    assert codes(12, seed=20) == SNAPSHOT_CODES


def test_the_generator_below_is_the_documented_one() -> None:
    """First numbers of the Mersenne Twister for seed 42, as every Python since 2.3 draws them (known from memory)."""
    rng = random.Random(42)
    assert [rng.random() for _ in range(3)] == [0.6394267984578837, 0.025010755222666936, 0.27502931836911926]


def test_no_heavy_library_is_imported() -> None:
    """An assessor's next sample waits for this module."""
    program = "import sys, analysis.serving; print(sorted({'numpy', 'pandas', 'scipy'} & set(sys.modules)))"
    told = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"
