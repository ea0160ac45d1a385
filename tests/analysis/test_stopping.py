"""The stop rule against published worked examples, reference fits and other libraries."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import t
from statsmodels.stats.weightstats import ttost_paired

from analysis.model.cells import Cells
from analysis.planning import price
from analysis.stopping import AttributeRule, Decision, Rule, decide
from analysis.stopping.alpha_spending import level
from analysis.stopping.standard_errors import cluster_robust, fitted, paired

REFERENCE = Path(__file__).parents[1] / "reference"
HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
FLAT = (7.0, 5.0, 3.6, 3.5, 3.5, 3.5)


def panel(
    means: dict[str, tuple[float, ...]], assessors: int = 10, replicates: int = 2, seed: int = 5, noise: float = 0.4
) -> pd.DataFrame:
    """An invented quiet panel: everybody within `noise` units of the means."""
    rng = np.random.default_rng(seed)
    rows = [
        (f"A{i}", h, name, mean[j] + rng.normal(0, noise), 1, r + 1)
        for name, mean in means.items()
        for i in range(assessors)
        for j, h in enumerate(HOURS)
        for r in range(replicates)
    ]
    return pd.DataFrame(rows, columns=["assessor", "hours", "attribute", "score", "sitting", "replicate"])


def verdict(
    means: dict[str, tuple[float, ...]], wanted: str = "lower", limit: float | None = None, **more: float
) -> Decision:
    """The decision on a quiet panel with margin 1."""
    rules = {name: AttributeRule(wanted, 1.0, limit) for name in means}  # type: ignore[arg-type]
    return decide(panel(means, **more), Rule(rules))  # type: ignore[arg-type]


# ---- levels --------------------------------------------------------------------------------------------------------
def test_level_of_each_look_matches_the_pocock_type_table() -> None:
    """One-sided 5 %, 1 to 4 equal looks: .05, .0304, .0232, .0193 (Pocock 1977; values recomputed by integration)."""
    assert_allclose([level(0.05, k) for k in (1, 2, 3, 4)], [0.05, 0.0304, 0.0232, 0.0193], atol=5e-5)


@pytest.mark.parametrize(("alpha", "looks"), [(0.0, 1), (5, 1), (0.05, 0), (0.05, 5)])
def test_impossible_levels_are_refused(alpha: float, looks: int) -> None:
    """The error says which value is wrong."""
    with pytest.raises(ValueError, match=r"alpha|looks"):
        level(alpha, looks)


# ---- own error -----------------------------------------------------------------------------------------------------
def clinic() -> pd.DataFrame:
    """statsmodels' "clinic" data (stats/tests/test_tost.py), 15 persons measured twice, as two pulls."""
    data = pd.read_csv(REFERENCE / "08b_tost_raw_clinic.csv")
    data["assessor"] = (data["id"] - 1) % 15
    data["hours"] = data["group"].map({1.0: 24.0, 2.0: 0.0})
    return data


@pytest.mark.parametrize("variable", ["var1", "var2"])
def test_own_limits_equal_two_one_sided_paired_tests(variable: str) -> None:
    """90 % limits of the paired difference: R's equivalence package as published, statsmodels and pingouin agree."""
    data = clinic()
    tidy = data.assign(attribute="x", score=data[variable])[["assessor", "hours", "attribute", "score"]]
    pull = decide(tidy, Rule({"x": AttributeRule("lower", 0.6)})).attributes["x"].pulls[0]
    table = pd.read_csv(REFERENCE / "08a_tost.csv").query(f"case == 'paired {variable}, margin 0.6'")
    published = table.set_index("quantity")["published"].dropna().astype(float, errors="ignore")
    after, before = (tidy[tidy["hours"] == h].sort_values("assessor")["score"].to_numpy() for h in (24.0, 0.0))
    sign = np.sign(float(published["mean_diff"])) * np.sign(pull.difference)
    limits = sorted([sign * pull.own_lower, sign * pull.own_upper])  # type: ignore[operator]
    assert_allclose(limits, [float(published["ci90_lo"]), float(published["ci90_hi"])], rtol=1e-9)
    p = ttost_paired(before, after, -0.6, 0.6)[0]
    assert (p < 0.05) == (limits[0] > -0.6 and limits[1] < 0.6)
    assert_allclose(p, pingouin.tost(before, after, bound=0.6, paired=True)["pval"].iloc[0], rtol=1e-9)


