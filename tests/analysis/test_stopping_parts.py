"""Clauses of the stop rule one by one, each checked by a computation that does not go through the rule's own code."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from scipy.linalg import inv, sqrtm
from scipy.stats import f as fisher
from scipy.stats import f_oneway, t, tukey_hsd
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from analysis.model.cells import Cells
from analysis.planning.dealt_orders import dealt
from analysis.planning.simulation import Design
from analysis.stopping import AttributeRule, Decision, Rule, decide, orders
from analysis.stopping.describe import describe, habit, habit_rules
from analysis.stopping.panels import read
from analysis.stopping.verdicts import VERDICTS, judge

REFERENCE = Path(__file__).parents[1] / "reference"
HOURS = np.array([0.0, 4.0, 8.0, 12.0, 16.0, 24.0])
FLAT = np.array([7.0, 5.0, 3.6, 3.5, 3.5, 3.5])
LOWER = Rule({"acidity": AttributeRule("lower", 1.0)})
Array = NDArray[np.float64]


def tidy(y: Array, attribute: str = "acidity", hours: Array = HOURS) -> pd.DataFrame:
    """Scores (assessors, pulls, sittings, replicates) as rows; NaN is left out."""
    person, pull, sitting, replicate = np.indices(y.shape).reshape(4, -1)
    columns = {"assessor": person, "hours": hours[pull], "sitting": sitting, "replicate": replicate, "score": y.ravel()}
    return pd.DataFrame(columns).assign(attribute=attribute).dropna(subset=["score"])


def panel(seed: int = 5, a: int = 10, sittings: int = 1, r: int = 2, noise: float = 0.4, mean: Array = FLAT) -> Array:
    """An invented panel as an array (assessors, pulls, sittings, replicates)."""
    return mean[:, None, None] + noise * np.random.default_rng(seed).standard_normal((a, len(mean), sittings, r))


def codes(decision: Decision) -> set[str]:
    """The codes of all warnings."""
    return {warning.code for warning in decision.warnings}


# ---- own error with scores missing -----------------------------------------------------------------------------------
def test_own_error_is_cr2_on_the_rows_under_the_variances_that_r_found() -> None:
    """Twelve assessors, four of six pulls each: CR2 row by row with full matrices, the working covariance from lme4.

    Variances: lme4 1.1-31 in tests/reference/lmertest_reference.json; formulas of Bell & McCaffrey 2002 and
    Pustejovsky & Tipton 2018, from memory.
    """
    data = pd.read_csv(REFERENCE / "panel_incomplete.csv").assign(attribute="acidity")
    variance = json.loads((REFERENCE / "lmertest_reference.json").read_text())["panel_incomplete"]["variance"]
    pulls = decide(data, LOWER).attributes["acidity"].pulls
    hours = sorted(data["hours"].unique())
    X = (data["hours"].to_numpy()[:, None] == hours).astype(float)
    same = data["assessor"].to_numpy()[:, None] == data["assessor"].to_numpy()
    cell = same & (data["hours"].to_numpy()[:, None] == data["hours"].to_numpy())
    between, within, rest = variance["assessor"], variance["assessor:h"], variance["Residual"]
    V = between * same + within * cell + rest * np.eye(len(data))
    M = inv(X.T @ inv(V) @ X)
    e = data["score"].to_numpy() - X @ M @ X.T @ inv(V) @ data["score"].to_numpy()
    contrast = np.eye(6)[:-1] - np.eye(6)[-1]
    G = np.zeros((12, 5, len(data)))
    for i, name in enumerate(sorted(data["assessor"].unique())):
        own = np.flatnonzero(data["assessor"] == name)
        v, x = V[np.ix_(own, own)], X[own]
        root = np.real(sqrtm(v))
        adjust = root @ inv(np.real(sqrtm(root @ (v - x @ M @ x.T) @ root))) @ root
        G[i][:, own] = contrast @ M @ x.T @ inv(v) @ adjust
    se = np.sqrt(((G @ e) ** 2).sum(0))
    spread = V - X @ M @ X.T
    df = [np.trace(q := G[:, k] @ spread @ G[:, k].T) ** 2 / (q**2).sum() for k in range(5)]
    assert_allclose([pull.own_se for pull in pulls[:-1]], se, rtol=1e-5)
    assert_allclose([pull.own_df for pull in pulls[:-1]], df, rtol=1e-5)


# ---- the limit on the mean -------------------------------------------------------------------------------------------
def test_limit_on_the_mean_uses_the_wider_of_two_errors() -> None:
    """Own limit: one-sample t on assessors' means (scipy); the panel's is never allowed to be narrower than it."""
    y = panel(noise=0.8, r=3)
    found = decide(tidy(y), Rule({"acidity": AttributeRule("lower", 1.0, limit=4.0)}))
    own = y.mean((2, 3))
    for j, pull in enumerate(found.attributes["acidity"].pulls):
        half = t.ppf(0.95, 9) * own[:, j].std(ddof=1) / np.sqrt(10)
        assert pull.mean == pytest.approx(own[:, j].mean())
        assert pull.mean_high - pull.mean >= half - 1e-12
        assert pull.within_limit == (pull.mean_high < 4.0)
        assert pull.shown_to_fail == ((pull.mean_low >= 4.0) or (j < 5 and pull.decisive_lower >= 1.0))  # type: ignore[operator]


# ---- levels ----------------------------------------------------------------------------------------------------------
def test_limits_of_a_look_are_those_of_its_level() -> None:
    """K = 2: the own limit is the paired t limit at one-sided 3.04 %."""
    y = panel(noise=1.0)
    found = decide(tidy(y), Rule(LOWER.attributes, looks=2)).attributes["acidity"].pulls[2]
    difference = y[:, 2].mean((1, 2)) - y[:, 5].mean((1, 2))
    expected = difference.mean() + t.ppf(1 - 0.0304, 9) * difference.std(ddof=1) / np.sqrt(10)
    # The published level has four decimals.
    assert found.own_upper == pytest.approx(expected, abs=5e-4)


# ---- orders ----------------------------------------------------------------------------------------------------------
def served(data: pd.DataFrame, place: Array) -> pd.DataFrame:
    """Scores with their position; `place` (assessors, pulls) from 1."""
    pull = np.searchsorted(HOURS, data["hours"])
    return data.assign(position=place[data["assessor"].to_numpy(int), pull])


def turned(people: int, step: int = 1) -> Array:
    """Places (people, 6) of orders that start one pull later from person to person: every pull first equally often."""
    return np.array([[(pull + step * person) % 6 + 1 for pull in range(6)] for person in range(people)])


def test_a_pull_may_stand_a_third_of_the_tray_from_the_reference_and_no_further() -> None:
    """Twelve people, six pieces: mean places may lie max(6 / 3, 2.6 sqrt(7 / 12) = 1.99) = 2.0 apart, not 2.1."""
    data = tidy(panel(a=12, r=1))
    near, far = turned(12).astype(float), turned(12).astype(float)
    assert decide(served(data, near), LOWER).verdict == "stop"
    near[:, 0] += 2.0
    far[:, 0] += 2.1
    assert orders.unbalanced(read(served(data, near), LOWER)) != "far from the reference"
    found = decide(served(data, far), LOWER)
    assert (found.verdict, found.reason) == ("cannot tell", "orders")
    assert {"why": "far from the reference", "adjusted": False} in [warning.values for warning in found.warnings]


def test_few_servings_may_lie_farther_apart_by_chance() -> None:
    """Six people: 2.6 sqrt(7 / 6) = 2.8 places, although a third of the tray is two."""
    data = tidy(panel(a=6, r=1))
    place = turned(6).astype(float)
    place[:, 0] += 2.7
    assert orders.unbalanced(read(served(data, place), LOWER)) != "far from the reference"
    place[:, 0] += 0.2
    assert orders.unbalanced(read(served(data, place), LOWER)) == "far from the reference"


def test_the_reference_first_for_all_forbids_an_answer() -> None:
    """Two pulls alternating behind it: mean places lie near each other, but what comes first scores differently."""
    data = tidy(panel(a=12, r=1)[:, [0, 2, 5]], hours=HOURS[[0, 2, 5]])
    pull = np.searchsorted([0.0, 8.0, 24.0], data["hours"])
    after = np.where((pull + data["assessor"]) % 2 == 0, 2, 3)
    found = decide(data.assign(position=np.where(pull == 2, 1, after)), LOWER)
    assert (found.verdict, found.reason) == ("cannot tell", "orders")
    assert {"why": "first too often", "adjusted": False} in [warning.values for warning in found.warnings]


@pytest.mark.parametrize("people", range(5, 15))
def test_balanced_orders_are_never_doubted(people: int) -> None:
    """The orders that a seal deals, whole and in blocks of four of six, in one sitting and in two."""
    for replicates, sittings in ((1, 1), (2, 1), (1, 2)):
        for seed in range(4):
            dealt_places = dealt(Design(people, replicates, sittings), 6, 1, seed).positions
            assert dealt_places is not None
            codes = np.nonzero(dealt_places[0])
            place = dealt_places[0][codes]
            every = orders.Servings(codes[0], codes[2], codes[1], place, place.astype(float))
            assert orders.why_unbalanced(every) is None, (replicates, sittings, seed)
            # Nor when one serving was lost, whichever.
            for lost in range(len(place)):
                left = [np.delete(part, lost) for part in (*(codes[axis] for axis in (0, 2, 1)), place)]
                some = orders.Servings(*left, left[3].astype(float))
                assert orders.why_unbalanced(some) is None, (replicates, sittings, seed, lost)


def test_one_order_for_all_is_seen_sitting_by_sitting() -> None:
    """Everybody has the same order in each sitting, another one the next day: still one order for all."""
    data = tidy(panel(sittings=2, r=1))
    pull = np.searchsorted(HOURS, data["hours"])
    data["position"] = np.where(data["sitting"] == 0, pull, 5 - pull) + 1
    assert decide(data, LOWER).reason == "orders"
    apart = data.assign(position=(pull + data["assessor"] + 3 * data["sitting"]) % 6 + 1)
    assert decide(apart, LOWER).verdict == "stop"


def test_a_shared_order_cannot_be_adjusted_away() -> None:
    """One pull at each place: position and pull are the same thing, so the model has nothing to take out."""
    data = served(tidy(panel(r=1)), np.tile(np.arange(1, 7), (10, 1)))
    found = decide(data, Rule(LOWER.attributes, adjust=("position",)))
    assert (found.verdict, found.reason) == ("cannot tell", "orders")


def test_adjusting_for_position_takes_out_what_the_place_adds() -> None:
    """First serving + 1.5; orders that favour the reference: the plain difference is off, the adjusted one is not."""
    rng = np.random.default_rng(8)
    place = np.array([rng.permutation(6) + 1 for _ in range(40)])
    place[:20] = [6, 2, 3, 4, 5, 1]
    data = served(tidy(panel(seed=9, a=40, r=1, noise=0.3)), place)
    data["score"] += 1.5 * (data["position"] == 1)
    plain, adjusted = (
        decide(data, Rule(LOWER.attributes, adjust=adjust)).attributes["acidity"].pulls[3]
        for adjust in ((), ("position",))
    )
    least_squares = ols("score ~ C(assessor) + C(hours, Treatment(24)) + C(position)", data).fit()
    expected = least_squares.params["C(hours, Treatment(24))[T.12.0]"]
    assert abs(plain.difference) > 0.4
    assert adjusted.difference == pytest.approx(expected, abs=0.03)
    assert adjusted.difference == pytest.approx(0, abs=0.2)


def test_without_places_the_order_is_said_to_be_unknown() -> None:
    """No column position, or an empty one."""
    data = tidy(panel())
    assert "order not recorded" in codes(decide(data, LOWER))
    assert "order not recorded" in codes(decide(data.assign(position=np.nan), LOWER))


# ---- sittings --------------------------------------------------------------------------------------------------------
def disagreeing(seed: int = 3) -> Array:
    """Three sittings whose trays move a pull for everybody by sd .8."""
    rng = np.random.default_rng(seed)
    return panel(seed, sittings=3, r=1) + 0.8 * rng.standard_normal((1, 6, 3, 1))


def test_third_limit_is_the_combination_of_mean_squares() -> None:
    """SE^2 = 2 (v_sh / S + v_ah / a + v_e / (a S)), mean squares from statsmodels' analysis of variance."""
    y = disagreeing()
    pull = decide(tidy(y), Rule(LOWER.attributes, adjust=("sitting:hours",))).attributes["acidity"].pulls[2]
    table = anova_lm(ols("score ~ (C(assessor) + C(hours) + C(sitting)) ** 2", tidy(y)).fit())
    ms, df = table["mean_sq"], table["df"]
    rest, a, S = ms["Residual"], 10, 3
    parts = {
        "sh": (max(ms["C(hours):C(sitting)"] - rest, 0) / a / S, ms["C(hours):C(sitting)"], df["C(hours):C(sitting)"]),
        "ah": (
            max(ms["C(assessor):C(hours)"] - rest, 0) / S / a,
            ms["C(assessor):C(hours)"],
            df["C(assessor):C(hours)"],
        ),
    }
    half = parts["sh"][0] + parts["ah"][0] + rest / (a * S)
    bottom, left = 0.0, 1.0
    for variance, square, free in parts.values():
        if variance > 0:
            bottom += (square / (a * S)) ** 2 / free
            left -= 1
    bottom += (left * rest / (a * S)) ** 2 / df["Residual"]
    free = np.clip(half**2 / bottom, 1, 45)
    assert pull.sitting_upper == pytest.approx(pull.difference + t.ppf(0.95, free) * np.sqrt(2 * half), rel=1e-9)
    assert pull.decisive_upper == max(pull.upper, pull.own_upper, pull.sitting_upper)  # type: ignore[type-var]


