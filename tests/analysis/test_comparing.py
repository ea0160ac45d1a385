"""Comparisons of makes: published worked examples, reference programs, and answers made apart."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.weightstats import ttost_ind, ttost_paired

from analysis.comparing import MakeClaim, MakeRule, compare, holm
from analysis.comparing.chances import MakeDesign, MakeTruth, outcomes
from analysis.comparing.claims import chance
from analysis.comparing.confounders import likeness
from analysis.comparing.deciding import weigh
from analysis.comparing.price import price
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw

REFERENCE = Path(__file__).parents[1] / "reference"
MADE = json.loads((REFERENCE / "14_makes.json").read_text(encoding="utf-8"))
LOWER = MakeClaim("lower", 1.0)


def tidy(y: np.ndarray[Any, Any], pieces: str, attribute: str = "acidity") -> pd.DataFrame:
    """Scores (assessors, pieces, servings) as rows."""
    rows = [
        (f"P{person}", pieces[piece], attribute, float(score), serving + 1)
        for (person, piece, serving), score in np.ndenumerate(y)
    ]
    return pd.DataFrame(rows, columns=["assessor", "make", "attribute", "score", "replicate"])


def drawn(makes: tuple[float, ...], seed: int = 1, people: int = 8, servings: int = 2) -> pd.DataFrame:
    """Control Z, makes B, C, ... and reference A, drawn with the means given."""
    truth = AttributeTruth((6.5, *(3.5 + worse for worse in makes), 3.5))
    scenario = Scenario(tuple(map(float, range(len(makes) + 2))), {"acidity": truth})
    y = draw(scenario, Design(people, servings), 1, 1, np.random.default_rng(seed))["acidity"]
    return tidy(y[0, :, :, 0], "Z" + "BCD"[: len(makes)] + "A")


# ---- worked examples -------------------------------------------------------------------------------------------------
def made() -> pd.DataFrame:
    """The constructed comparison: A the reference, B, C, the control Z."""
    names = ("first", "second", "third")
    parts = [tidy(np.array(own), "ABCZ", name) for name, own in zip(names, MADE["makes"]["scores"], strict=True)]
    return pd.concat(parts, ignore_index=True)


def made_rule() -> MakeRule:
    claims = zip(("first", "second", "third"), MADE["makes"]["margins"], MADE["makes"]["claims"], strict=True)
    return MakeRule("A", {name: MakeClaim("lower", margin, claim) for name, margin, claim in claims}, "Z")


def test_the_constructed_comparison_is_answered_as_other_code_did() -> None:
    """tests/reference/14_makes.json: differences, both errors, chances of each claim, of each make, and Holm's."""
    found, answers = weigh(made(), made_rule()), MADE["makes"]
    for one, wanted in zip(found.judged.attributes.values(), answers["attributes"], strict=True):
        np.testing.assert_allclose(one.worse.estimate[0, 1:3], wanted["difference"][1:3], atol=1e-5)
        np.testing.assert_allclose(one.worse.panel.se[0, 1:3], wanted["panel_se"], atol=1e-5)
        np.testing.assert_allclose(one.worse.own.se[0, 1:3], wanted["own_se"][1:3], atol=1e-5)
        np.testing.assert_allclose(one.worse.upper(0.05)[0, 1:3], wanted["upper"][1:3], atol=1e-5)
        np.testing.assert_allclose(one.p[0], wanted["p_of_claim"], atol=1e-5)
    np.testing.assert_allclose(found.judged.p[0], answers["p_of_make"], atol=1e-5)
    np.testing.assert_allclose(found.judged.holm[0], answers["holm_adjusted"], atol=1e-5)
    assert [found.judged.verdict[0, make] == 0 for make in (0, 1)] == answers["shown at 5 %"]