def test_cluster_robust_error_equals_the_paired_form_on_complete_data() -> None:
    """CR2 with clusters = assessors is the paired t on complete data (Pustejovsky & Tipton 2018, from memory)."""
    rng = np.random.default_rng(1)
    y = rng.normal(0, 1, (3, 8, 6, 2)) + rng.normal(0, 1, (3, 8, 1, 1)) + rng.normal(0, 0.5, (3, 8, 6, 1))
    cells = Cells(np.full((3, 8, 6), 2.0), y.sum(3), ((y - y.mean(3, keepdims=True)) ** 2).sum((1, 2, 3)))
    weights = (np.eye(6) - np.eye(6)[5])[:5]
    robust, own = cluster_robust(cells, fitted(cells).fits, weights), paired(cells, fitted(cells).fits.means, weights)
    assert_allclose(robust.se, own.se, rtol=1e-12)
    assert_allclose(robust.df, own.df, rtol=1e-10)


# ---- panel error ---------------------------------------------------------------------------------------------------
def reference_panel(name: str) -> tuple[pd.DataFrame, dict[str, dict[str, list[float]]]]:
    """A data set and its fit by R 4.2.2, lme4 1.1-31, lmerTest 3.1-3, emmeans 1.8.4."""
    fits = json.loads((REFERENCE / "lmertest_reference.json").read_text())
    data = pd.read_csv(REFERENCE / f"{name}.csv")
    return data.assign(attribute="score_of"), fits[name]


@pytest.mark.parametrize(
    ("name", "adjust"), [("panel_incomplete", ()), ("panel_zero_interaction", ()), ("panel_sittings", ("sitting",))]
)
def test_panel_error_is_that_of_the_reference_fits(name: str, adjust: tuple[str, ...]) -> None:
    """Differences, SE and plain Satterthwaite df of lmerTest; the limit uses the smaller of it and the containment."""
    data, expected = reference_panel(name)
    columns = ["assessor", "hours", "attribute", "score", *(["sitting"] if "sitting" in data else [])]
    result = decide(data[columns], Rule({"score_of": AttributeRule("lower", 1.0)}, adjust=adjust)).attributes[
        "score_of"
    ]
    pulls = result.pulls[:-1]
    assert_allclose([p.difference for p in pulls], expected["contrasts"]["estimate"], atol=1e-6)
    assert_allclose([p.se for p in pulls], expected["contrasts"]["se"], rtol=1e-5)
    assert_allclose([p.df for p in pulls], expected["contrasts"]["df"], rtol=1e-5)
    assert_allclose(result.anova.f, expected["anova"]["f"], rtol=1e-5)  # type: ignore[call-overload]
    if name == "panel_zero_interaction":
        plain = np.array(expected["contrasts"]["upper90"])
        assert (np.array([p.upper for p in pulls]) > plain).all()


