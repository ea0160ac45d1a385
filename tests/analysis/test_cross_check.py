"""The second opinion against R, printed examples and statsmodels called by hand; and faults planted for it to find."""

from __future__ import annotations

import json
import subprocess
import sys
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from statsmodels.regression.mixed_linear_model import MixedLM

from analysis.stopping import AttributeRule, Decision, Rule, decide
from analysis.stopping.cross_check import AttributeCheck, cross_check
from tests.analysis.test_mixed import panel, with_places

REFERENCE = Path(__file__).parents[1] / "reference"
# Fits by R 4.2.2 with lme4 1.1-31 and lmerTest 3.1-3; see test_mixed.
LMER = json.loads((REFERENCE / "lmertest_reference.json").read_text())
PUBLIC = {
    "machines": ("Worker", "Machine", "score", ()),
    "machines_unbalanced": ("Worker", "Machine", "score", ()),
    "wine": ("judge", "product", "response", ()),
    "panel_zero_interaction": ("assessor", "hours", "score", ()),
    "panel_incomplete": ("assessor", "hours", "score", ()),
    "panel_sittings": ("assessor", "hours", "score", ("sitting",)),
}


def public(name: str) -> tuple[pd.DataFrame, Rule]:
    """A public data set as scores of one attribute; levels that are no hours are numbered in their order."""
    person, level, response, adjust = PUBLIC[name]
    data = pd.read_csv(REFERENCE / f"{name}.csv").rename(
        columns={person: "assessor", level: "hours", response: "score"}
    )
    if data["hours"].dtype.kind not in "if":
        data["hours"] = pd.factorize(data["hours"], sort=True)[0].astype(float)
    columns = ["assessor", "hours", "score", *adjust]
    return data[columns].assign(attribute="x"), Rule({"x": AttributeRule("lower", 1.0)}, adjust=adjust)


def checked(scores: pd.DataFrame, rule: Rule | None = None, optimiser: str = "nm") -> AttributeCheck:
    """The only attribute of a decision beside the other programs."""
    rule = rule or Rule({"x": AttributeRule("lower", 1.0)})
    scores = scores.assign(attribute="x")
    return cross_check(scores, rule, decide(scores, rule), optimiser)["x"]


# ---- agreement -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", PUBLIC)
def test_three_programs_agree_on_public_data(name: str) -> None:
    """Ours and statsmodels' beside lme4's: likelihood to 1e-4, variances to 1 % of all, differences and F."""
    check, expected = checked(*public(name)), LMER[name]
    assert check.mixed.says == "agrees", check.mixed
    assert check.agrees
    assert check.mixed.other is not None
    found, given = check.mixed.other.found, check.mixed.other.at_given
    assert found is not None
    total = sum(expected["variance"].values())
    variances = [value for term, value in expected["variance"].items() if term != "Residual"]
    assert_allclose(
        sorted(value for term, value in found.variance.items() if term != "residual"),
        sorted(variances),
        atol=total / 100,
    )
    for fit in (check.ours, found, given):
        assert fit.loglik == pytest.approx(expected["reml_loglik"], abs=1e-4)
        assert fit.variance["residual"] == pytest.approx(expected["variance"]["Residual"], abs=total / 100)
        assert_allclose([row.estimate for row in fit.differences], expected["contrasts"]["estimate"], rtol=1e-3)
        assert fit.anova.f == pytest.approx(expected["anova"]["f"], rel=1e-3)
    assert_allclose([row.se for row in given.differences], expected["contrasts"]["se"], rtol=1e-4)


@pytest.mark.parametrize("wanted", ["lower", "higher", "same"])
def test_differences_are_pull_minus_reference_whatever_is_wanted(wanted: str) -> None:
    """The sign of what is worse is the rule's, not the data's: means of the cells, complete and balanced."""
    scores = panel(0)
    check = checked(scores, Rule({"x": AttributeRule(wanted, 1.0)}))  # type: ignore[arg-type]
    means = scores.groupby("hours")["score"].mean()
    assert_allclose([row.estimate for row in check.ours.differences], (means - means.iloc[-1]).iloc[:-1], rtol=1e-9)
    assert check.mixed.says == "agrees"