def test_batches_of_two_makes_add_their_error() -> None:
    """The same file: difference, own and batch error; the df are Welch's, by hand from the means of the batches."""
    y = np.array(MADE["nested"]["scores"])
    makes = [
        tidy(y[:, [make], batch], "AB"[make]).assign(batch=f"{make}{batch}") for make in (0, 1) for batch in range(3)
    ]
    control = tidy(y[:, [0], 0] + 3, "Z").assign(batch="Z")
    scores = pd.concat([*makes, control], ignore_index=True)
    rule = MakeRule("A", {"acidity": LOWER}, "Z", claim="make", pairs=False)
    found = compare(scores, rule).makes["B"].attributes["acidity"]
    wanted = MADE["nested"]
    assert found.difference == pytest.approx(wanted["difference"], abs=1e-5)
    assert found.own_se == pytest.approx(wanted["own_se"], abs=1e-5)
    parts = [np.var(means, ddof=1) / 3 for means in wanted["batch_means"]]
    assert np.sqrt(sum(parts)) == pytest.approx(wanted["batch_se"], abs=1e-5)
    own, batch = wanted["own_se"] ** 2, sum(parts)
    df = (own + batch) ** 2 / (own**2 / 7 + sum(part**2 for part in parts) / 2)
    reach = stats.t.ppf(0.95, df) * np.sqrt(own + batch)
    assert found.third_upper == pytest.approx(wanted["difference"] + reach, abs=1e-5)
    assert found.upper == found.third_upper > wanted["upper"]  # which pools what the makes do not share


def test_pairs_of_batches_are_compared_pair_by_pair() -> None:
    """By hand: the mean and spread of three differences of cell means, beside the assessors' own, by scipy."""
    rng = np.random.default_rng(4)
    y = rng.normal(4, 1, (8, 3, 3, 2)).round(1)  # assessors, makes, pairs, servings
    y[:, 0] += 3
    parts = [tidy(y[:, :, pair], "ZBA").assign(batch=f"lot {pair}") for pair in range(3)]
    rule = MakeRule("A", {"acidity": LOWER}, "Z", claim="make")
    found = compare(pd.concat(parts, ignore_index=True), rule).makes["B"].attributes["acidity"]
    d = (y[:, 1] - y[:, 2]).mean((0, 2))
    assert found.by_batch == pytest.approx(d)
    own, batch = stats.sem((y[:, 1] - y[:, 2]).mean((1, 2))), stats.sem(d)
    se = np.hypot(own, batch)
    reach = stats.t.ppf(0.95, se**4 / (own**4 / 7 + batch**4 / 2)) * se
    assert (found.third_lower, found.third_upper) == pytest.approx((d.mean() - reach, d.mean() + reach))


CLINIC = pd.read_csv(REFERENCE / "08b_tost_raw_clinic.csv")
# statsmodels' tests (test_tost.py), made with R's package equivalence: 90 % limits and p, margin 0.6, of both columns.
PUBLISHED = {"var2": (0.1261653, 0.9991680, 0.4412034), "var1": (-0.0744337, 0.4037669, 0.0031669)}


@pytest.mark.parametrize("column", PUBLISHED)
def test_a_published_equivalence_test_of_pairs_comes_out_again(column: str) -> None:
    """The first fifteen rows against the last fifteen, as pairs: the own error is the paired test's."""
    first, second = (CLINIC.loc[CLINIC["group"] == group, column].to_numpy() for group in (1, 2))
    control = second + 4 + np.linspace(-1, 1, 15)
    scores = tidy(np.stack([control, first, second], 1)[..., None], "ZBA", "score")
    rule = MakeRule("A", {"score": MakeClaim("same", 0.6, "same")}, "Z")
    one = weigh(scores, rule).judged.attributes["score"].worse.of([1])
    low, high, p = PUBLISHED[column]
    reach = one.own.reach(0.05)[0, 0]
    assert (one.estimate[0, 0] - reach, one.estimate[0, 0] + reach) == pytest.approx((low, high), abs=1e-6)
    alone = chance(replace(one, panel=one.own), rule.attributes["score"])[0, 0]
    assert alone == pytest.approx(p, abs=1e-6)
    assert alone == pytest.approx(ttost_paired(first, second, -0.6, 0.6)[0], abs=1e-9)


def test_the_panel_error_is_that_of_statsmodels() -> None:
    """MixedLM by REML, assessor and assessor:make as variance components, of complete scores."""
    scores = drawn((0.4,), seed=3)
    model = MixedLM.from_formula(
        "score ~ C(make, Treatment('A'))",
        scores,
        groups=np.ones(len(scores)),
        vc_formula={"person": "0 + C(assessor)", "cell": "0 + C(assessor):C(make)"},
    )
    fit = model.fit(reml=True, method="lbfgs", maxiter=2000)
    found = compare(scores, MakeRule("A", {"acidity": LOWER}, "Z")).makes["B"].attributes["acidity"]
    name = "C(make, Treatment('A'))[T.B]"
    assert found.difference == pytest.approx(fit.params[name], abs=1e-4)
    assert found.panel_se == pytest.approx(fit.bse[name], rel=2e-3)