def test_wine_judges_as_a_panel_whose_products_are_pulls() -> None:
    """Nine judges, four wines twice (Randall 1989), the last level as reference: df capped at containment."""
    fits = json.loads((REFERENCE / "lmertest_reference.json").read_text())
    expected = fits["wine"]
    wine = pd.read_csv(REFERENCE / "wine.csv").rename(columns={"judge": "assessor", "response": "score"})
    levels = {name: float(i) for i, name in enumerate(expected["means"]["level"])}
    data = wine.assign(hours=wine["product"].map(levels), attribute="bitterness")
    result = decide(
        data[["assessor", "hours", "attribute", "score"]], Rule({"bitterness": AttributeRule("lower", 10.0)})
    )
    pulls = result.attributes["bitterness"].pulls
    assert_allclose([p.mean for p in pulls], expected["means"]["mean"], atol=1e-6)
    assert_allclose([p.difference for p in pulls[:-1]], expected["contrasts"]["estimate"], atol=1e-6)
    assert_allclose([p.se for p in pulls[:-1]], expected["contrasts"]["se"], rtol=1e-5)
    assert_allclose([p.df for p in pulls[:-1]], expected["contrasts"]["df"], rtol=1e-5)
    half = t.ppf(0.95, np.minimum(expected["contrasts"]["df"], 24)) * np.array(expected["contrasts"]["se"])
    upper = np.array(expected["contrasts"]["estimate"]) + half
    assert_allclose([p.upper for p in pulls[:-1]], upper, atol=1e-4)


# ---- the verdict table, one branch each ------------------------------------------------------------------------------
def test_stop_at_the_shortest_pull_that_passes_with_all_longer_ones() -> None:
    """Two attributes: the later one binds."""
    found = verdict({"acidity": FLAT, "bitterness": (6.0, 3.5, 3.5, 3.5, 3.5, 3.5)})
    assert (found.verdict, found.hours, found.binding) == ("stop", 8.0, "acidity")
    assert found.control_found
    assert found.passes == {0.0: False, 4.0: False, 8.0: True, 12.0: True, 16.0: True, 24.0: True}


def test_conche_longer_while_the_last_step_still_improves() -> None:
    """The last but one pull is worse, and nothing shorter passes."""
    assert verdict({"acidity": (9.0, 8.0, 7.0, 6.5, 5.5, 3.5)}).verdict == "conche longer"


def test_no_hour_fits_when_every_pull_breaks_the_limit() -> None:
    """The mean stays above the limit at every pull."""
    found = verdict({"acidity": FLAT}, limit=2.0)
    assert (found.verdict, found.reason) == ("no hour fits", "every pull fails")
    assert set(found.fails_on) == set(HOURS)


def test_an_empty_window_is_told_when_every_pull_is_shown_to_fail_by_itself() -> None:
    """Acidity keeps its limit from 12 h on, the wanted note is gone after 4 h: shown past from 8 h on, and the limit
    broken before. The margin against a reference that is itself past its best fails nobody."""
    data = panel({"acidity": (8.0, 7.0, 6.0, 3.5, 3.5, 3.5), "cacao": (8.0, 8.0, 3.0, 3.0, 3.0, 3.0)})
    wishes = {"acidity": AttributeRule("lower", 1.0, 5.0), "cacao": AttributeRule("higher", 1.0)}
    found = decide(data, Rule(wishes))
    assert (found.verdict, found.reason) == ("no hour fits", "every pull fails")
    assert found.fails_on[0.0] == ("acidity",)
    assert found.fails_on[12.0] == found.fails_on[24.0] == ("cacao",)
    unlimited = decide(data, Rule({**wishes, "acidity": AttributeRule("lower", 1.0)}))
    assert (unlimited.verdict, unlimited.reason) == ("cannot tell", "window")
    assert unlimited.unfailed == (0.0, 4.0)
    assert unlimited.not_inside == ("cacao",)


def test_a_reference_that_fails_leaves_the_pulls_that_do_not() -> None:
    """Smoke comes back in the last hours and breaks its limit there: 4 and 8 h fail on nothing and are named."""
    data = panel({"acidity": FLAT, "smoke": (0.5, 0.5, 0.5, 2.5, 4.5, 6.0)})
    found = decide(data, Rule({"acidity": AttributeRule("lower", 1.0, 5.0), "smoke": AttributeRule("lower", 1.0, 3.4)}))
    assert (found.verdict, found.reason, found.latest_hours) == ("cannot tell", "reference fails", None)
    assert found.fails_on[24.0] == ("smoke",)
    assert found.unfailed == (4.0, 8.0)


