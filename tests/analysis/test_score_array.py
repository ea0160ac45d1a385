"""The array of scores: its cells, the effect of places and the fuller model, one study as many at once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from analysis.model import mixed
from analysis.model.contrasts import contrast_of
from analysis.model.fuller import FullerModel
from analysis.model.scores import Scores, cells_of, of_codes, positions_told_apart, without_positions

PANEL = ["assessor", "assessor:hours"]


def drawn(seed: int, missing: float = 0.1, studies: int = 5) -> Scores:
    """Studies of six people, four pulls, two sittings and two servings, each at its place; some scores lost."""
    rng = np.random.default_rng(seed)
    shape = (studies, 6, 4, 2, 2)
    y = 4 - np.arange(4.0)[:, None, None] + rng.standard_normal((studies, 6, 1, 1, 1)) + rng.standard_normal(shape)
    order = rng.permuted(np.broadcast_to(np.arange(8), (studies, 6, 2, 8)), axis=3)
    places = order.reshape(studies, 6, 2, 4, 2).transpose(0, 1, 3, 2, 4)
    y = y + np.linspace(0.8, -0.4, 8)[places] + 0.4 * rng.standard_normal((studies, 1, 1, 2, 1))
    return Scores(np.where(rng.random(shape) < missing, np.nan, y), places)


def rows_of(scores: Scores, study: int) -> pd.DataFrame:
    """One study, a row a score."""
    at = np.nonzero(scores.seen[study])
    columns = dict(zip(("assessor", "hours", "sitting", "replicate"), at, strict=True))
    assert scores.positions is not None
    return pd.DataFrame({**columns, "position": scores.positions[study][at], "score": scores.values[study][at]})


@pytest.mark.parametrize("far", [0.0, 1e6])
def test_cells_are_those_of_their_numbers(far: float) -> None:
    """Counts, sums and squares about the cells' means as pandas has them, far from zero too, where a difference of
    squares would keep four digits."""
    scores = drawn(1)
    cells = cells_of(Scores(scores.values + far), trays=True)
    for study in range(5):
        groups = rows_of(scores, study).groupby(["assessor", "hours"])["score"]
        assert_allclose(cells.counts[study].ravel(), groups.size())
        assert_allclose(cells.sums[study].ravel(), groups.sum() + far * groups.size(), rtol=1e-12)
        squares = float((groups.var(ddof=0) * groups.size()).sum())
        assert cells.within[study] == pytest.approx(squares, rel=1e-12 if far == 0 else 1e-8)
    assert cells.sittings is not None
    assert_allclose(cells.sittings.pooled()[2], cells.within, rtol=1e-8)


def test_no_order_of_rows_has_a_part_in_an_array() -> None:
    """Rows in any order make the same array to the last bit, places included."""
    frame = rows_of(drawn(2), 0)
    arrays = []
    for seed in range(3):
        some = frame.sample(frac=1, random_state=seed)
        codes = (np.zeros(len(some), np.intp), *(some[name].to_numpy() for name in ("assessor", "hours", "sitting")))
        arrays.append(of_codes(some["score"].to_numpy(), codes, some["position"].to_numpy()))
    first = arrays[0]
    assert first.positions is not None
    for other in arrays[1:]:
        np.testing.assert_array_equal(first.values, other.values)
        np.testing.assert_array_equal(first.positions[first.seen], other.positions[first.seen])  # type: ignore[index]
    assert np.nansum(first.values) == pytest.approx(frame["score"].sum())


def test_places_are_taken_out_as_by_least_squares() -> None:
    """Beside all columns of assessors and pulls, solved by numpy's own least squares, study by study."""
    scores = drawn(3)
    found = without_positions(scores)
    for study in range(5):
        frame = rows_of(scores, study)
        columns = np.hstack([pd.get_dummies(frame[name]).to_numpy(float) for name in ("position", "assessor", "hours")])
        effects = np.linalg.lstsq(columns, frame["score"].to_numpy(), rcond=None)[0][:8]
        expected = frame["score"] - (effects - effects.mean())[frame["position"]]
        assert_allclose(found.values[study][scores.seen[study]], expected, atol=1e-12)