def test_holm_is_that_of_statsmodels() -> None:
    """multipletests, of many chances at once, some alike."""
    p = np.random.default_rng(1).random((12, 3)) ** 2
    p[:4, 1] = p[:4, 0]
    adjusted, steps = holm(p)
    for row, own in zip(p, adjusted, strict=True):
        np.testing.assert_allclose(own, multipletests(row, method="holm")[1])
    assert sorted(steps[9]) == [1, 2, 3]


# ---- what belongs to a verdict ---------------------------------------------------------------------------------------
def test_picture_and_verdict_agree() -> None:
    """A claim is shown exactly where its decisive limit ends inside, at the level of its own step of Holm."""
    seen = set()
    for seed in range(12):
        found = compare(drawn((0.0, 0.6), seed), MakeRule("A", {"acidity": LOWER}, "Z"))
        for make in found.makes.values():
            one = make.attributes["acidity"]
            assert one.upper is not None
            assert (one.upper < 1.0) == (make.verdict == "shown") == one.shown
            seen.add(make.level)
    assert seen == {0.05, 0.025}


def test_each_verdict_and_reason() -> None:
    """Far apart, alike, and a panel that does not tell the control."""
    rule = MakeRule("A", {"acidity": LOWER}, "Z")
    found = compare(drawn((-1.5, 3.5)), rule)
    assert [make.verdict for make in found.makes.values()] == ["shown", "not good enough"]
    assert found.makes["C"].fails_on == ("acidity",)
    scores = drawn((0.0,))
    asleep = compare(scores.assign(make=scores["make"].map({"Z": "B", "B": "Z", "A": "A"})), rule)
    assert (asleep.reason, asleep.makes["B"].verdict) == ("control not found", "cannot tell")
    better = MakeRule("A", {"acidity": MakeClaim("lower", 1.0, "better")})
    two = scores[scores["make"] != "Z"].assign(score=lambda t: t["score"] - 2.5 * (t["make"] == "B"))
    assert compare(two, better).makes["B"].verdict == "shown"


def test_a_limit_on_the_mean_belongs_to_the_claim() -> None:
    """A make within its margin and above its limit is not shown; far above it is shown to fail."""
    scores = drawn((0.0,), people=12, servings=4)
    at = {limit: compare(scores, MakeRule("A", {"acidity": replace(LOWER, limit=limit)}, "Z")) for limit in (2, 3.6, 9)}
    assert [one.makes["B"].verdict for one in at.values()] == ["not good enough", "cannot tell", "shown"]
    assert [one.makes["B"].attributes["acidity"].within_limit for one in at.values()] == [False, False, True]


def test_order_and_names_of_makes_change_no_number() -> None:
    """Rows turned round and makes named otherwise: the same chances."""
    scores = drawn((0.2, 0.5))
    rule = MakeRule("A", {"acidity": LOWER}, "Z")
    renamed = {"A": "old", "B": "x", "C": "c", "Z": "y"}
    other = scores.sample(frac=1, random_state=1).assign(make=lambda t: t["make"].map(renamed))
    one, two = compare(scores, rule), compare(other, replace(rule, reference="old", control="y"))
    assert one.makes["B"].p == pytest.approx(two.makes["x"].p, rel=1e-12)
    assert one.makes["C"].p_holm == pytest.approx(two.makes["c"].p_holm, rel=1e-12)


REFUSED: tuple[tuple[dict[str, Any], str], ...] = (
    ({"control": None}, "control: a piece known to differ"),
    ({"control": "A"}, "is the reference"),
    ({"attributes": {"acidity": MakeClaim("same", 1.0)}}, "can only be same"),
    ({"attributes": {"acidity": MakeClaim("lower", 0.0)}}, "margin must be above 0"),
    ({"claim": "make", "looks": 2}, "read once"),
    ({"claim": "make"}, "needs 3 batches"),
    ({"reference": "Q"}, "no score of 'Q'"),
    ({"faster": "sweetness"}, "names a deciding attribute"),
)


