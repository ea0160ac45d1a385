"""Forced-choice verdicts: published tables, scipy as oracle, brute force, and laws that no panel may break."""

from __future__ import annotations

import csv
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binom, binomtest

from analysis.choice import psychometric
from analysis.choice.control import judge_control
from analysis.choice.forced_choice import (
    ChoiceResult,
    at_most,
    exact_limits,
    floor_pd,
    judge_panel,
    judge_totals,
    maximum_correct,
    minimum_correct,
    people_at_most,
    people_pmf,
)

REFERENCE = Path(__file__).parents[1] / "reference"
METHODS = list(psychometric.METHODS)


def _rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader((REFERENCE / name).read_text(encoding="utf-8").splitlines()))


def _chance(p0: str) -> float:
    return 1 / 3 if p0.startswith("0.33") else float(p0)


# ---- published tables ----------------------------------------------------------------------------------------------
def test_minimum_correct_agrees_with_every_printed_table() -> None:
    """Huss 1995 (FAO), Lyon et al. 1992, GOST R 53161 (ISO 5495), GOST ISO 10399, lecture tables; see the file."""
    rows = _rows("01_forced_choice_min_correct.csv")
    for row in rows:
        tails = 2 if row["sidedness"] == "two-sided" else 1
        found = minimum_correct(int(row["n"]), _chance(row["p0"]), float(row["alpha"]) / tails)
        assert found == (int(row["recomputed"]) if row["recomputed"] else None), row
        if row["agreement"] == "agree":
            assert found == (int(row["published_min_correct"]) if row["published_min_correct"] else None), row
    assert len(rows) == 1052


def test_the_printed_errors_are_the_known_ones_and_no_others() -> None:
    """A repeated row in GOST ISO 10399 at n = 22; Lyon 1992 at n = 37, 1 % and n = 40, .1 %: each one too low."""
    wrong = [row for row in _rows("01_forced_choice_min_correct.csv") if row["agreement"] == "DISAGREE"]
    found = {(int(row["n"]), float(row["alpha"])) for row in wrong}
    assert found == {(22, 0.2), (22, 0.1), (22, 0.05), (37, 0.01), (40, 0.001)}
    for row in wrong:
        printed = int(row["published_min_correct"])
        assert binom.sf(printed - 1, int(row["n"]), 0.5) > float(row["alpha"])
        assert minimum_correct(int(row["n"]), 0.5, float(row["alpha"])) == printed + 1


def test_the_tail_at_the_mark_agrees_with_the_file() -> None:
    """Column exact_p_at_recomputed, six digits."""
    for row in _rows("01_forced_choice_min_correct.csv"):
        if row["recomputed"] and row["exact_p_at_recomputed"] and row["sidedness"] == "one-sided":
            method = "triangle" if row["p0"].startswith("0.33") else "duo-trio"
            result = judge_totals(method, int(row["n"]), int(row["recomputed"]))
            assert result.p_value == pytest.approx(float(row["exact_p_at_recomputed"]), rel=2e-5)


def test_maximum_correct_and_its_limit_agree_with_the_file() -> None:
    """Recomputed from the definition behind ISO 4120's table; limits are exact and one-sided."""
    for row in _rows("02c_similarity_max_correct_computed.csv"):
        method = "triangle" if row["method"].startswith("triangle") else "duo-trio"
        n, alpha, pd = int(row["n"]), float(row["beta"]), int(row["pd_percent"]) / 100
        share = psychometric.from_discriminators(method, pd)
        mark = maximum_correct(lambda x, n=n, share=share: at_most(x, n, share), n, alpha)
        assert mark == (int(row["max_correct"]) if row["max_correct"] else None), row
        if mark is not None:
            result = judge_totals(method, n, mark, alpha, pd)
            assert result.similar.similar
            high = result.proportion_discriminators.high
            assert high == pytest.approx(max(0.0, float(row["upper_limit_pd_at_max_correct"])), abs=6e-5)
            # "no: below n p0": no conclusion is drawn there by ISO 4120:2004 8.2 (through GOST R 53159); we warn.
            few = any(warning.code == "too few to pass" for warning in result.warnings)
            assert few == row["usable"].startswith("no"), row