@pytest.mark.parametrize(
    ("order", "apart"),
    [
        ([[0, 1, 2], [1, 2, 0], [2, 0, 1]], True),
        ([[0, 1, 2], [0, 1, 2], [0, 1, 2]], False),  # each pull at a place of its own
        ([[0, 1, 2], [0, 2, 1], [0, 1, 2]], False),  # one pull alone at the first place
    ],
)
def test_places_and_pulls_are_told_apart_where_orders_differ(order: list[list[int]], apart: bool) -> None:
    """Small designs, by hand: three people, three pulls, two servings of each in that order."""
    places = np.repeat(np.array(order)[None, :, :, None, None], 2, axis=4)
    assert positions_told_apart(Scores(np.zeros(places.shape), places)).tolist() == [apart]


@pytest.mark.parametrize("missing", [0.0, 0.15])
@pytest.mark.parametrize(("by_place", "by_sitting"), [(True, False), (False, True), (True, True)])
def test_the_fuller_model_is_that_of_the_frame(by_place: bool, by_sitting: bool, missing: float) -> None:
    """Against `mixed.fit`, whose numbers are held to those of R's lme4 and lmerTest in test_mixed."""
    scores = drawn(4, missing)
    model = FullerModel.of(scores, np.full(5, by_place), by_sitting)
    assert (model.traits() == model.traits()[0]).all()
    fuller = model.fit()
    weights = np.eye(4) - np.eye(4)[3]
    estimate, se, df = contrast_of(fuller.fits, weights)
    f, num, den, p = fuller.fits.f_test()
    for study in range(5):
        fixed, random = ["hours", *["position"] * by_place], [*PANEL, *["sitting"] * by_sitting]
        alone = mixed.fit(rows_of(scores, study), "score", fixed, random)
        for ours, theirs in zip((estimate, se, df), alone.contrast(weights), strict=True):
            assert_allclose(ours[study], theirs, rtol=1e-6, atol=1e-9)
        assert fuller.fits.loglik[study] == pytest.approx(alone.loglik, abs=1e-8)
        assert fuller.variance(study) == pytest.approx(alone.variance, rel=1e-5, abs=1e-8)
        assert (f[study], num, den[study], p[study]) == pytest.approx(
            (alone.anova.f, alone.anova.num_df, alone.anova.den_df, alone.anova.p), rel=1e-6
        )
        assert fuller.fits.containment[study] == alone.containment_df


def test_copies_count_once_and_what_is_explained_has_no_likelihood() -> None:
    """Replicates that are copies tell nothing of a cell's own variance; pulls, people and places that explain all
    leave no likelihood, in one study of a batch as well."""
    scores = drawn(5, missing=0.0)
    first = scores.values[..., :1, :1]
    copies = Scores(np.broadcast_to(first, scores.values.shape).copy(), scores.positions)
    assert FullerModel.of(copies, np.full(5, True), False).twice.tolist() == [False] * 5
    assert scores.positions is not None
    mean = np.arange(4.0)[:, None, None] + np.arange(6.0)[:, None, None, None]
    values = scores.values.copy()
    values[2] = mean + 0.1 * scores.positions[2]
    model = FullerModel.of(Scores(values, scores.positions), np.full(5, True), False)
    assert np.isnan(model.fit().fits.loglik).tolist() == [False, False, True, False, False]


def test_a_sitting_that_goes_with_people_stays_out() -> None:
    """Half the people in either sitting: their shift can hardly be told, one person a sitting: not at all."""
    values = drawn(6, missing=0.0).values
    half, one = values.copy(), values[:, :2].copy()
    half[:, :3, :, 0], half[:, 3:, :, 1] = np.nan, np.nan
    one[:, 0, :, 0], one[:, 1, :, 1] = np.nan, np.nan
    none = np.zeros(5, bool)
    assert FullerModel.of(Scores(half), none, True).sitting.all()
    assert not FullerModel.of(Scores(one), none, True).sitting.any()
    assert FullerModel.of(Scores(one), none, True).asked.all()


def test_of_copies_the_one_served_first_stays() -> None:
    """By hand: one person's pull twice, the same score at places 3 and 1, in whatever order the file has them; of two
    sittings the first one counts, though its place is the later one."""
    nothing, days = np.zeros(2, np.intp), np.array([0, 1])
    for places in ([3, 1], [1, 3]):
        scores = of_codes(np.array([4.0, 4.0]), (nothing, nothing, nothing, nothing), np.array(places))
        left = scores.first_alone(np.array([True]))
        assert left.positions is not None
        assert left.positions[left.seen].tolist() == [1]
        left = of_codes(np.array([4.0, 4.0]), (nothing, nothing, nothing, days), np.array(places)).first_alone(
            np.array([True])
        )
        assert left.positions is not None
        assert left.positions[left.seen].tolist() == places[:1]