def test_sittings_that_disagree_are_named_when_the_f_test_says_so() -> None:
    """Pull x sitting at 5 % by statsmodels' analysis of variance; not said once the rule adjusts for it."""
    said = []
    for seed in range(12):
        y = panel(seed, sittings=2, r=1, noise=1.0) + 0.5 * np.random.default_rng(seed).standard_normal((1, 6, 2, 1))
        table = anova_lm(ols("score ~ (C(assessor) + C(hours) + C(sitting)) ** 2", tidy(y)).fit())
        square, rest = table.loc["C(hours):C(sitting)"], table.loc["Residual"]
        p = fisher.sf(square["mean_sq"] / rest["mean_sq"], square["df"], rest["df"])
        assert ("sittings disagree" in codes(decide(tidy(y), LOWER))) == (p < 0.05)
        assert "sittings disagree" not in codes(decide(tidy(y), Rule(LOWER.attributes, adjust=("sitting:hours",))))
        said.append(p < 0.05)
    assert any(said)
    assert not all(said)


def test_one_missing_mark_hardly_moves_the_third_limit() -> None:
    """A gap is filled by additive expectation and costs one of the df of the rest."""
    y = disagreeing()
    rule = Rule(LOWER.attributes, adjust=("sitting:hours",))
    whole = decide(tidy(y), rule).attributes["acidity"].pulls[2]
    y[4, 1, 0, 0] = np.nan
    gap = decide(tidy(y), rule).attributes["acidity"].pulls[2]
    assert gap.sitting_upper == pytest.approx(whole.sitting_upper, abs=0.05)
    assert gap.sitting_upper != whole.sitting_upper