@pytest.mark.parametrize("row", _rows("02d_forced_choice_worked_examples.csv"), ids=lambda row: row["example"])
def test_worked_examples(row: dict[str, str]) -> None:
    """Examples as printed in the sources that the file names; limits exact, one-sided 95 % each."""
    n, x = int(row["n"]), int(row["x"])
    result = judge_totals("triangle", n, x)
    assert result.p_value == pytest.approx(float(row["exact_p_one_sided"]), rel=1e-6)
    assert at_most(x, n, 1 / 3) == pytest.approx(float(row["P(X<=x)"]), rel=1e-5)
    low, high = ((limit - 1 / 3) / (2 / 3) for limit in exact_limits(n, x, 0.05))
    assert low == pytest.approx(float(row["pd_lo95_onesided_exact"]), abs=6e-6)
    assert high == pytest.approx(float(row["pd_hi95_onesided_exact"]), abs=6e-6)
    shown = result.proportion_discriminators
    assert shown.low == pytest.approx(max(low, 0.0), abs=1e-12)
    assert shown.high == pytest.approx(max(high, 0.0), abs=1e-12)
    assert shown.estimate == pytest.approx(max(float(row["pd_hat"]), 0.0), abs=6e-6)


# ---- oracles -------------------------------------------------------------------------------------------------------
@given(n=st.integers(1, 120), data=st.data(), method=st.sampled_from(METHODS), alpha=st.floats(0.001, 0.4))
@settings(max_examples=60, deadline=None)
def test_p_value_and_limits_agree_with_scipy(n: int, data: st.DataObject, method: str, alpha: float) -> None:
    """scipy.stats.binomtest, one-sided, with exact (Clopper & Pearson 1934) limits at 1 - alpha each."""
    x = data.draw(st.integers(0, n))
    result = judge_totals(method, n, x, alpha)
    above = binomtest(x, n, psychometric.method_named(method).chance, alternative="greater")
    below = binomtest(x, n, alternative="less")
    assert result.p_value == pytest.approx(above.pvalue, rel=1e-9)
    assert result.proportion_correct.low == pytest.approx(above.proportion_ci(1 - alpha, "exact").low, abs=1e-9)
    assert result.proportion_correct.high == pytest.approx(below.proportion_ci(1 - alpha, "exact").high, abs=1e-9)


@pytest.mark.parametrize("each", [(1, 1, 1), (2, 2, 2), (3, 1, 2), (4, 2)])
@pytest.mark.parametrize("pd", [0.0, 0.3, 0.8])
def test_the_all_or_none_distribution_agrees_with_counting_every_outcome(each: tuple[int, ...], pd: float) -> None:
    """Brute force over who is a detector and over every answer of the others."""
    chance = 1 / 3
    brute = np.zeros(sum(each) + 1)
    for detectors in product([True, False], repeat=len(each)):
        who = np.prod([pd if d else 1 - pd for d in detectors])
        guesses = sum(r for r, d in zip(each, detectors, strict=True) if not d)
        sure = sum(each) - guesses
        for answers in product([True, False], repeat=guesses):
            brute[sure + sum(answers)] += who * np.prod([chance if a else 1 - chance for a in answers])
    assert people_pmf(each, chance, pd) == pytest.approx(brute, abs=1e-14)


@given(
    each=st.lists(st.integers(1, 6), min_size=1, max_size=12),
    pd=st.floats(0, 1),
    chance=st.sampled_from([0.1, 1 / 3, 0.5]),
)
@settings(deadline=None)
def test_the_all_or_none_distribution_is_a_distribution_with_the_right_mean(
    each: list[int], pd: float, chance: float
) -> None:
    """Sums to 1; mean N (g + (1 - g) pd), as for any mixture of people."""
    pmf = people_pmf(each, chance, pd)
    assert pmf.sum() == pytest.approx(1.0, abs=1e-12)
    assert pmf @ np.arange(len(pmf)) == pytest.approx(sum(each) * (chance + (1 - chance) * pd), rel=1e-10)


def test_exact_ties_count_as_reached() -> None:
    """Two-out-of-five, 2 of 2: p = .01 exactly, .010000000000000002 in doubles."""
    result = judge_totals("two-out-of-five", 2, 2, alpha=0.01)
    assert result.different
    assert result.minimum_correct == 2