@pytest.mark.parametrize("adjust", [("position",), ("sitting",), ("position", "sitting")])
def test_a_fuller_model_is_fitted_with_the_same_terms(adjust: tuple[str, ...]) -> None:
    """Fixed places and crossed sittings as statsmodels has them; no analysis of variance knows these."""
    scores = with_places(1, 0.1)
    check = checked(scores, Rule({"x": AttributeRule("lower", 1.0)}, adjust=adjust))
    assert check.mixed.says == "agrees", check.mixed
    assert ("sitting" in check.ours.variance) is ("sitting" in adjust)
    assert check.mixed.other is not None
    assert check.mixed.other.at_given.variance.keys() == check.ours.variance.keys()
    assert (check.anova.says, check.anova.terms) == ("fuller model", adjust)
    without = checked(scores)
    assert without.ours.loglik is not None
    assert without.ours.loglik != pytest.approx(check.ours.loglik, abs=0.01)


def test_a_panel_too_large_for_sittings_is_not_tried() -> None:
    """50 people, 5 pulls and 3 sittings are 303 random columns in one block."""
    rng = np.random.default_rng(1)
    scores = panel(1, 50, 5, 3).assign(sitting=lambda data: data["replicate"])
    scores["score"] += rng.normal(size=3)[scores["sitting"] - 1]
    assert checked(scores, Rule({"x": AttributeRule("lower", 1.0)}, adjust=("sitting",))).mixed.says == "too large"