def test_one_sitting_holds_only_as_prepared() -> None:
    """Said when the one sitting is recorded."""
    assert "as prepared for this sitting" in codes(decide(tidy(panel()), LOWER))
    assert "as prepared for this sitting" not in codes(decide(tidy(panel(sittings=2, r=1)), LOWER))


def test_next_sitting_with_some_pulls_only_is_used() -> None:
    """The second sitting leaves out two pulls; every score counts, none of the limits is lost."""
    y = panel(sittings=2, r=2, noise=1.0)
    y[:, [1, 4], 1] = np.nan
    found = decide(tidy(y), Rule(LOWER.attributes, looks=2, look=2, adjust=("sitting:hours",)))
    assert all(pull.sitting_upper is not None for pull in found.attributes["acidity"].pulls[:-1])
    first = decide(tidy(y[:, :, :1]), Rule(LOWER.attributes, looks=2)).attributes["acidity"]
    assert found.attributes["acidity"].pulls[2].se < first.pulls[2].se  # type: ignore[operator]


# ---- people ----------------------------------------------------------------------------------------------------------
def test_who_still_notices_is_counted_at_level_over_assessors() -> None:
    """Ten assessors x three marks: the limit of one person is their difference less t(df of replicates, 1 - .05 / 10)
    residual errors, compared with the margin on both sides of the threshold."""
    y = panel(noise=0.3, r=3)
    means = y.mean((2, 3))
    rest = np.sqrt(((y - y.mean(3, keepdims=True)) ** 2).sum() / 120)
    needed = 1.0 + t.ppf(1 - 0.05 / 10, 120) * rest * np.sqrt(2 / 3)
    for shift, count in ((needed + 0.01, 1), (needed - 0.01, 0)):
        moved = y.copy()
        moved[0, 2] += shift - (means[0, 2] - means[0, 5])
        found = [w.values["count"] for w in decide(tidy(moved), LOWER).warnings if w.code == "someone still notices"]
        assert found == ([1] if count else [])


