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
    assert set(checks) == {"acidity, one", "acidity, two", "acidity, three"}
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
    assert [row.estimate for row in whole.mixed.other.at_given.differences] == pytest.approx(
        list(by_batch.mean(0)), abs=1e-6
    )
    assert found.batches is not None
    assert list(found.batches.batch_se["acidity"][:-1]) == pytest.approx(list(stats.sem(by_batch)))


def test_missing_scores_and_a_lost_pull_leave_them_in_agreement() -> None:
    """A tenth of the scores gone, so that the mean of the batches' fits is no fit of all scores. Where a pull was lost in
    one batch, means are over other batches at other pulls, and only single batches are asked about."""
    scores = quiet(3)
    scores[np.random.default_rng(1).random(scores.shape) < 0.1] = np.nan
    _found, checks = checked(RECIPE, tidy(scores))
    assert len(checks) == 4
    assert all(check.agrees for check in checks.values()), checks
    _found, checks = checked(RECIPE, lost(tidy(scores), 8.0, "two"))
    assert set(checks) == {f"acidity, {name}" for name in ("one", "two", "three")}
    assert len(checks["acidity, two"].ours.differences) == 2
    assert all(check.agrees for check in checks.values())


def test_planted_faults_are_found() -> None:
    """A mean, its panel error, its batch error and a difference of one batch, each altered by 1 %."""
    found = decide(tidy(), RECIPE)
    result, told = found.attributes["acidity"], found.batches
    assert told is not None
    first, *others = result.pulls
    assert first.se is not None
    result = replace(result, pulls=(replace(first, difference=first.difference * 1.01, se=first.se * 1.01), *others))
    own = told.differences["acidity"]
    told = replace(
        told,
        differences={"acidity": {**own, "two": tuple((value or 0) * 1.01 for value in own["two"])}},
        batch_se={"acidity": tuple((value or 0) * 1.01 for value in told.batch_se["acidity"])},
    )
    checks = cross_check(tidy(), RECIPE, replace(found, attributes={"acidity": result}, batches=told))
    wrong = {name: set(check.mixed.differs) for name, check in checks.items() if not check.agrees}
    assert set(wrong) == {"acidity", "acidity, two"}
    assert wrong["acidity"] >= {"differences", "se", "batch error"}
    assert "differences" in wrong["acidity, two"]
