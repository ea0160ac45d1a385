"""The positive control: its own exact test, and what it forbids; a panel that tastes nothing is never close enough."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from analysis.choice import carry_over, sequential
from analysis.choice.control import NO_CONTROL, ControlResult, control_chance, fewest_control_sets, judge_control
from analysis.choice.forced_choice import ChoiceResult, judge_panel, judge_totals
from analysis.choice.psychometric import METHODS, method_named

FOUND, MISSED = judge_control("triangle", 12, 10), judge_control("triangle", 12, 4)


# ---- its own test --------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("trials", [1, 9, 12, 16, 24])
def test_it_is_found_from_the_exact_binomial_mark(method: str, trials: int) -> None:
    """scipy.stats.binomtest, one-sided, at every count; no mark where even all right is likelier than alpha."""
    chance = method_named(method).chance
    p_values = [stats.binomtest(x, trials, chance, alternative="greater").pvalue for x in range(trials + 1)]
    mark = next((x for x, p in enumerate(p_values) if p <= 0.05 * (1 + 1e-9)), None)
    for x, p in enumerate(p_values):
        judged = judge_control(method, trials, x)
        assert judged.p_value == pytest.approx(p, rel=1e-9)
        assert (judged.minimum_correct, judged.found) == (mark, mark is not None and x >= mark)


def test_the_chance_to_find_it_is_a_binomial_tail() -> None:
    """Right 8 times in 10 (scipy.stats.binom): 9 sets at guess 1/3 from 6 right, 16 at guess 1/2 from 12."""
    assert control_chance("triangle", 9) == pytest.approx(stats.binom.sf(5, 9, 0.8), rel=1e-12)
    assert control_chance("two-alternative", 16) == pytest.approx(stats.binom.sf(11, 16, 0.8), rel=1e-12)
    assert control_chance("two-alternative", 4) == 0.0, "1/16 by guessing: no mark"


def test_there_are_enough_of_it() -> None:
    """9 sets, by rounds 12, at guess 1/2 always 16; one set of all in four where that is more."""
    assert [fewest_control_sets("triangle", n) for n in (18, 27, 28, 72)] == [9, 9, 10, 24]
    assert [fewest_control_sets("triangle", n, by_rounds=True) for n in (18, 36, 60)] == [12, 12, 20]
    assert [fewest_control_sets("duo-trio", n, rounds) for n in (18, 60) for rounds in (False, True)] == [
        16,
        16,
        20,
        20,
    ]


@pytest.mark.parametrize(("trials", "correct"), [(3, 4), (3, -1)])
def test_counts_that_do_not_fit_are_refused(trials: int, correct: int) -> None:
    with pytest.raises(ValueError, match="correct must be between 0"):
        judge_control("triangle", trials, correct)


# ---- what it forbids -----------------------------------------------------------------------------------------------
def test_a_count_that_is_close_enough_needs_it() -> None:
    """60 triangles, 20 right, limit 50 %: similar; without a control told of with a warning, with one missed never."""
    told = {name: judge_totals("triangle", 60, 20, 0.05, 0.5, control) for name, control in (
        ("unknown", None), ("found", FOUND), ("missed", MISSED), ("left out", NO_CONTROL)
    )}  # fmt: skip
    said = {name: (result.verdict, result.reason) for name, result in told.items()}
    assert said == {
        "unknown": ("similar", None),
        "found": ("similar", None),
        "missed": ("cannot tell", "control not found"),
        "left out": ("cannot tell", "no control"),
    }
    warned = {name: "control_not_served" in {one.code for one in result.warnings} for name, result in told.items()}
    assert warned == {"unknown": True, "found": False, "missed": False, "left out": False}


def test_a_difference_stands_without_it() -> None:
    """36 triangles, 21 right are different (mark 18, ISO 4120 Table A.1) whatever became of the control."""
    assert judge_totals("triangle", 36, 21, control=MISSED).verdict == "different"
    assert judge_totals("triangle", 200, 90, 0.05, 0.5, FOUND).verdict == "different and similar"
    assert judge_totals("triangle", 200, 90, 0.05, 0.5, MISSED).verdict == "different"


def test_fewer_than_guessing_is_said_before_it_and_an_open_count_is_not_blamed_on_it() -> None:
    assert judge_totals("triangle", 60, 10, 0.05, 0.5, MISSED).reason == "fewer right than guessing"
    assert judge_totals("triangle", 60, 26, 0.05, 0.3, NO_CONTROL).reason == "between the marks"


panels = st.lists(st.integers(1, 3), min_size=3, max_size=7).flatmap(
    lambda each: st.tuples(st.just(each), st.tuples(*(st.integers(0, n) for n in each)))
)


@pytest.mark.hypothesis
@settings(max_examples=25, deadline=None)
@given(panel=panels, control=st.integers(0, 12), method=st.sampled_from(list(METHODS)), limit=st.floats(0.05, 0.95))
def test_a_control_changes_no_number_and_can_only_take_similar_away(
    panel: tuple[list[int], tuple[int, ...]], control: int, method: str, limit: float
) -> None:
    """Its sets count nowhere else: all but verdict, reason and warnings is what it was."""
    bare = judge_panel(method, *panel, 0.05, limit)
    controlled = judge_panel(method, *panel, 0.05, limit, judge_control(method, 12, control))
    assert replace(controlled, control=None, warnings=()) == replace(bare, warnings=())
    assert controlled.different == bare.different
    found = controlled.control is not None and controlled.control.found
    assert (controlled.close, controlled.close_here) == (bare.close and found, bare.close_here and found)
    assert ("similar" in controlled.verdict) == (found and "similar" in bare.verdict)


@pytest.mark.parametrize(("control", "clean"), [(None, 2), (FOUND, 2), (MISSED, None), (NO_CONTROL, None)])
def test_no_batch_is_clean_without_it(control: ControlResult | None, clean: int | None) -> None:
    """Thirty people once each: +1 found, +2 and +3 as guessing gives; both ways of reading the ladder hold to it."""
    names = [f"A{n}" for n in range(30)] * 3
    batches = [1] * 30 + [2] * 30 + [3] * 30
    right = [1] * 30 + ([1] * 10 + [0] * 20) * 2
    read = carry_over.ladder(names, batches, right, "triangle", 0.5, 0.05, control)
    assert (read.clean_from_all_tasted, read.clean_from_batch_by_batch, read.detected_through) == (clean, clean, 1)
    assert read.control == control


@pytest.mark.parametrize(
    ("control", "said"),
    [
        (None, ("same", None)),
        (FOUND, ("same", None)),
        (MISSED, ("cannot tell", "control not found")),
        (NO_CONTROL, ("cannot tell", "no control")),
    ],
)
def test_rounds_that_end_as_the_same_need_it(control: ControlResult | None, said: tuple[str, str | None]) -> None:
    """Two of six right in every round of a sealed plan; "different" stands without it."""
    sealed = sequential.plan("triangle", 0.05, 0.05, 0.5, 36, 6)
    judged = sequential.judge(sealed, [[1, 1, 0, 0, 0, 0]] * 6, control)
    assert (judged.standing, judged.reason) == said
    assert sequential.judge(sealed, [[1] * 6], control).standing == "different"


# ---- both errors ---------------------------------------------------------------------------------------------------
@cache
def _panel(right: int, found: int) -> ChoiceResult:
    """Eight people, four triangles each, and eleven sets of a control; who was right how often counts for nothing."""
    each = [min(4, max(0, right - 4 * person)) for person in range(8)]
    return judge_panel("triangle", [4] * 8, each, 0.05, 0.5, judge_control("triangle", 11, found))


@pytest.mark.simulation
def test_a_dulled_panel_is_hardly_ever_close_enough(draws: Callable[[int, int], int]) -> None:
    """Half would notice on a good day. A cold leaves one noticing in ten of the sample and of the control alike: then
    without its control the panel passes more often than not, with it in at most alpha and what it still notices.

    Exact beside: each is a binomial tail (scipy), for the control's answers are none of the others. Tolerance: four
    standard errors of the share of panels drawn.
    """
    rng, panels = np.random.default_rng(20), draws(1500, 20000)
    for noticed, control in ((0.0, 0.0), (0.1, 0.1), (0.5, 0.7)):
        share, of_control = 1 / 3 + 2 / 3 * noticed, 1 / 3 + 2 / 3 * control
        right, found = rng.binomial(32, share, panels), rng.binomial(11, of_control, panels)
        drawn = [_panel(*one) for one in zip(right, found, strict=True)]
        similar = np.mean([result.verdict == "similar" for result in drawn])
        sample = _panel(0, 0)
        mark, lowest = sample.similar.maximum_correct, sample.fewer_at_most
        assert mark is not None
        assert lowest is not None
        counts = stats.binom(32, share)
        passes = counts.cdf(mark) - counts.cdf(lowest)
        least = next(x for x in range(12) if stats.binom.sf(x - 1, 11, 1 / 3) <= 0.05)
        expected = passes * stats.binom.sf(least - 1, 11, of_control)
        assert abs(similar - expected) <= 4 * max(expected * (1 - expected), 1 / panels) ** 0.5 / panels**0.5
        if noticed == 0.0:
            false = np.mean([result.different for result in drawn])
            assert false <= 0.05 + 4 * (0.05 * 0.95 / panels) ** 0.5, "nobody notices, and that is said at alpha"
            assert passes > 0.5, "a panel that tastes nothing passes without a control"
            assert expected <= 0.05, "with one hardly ever"
        if noticed == 0.5:
            assert expected <= 0.05, "a panel that tastes well and notices is not close enough either"