def test_scales_stretched_more_than_threefold_are_named() -> None:
    """Gains .5 and 1.6 are 3.2 apart, .55 and 1.6 are not 3 apart."""
    deviation = np.array([3.5, 2.0, 0.2, 0.0, 0.0, 0.0])
    for lowest, said in ((0.5, True), (0.56, False)):
        gains = np.array([lowest, 1.6, *np.full(10, (12 - lowest - 1.6) / 10)])
        y = 3.5 + gains[:, None, None, None] * deviation[:, None, None] + np.array([0.01, -0.01])
        y = y + 0.001 * np.random.default_rng(1).standard_normal(y.shape)
        assert ("scales stretched" in codes(decide(tidy(y), LOWER))) is said


def test_a_flat_attribute_has_no_gains_to_compare() -> None:
    """Slopes on nothing are noise, so nobody is said to stretch a scale."""
    y = panel(mean=np.full(6, 3.5), noise=1.0)
    assert f_oneway(*y.mean((2, 3)).T).pvalue > 0.05
    assert "scales stretched" not in codes(decide(tidy(y), LOWER))


# ---- descriptions ----------------------------------------------------------------------------------------------------
def test_leaving_one_out_is_the_verdict_without_that_person() -> None:
    """Each entry equals a decision on the other assessors' rows."""
    data = tidy(panel(noise=1.0))
    found = describe(data, LOWER).without
    assert set(found) == {str(i) for i in range(10)}
    for name, answer in found.items():
        other = decide(data[data["assessor"].astype(str) != name], LOWER)
        assert (answer.verdict, answer.hours) == (other.verdict, other.hours)


