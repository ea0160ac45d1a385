"""Spreads pooled over studies: against REML, against projections written out, and by simulation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import chi2

from analysis.model.mixed import fit
from analysis.planning.pooled_spreads import (
    LEAST_ERROR,
    PooledSpreads,
    added_up,
    of_one_panel,
    spreads_of,
    strata_of,
)
from analysis.planning.simulation import AttributeTruth, Design, Scenario, draw

TRUTH = {"assessor": 1.2, "interaction": 0.6, "sitting": 0.4, "error": 0.9}
PARTS = ("assessor", "interaction", "sitting", "error")


def study(
    seed: int,
    assessors: int = 8,
    pulls: int = 6,
    sittings: int = 2,
    replicates: int = 1,
    missing: float = 0.0,
    truth: dict[str, float] = TRUTH,
    names: tuple[str, ...] = ("acidity",),
) -> pd.DataFrame:
    """A simulated study as a tidy frame; means far from both ends of the line, attributes independent."""
    hours = tuple(4.0 * n for n in range(pulls))
    attributes = {name: AttributeTruth((5.0,) * pulls, **truth) for name in names}
    scenario = Scenario(hours, attributes, correlation=0, missing=missing)
    drawn = draw(scenario, Design(assessors, replicates, sittings), sittings, 1, np.random.default_rng(seed))
    rows = [
        (f"p{i}", hours[j], k, name, y)
        for name, scores in drawn.items()
        for (i, j, k, _replicate), y in np.ndenumerate(scores[0])
        if not np.isnan(y)
    ]
    return pd.DataFrame(rows, columns=["assessor", "hours", "sitting", "attribute", "score"])


def one(*frames: pd.DataFrame) -> PooledSpreads:
    """The only attribute of some studies, pooled."""
    found = spreads_of(added_up(strata_of(frame)["acidity"] for frame in frames))
    assert found is not None
    return found


def by_reml(frame: pd.DataFrame, *terms: str) -> dict[str, float | None]:
    """Variances of the mixed model with a mean for each pull in each sitting."""
    frame = frame.assign(cell=frame["sitting"] * 1000 + frame["hours"])
    return dict(fit(frame, "score", ["cell"], ["assessor", *terms]).variance)


# ---- one study -------------------------------------------------------------------------------------------------------
def test_a_complete_study_gives_the_variances_of_the_mixed_model() -> None:
    """Reference: REML of analysis.model.mixed, which is the method of moments on complete data with none at zero."""
    frame = study(3, sittings=3, replicates=2)
    found, reml = one(frame), by_reml(frame, "assessor:hours", "assessor:sitting")
    for part, term in zip(PARTS, ("assessor", "assessor:hours", "assessor:sitting", "residual"), strict=True):
        spread = getattr(found, part)
        assert spread.sd**2 == pytest.approx(reml[term], rel=1e-6)
        assert spread.low <= spread.sd <= spread.high
    assert (found.studies, found.scores, found.split, found.floored) == (1, 288, False, False)


def test_a_variance_held_at_zero_leaves_its_squares_to_the_error() -> None:
    """Reference: REML again; seed 4 draws an interaction below what the error alone would show."""
    frame = study(4, sittings=1, replicates=2, truth={**TRUTH, "interaction": 0.0, "sitting": 0.0})
    found, reml = one(frame), by_reml(frame, "assessor:hours")
    assert reml["assessor:hours"] == 0
    assert found.interaction is not None
    assert (found.interaction.sd, found.sitting) == (0, None)
    assert found.interaction.high > 0
    assert found.error.sd**2 == pytest.approx(reml["residual"], rel=1e-6)
    assert found.assessor is not None
    assert found.assessor.sd**2 == pytest.approx(reml["assessor"], rel=1e-6)


def test_one_score_a_cell_tells_only_a_sum_which_is_parted_as_usual() -> None:
    """Reference: the residual of REML without interaction; 0.5 and 1.0 are the usual spreads, so one part in five."""
    found, frame = one(study(5, sittings=1)), study(5, sittings=1)
    reml = by_reml(frame)
    assert found.split
    assert found.interaction is not None
    assert found.interaction.sd**2 + found.error.sd**2 == pytest.approx(reml["residual"], rel=1e-6)
    assert found.interaction.sd / found.error.sd == pytest.approx(0.5)
    assert found.assessor is not None
    assert found.assessor.sd**2 == pytest.approx(reml["assessor"], rel=1e-6)


def test_limits_of_one_mean_square_are_the_exact_ones() -> None:
    """Reference: df s^2 / chi-square quantiles (scipy.stats), df 40 of 8 x 5 cells scored twice."""
    frame = study(6, pulls=5, sittings=1, replicates=2)
    error = one(frame).error
    low, high = (40 * error.sd**2 / chi2.ppf(share, 40) for share in (0.975, 0.025))
    assert (error.low**2, error.high**2) == pytest.approx((low, high))


# ---- several ---------------------------------------------------------------------------------------------------------
def test_pooling_agrees_with_projections_written_out() -> None:
    """Two incomplete studies of unlike size. Reference: hat matrices by pseudo-inverse on single scores, traces of
    their differences with each Z Z', and one 4 x 4 system."""
    frames = [study(7, 6, 5, 3, 1, 0.2), study(8, 8, 4, 2, 2, 0.15)]
    squares, shares = np.zeros(4), np.zeros((4, 4))
    for frame in frames:
        y = frame["score"].to_numpy()
        zs = [columns(frame, names) for names in (["assessor"], ["assessor", "hours"], ["assessor", "sitting"])]
        means = columns(frame, ["hours", "sitting"])
        assessor, cell, day = zs
        all_of_it = hat(means, assessor, cell, day)
        strata = [
            hat(means, assessor) - hat(means),
            all_of_it - hat(means, assessor, day),
            all_of_it - hat(means, assessor, cell),
            np.eye(len(y)) - all_of_it,
        ]
        squares += [y @ Q @ y for Q in strata]
        shares += [[*(np.trace(Q @ Z @ Z.T) for Z in zs), np.trace(Q)] for Q in strata]
    variances = np.linalg.solve(shares, squares)
    assert (variances > 0).all()  # with these seeds: nothing is held at zero
    found = one(*frames)
    assert [getattr(found, part).sd ** 2 for part in PARTS] == pytest.approx(variances, rel=1e-6)
    assert (found.studies, found.scores) == (2, sum(len(frame) for frame in frames))