def test_a_better_hour_short_of_the_reference_forbids_a_stop_before_it() -> None:
    """7, 4.5, 2, 2, 3, 4.5: 4 h is as good as 24 h, and 8 h is better than both."""
    found = verdict({"acidity": (7.0, 4.5, 2.0, 2.0, 3.0, 4.5)})
    assert (found.verdict, found.reason, found.shortest_hours) == ("cannot tell", "better hours", 4.0)
    assert found.better == {8.0: ("acidity",), 12.0: ("acidity",), 16.0: ("acidity",)}


def test_a_note_wanted_lower_that_has_grown_forbids_the_stop() -> None:
    """Bitterness is down from 8 h on; a cooked note grows by a margin and a half up to 8 h and stays."""
    found = verdict({"bitterness": FLAT, "cooked": (0.5, 1.0, 2.0, 2.0, 2.0, 2.0)})
    assert (found.verdict, found.reason, found.not_inside) == ("cannot tell", "window", ("cooked",))
    little = verdict({"bitterness": FLAT, "cooked": (1.7, 1.7, 2.0, 2.0, 2.0, 2.0)}, noise=0.1)
    assert (little.verdict, little.hours, little.latest_hours) == ("stop", 8.0, 24.0)
    (grew,) = (warning.values for warning in little.warnings if warning.code == "grew")
    assert (grew["attribute"], grew["hours"]) == ("cooked", 8.0)
    assert 0 < grew["low"] < grew["difference"] < grew["high"] < 0.5  # type: ignore[operator]


def test_conche_longer_asks_that_nothing_else_was_lost() -> None:
    """Acidity still falls; fruit has faded by a margin in the last step, or by a tenth."""
    acidity = (9.0, 8.0, 7.0, 6.5, 5.5, 3.5)
    wishes = {"acidity": AttributeRule("lower", 1.0), "fruit": AttributeRule("higher", 1.0)}
    lost = decide(panel({"acidity": acidity, "fruit": (5.0, 5.0, 5.0, 5.0, 5.0, 4.0)}), Rule(wishes))
    assert (lost.verdict, lost.reason) == ("cannot tell", "still improving")
    assert (lost.improving, lost.not_held) == (("acidity",), ("fruit",))
    kept = decide(panel({"acidity": acidity, "fruit": (5.0, 5.0, 5.0, 5.0, 5.0, 4.9)}), Rule(wishes))
    assert (kept.verdict, kept.improving, kept.not_held) == ("conche longer", ("acidity",), ())


def test_one_tray_off_at_the_last_step_is_no_reason_to_conche_longer() -> None:
    """Only 16 h scores higher: the pull before it lies level with the reference."""
    assert verdict({"acidity": (8.0, 6.0, 4.4, 3.6, 5.5, 3.5)}).verdict == "cannot tell"


def test_two_pulls_never_ask_for_longer_conching() -> None:
    """Between two pulls nobody can see whether the gain has ended."""
    data = panel({"acidity": FLAT})
    found = decide(data[data["hours"].isin([0.0, 24.0])], Rule({"acidity": AttributeRule("lower", 1.0)}))
    assert (found.verdict, found.control_found) == ("cannot tell", True)


def test_a_fading_note_closes_the_window() -> None:
    """Enough from 8 h on, faded after 16 h: the latest hour is reported."""
    data = panel({"acidity": FLAT, "cacao": (7.0, 7.0, 7.0, 7.0, 7.0, 4.0)})
    found = decide(data, Rule({"acidity": AttributeRule("lower", 1.0), "cacao": AttributeRule("higher", 1.0)}))
    assert (found.verdict, found.hours, found.latest_hours) == ("stop", 8.0, 16.0)