def test_the_tukey_habit_agrees_with_scipy_on_one_mark_a_cell() -> None:
    """With assessors' levels taken out, only the error df differ: compared where neither is near its limit."""
    rng = np.random.default_rng(2)
    cells = 3.5 + np.array([4.0, 3.0, 0.1, 0.0, 0.0, 0.0]) + 0.3 * rng.standard_normal((12, 6))
    cells -= cells.mean(1, keepdims=True)
    p = tukey_hsd(*cells.T).pvalue[:, 5]
    expected = int(np.argmax(p[:5] > 0.05))
    assert habit_rules(cells[None])[1][0] == expected == 2


def test_a_habit_reads_the_assessors_who_scored_every_pull() -> None:
    """One hole takes one person out of the paired comparison; a pull scored by one alone leaves no habit to tell."""
    data = tidy(panel(noise=1.0))
    hole = data[~((data["assessor"] == 0) & (data["hours"] == 4))]
    assert habit(hole, "acidity") == habit(data[data["assessor"] != 0], "acidity")
    assert habit(data[(data["assessor"] == 0) | (data["hours"] != 4)], "acidity") is None


# ---- refusals --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("change", "rule", "says"),
    [
        (lambda d: d.drop(columns="hours"), LOWER, "column 'hours' is missing"),
        (lambda d: d.assign(hours=-1.0), LOWER, r"hours: .*0 or more, got -1"),
        (lambda d: d.assign(hours=np.inf), LOWER, "hours: every pull needs a finite number"),
        (lambda d: d.assign(hours="late"), LOWER, "hours: .*late"),
        (lambda d: d[d["hours"] == 24], LOWER, "at least two pulls"),
        (lambda d: d.assign(score=np.inf), LOWER, "score: every score must be a finite number"),
        (lambda d: d.assign(score=np.nan), LOWER, "no attribute 'acidity'"),
        (lambda d: d.assign(assessor=np.where(d["assessor"] == 1, np.nan, d["assessor"])), LOWER, "assessor: every"),
        (lambda d: d.assign(sitting=np.nan), LOWER, "sitting: every score needs its sitting"),
        (lambda d: d, Rule(LOWER.attributes, adjust=("position",)), "'position' needs a column 'position'"),
        (
            lambda d: d.drop(columns="sitting"),
            Rule(LOWER.attributes, adjust=("sitting:hours",)),
            "'sitting:hours' needs a column 'sitting'",
        ),
        (lambda d: d.assign(replicate=1), LOWER, "two scores for one serving"),
    ],
)
def test_scores_that_do_not_fit_are_refused_with_what_and_where(change, rule: Rule, says: str) -> None:  # type: ignore[no-untyped-def]
    """Argument, rule and value stand in the text."""
    with pytest.raises(ValueError, match=says):
        decide(change(tidy(panel())), rule)