@pytest.mark.parametrize(("change", "sentence"), REFUSED)
def test_what_cannot_be_decided_is_refused(change: dict[str, Any], sentence: str) -> None:
    """Each with its reason."""
    with pytest.raises(ValueError, match=sentence):
        compare(drawn((0.0,)), replace(MakeRule("A", {"acidity": LOWER}, "Z"), **change))


def test_several_batches_without_a_claim_on_the_make_are_refused() -> None:
    """Their mean would hide one that is worse."""
    scores = drawn((0.0,))
    with pytest.raises(ValueError, match="tasted from 2 batches"):
        compare(scores.assign(batch=scores["replicate"].astype(str)), MakeRule("A", {"acidity": LOWER}, "Z"))


# ---- what else differed ----------------------------------------------------------------------------------------------
def test_a_published_equivalence_test_of_two_groups_comes_out_again() -> None:
    """statsmodels' test_tost.py, from R's equivalence: pooled 90 % limits of var1, df 28; p by ttost_ind."""
    first, second = (CLINIC.loc[CLINIC["group"] == group, "var1"].to_numpy() for group in (1, 2))
    found = likeness({"A": second, "B": first}, "A", 0.6)["B"]
    assert (found.low, found.high) == pytest.approx((-0.2659961, 0.5953293), abs=1e-6)
    assert found.answer == "matched"
    assert ttost_ind(first, second, -0.6, 0.6)[0] < 0.05


def test_differs_needs_proof_and_missing_readings_are_said() -> None:
    """By scipy's two-sided t test: 4 % of fat apart is proof, a little is none, one reading tells no spread."""
    fat = {"A": [30.0, 30.1, 29.9], "B": [34.0, 34.1, 33.9], "C": [30.1, 30.0, 29.9], "D": ()}
    found = likeness(fat, "A", 0.5)
    assert [found[make].answer for make in "BCD"] == ["differs", "matched", "not recorded"]
    assert stats.ttest_ind(fat["A"], fat["B"]).pvalue < 0.05
    assert likeness({"A": [30.0], "B": [30.0]}, "A", 0.5)["B"].answer == "not shown to match"
    assert likeness({"A": [30.0, 31.0], "B": [30.2, 30.9]}, "A", 0.5)["B"].answer == "not shown to match"


@pytest.mark.simulation
@pytest.mark.parametrize(("tolerance", "apart", "matched"), [(3.0, 0.0, 82.0), (2.0, 0.0, 38.0), (3.0, 3.0, 5.0)])
def test_how_often_equal_makes_are_matched(
    tolerance: float, apart: float, matched: float, draws: Callable[[int, int], int]
) -> None:
    """Three readings each, tolerance in sd of a reading: shares simulated when the rule was specified."""
    count, rng = draws(1500, 20_000), np.random.default_rng(5)
    y = rng.standard_normal((count, 2, 3)) + np.array([0.0, apart])[:, None]
    share = np.mean([likeness({"A": a, "B": b}, "A", tolerance)["B"].answer == "matched" for a, b in y])
    assert 100 * share == pytest.approx(matched, abs=0.7 + 400 * np.sqrt(0.25 / count))


# ---- simulated studies -----------------------------------------------------------------------------------------------
# What scores may do beside the plain case: the truth of a study at the margin, in every cell of which at most 4 in 100
# were shown when the rule was specified, and 5 are promised.
AWKWARD = {
    "plain": AttributeTruth((0.0, 0.0)),
    "whole numbers": AttributeTruth((0.0, 0.0), rounded=True),
    "scales stretched": AttributeTruth((0.0, 0.0), scale_use=0.35),
    "days": AttributeTruth((0.0, 0.0), sitting=0.3),
}


@pytest.mark.simulation
@pytest.mark.parametrize("name", AWKWARD)
@pytest.mark.parametrize(("people", "makes"), [(8, 1), (6, 3)])
def test_a_false_claim_stays_rare(name: str, people: int, makes: int, draws: Callable[[int, int], int]) -> None:
    """Every make exactly at its margin; five in 100, and three Monte Carlo errors."""
    studies = draws(500, 20_000)
    rule = MakeRule("A", {"x": LOWER}, "Z")
    truths = {"x": MakeTruth((1.0,) * makes, AWKWARD[name])}
    found = outcomes(rule, truths, MakeDesign(people), studies, 3)
    assert found.any_shown < 0.05 + 3 * np.sqrt(0.05 * 0.95 / studies)