def test_cannot_tell_when_the_control_is_not_found() -> None:
    """A flat panel shows nothing, however narrow its limits."""
    found = verdict({"acidity": (3.5,) * 6})
    assert (found.verdict, found.reason, found.control_found) == ("cannot tell", "control not found", False)


def test_cannot_tell_with_wide_limits() -> None:
    """Noise: nothing shorter is shown, the reference meets all limits."""
    found = verdict({"acidity": (8.0, 6.0, 4.2, 3.9, 3.7, 3.5)}, noise=3.5, seed=11)
    assert (found.verdict, found.reason) == ("cannot tell", "reference meets limits")


def test_same_fails_on_either_side() -> None:
    """An attribute that must not change fails when it falls, too."""
    found = verdict({"colour": (1.0, 3.4, 3.5, 3.5, 3.5, 3.5)}, wanted="same")
    assert found.verdict == "stop"
    assert found.hours == 4.0
    assert found.attributes["colour"].pulls[0].shown_to_fail


def test_too_few_assessors_cannot_pass() -> None:
    """Four assessors: no verdict on the attribute, with its reason."""
    found = verdict({"acidity": FLAT}, assessors=4)
    assert (found.verdict, found.attributes["acidity"].why_not) == ("cannot tell", "too few assessors")


def test_an_off_note_that_nobody_finds_does_not_block() -> None:
    """Everybody gave 0 everywhere: within margin and limit by what whole numbers may hide, and said."""
    data = panel({"acidity": FLAT, "off": (0.0,) * 6}, noise=0.4)
    data.loc[data["attribute"] == "off", "score"] = 0.0
    wishes = {"acidity": AttributeRule("lower", 1.0), "off": AttributeRule("lower", 1.0, 1.0)}
    found = decide(data, Rule(wishes))
    off = found.attributes["off"]
    assert (found.verdict, found.hours, off.why_not) == ("stop", 8.0, None)
    assert {"nobody marked"} == {w.code for w in found.warnings if w.values.get("attribute") == "off"}
    # Uniform rounding error of a difference of two means of 20 whole numbers: 1 / sqrt(6 x 20).
    assert_allclose([off.pulls[0].se, off.pulls[0].own_se], 1 / np.sqrt(6 * 20), rtol=1e-12)
    tight = decide(data, Rule({**wishes, "off": AttributeRule("lower", 0.1)}))
    assert (tight.verdict, tight.attributes["off"].pulls[0].within_margin) == ("cannot tell", False)


@pytest.mark.parametrize(("wanted", "score"), [("lower", 3.0), ("higher", 0.0), ("lower", 10.0), ("same", 0.0)])
def test_one_score_everywhere_else_is_no_verdict(wanted: str, score: float) -> None:
    """Everyone gave the same score everywhere, not at the end that is wanted: said, not passed."""
    data = panel({"acidity": FLAT, "off": (0.0,) * 6}, noise=0.4)
    data.loc[data["attribute"] == "off", "score"] = score
    wish = AttributeRule(wanted, 1.0)  # type: ignore[arg-type]
    found = decide(data, Rule({"acidity": AttributeRule("lower", 1.0), "off": wish}))
    assert found.attributes["off"].why_not == "same score everywhere"
    assert found.verdict == "cannot tell"
    assert "same score everywhere" in {w.code for w in found.warnings}


def test_copies_of_everybody_are_no_scores() -> None:
    """Second scores that all equal the first, or one course for all, give no verdict; one person's are a note."""
    data = panel({"acidity": FLAT})
    first = data.groupby(["assessor", "hours"])["score"].transform("first")
    rule = Rule({"acidity": AttributeRule("lower", 1.0)})
    course = data["hours"].map(dict(zip(HOURS, FLAT, strict=True)))
    alike = data.assign(score=course + 0.1 * pd.factorize(data["assessor"])[0])
    for copies in (data.assign(score=first), alike):
        found = decide(copies, rule)
        assert (found.verdict, found.attributes["acidity"].why_not) == ("cannot tell", "copied")
    one = data["assessor"] == data["assessor"].iloc[0]
    found = decide(data.assign(score=data["score"].where(~one, first)), rule)
    assert found.verdict == "stop"
    (note,) = (warning.values for warning in found.warnings if warning.code == "one person's copies")
    assert note == {"attribute": "acidity", "assessors": (data["assessor"].iloc[0],)}


