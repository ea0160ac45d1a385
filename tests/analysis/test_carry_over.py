"""Carry-over ladders: what may be said of which batch, and that a false "clean" stays rare."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.choice.carry_over import Ladder, ladder, noticed_until
from analysis.choice.forced_choice import judge_panel, people_pmf

PEOPLE, TRIALS = 10, 3


def _ladder(right: list[int], pd: float = 0.5, alpha: float = 0.05) -> Ladder:
    """Ten people, three trials each a batch; `right` is the number of right answers at batch 1, 2, ..."""
    assessor, batch, correct = [], [], []
    for number, count in enumerate(right, start=1):
        for trial in range(PEOPLE * TRIALS):
            assessor.append(f"A{trial % PEOPLE}")
            batch.append(number)
            correct.append(int(trial < count))
    return ladder(assessor, batch, correct, "three-alternative", pd, alpha)


def test_each_rung_is_the_test_of_its_batch() -> None:
    """Same result as the panel's test on that batch alone."""
    rungs = _ladder([28, 16, 9]).rungs
    assert [rung.batch for rung in rungs] == [1, 2, 3]
    for rung, right in zip(rungs, (28, 16, 9), strict=True):
        counts = [sum(1 for trial in range(person, 30, PEOPLE) if trial < right) for person in range(PEOPLE)]
        assert rung.result == judge_panel("three-alternative", [TRIALS] * PEOPLE, counts, 0.05, 0.5)


@pytest.mark.parametrize(
    ("right", "clean", "detected"),
    [
        ([28, 10, 9, 10], 2, 1),  # found in +1, gone from +2 on
        ([28, 20, 9, 10], 3, 2),
        ([28, 14, 9, 10], 3, 1),  # +2 is neither found nor gone
        ([10, 28, 9, 10], 3, None),  # a clean +1 before a dirty +2 counts for nothing
        ([28, 10, 14, 10], 4, 1),  # a gap at +3 stops the way down
        ([28, 27, 26, 25], None, 4),
        ([14, 14, 14, 14], None, None),
        ([9, 9, 9, 9], 1, None),
    ],
)
def test_ladders_are_read_from_their_own_end(right: list[int], clean: int | None, detected: int | None) -> None:
    """Marks for 10 x 3 at pd 50 %: found from 15, gone up to 13 (exact, checked in the first assertion)."""
    result = _ladder(right)
    assert (result.rungs[0].result.minimum_correct, result.rungs[0].result.similar.maximum_correct) == (15, 13)
    assert (result.clean_from_all_tasted, result.detected_through) == (clean, detected)


def test_deciding_batch_by_batch_asks_for_more() -> None:
    """13 of 30 passes at 5 % but not at 5 % / 4; 8 of 30 does."""
    assert _ladder([28, 13, 13, 13]).clean_from_all_tasted == 2
    assert _ladder([28, 13, 13, 13]).clean_from_batch_by_batch is None
    assert _ladder([28, 8, 13, 13]).clean_from_batch_by_batch == 2


@given(right=st.lists(st.integers(0, 30), min_size=1, max_size=6), pd=st.floats(0.2, 0.8))
@settings(max_examples=60, deadline=None)
def test_no_ladder_contradicts_its_rungs(right: list[int], pd: float) -> None:
    """Clean means that this and every later rung passed; detected that this and every earlier one was found."""
    result = _ladder(right, pd)
    if result.clean_from_all_tasted is not None:
        later = [rung for rung in result.rungs if rung.batch >= result.clean_from_all_tasted]
        assert all(rung.result.similar.similar for rung in later)
    if result.detected_through is not None:
        earlier = [rung for rung in result.rungs if rung.batch <= result.detected_through]
        assert all(rung.result.different for rung in earlier)
    if result.clean_from_batch_by_batch is not None:
        assert result.rungs[result.clean_from_batch_by_batch - 1].result.similar.similar


@pytest.mark.parametrize("dirty", [1, 2, 3])
def test_a_dirty_batch_is_called_clean_at_most_at_alpha(dirty: int) -> None:
    """Batches 1 .. `dirty` at the limit (all-or-none people), later ones truly clean; exact for reading from the end.

    A false pass means that `clean` reaches a dirty batch; the last dirty one must pass for that, at most at alpha.
    Batch by batch, any of the dirty ones may pass first: at most alpha in all, by the share alpha / rungs each.
    """
    marks = _ladder([9] * 4).rungs[0].result.similar.maximum_correct
    assert marks is not None
    at_limit = people_pmf([TRIALS] * PEOPLE, 1 / 3, 0.5)
    assert at_limit[: marks + 1].sum() <= 0.05
    quarter = [x for x in range(31) if at_limit[: x + 1].sum() <= 0.05 / 4]
    any_of_the_dirty = 1 - (1 - at_limit[: quarter[-1] + 1].sum()) ** dirty
    assert any_of_the_dirty <= 0.05