# ---- where another search ends ---------------------------------------------------------------------------------------
def by_hand(scores: pd.DataFrame, optimiser: str) -> tuple[float, bool]:
    """Log-likelihood where statsmodels ends, and whether it says that it converged."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM.from_formula(
            "score ~ C(hours)", scores, groups="assessor", re_formula="1", vc_formula={"cell": "0 + C(hours)"}
        ).fit(reml=True, method=optimiser, maxiter=1000)
    return float(fit.llf), bool(fit.converged)


def test_a_search_that_stops_short_of_a_boundary_is_told_as_such() -> None:
    """ "lbfgs" says that it converged, a good deal below the likelihood that it has itself at our variances."""
    scores = panel(7, 12, 6, 3, 0.06, (0.0, 0.0, 1.0))
    llf, converged = by_hand(scores, "lbfgs")
    check = checked(scores, optimiser="lbfgs")
    assert converged
    assert check.ours.loglik is not None
    assert llf < check.ours.loglik - 1e-4
    assert check.mixed.says == "stops short"
    assert check.mixed.at_zero
    assert check.agrees
    assert check.mixed.other is not None
    assert check.mixed.other.at_given.loglik == pytest.approx(check.ours.loglik, abs=1e-4)


def test_a_search_that_gives_up_is_told_as_such() -> None:
    """What statsmodels says of itself."""
    scores = panel(1, 6, 4, 3, 0.06, (0.3, 0.1, 1.0))
    assert by_hand(scores, "bfgs")[1] is False
    check = checked(scores, optimiser="bfgs")
    assert check.mixed.says == "not converged"
    assert check.agrees


def test_a_search_that_breaks_off_is_no_disagreement() -> None:
    """Two variances at zero leave statsmodels 0.15 a singular matrix; another one may find its way. Its formulas speak
    in any case."""
    check = checked(panel(2, 7, 5, 3, 0.25, (0.0, 0.0, 1.0)))
    assert check.mixed.says in ("gave nothing", "agrees")
    assert (check.mixed.problem == "") is (check.mixed.says == "agrees")
    assert set(check.mixed.at_zero) == {"assessor", "assessor:hours"}
    assert check.agrees
    assert check.mixed.other is not None
    assert check.mixed.other.at_given.loglik == pytest.approx(check.ours.loglik, abs=1e-4)


def test_the_errors_that_statsmodels_prints_are_told_to_be_others() -> None:
    """Incomplete: it inverts the second derivatives of means and variances together, where means alone are usual."""
    scores = panel(32, 5, 3, 2, 0.25, (0.0, 0.0, 1.0)).assign(attribute="x")
    check = checked(scores)
    assert check.mixed.says == "agrees"
    assert check.mixed.other is not None
    found = check.mixed.other.found
    assert found is not None
    pairs = zip(found.differences, check.ours.differences, strict=True)
    ratios = [(one.se or 0) / (two.se or 1) for one, two in pairs]
    assert check.mixed.joint_se == pytest.approx(max(abs(ratio - 1) for ratio in ratios), rel=0.01)


def test_copied_replicates_count_once() -> None:
    """One score a cell in both programs, so that all three agree as on a panel that tasted once; and all alike."""
    scores = panel(3, 6, 4, 2)
    scores["score"] = scores.groupby(["assessor", "hours"])["score"].transform("mean")
    check, once = checked(scores), checked(scores[scores["replicate"] == 1])
    assert (check.mixed.says, check.mixed.copied, check.anova.says) == ("agrees", True, "agrees")
    assert (once.mixed.says, once.mixed.copied) == ("agrees", False)
    assert check.ours.loglik == pytest.approx(once.ours.loglik)
    alike = checked(scores.assign(score=5.0))
    assert (alike.mixed.says, alike.anova.says) == ("no likelihood", "no F")


# ---- analysis of variance --------------------------------------------------------------------------------------------
def test_a_printed_analysis_of_variance() -> None:
    """Winer 1971 p. 268, reaction times of 5 persons under 4 drugs: F 24.76 on 3 and 12, mean squares 232.73 and 9.4;
    no cell twice, so ours must be the same test."""
    scores = np.array([[30, 28, 16, 34], [14, 18, 10, 22], [24, 20, 18, 30], [38, 34, 20, 44], [26, 28, 14, 30]], float)
    at = np.indices(scores.shape).reshape(2, -1)
    check = checked(pd.DataFrame({"assessor": at[0], "hours": at[1] * 1.0, "score": scores.reshape(-1)}))
    other = check.anova.other
    assert other is not None
    assert (other.test.num_df, other.test.den_df) == (3, 12)
    assert other.test.f == pytest.approx(24.76, abs=0.005)
    assert (other.between, other.error) == (pytest.approx(232.73333, abs=1e-4), pytest.approx(9.4))
    assert check.anova.says == "agrees"
    assert check.ours.anova.f == pytest.approx(24.76, abs=0.005)
    assert (check.mixed.says, check.ours.variance["assessor:hours"]) == ("agrees", None)


@pytest.mark.parametrize("seed", [9, 27, 36])
def test_a_variance_at_zero_is_another_error_term(seed: int) -> None:
    """By definition: the interaction mean square has (a - 1)(h - 1) df; ours pools it with the replicates, or with the
    assessors, over the same mean square between pulls."""
    sd = (1.0, 0.0, 1.0) if seed != 27 else (0.0, 0.0, 1.0)
    scores = panel(seed, 8, 5, 2, 0.0, sd)
    check = checked(scores)
    cells = scores.groupby(["assessor", "hours"])["score"].mean().unstack().to_numpy()
    rest = cells - cells.mean(0) - cells.mean(1, keepdims=True) + cells.mean()
    square, df = (rest**2).sum() / 28, 28
    assert check.mixed.at_zero
    assert check.anova.says == "another error term"
    assert check.anova.other is not None
    assert check.anova.other.error == pytest.approx(square)
    assert check.anova.other.test.den_df == df
    assert check.ours.anova.den_df is not None
    assert check.ours.anova.den_df > df


def test_incomplete_panels_say_why_there_is_no_analysis_of_variance() -> None:
    """A cell that is empty, and cells scored unequally often."""
    whole = panel(4, 8, 5, 2)
    some = whole[~((whole["assessor"] == "A001") & (whole["hours"] == 4.0))]
    assert checked(some).anova.says == "incomplete"
    assert checked(whole.iloc[1:]).anova.says == "unequal"
    assert checked(whole).anova.says == "agrees"


# ---- faults ----------------------------------------------------------------------------------------------------------
def planted(fault: str) -> Decision:
    """A decision on a sound panel with one of its numbers altered by 1 %, or half a score of df."""
    rule = Rule({"x": AttributeRule("lower", 1.0)})
    made = decide(panel(0).assign(attribute="x"), rule)
    result = made.attributes["x"]
    first, *others = result.pulls
    test, variance = result.anova, dict(result.variance)
    assert result.reml_loglik is not None
    assert first.se is not None
    assert test.f is not None
    assert test.den_df is not None
    altered = {
        "nothing": result,
        "loglik": replace(result, reml_loglik=result.reml_loglik - 0.01),
        "higher likelihood": replace(result, reml_loglik=result.reml_loglik - 0.01),
        "residual": replace(result, variance={**variance, "residual": variance["residual"] * 1.01}),  # type: ignore[operator]
        "differences": replace(result, pulls=(replace(first, difference=first.difference * 1.01), *others)),
        "se": replace(result, pulls=(replace(first, se=first.se * 1.01), *others)),
        "f": replace(result, anova=replace(test, f=test.f * 1.01)),
        "df": replace(result, anova=replace(test, den_df=test.den_df + 0.5)),
    }
    return replace(made, attributes={"x": altered[fault]})


@pytest.mark.parametrize("fault", ["loglik", "higher likelihood", "residual", "differences", "se", "f"])
def test_a_planted_fault_is_found(fault: str) -> None:
    """Each number is altered alone, and named."""
    decision = planted(fault)
    check = cross_check(panel(0).assign(attribute="x"), Rule({"x": AttributeRule("lower", 1.0)}), decision)["x"]
    assert check.mixed.says == "differs"
    assert fault in check.mixed.differs
    assert not check.agrees


@pytest.mark.parametrize(
    ("fault", "says"), [("nothing", "agrees"), ("f", "differs"), ("se", "differs"), ("df", "differs")]
)
def test_a_planted_fault_is_found_by_the_analysis_of_variance(fault: str, says: str) -> None:
    """F, the error it divides by and its df; nothing altered, nothing found."""
    decision = planted(fault)
    check = cross_check(panel(0).assign(attribute="x"), Rule({"x": AttributeRule("lower", 1.0)}), decision)["x"]
    assert check.anova.says == says


# ---- only when asked -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("more", "loaded"), [("", "[]"), ("cross_check(scores, rule, found)", "['pingouin', 'statsmodels']")]
)
def test_a_plain_decision_loads_neither_program(more: str, loaded: str) -> None:
    """Nor does importing what would ask them, or what describes; asking does, so the check can fail."""
    code = f"""
import sys
import pandas as pd
from analysis.stopping import describe
from analysis.stopping.cross_check import cross_check
from analysis.stopping import AttributeRule, Rule, decide
scores = pd.read_csv({str(REFERENCE / "machines.csv")!r}).assign(attribute="x")
scores = scores.rename(columns={{"Worker": "assessor"}}).assign(hours=pd.factorize(scores["Machine"])[0] * 4.0)
rule = Rule({{"x": AttributeRule("lower", 1.0)}})
found = decide(scores, rule)
{more}
print(sorted({{"pingouin", "statsmodels"}} & set(sys.modules)))
"""
    told = subprocess.run([sys.executable, "-W", "ignore", "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == loaded