def columns(frame: pd.DataFrame, names: list[str]) -> np.ndarray:
    """0/1 columns of single scores."""
    return pd.get_dummies(frame[names].astype(str).agg(":".join, axis=1)).to_numpy(float)


def hat(*parts: np.ndarray) -> np.ndarray:
    """The projection on what all columns span."""
    X = np.hstack(parts)
    return X @ np.linalg.pinv(X)


@pytest.mark.simulation
def test_pooled_studies_recover_the_truth_and_their_limits_hold_it() -> None:
    """300 panels of four small studies, drawn as attributes that have nothing in common: mean variances within four
    Monte Carlo errors, 95 % limits in 90 of 100 at least (four errors of a share of 300 are 5 points)."""
    panels = tuple(f"panel {number}" for number in range(300))
    four = [strata_of(study(1000 + n, 6, 4, 2, 1, names=panels)) for n in range(4)]
    variances, held = [], []
    for panel in panels:
        found = spreads_of(added_up(strata[panel] for strata in four))
        spreads = [getattr(found, part) for part in PARTS]
        variances.append([spread.sd**2 for spread in spreads])
        held.append([spread.low <= TRUTH[part] <= spread.high for spread, part in zip(spreads, PARTS, strict=True)])
    mean, error = np.mean(variances, 0), np.std(variances, 0, ddof=1) / np.sqrt(300)
    truth = [TRUTH[part] ** 2 for part in PARTS]
    assert (np.abs(mean - truth) < 4 * error).all()
    assert (np.mean(held, 0) > 0.90).all()


def test_many_studies_that_each_show_nothing_show_nothing_together() -> None:
    """No interaction in truth: 40 studies pooled give a variance below 0.05, while the mean of the variances that each
    study's own fit holds at zero or above stays above 0.05 (chi-square of 15 df each, error 0.81)."""
    frames = [study(2000 + n, 6, 4, 2, 1, truth={**TRUTH, "interaction": 0.0}) for n in range(40)]
    alone = [one(frame).interaction for frame in frames]
    pooled = one(*frames).interaction
    assert pooled is not None
    assert pooled.sd**2 < 0.05 < np.mean([spread.sd**2 for spread in alone if spread is not None])


def test_attributes_of_one_bite_count_as_one_witness() -> None:
    """The same scores under three names: the same variances as one, and limits as wide as one."""
    single = study(9)
    three = pd.concat([single.assign(attribute=name) for name in "abc"])
    together, alone = spreads_of(of_one_panel(strata_of(three))), one(single)
    assert together is not None
    for part in PARTS:
        assert getattr(together, part).sd == pytest.approx(getattr(alone, part).sd)
        assert getattr(together, part).high == pytest.approx(getattr(alone, part).high)
    assert together.scores == 3 * alone.scores


# ---- too little ------------------------------------------------------------------------------------------------------
def test_what_nobody_found_tells_nothing() -> None:
    """All at zero, or explained by pull and sitting alone; one assessor, one pull."""
    frame = study(10)
    assert strata_of(frame.assign(score=0.0)) == {}
    assert strata_of(frame.assign(score=frame["hours"] / 3 + frame["sitting"])) == {}
    assert strata_of(frame[frame["assessor"] == "p0"]) == {}
    assert strata_of(frame[frame["hours"] == 4.0]) == {}
    with pytest.raises(ValueError, match="at least one study"):
        added_up([])


def test_a_tiny_panel_is_not_believed_alone_but_counts_with_others() -> None:
    """Two people, two pulls, two sittings: 1 df of the error, below four; five such studies have five."""
    frames = [study(seed, 2, 2, 2, 1) for seed in range(11, 16)]
    assert spreads_of(strata_of(frames[0])["acidity"]) is None
    assert one(*frames).studies == 5


def test_the_error_has_a_floor() -> None:
    """Marks of a note that hardly differ: three steps of the line stand in, and it is said."""
    found = one(study(14, replicates=2, truth={**TRUTH, "error": 0.05}))
    assert (found.error.sd, found.floored) == (LEAST_ERROR, True)
    assert found.error.low < 0.1 < found.error.high == LEAST_ERROR