def test_no_count_of_two_triangles_shows_a_difference() -> None:
    """Two right of two still happen by guessing once in nine."""
    result = judge_totals("triangle", 2, 2)
    assert (result.minimum_correct, result.different, result.power) == (None, False, 0.0)


# ---- several trials an assessor ------------------------------------------------------------------------------------
@pytest.mark.parametrize(("pd_limit", "passes"), [(0.3, 34), (0.5, 86)])
def test_an_identical_pair_passes_as_often_as_worked_out(pd_limit: float, passes: int) -> None:
    """8 assessors x 4 trials, guess rate 1/3, worked out apart from this code: 34 and 86 %."""
    result = judge_panel("triangle", [4] * 8, [1] * 8, pd_limit=pd_limit)
    assert 100 * result.pass_chance == pytest.approx(passes, abs=0.5)


@pytest.mark.parametrize(("pd_limit", "passes"), [(0.3, 63), (0.5, 98)])
def test_the_binomial_mark_passes_more_often(pd_limit: float, passes: int) -> None:
    """The mark for these assessors, worked out apart from this code: 63 and 98 %."""
    result = judge_panel("triangle", [4] * 8, [1] * 8, pd_limit=pd_limit)
    mark = result.these_assessors.maximum_correct
    assert mark is not None
    assert 100 * binom.cdf(mark, 32, 1 / 3) == pytest.approx(passes, abs=0.5)


DESIGNS = [(6, 3), (6, 6), (8, 2), (8, 3), (8, 4), (10, 3), (12, 2), (12, 4)]


@pytest.mark.parametrize(("assessors", "replicates"), DESIGNS)
@pytest.mark.parametrize("pd_limit", [0.3, 0.5])
def test_false_similar_stays_at_alpha_for_every_kind_of_panel(assessors: int, replicates: int, pd_limit: float) -> None:
    """Exact error over all outcomes at the limit: assessors alike, beta-distributed, two kinds, all-or-none."""
    result = judge_panel("triangle", [replicates] * assessors, [0] * assessors, pd_limit=pd_limit)
    mark = result.similar.maximum_correct
    if mark is None:
        assert result.pass_chance == 0.0
        return
    for name, shares, weights in _kinds_of_people(pd_limit):
        one = sum(
            w * binom.pmf(np.arange(replicates + 1), replicates, 1 / 3 + 2 / 3 * p)
            for p, w in zip(shares, weights, strict=True)
        )
        total = np.ones(1)
        for _ in range(assessors):
            total = np.convolve(total, one)
        assert total[: mark + 1].sum() <= 0.05 * (1 + 1e-9), name


def _kinds_of_people(pd: float) -> list[tuple[str, np.ndarray, np.ndarray]]:
    """Mixtures of shares of true detections with the mean `pd`."""
    grid = (np.arange(400) + 0.5) / 400
    kinds = [("alike", np.array([pd]), np.ones(1)), ("all or none", np.array([0.0, 1.0]), np.array([1 - pd, pd]))]
    for spread in (0.5, 2.0, 8.0):
        density = grid ** (pd * spread - 1) * (1 - grid) ** ((1 - pd) * spread - 1)
        weights = density / density.sum()
        # keep the mean exact on the grid
        kinds.append((f"beta {spread}", np.clip(grid + pd - weights @ grid, 0, 1), weights))
    kinds.append(("two kinds", np.array([0.5 * pd, 0.5 + 0.5 * pd]), np.array([1 / (1 + pd), pd / (1 + pd)])))
    return [(name, shares, weights) for name, shares, weights in kinds if weights @ shares >= pd - 1e-9]


def test_the_binomial_mark_is_not_enough_for_people_like_them() -> None:
    """The plain mark calls up to 15.6 % of all-or-none panels similar, which is why the other one decides."""
    worst = 0.0
    for assessors, replicates in DESIGNS:
        for pd in (0.3, 0.5):
            result = judge_panel("triangle", [replicates] * assessors, [0] * assessors, pd_limit=pd)
            mark = result.these_assessors.maximum_correct
            assert mark is not None
            worst = max(worst, people_at_most(mark, [replicates] * assessors, 1 / 3, pd))
    assert worst > 0.12


