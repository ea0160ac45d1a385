"""Scores of several batches beside statsmodels, pingouin and scipy, batch by batch and as means over batches."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from analysis.stopping import Decision, Rule, decide
from analysis.stopping.cross_check import AttributeCheck, cross_check
from tests.analysis.test_batches import EACH, RECIPE, SCORES, lost, quiet, tidy


def checked(rule: Rule, data: pd.DataFrame | None = None) -> tuple[Decision, dict[str, AttributeCheck]]:
    """The worked example of three batches, or other scores, and what is said of them."""
    scores = tidy() if data is None else data
    found = decide(scores, rule)
    return found, cross_check(scores, rule, found)


def test_each_batch_is_asked_about_alone() -> None:
    """Their differences from cell means by hand, complete and balanced; nothing is told of all together."""
    found, checks = checked(EACH)
    assert [one.batch for one in checks.values()] == ["one", "two", "three"] or set(checks) == {
        "acidity, one", "acidity, two", "acidity, three"
    }  # fmt: skip
    means = SCORES.mean((0, 3))
    for at, name in enumerate(("one", "two", "three")):
        check = checks[f"acidity, {name}"]
        assert check.agrees
        assert (check.mixed.says, check.batch) == ("agrees", name)
        told = [row.estimate for row in check.ours.differences]
        assert told == pytest.approx(list(means[:-1, at] - means[-1, at]))
        assert check.mixed.other is not None
        assert [row.estimate for row in check.mixed.other.at_given.differences] == pytest.approx(told, abs=1e-6)
    assert found.claim == "each of these batches"


def test_a_recipe_is_asked_about_as_means_over_batches_too() -> None:
    """The mean of differences and its error over batches by scipy; the panel's error by statsmodels on all scores."""
    found, checks = checked(RECIPE)
    assert set(checks) == {"acidity", "acidity, one", "acidity, two", "acidity, three"}
    whole = checks["acidity"]
    assert (whole.agrees, whole.mixed.says, whole.batches) == (True, "agrees", ("one", "three", "two"))
    by_batch = (SCORES.mean((0, 3)) - SCORES.mean((0, 3))[-1])[:-1].T
    assert whole.mixed.other is not None
    assert [row.estimate for row in whole.mixed.other.at_given.differences] == pytest.approx(list(by_batch.mean(0)), abs=1e-6)
    assert found.batches is not None
    assert list(found.batches.batch_se["acidity"][:-1]) == pytest.approx(list(stats.sem(by_batch)))


@pytest.mark.parametrize("rule", [EACH, RECIPE])
def test_missing_scores_leave_them_in_agreement(rule: Rule) -> None:
    """A tenth of the scores gone, so that the mean of the batches' fits is no fit of all scores."""
    scores = quiet(4)
    scores[np.random.default_rng(1).random(scores.shape) < 0.1] = np.nan
    _found, checks = checked(rule, tidy(scores))
    assert len(checks) == 4 + (rule is RECIPE)
    assert all(check.agrees for check in checks.values()), checks


def test_a_pull_lost_in_one_batch_leaves_only_single_batches_to_ask() -> None:
    """Means are then over other batches at other pulls."""
    _found, checks = checked(RECIPE, lost(tidy(quiet(4)), 8.0, "two"))
    assert set(checks) == {f"acidity, {name}" for name in ("one", "two", "three", "four")}
    assert len(checks["acidity, two"].ours.differences) == 2
    assert all(check.agrees for check in checks.values())


@pytest.mark.parametrize("fault", ["difference of a batch", "mean", "panel error", "batch error"])
def test_a_planted_fault_is_found(fault: str) -> None:
    """Each number is altered by 1 % alone."""
    found = decide(tidy(), RECIPE)
    result, told = found.attributes["acidity"], found.batches
    assert told is not None
    first, *others = result.pulls
    assert first.se is not None
    pulls = {"mean": replace(first, difference=first.difference * 1.01), "panel error": replace(first, se=first.se * 1.01)}
    result = replace(result, pulls=(pulls.get(fault, first), *others))
    if fault == "difference of a batch":
        own = told.differences["acidity"]
        altered = {**own, "two": tuple(None if value is None else value * 1.01 for value in own["two"])}
        told = replace(told, differences={"acidity": altered})
    if fault == "batch error":
        altered_se = tuple(None if value is None else value * 1.01 for value in told.batch_se["acidity"])
        told = replace(told, batch_se={"acidity": altered_se})
    checks = cross_check(tidy(), RECIPE, replace(found, attributes={"acidity": result}, batches=told))
    wrong = {name: check.mixed.differs for name, check in checks.items() if not check.agrees}
    assert set(wrong) == {"acidity, two" if fault == "difference of a batch" else "acidity"}
    due = {"mean": "differences", "panel error": "se", "batch error": "batch error"}.get(fault, "differences")
    assert due in next(iter(wrong.values()))