def test_played_ladders_keep_their_error() -> None:
    """200 ladders (seed 9), two dirty batches at the limit then two clean ones: false "clean" within 5 % + 3 s.e."""
    random = np.random.default_rng(9)
    at_limit, clean = people_pmf([TRIALS] * PEOPLE, 1 / 3, 0.5), people_pmf([TRIALS] * PEOPLE, 1 / 3, 0.0)
    counts = np.column_stack([random.choice(31, 200, p=pmf / pmf.sum()) for pmf in (at_limit, at_limit, clean, clean)])
    results = [_ladder(row.tolist()) for row in counts]
    for name in ("clean_from_all_tasted", "clean_from_batch_by_batch"):
        false = np.mean([getattr(result, name) in (1, 2) for result in results])
        assert false <= 0.05 + 3 * (0.05 * 0.95 / 200) ** 0.5


def test_unequal_lists_are_refused() -> None:
    """One entry a trial in all three."""
    with pytest.raises(ValueError, match="one entry a trial"):
        ladder(["A"], [1, 2], [1, 0], "triangle")


def test_a_rung_with_fewer_right_than_guessing_is_not_clean() -> None:
    """24 three-alternative answers, none right in the last batch: P(0 | 24, 1/3) = .00006 by scipy. Read from the last
    one back, nothing is shown; decided batch by batch, the one before is."""
    assert stats.binom.cdf(0, 24, 1 / 3) < 0.05
    rows = [(f"a{n % 12}", batch, int(n < right)) for batch, right in ((1, 8), (2, 0)) for n in range(24)]
    names, batches, right = (list(column) for column in zip(*rows, strict=True))
    swapped = ladder(names, batches, right, "three-alternative", 0.6)
    assert swapped.rungs[0].result.close
    assert (swapped.clean_from_all_tasted, swapped.rungs[1].result.reason) == (None, "fewer right than guessing")
    alone = ladder(names[:24], batches[:24], right[:24], "three-alternative", 0.6)
    assert alone.clean_from_all_tasted == 1


# ---- until when it is noticed --------------------------------------------------------------------------------------
def _asked(shares: dict[int, int]) -> tuple[list[str], list[int], list[int]]:
    """Eight people, six two-alternative sets at each time; so many of each person's six are right."""
    rows = [(f"A{n // 6}", at, int(n % 6 < right)) for at, right in shares.items() for n in range(48)]
    who, at, correct = (list(column) for column in zip(*rows, strict=True))
    return who, at, correct


def test_what_fades_is_what_grows_turned_round() -> None:
    """All right at 30 s, half of the way at 60, guessing at 120: half notice until 60 s or so, four of five shorter."""
    half, most = noticed_until(*_asked({30: 6, 60: 4, 120: 3}), "two-alternative", (0.5, 0.8))
    assert half.estimate.value is not None
    assert most.estimate.value is not None
    assert 45 < half.estimate.value < 75
    assert most.estimate.value < half.estimate.value
    assert (half.low.value or 30) < half.estimate.value < (half.high.value or 120)


@pytest.mark.parametrize(("right", "where"), [(6, "above"), (3, "below")])
def test_nothing_is_told_outside_the_times_asked_about(right: int, where: str) -> None:
    """Always noticed, it is gone later than the last; never noticed, before the first."""
    (half,) = noticed_until(*_asked(dict.fromkeys((30, 60, 120), right)), "two-alternative", (0.5,))
    assert (half.estimate.value, half.estimate.where) == (None, where)
    assert (half.low.where, half.high.where) == (where, where)


def test_two_times_or_four_people_tell_no_course() -> None:
    """Nothing says how steeply it fades."""
    assert noticed_until(*_asked({30: 6, 60: 3}), "two-alternative", (0.5,)) == ()
    who, at, correct = _asked({30: 6, 60: 4, 120: 3})
    four = [f"A{int(name[1:]) % 4}" for name in who]
    assert noticed_until(four, at, correct, "two-alternative", (0.5,)) == ()