# ---- less time -------------------------------------------------------------------------------------------------------
def pairs_of_hours(studies: int, people: int, short: float, fast: float) -> Iterator[pd.DataFrame]:
    """A at 16 h, A at 8 h worse by `short`, B at 8 h worse by `fast`."""
    scenario = Scenario((0.0, 1.0, 2.0), {"x": AttributeTruth((3.5 + short, 3.5 + fast, 3.5))})
    y = draw(scenario, Design(people, 2), 1, studies, np.random.default_rng(7))["x"]
    for own in y[:, :, :, 0]:
        yield tidy(own, "SBA", "x")


FASTER = MakeRule("A", {"x": LOWER}, "S", faster="x")


@pytest.mark.simulation
def test_less_time_is_shown_as_often_as_specified_and_not_of_machines_alike(draws: Callable[[int, int], int]) -> None:
    """8 people, two servings: A worse by 1.5 in the short time 57 in 100, less 1 to 4 for the third statement; two
    machines alike, however much is lost in the short time, at most 3.9."""
    studies = draws(60, 2000)
    error = 400 * np.sqrt(0.25 / studies)

    def shown(short: float, fast: float) -> float:
        found = [compare(one, FASTER).faster for one in pairs_of_hours(studies, 8, short, fast)]
        return 100 * float(np.mean([one is not None and one.shown["B"] for one in found]))

    assert 57 - 6 - error < shown(1.5, 0.0) < 57 + error
    assert shown(1.5, 1.5) <= 3.9 + error / 2
    assert shown(0.7, 0.7) <= 3.9 + error / 2


def test_less_time_needs_all_three_statements() -> None:
    """Two machines alike: B is no worse than A in the long time, or A is worse in the short, but B is not better."""
    (one,) = pairs_of_hours(1, 20, 4.0, 0.0)
    found = compare(one, FASTER).faster
    assert found is not None
    assert (found.shown["B"], found.slower_shown, found.better_shown["B"]) == (True, True, True)
    (alike,) = pairs_of_hours(1, 20, 4.0, 4.0)
    other = compare(alike, FASTER).faster
    assert other is not None
    assert (other.shown["B"], other.slower_shown, other.better_shown["B"]) == (False, True, False)


# ---- the price of an answer ------------------------------------------------------------------------------------------
def test_a_price_is_told_of_open_makes_alone_and_is_rather_low() -> None:
    """More sittings settle more; no more than half is told of one study; none where all is answered."""
    rule = MakeRule("A", {"acidity": LOWER}, "Z", looks=2)
    scores = next(one for one in (drawn((0.3,), seed) for seed in range(9)) if compare(one, rule).open_makes == ("B",))
    once, twice = price(scores, rule, draws=600)
    assert 0 < once.settles["B"] < twice.settles["B"] + 3 * twice.monte_carlo_se
    assert once.told["B"] <= min(0.5, once.settles["B"])
    assert price(drawn((-2.0,)), rule) == ()


@pytest.mark.simulation
def test_what_is_told_of_a_price_comes(draws: Callable[[int, int], int]) -> None:
    """Of undecided studies at least about as many settle with one more sitting as were told."""
    rule = MakeRule("A", {"acidity": LOWER}, "Z", looks=2)
    truth = AttributeTruth((6.5, 3.8, 3.5))
    scenario = Scenario((0.0, 1.0, 2.0), {"acidity": truth})
    y = draw(scenario, Design(8, 1, 2), 2, draws(60, 600), np.random.default_rng(2))["acidity"]
    told, came = [], []
    for own in y:
        before = tidy(own[:, :, :1].transpose(0, 1, 3, 2).reshape(8, 3, -1), "ZBA")
        offers = price(before, rule, (1,), draws=200)
        if offers:
            told.append(offers[0].told["B"])
            later = tidy(own.transpose(0, 1, 3, 2).reshape(8, 3, -1), "ZBA")
            came.append(compare(later, replace(rule, look=2)).makes["B"].verdict != "cannot tell")
    assert np.mean(told) <= np.mean(came) + 0.05 + 2 * np.std(came) / np.sqrt(len(came))