@pytest.mark.parametrize(("people", "floor"), [(6, 39), (8, 31), (10, 26), (12, 22)])
def test_few_people_have_a_floor(people: int, floor: int) -> None:
    """1 - .05^(1/people): 39 % for 6, 31 % for 8, 26 % for 10, 22 % for 12."""
    assert 100 * floor_pd(people, 0.05) == pytest.approx(floor, abs=0.5)


def test_one_trial_each_makes_the_two_scopes_equal() -> None:
    """With one trial nobody is more consistent than anybody else."""
    result = judge_panel("tetrad", [1] * 40, [1] * 11 + [0] * 29)
    assert result.similar == result.these_assessors


# ---- laws ----------------------------------------------------------------------------------------------------------
PANELS = st.lists(st.integers(1, 5), min_size=1, max_size=14).flatmap(
    lambda each: st.tuples(st.just(each), st.tuples(*(st.integers(0, r) for r in each)))
)


@given(panel=PANELS, method=st.sampled_from(METHODS), alpha=st.floats(0.01, 0.4), pd=st.floats(0.02, 0.98))
@settings(max_examples=150, deadline=None)
def test_interval_and_verdict_never_contradict_each_other(
    panel: tuple[list[int], tuple[int, ...]], method: str, alpha: float, pd: float
) -> None:
    """Different <=> low of pd > 0; similar <=> high of pd <= limit; counts and marks say the same."""
    result = judge_panel(method, panel[0], panel[1], alpha, pd)
    share = result.proportion_discriminators
    assert share.low is not None
    assert share.high is not None
    if abs(result.p_value / alpha - 1) > 1e-6:
        assert result.different == (share.low > 0)
    if abs(result.similar.p_value / alpha - 1) > 1e-6:
        assert result.similar.similar == (share.high <= pd)
    assert result.different == (result.minimum_correct is not None and result.correct >= result.minimum_correct)
    for scope in (result.similar, result.these_assessors):
        assert scope.similar == (scope.maximum_correct is not None and result.correct <= scope.maximum_correct)
    if alpha <= 0.25:  # with larger risks median and mean of the all-or-none mixture may change places
        assert share.low - 1e-9 <= (share.estimate or 0.0) <= share.high + 1e-9
    _the_distance_follows_the_proportion(result)


def _the_distance_follows_the_proportion(result: ChoiceResult) -> None:
    """d' and its limits are those of the proportion correct, and in the same order."""
    pairs = zip(
        (result.proportion_correct.estimate, result.proportion_correct.low, result.proportion_correct.high),
        (result.d_prime.estimate, result.d_prime.low, result.d_prime.high),
        strict=True,
    )
    for share, distance in pairs:
        assert (distance is None) == (share == 1.0)
        if distance is not None:
            back = float(psychometric.proportion_correct(result.method, distance))
            assert back == pytest.approx(max(share or 0.0, psychometric.method_named(result.method).chance), abs=1e-9)


@given(n=st.integers(2, 200), method=st.sampled_from(METHODS), alpha=st.floats(0.001, 0.2), pd=st.floats(0.05, 0.9))
@settings(deadline=None)
def test_marks_rise_with_the_trials_and_fall_with_the_risk(n: int, method: str, alpha: float, pd: float) -> None:
    """One answer more moves a mark by one or not at all; a larger risk asks for no more, a wider limit for no less."""
    chance = psychometric.method_named(method).chance
    here, next_ = minimum_correct(n, chance, alpha), minimum_correct(n + 1, chance, alpha)
    if here is not None:
        assert next_ in (here, here + 1)
        looser = minimum_correct(n, chance, 2 * alpha)
        assert looser is not None
        assert looser <= here
    one, two = (judge_totals(method, n, 0, alpha, limit).similar.maximum_correct for limit in (pd, pd + 0.05))
    assert (-1 if one is None else one) <= (-1 if two is None else two)