def test_whom_a_verdict_rests_on_is_said() -> None:
    """Eight people, of whom three scored both the pull that is chosen and the reference."""
    data = panel({"acidity": FLAT}, noise=0.2)
    people = sorted(data["assessor"].unique())
    gone = data["assessor"].isin(people[3:]) & (data["hours"] == 24.0)
    found = decide(data[~gone], Rule({"acidity": AttributeRule("lower", 1.0)}))
    rests = [warning.values for warning in found.warnings if warning.code == "rests on few"]
    assert [values["both"] for values in rests] == [3]


# ---- orders and sittings ---------------------------------------------------------------------------------------------
def with_positions(data: pd.DataFrame, order: str) -> pd.DataFrame:
    """The same order for all, or orders turned by one place an assessor."""
    pull = data["hours"].map({h: i for i, h in enumerate(HOURS)})
    turn = data["assessor"].str[1:].astype(int) if order == "turned" else 0
    return data.assign(position=(pull + turn) % len(HOURS) + 1)


def test_one_order_for_all_forbids_stop_unless_it_is_adjusted_for() -> None:
    """Effects of the first serving would pass for hours."""
    data = panel({"acidity": FLAT})
    rule = Rule({"acidity": AttributeRule("lower", 1.0)})
    assert decide(with_positions(data, "same"), rule).reason == "orders"
    turned = with_positions(panel({"acidity": FLAT}, assessors=12), "turned")
    assert decide(turned, rule).verdict == "stop"
    adjusted = decide(turned, Rule(rule.attributes, adjust=("position",)))
    assert (adjusted.verdict, adjusted.hours) == ("stop", 8.0)


def test_a_sitting_that_disagrees_widens_the_limits() -> None:
    """A tray prepared differently moves one pull for everybody: the third limit sees it, and the plain rule warns."""
    rng = np.random.default_rng(3)
    data = pd.concat([panel({"acidity": FLAT}, replicates=1, seed=s).assign(sitting=s) for s in (1, 2, 3)])
    data["score"] += data.groupby(["sitting", "hours"])["score"].transform(lambda _: rng.normal(0, 0.8))
    rule = Rule({"acidity": AttributeRule("lower", 1.0)})
    plain, third = decide(data, rule), decide(data, Rule(rule.attributes, adjust=("sitting:hours",)))
    assert "sittings disagree" in {w.code for w in plain.warnings}
    for ours, theirs in zip(
        third.attributes["acidity"].pulls[:-1], plain.attributes["acidity"].pulls[:-1], strict=True
    ):
        assert ours.decisive_upper > theirs.decisive_upper  # type: ignore[operator]


def test_one_person_who_still_notices_is_named_beside_the_verdict() -> None:
    """The mean hides one assessor whose own difference is far beyond the margin."""
    data = panel({"acidity": FLAT}, assessors=12, replicates=3, noise=0.2)
    one = (data["assessor"] == "A0") & (data["hours"] == 8.0)
    data.loc[one, "score"] += 3.0
    found = decide(data, Rule({"acidity": AttributeRule("lower", 1.0)}))
    said = [w for w in found.warnings if w.code == "someone still notices"]
    assert found.verdict == "stop"
    assert [w.values["count"] for w in said] == [1]


