"""Orders of cups: counted by hand and by combinatorics, dealt evenly, and which answers are right."""

from __future__ import annotations

from collections import Counter
from itertools import combinations
from math import comb

import pytest

from analysis.choice.psychometric import METHODS, method_named
from analysis.design.trial_orders import deal, orders, picks, right_answers

# ISO 4120 7.1 and ISO 10399: six triangle orders, four of the duo-trio with both references; the rest is counting:
# 4!/(2! 2!) for the tetrad, 2 * 5!/(3! 2!) for two out of five.
COUNTS = {
    "triangle": 6,
    "duo-trio": 4,
    "two-alternative": 2,
    "three-alternative": 3,
    "tetrad": 6,
    "two-out-of-five": 2 * comb(5, 2),
}


def test_every_method_of_the_statistics_can_be_served() -> None:
    """The names are the same on both sides."""
    assert set(COUNTS) == set(METHODS)


@pytest.mark.parametrize("method", COUNTS)
def test_the_orders_of_a_test_are_all_there(method: str) -> None:
    """As many as the standards or counting give, none twice."""
    assert len(orders(method)) == len(set(orders(method))) == COUNTS[method]


def test_the_six_triangle_orders_are_those_of_the_standard() -> None:
    """ISO 4120 7.1, written out: ABB, BAB, BBA, AAB, ABA, BAA."""
    written = {"".join("AB"[sample] for sample in order) for order in orders("triangle")}
    assert written == {"ABB", "BAB", "BBA", "AAB", "ABA", "BAA"}


@pytest.mark.parametrize("method", COUNTS)
@pytest.mark.parametrize("sets", [0, 1, 7, 24, 61])
def test_orders_are_used_equally(method: str, sets: int) -> None:
    """Equally often, or once more, in whole rounds of all orders."""
    dealt = deal(method, sets, 11)
    every = len(orders(method))
    assert len(dealt) == sets
    for start in range(0, sets - every + 1, every):
        assert set(dealt[start : start + every]) == set(orders(method))
    counts = Counter(dealt)
    assert max(counts.values(), default=0) - min((counts[order] for order in orders(method)), default=0) <= 1


def test_a_seed_deals_the_same_orders_again() -> None:
    """The seed alone decides, so that a sealed study can be dealt anew and compared."""
    assert deal("triangle", 12, 5) == deal("triangle", 12, 5)
    assert deal("triangle", 12, 5) != deal("triangle", 12, 6)


@pytest.mark.parametrize("method", COUNTS)
def test_guessing_is_right_as_often_as_the_statistics_say(method: str) -> None:
    """Every allowed answer to every order, counted: the share that is right is the guess rate."""
    tries = right = 0
    for order in orders(method):
        offered = range(1 if method == "duo-trio" else 0, len(order))
        for answer in combinations(offered, picks(method)):
            tries += 1
            right += frozenset(answer) in right_answers(method, order)
    assert right / tries == pytest.approx(method_named(method).chance)


@pytest.mark.parametrize(
    ("method", "order", "answers"),
    [
        ("triangle", (0, 1, 0), [{1}]),
        ("triangle", (1, 1, 0), [{2}]),
        ("duo-trio", (0, 1, 0), [{2}]),
        ("duo-trio", (1, 1, 0), [{1}]),
        ("two-alternative", (0, 1), [{1}]),
        ("three-alternative", (1, 0, 0), [{0}]),
        ("tetrad", (0, 1, 1, 0), [{0, 3}, {1, 2}]),
        ("two-out-of-five", (1, 0, 1, 1, 0), [{1, 4}]),
        ("two-out-of-five", (0, 1, 0, 0, 1), [{1, 4}]),
    ],
)
def test_the_right_answer_of_an_order(method: str, order: tuple[int, ...], answers: list[set[int]]) -> None:
    """Worked out by hand."""
    assert set(right_answers(method, order)) == {frozenset(one) for one in answers}


@pytest.mark.parametrize(("method", "order"), [("triangle", (0, 0, 0)), ("tetrad", (0, 0, 0, 1)), ("nine", (0, 1))])
def test_an_order_that_no_test_serves_is_refused(method: str, order: tuple[int, ...]) -> None:
    """Neither a set of like cups nor an unknown test."""
    with pytest.raises(ValueError, match=r"order of|must be one of"):
        right_answers(method, order)


def test_a_number_below_nothing_is_refused() -> None:
    """There is no set number minus one."""
    with pytest.raises(ValueError, match="sets must be 0"):
        deal("triangle", -1, 1)