@given(panel=PANELS, method=st.sampled_from(METHODS))
@settings(max_examples=60, deadline=None)
def test_people_like_them_are_never_easier_to_speak_for_than_these(
    panel: tuple[list[int], tuple[int, ...]], method: str
) -> None:
    """Where the mark lies below the mean at the limit, the mark for people like them is not above the one for these."""
    result = judge_panel(method, panel[0], panel[1], 0.05, 0.5)
    people, these = result.similar.maximum_correct, result.these_assessors.maximum_correct
    assert (-1 if people is None else people) <= (-1 if these is None else these)


# ---- d' and its standard error -------------------------------------------------------------------------------------
def test_the_standard_error_follows_the_published_formula() -> None:
    """sqrt(B / n), B of file 03b for triangle at pc = .60 (Bi, Ennis & O'Mahony 1997)."""
    variance = next(
        float(row["B"])
        for row in _rows("03b_thurstone_dprime_from_pc.csv")
        if row["method"] == "triangle" and row["pc"] == "0.60"
    )
    assert judge_totals("triangle", 50, 30).d_prime.se == pytest.approx((variance / 50) ** 0.5, rel=1e-4)


@pytest.mark.parametrize(
    ("trials", "correct"), [([1] * 30, [0] * 20 + [1] * 10), ([1] * 5, [1] * 5), ([2] * 15, [2] * 15)]
)
def test_there_is_no_standard_error_where_its_formula_fails(trials: list[int], correct: list[int]) -> None:
    """At or below guessing, all right, several trials an assessor."""
    assert judge_panel("triangle", trials, correct).d_prime.se is None


def test_all_right_has_no_upper_limit() -> None:
    """d' is infinite when all are right, and so is its upper limit."""
    result = judge_totals("duo-trio", 12, 12)
    assert (result.d_prime.estimate, result.d_prime.high) == (None, None)
    assert result.d_prime.low is not None


# ---- warnings and refusals -----------------------------------------------------------------------------------------
def _codes(result: ChoiceResult) -> set[str]:
    return {warning.code for warning in result.warnings}


def test_every_warning_has_the_panel_that_calls_for_it() -> None:
    """Each code has the panel that calls for it, and an ordinary panel has none but the assumption made."""
    assert _codes(judge_totals("triangle", 60, 30)) == {"one trial assumed"}
    control = judge_control("triangle", 12, 8)  # found: P(X >= 8 | 12, 1/3) is .019
    assert _codes(judge_panel("triangle", [2, 3] * 30, [1] * 60, control=control)) == {"unequal trials"}
    assert _codes(judge_panel("triangle", [2, 3] * 30, [1] * 60)) == {"unequal trials", "control_not_served"}
    assert "too few to pass" in _codes(judge_totals("triangle", 18, 6))
    assert "fewer than guessing" in _codes(judge_totals("triangle", 60, 12))
    assert "below the floor" in _codes(judge_panel("triangle", [6] * 6, [2] * 6))
    assert "grouping rule" in _codes(judge_totals("two-out-of-five", 40, 8))


@pytest.mark.parametrize(
    ("trials", "correct", "alpha", "pd", "words"),
    [
        (20, 25, 0.05, 0.3, "correct must be between 0 and the 20 trials, got 25"),
        (20, -1, 0.05, 0.3, "correct must be between"),
        (0, 0, 0.05, 0.3, "trials must be between 1"),
        (20, 9, 0.05, 30, "write 0.30 for 30 %"),
        (20, 9, 0.05, 0.0, "pd must lie above 0"),
        (20, 9, 0.5, 0.3, "alpha must lie above 0 and below 0.5"),
        (20, 9, float("nan"), 0.3, "alpha must lie"),
    ],
)
def test_impossible_inputs_are_refused_by_name(trials: int, correct: int, alpha: float, pd: float, words: str) -> None:
    """Each error names the argument, the rule and the value."""
    with pytest.raises(ValueError, match=words):
        judge_totals("triangle", trials, correct, alpha, pd)


def test_panels_of_unequal_lists_are_refused() -> None:
    """One entry an assessor in both lists."""
    with pytest.raises(ValueError, match="one entry an assessor"):
        judge_panel("triangle", [1, 1], [1])