def test_a_deciding_attribute_must_be_scored_at_every_pull() -> None:
    """The pulls without a score are named."""
    both = pd.concat([tidy(panel()), tidy(panel(), "cacao").query("hours != 8")])
    rule = Rule({**LOWER.attributes, "cacao": AttributeRule("higher", 1.0)})
    with pytest.raises(ValueError, match=r"attributes.cacao: no score at the pulls \[8.0\]"):
        decide(both, rule)


# ---- laws ------------------------------------------------------------------------------------------------------------
@st.composite
def studies(draw: st.DrawFn) -> tuple[pd.DataFrame, Rule]:
    """Small studies of one to three attributes with any wish, perhaps with gaps, limits and whole numbers."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    wishes, frames = {}, []
    for name in draw(st.sampled_from([("acidity",), ("acidity", "cacao"), ("acidity", "cacao", "colour")])):
        start, noise = draw(st.sampled_from([-3.0, 0.0, 4.0])), draw(st.sampled_from([0.2, 0.6, 1.5]))
        y = 4 + start * np.exp(-HOURS / draw(st.floats(1, 12)))
        scores = y[:, None, None] + noise * rng.standard_normal((7, 6, 1, 2))
        frames.append(tidy(np.round(scores) if draw(st.booleans()) else scores, name))
        limit = draw(st.sampled_from([None, None, 3.5, 4.5]))
        wishes[name] = AttributeRule(draw(st.sampled_from(["lower", "higher", "same"])), draw(st.floats(0.4, 2)), limit)
    data = pd.concat(frames, ignore_index=True)
    lost = rng.choice(len(data), draw(st.sampled_from([0, 0, 4])), replace=False)
    return data.drop(lost), Rule(wishes, looks=draw(st.integers(1, 4)))


@settings(max_examples=60, deadline=None)
@given(studies())
def test_verdict_limits_and_flags_never_contradict_each_other(study: tuple[pd.DataFrame, Rule]) -> None:
    """One verdict; every flag follows from the limits printed beside it; the verdict follows from the flags."""
    found = decide(*study)
    hours, passes = list(found.passes), list(found.passes.values())
    shortest = next((h for i, h in enumerate(hours) if all(passes[i:])), None)
    for result in found.attributes.values():
        for pull in result.pulls[:-1]:
            low, high, margin = pull.decisive_lower, pull.decisive_upper, result.rule.margin
            assert low is not None
            assert high is not None
            assert pull.within_margin == (high < margin and (result.rule.wanted != "same" or low > -margin))
            assert not (pull.within_margin and low >= margin)
            if pull.shown_to_fail and result.rule.limit is None and result.rule.wanted == "same":
                assert low >= margin or high <= -margin
    for i, hour in enumerate(hours):
        each = [result.pulls[i] for result in found.attributes.values()]
        judged = all(result.judged for result in found.attributes.values())
        assert found.passes[hour] == (judged and all(p.within_margin and p.within_limit is not False for p in each))
    assert (found.hours is not None) == (found.verdict == "stop")
    if found.verdict == "stop":
        assert found.hours == shortest != hours[-1]
        assert found.control_found
        assert found.latest_hours is None or found.latest_hours >= found.hours
    if found.verdict == "conche longer":
        assert found.control_found
        assert shortest in (None, hours[-1])
        assert found.improving
        assert not found.not_held
    if found.verdict == "no hour fits":
        assert set(found.fails_on) == set(hours)
        assert found.control_found


@settings(max_examples=30, deadline=None)
@given(studies(), st.floats(1.0, 3.0), st.randoms(use_true_random=False))
def test_names_orders_shifts_and_wider_margins(study: tuple[pd.DataFrame, Rule], factor: float, chance: Random) -> None:
    """Other names, another order of rows and another zero change no verdict; a wider margin never loses a pull."""
    data, rule = study
    rule = Rule({name: AttributeRule(wish.wanted, wish.margin) for name, wish in rule.attributes.items()})
    first = decide(data, rule)
    names = chance.sample(range(100, 200), 7)
    other = data.assign(assessor=data["assessor"].map(lambda i: f"p{names[i]}"), score=data["score"] + 32.0)
    again = decide(other.sample(frac=1, random_state=chance.randrange(2**31)), rule)
    assert (again.verdict, again.hours, again.passes) == (first.verdict, first.hours, first.passes)
    wider = decide(data, Rule({n: AttributeRule(w.wanted, w.margin * factor) for n, w in rule.attributes.items()}))
    assert all(wider.passes[hour] for hour, passes in first.passes.items() if passes)


@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_a_batch_is_judged_as_its_studies_one_by_one(missing: float) -> None:
    """Forty simulated studies of two attributes at once, and each alone through `decide`."""
    rng = np.random.default_rng(6)
    wishes = {"acidity": AttributeRule("lower", 1.0, 5.0), "cacao": AttributeRule("higher", 1.2)}
    courses = {"acidity": 3.5 + 3.5 * np.exp(-HOURS / 4), "cacao": 5.5 - HOURS / 40}
    y = {name: mean[:, None] + 0.9 * rng.standard_normal((40, 8, 6, 2)) for name, mean in courses.items()}
    for scores in y.values():
        lost = rng.random(scores.shape) < missing
        lost[..., 0] = False
        scores[lost] = np.nan
    together = judge({name: batch_of(scores) for name, scores in y.items()}, wishes, 0.05)
    for row in range(40):
        data = pd.concat([tidy(scores[row][:, :, None], name) for name, scores in y.items()])
        alone = decide(data, Rule(wishes))
        assert VERDICTS[together.verdict[row]] == alone.verdict
        assert list(alone.passes.values()) == together.passes[row].tolist()
    assert len(set(together.verdict.tolist())) > 1


def batch_of(y: Array) -> Cells:
    """Cells of scores (studies, assessors, pulls, replicates), NaN missing."""
    counts, sums = np.isfinite(y).sum(3).astype(float), np.nansum(y, 3)
    within = np.nansum((y - (sums / counts)[..., None]) ** 2, (1, 2, 3))
    return Cells(counts, sums, within)
