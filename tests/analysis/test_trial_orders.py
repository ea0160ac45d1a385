"""Orders dealt evenly: each as often as every other, or once more, and the same again from the same seed."""

from __future__ import annotations

from collections import Counter

import pytest

from analysis.design.trial_orders import deal

TRIANGLE = [(0, 0, 1), (0, 1, 0), (0, 1, 1), (1, 0, 0), (1, 0, 1), (1, 1, 0)]  # ISO 4120 7.1


@pytest.mark.parametrize("every", [2, 3, 4, 6, 20])
@pytest.mark.parametrize("sets", [0, 1, 7, 24, 61])
def test_orders_are_used_equally(every: int, sets: int) -> None:
    """Equally often, or once more, in whole rounds of all orders."""
    dealt = deal(range(every), sets, 11)
    assert len(dealt) == sets
    for start in range(0, sets - every + 1, every):
        assert set(dealt[start : start + every]) == set(range(every))
    counts = Counter(dealt)
    assert max(counts.values(), default=0) - min(counts[order] for order in range(every)) <= 1


def test_a_seed_deals_the_same_orders_again() -> None:
    """The seed alone decides, so that a sealed study can be dealt anew and compared."""
    assert deal(TRIANGLE, 12, 5) == deal(TRIANGLE, 12, 5)
    assert deal(TRIANGLE, 12, 5) != deal(TRIANGLE, 12, 6)


def test_a_number_below_nothing_is_refused() -> None:
    """There is no set number minus one."""
    with pytest.raises(ValueError, match="sets must be 0"):
        deal(TRIANGLE, -1, 1)