# ---- laws ------------------------------------------------------------------------------------------------------------
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), shift=st.floats(-3, 3), noise=st.floats(0.2, 3), drop=st.integers(0, 6))
def test_shift_relabelling_and_margins(seed: int, shift: float, noise: float, drop: int) -> None:
    """A shift or other names change nothing; a wider margin never loses a pull; limits and flags agree."""
    data = panel({"acidity": FLAT}, assessors=7, seed=seed, noise=noise)
    data = data.drop(np.random.default_rng(seed).choice(len(data), drop, replace=False))
    rule = Rule({"acidity": AttributeRule("lower", 1.0)})
    first = decide(data, rule)
    other = decide(data.assign(score=data["score"] + shift, assessor="z" + data["assessor"].str[::-1]), rule)
    wider = decide(data, Rule({"acidity": AttributeRule("lower", 1.7)}))
    for a, b, c in zip(*(d.attributes["acidity"].pulls for d in (first, other, wider)), strict=True):
        assert_allclose(a.difference, b.difference, atol=1e-7)
        assert c.within_margin or not a.within_margin
        if a.decisive_upper is not None:
            assert a.within_margin == (a.decisive_upper < 1.0)
            assert a.decisive_upper >= max(a.upper, a.own_upper) - 1e-12  # type: ignore[type-var, operator]
    assert first.verdict == other.verdict
    assert first.verdict in ("stop", "conche longer", "no hour fits", "cannot tell")


# ---- refusals --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("rule", "says"),
    [
        (Rule({"acidity": AttributeRule("lower", 0.0)}), "margin must be above 0"),
        (Rule({"acidity": AttributeRule("less", 1.0)}), "lower, higher or same"),  # type: ignore[arg-type]
        (Rule({"acidity": AttributeRule("lower", 1.0)}, alpha=5), "alpha"),
        (Rule({"acidity": AttributeRule("lower", 1.0)}, looks=2, look=3), "look must lie"),
        (Rule({"acidity": AttributeRule("lower", 1.0)}, adjust=("mood",)), "knows position"),
        (Rule({"acidity": AttributeRule("lower", 1.0)}, control=5.0), "not among the pulls"),
        (Rule({"acidity": AttributeRule("lower", 1.0)}, control=24.0), "the reference"),
        (Rule({"sourness": AttributeRule("lower", 1.0)}), "have no attribute"),
        (Rule({}), "no deciding attribute"),
    ],
)
def test_rules_that_cannot_be_are_refused_by_name(rule: Rule, says: str) -> None:
    """Argument, rule and value stand in the text."""
    with pytest.raises(ValueError, match=says):
        decide(panel({"acidity": FLAT}), rule)


def test_two_scores_for_one_serving_are_refused() -> None:
    """The same assessor, pull, attribute, sitting and replicate cannot hold two values."""
    data = panel({"acidity": FLAT})
    with pytest.raises(ValueError, match="two scores for one serving"):
        decide(pd.concat([data, data.head(1).assign(score=9.0)]), Rule({"acidity": AttributeRule("lower", 1.0)}))


# ---- price -----------------------------------------------------------------------------------------------------------
def test_price_after_cannot_tell_adds_up_and_ends_with_the_sealed_looks() -> None:
    """Chances of the four verdicts sum to one; no offer once every sealed look is used."""
    data = panel({"acidity": (8.0, 6.0, 4.2, 3.9, 3.7, 3.5)}, noise=2.5, assessors=8, seed=11)
    found = price(data, Rule({"acidity": AttributeRule("lower", 1.0)}, looks=2), draws=400)
    assert "all pulls" in {offer.name for offer in found}
    for offer in found:
        assert_allclose(sum(offer.chances.values()), 1.0)
        assert_allclose(offer.settles, 1 - offer.chances["cannot tell"])
    again = price(data, Rule({"acidity": AttributeRule("lower", 1.0)}, looks=2), draws=400)
    assert again == found
    assert price(data, Rule({"acidity": AttributeRule("lower", 1.0)}, looks=2, look=2), draws=400) == ()