# ---- what may be said ------------------------------------------------------------------------------------------------
SIZES = [(1,) * 30, (3,) * 6, (6,) * 6, (4,) * 8, (3,) * 12, (3, 3, 2, 3, 1, 3)]


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("each", SIZES, ids=lambda each: f"{len(each)} people, {sum(each)} trials")
def test_fewer_than_guessing_explains_is_never_similar(method: str, each: tuple[int, ...]) -> None:
    """P(X <= x) <= alpha under guessing by scipy's binomial, every test, both scopes, every count; p-values, marks and
    `similar` stay arithmetic."""
    total, chance = sum(each), psychometric.METHODS[method].chance
    for correct in range(total + 1):
        result = judge_panel(method, each, _dealt(correct, each), 0.05, 0.6)
        few = bool(binom.cdf(correct, total, chance) <= 0.05)
        assert result.fewer is few
        assert (result.fewer_at_most is not None and correct <= result.fewer_at_most) is few
        if few:
            assert (result.verdict, result.reason) == ("cannot tell", "fewer right than guessing")
            assert not result.close
            assert not result.close_here
        assert result.similar.similar == (
            result.similar.maximum_correct is not None and correct <= result.similar.maximum_correct
        )
        assert (result.reason is None) == (result.verdict != "cannot tell")


def _dealt(correct: int, each: tuple[int, ...]) -> list[int]:
    given = []
    for asked in each:
        given.append(min(asked, correct))
        correct -= given[-1]
    return given


@pytest.mark.parametrize("pd", [0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.8])
@pytest.mark.parametrize("each", SIZES, ids=lambda each: f"{len(each)} people, {sum(each)} trials")
def test_a_mark_that_cannot_be_meant_is_not_offered(each: tuple[int, ...], pd: float) -> None:
    """Not below what guessing gives on average, n / 3 triangles, and not at a limit under 1 - alpha^(1/people): so few
    people hold no detector at all with a chance of alpha. Both worked out here."""
    result = judge_panel("triangle", each, (0,) * len(each), 0.05, pd)
    mark, floor = result.similar.maximum_correct, 1 - 0.05 ** (1 / len(each))
    assert result.similar.offered is (mark is not None and 3 * mark >= sum(each) and pd >= floor)
    here = result.these_assessors.maximum_correct
    reached = [x for x in range(sum(each) + 1) if binom.cdf(x, sum(each), 1 / 3 + 2 / 3 * pd) <= 0.05]
    assert here == max(reached, default=None)
    assert result.these_assessors.offered is (here is not None and 3 * here >= sum(each))
    assert result.most_noticing >= floor
    for correct in range(sum(each) + 1):
        found = judge_panel("triangle", each, _dealt(correct, each), 0.05, pd)
        if not result.similar.offered:
            assert "similar" not in found.verdict
            assert found.verdict == "different" or found.reason in (
                "too few people to show it",
                "fewer right than guessing",
            )


def test_where_the_published_mark_is_reached_it_is_meant() -> None:
    """ISO 4120:2004 Table A.2 (recalled): 36 triangles of different people, 5 %, pd 30 %: similar up to 13."""
    assert [judge_totals("triangle", 36, x).verdict for x in (6, 7, 13, 14, 18)] == [
        "cannot tell",
        "similar",
        "similar",
        "cannot tell",
        "different",
    ]
    assert judge_totals("triangle", 36, 14).reason == "between the marks"


@pytest.mark.parametrize("method", ["triangle", "duo-trio"])
def test_chances_add_up_what_every_count_would_say(method: str) -> None:
    """scipy's binom gives each count its chance, the verdict of that count says what it is worth."""
    each, guess = (3,) * 8, psychometric.METHODS[method].chance
    counts = range(sum(each) + 1)
    tests = [judge_panel(method, each, [min(3, max(0, x - 3 * seat)) for seat in range(8)], 0.05, 0.5) for x in counts]
    for noticing in (0.0, 0.25, 0.5):
        found = tests[0].chances(noticing)
        pmf = binom.pmf(counts, sum(each), guess + (1 - guess) * noticing)
        assert found.different == pytest.approx(pmf[[test.different for test in tests]].sum(), abs=1e-12)
        assert found.similar == pytest.approx(pmf[[test.close for test in tests]].sum(), abs=1e-12)
        neither = pmf[[test.verdict == "cannot tell" for test in tests]].sum()
        assert found.cannot_tell == pytest.approx(neither, abs=1e-12)
