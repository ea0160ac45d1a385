"""Mixed models against R, statsmodels, pingouin and a dense restricted likelihood."""

from __future__ import annotations

import json
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pingouin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import optimize
from scipy.stats import t as student
from statsmodels.regression.mixed_linear_model import MixedLM
from statsmodels.tools.numdiff import approx_fprime, approx_hess3

from analysis.design import blocks
from analysis.model import cell_fits, mixed, reml
from analysis.model.cell_weights import CellProblem
from analysis.model.cells import Cells
from analysis.model.contrasts import contrast_of
from analysis.model.crossed import CrossedProblem

REFERENCE = Path(__file__).parents[1] / "reference"
# Fits by R 4.2.2 with lme4 1.1-31, lmerTest 3.1-3 and emmeans 1.8.4, computed for this project. Data: Milliken &
# Johnson 1992 (machines), Cook 1938 (cake), Randall 1989 (wine), Yates 1935 (oats), as in R packages; panels simulated.
LMER = json.loads((REFERENCE / "lmertest_reference.json").read_text())
MODELS = {
    "machines": ("score", ["Machine"], ["Worker", "Worker:Machine"]),
    "machines_unbalanced": ("score", ["Machine"], ["Worker", "Worker:Machine"]),
    "cake": ("angle", ["temperature"], ["unit"]),
    "wine": ("response", ["product"], ["judge", "judge:product"]),
    "oats": ("Y", ["N"], ["B", "B:V"]),
    "panel_zero_interaction": ("score", ["hours"], ["assessor", "assessor:hours"]),
    "panel_incomplete": ("score", ["hours"], ["assessor", "assessor:hours"]),
    "panel_sittings": ("score", ["hours"], ["assessor", "assessor:hours", "sitting"]),
}
PANEL = ["assessor", "assessor:hours"]


def reference_fit(name: str) -> mixed.MixedFit:
    """The reference's data set in our hands."""
    return mixed.fit(pd.read_csv(REFERENCE / f"{name}.csv"), *MODELS[name])


def panel(
    seed: int,
    assessors: int = 8,
    pulls: int = 5,
    replicates: int = 2,
    missing: float = 0.0,
    sd: tuple[float, float, float] = (1.0, 0.5, 1.0),
) -> pd.DataFrame:
    """A small study: sd of assessor, assessor:hours and error; every assessor and pull keeps at least one score."""
    rng = np.random.default_rng(seed)
    shape = (assessors, pulls, replicates)
    scores = (
        4
        + np.linspace(2, 0, pulls)[:, None]
        + rng.normal(0, sd[0], (assessors, 1, 1))
        + rng.normal(0, sd[1], (assessors, pulls, 1))
        + rng.normal(0, sd[2], shape)
    )
    at = np.indices(shape).reshape(3, -1)
    keep = rng.random(at.shape[1]) >= missing
    keep |= (at[2] == 0) & ((at[0] + at[1]) % pulls == 0) | ((at[0] == 0) & (at[2] == 0))
    frame = pd.DataFrame(
        {
            "assessor": [f"A{i:03}" for i in at[0]],
            "hours": at[1] * 4.0,
            "replicate": at[2] + 1,
            "score": scores.reshape(-1),
        }
    )
    return frame[keep].reset_index(drop=True)


def cells(frame: pd.DataFrame) -> Cells:
    """The frame's counts and sums."""
    return mixed.labelled(frame, "score", "hours", "assessor").cells


def fit_of(frame: pd.DataFrame) -> mixed.CellFits:
    """The frame as a batch of one."""
    read = cells(frame)
    return mixed.fit_cells(read.counts, read.sums, read.within)


# ---- R ---------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", MODELS)
def test_likelihood_and_variances_are_those_of_lmer(name: str) -> None:
    """loglik to 1e-7, variances to 1e-5 relative or 1e-6 of the residual at a boundary."""
    fit, expected = reference_fit(name), LMER[name]
    assert fit.loglik == pytest.approx(expected["reml_loglik"], abs=1e-7)
    assert fit.singular is expected["singular"]
    ours = {term.replace("hours", "h").replace("residual", "Residual"): value for term, value in fit.variance.items()}
    assert ours.keys() == expected["variance"].keys()
    for term, value in expected["variance"].items():
        assert ours[term] == pytest.approx(value, rel=1e-5, abs=1e-6 * expected["variance"]["Residual"])


@pytest.mark.parametrize("name", MODELS)
def test_means_are_those_of_emmeans(name: str) -> None:
    """Means to 1e-6, SE and Satterthwaite df to 1e-5 relative."""
    fit, expected = reference_fit(name), LMER[name]["means"]
    assert [str(level) for level in fit.levels] == expected["level"]
    assert_allclose(fit.means, expected["mean"], atol=1e-6, rtol=0)
    assert_allclose(fit.mean_se, expected["se"], rtol=1e-5)
    assert_allclose(fit.mean_df, expected["df"], rtol=1e-5)


@pytest.mark.parametrize("name", MODELS)
def test_contrasts_are_those_of_emmeans(name: str) -> None:
    """Estimates to 1e-6, SE, df and p to 1e-5 relative, 90 % limits to 1e-5."""
    fit, expected = reference_fit(name), LMER[name]["contrasts"]
    found = fit.against(fit.levels[-1])
    estimate, se = np.array([c.estimate for c in found]), np.array([c.se for c in found])
    df = np.array([c.df for c in found])
    assert_allclose(estimate, expected["estimate"], atol=1e-6, rtol=0)
    assert_allclose(se, expected["se"], rtol=1e-5)
    assert_allclose(df, expected["df"], rtol=1e-5)
    assert_allclose([c.p for c in found], expected["p"], rtol=1e-4)
    reach = student.ppf(0.95, df) * se
    assert_allclose(estimate - reach, expected["lower90"], atol=1e-5, rtol=0)
    assert_allclose(estimate + reach, expected["upper90"], atol=1e-5, rtol=0)


@pytest.mark.parametrize("name", MODELS)
def test_f_test_is_that_of_lmertest(name: str) -> None:
    """F and denominator df to 1e-5 relative."""
    found, expected = reference_fit(name).anova, LMER[name]["anova"]
    assert found.f == pytest.approx(expected["f"], rel=1e-5)
    assert found.num_df == expected["num_df"]
    assert found.den_df == pytest.approx(expected["den_df"], rel=1e-5)
    assert found.p == pytest.approx(expected["p"], rel=1e-4)


# ---- statsmodels -----------------------------------------------------------------------------------------------------
def statsmodels_loglik(frame: pd.DataFrame, fixed: str = "C(hours)", sitting: bool = False) -> float:
    """Restricted log likelihood where statsmodels stops; crossed factors as components of one group."""
    parts = {"cell": "0 + C(assessor):C(hours)"} if sitting else {"cell": "0 + C(hours)"}
    groups = frame["assessor"]
    if sitting:
        parts |= {"assessor": "0 + C(assessor)", "sitting": "0 + C(sitting)"}
        groups = pd.Series(1, frame.index)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = MixedLM.from_formula(
            f"score ~ 0 + {fixed}", frame, groups=groups, re_formula="0" if sitting else "1", vc_formula=parts
        )
        return float(model.fit(reml=True).llf)


@pytest.mark.parametrize("seed", range(24))
def test_never_a_lower_likelihood_than_statsmodels(seed: int) -> None:
    """The dense likelihood at our variances; within 1e-4 of statsmodels inside, never lower near zero, where it stops
    short."""
    sd = [(1.0, 0.5, 1.0), (0.3, 0.1, 1.0), (0.0, 0.0, 1.0), (2.0, 1.0, 0.3)][seed % 4]
    frame = panel(seed, 5 + seed % 4, 3 + seed % 3, 2 + seed % 2, (0.0, 0.06, 0.25)[seed % 3], sd)
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    theirs = statsmodels_loglik(frame)
    ours = np.array([fit.variance[term] for term in [*PANEL, "residual"]], float)
    assert dense_deviance(frame, ours, ["hours"], PANEL) == pytest.approx(-2 * fit.loglik, abs=1e-8)
    assert fit.loglik >= theirs - 1e-7
    if ours.min() > 0.1 * ours[2]:
        assert fit.loglik <= theirs + 1e-4


def with_places(seed: int, missing: float) -> pd.DataFrame:
    """A study with a sitting a replicate and a position for each serving of a sitting."""
    frame = panel(seed, 8, 5, 3, missing)
    rng = np.random.default_rng(seed + 100)
    frame["sitting"] = frame["replicate"]
    frame["position"] = frame.groupby(["assessor", "sitting"])["hours"].transform(lambda x: rng.permutation(len(x)) + 1)
    frame["score"] += 0.3 * (frame["position"] == 1) + 0.4 * frame["sitting"]
    return frame


@pytest.mark.parametrize(("seed", "missing"), [(1, 0.0), (2, 0.1), (3, 0.1)])
def test_position_and_sitting_as_in_statsmodels(seed: int, missing: float) -> None:
    """A further fixed factor and a crossed random one reach at least the likelihood that statsmodels finds."""
    frame = with_places(seed, missing)
    fit = mixed.fit(frame, "score", ["hours", "position"], [*PANEL, "sitting"])
    theirs = statsmodels_loglik(frame, "C(hours) + C(position)", sitting=True)
    assert fit.loglik >= theirs - 1e-7
    assert fit.loglik <= theirs + 1e-4


def test_single_scores_in_blocks_agree_with_statsmodels() -> None:
    """Random intercepts of assessors by REML, statsmodels' MixedLM; 15 people, three of six pulls each."""
    asked = np.array(blocks.servings(6, 3, 15, 1, 1, (0, 5))).transpose(1, 2, 0)[..., 0].astype(float)
    rng = np.random.default_rng(8)
    y = np.where(asked > 0, rng.normal(0, 1, (15, 1)) + np.arange(6) / 4 + rng.normal(0, 0.7, (15, 6)), 0.0)
    person, pull = np.nonzero(asked)
    frame = pd.DataFrame({"person": person, "pull": pull.astype(str), "score": y[person, pull]})
    theirs = MixedLM.from_formula("score ~ 0 + pull", frame, groups="person").fit(reml=True)
    ours = mixed.fit_cells(asked[None], y[None], np.zeros(1))
    # MixedLM stops early, so its variances are good to four digits; its standard errors are from a numerical Hessian.
    assert_allclose(ours.loglik[0], theirs.llf, atol=1e-6)
    assert_allclose(ours.means[0], theirs.fe_params, atol=1e-5)
    assert_allclose(ours.residual[0], theirs.scale, rtol=1e-3)
    assert_allclose(ours.assessor[0], theirs.cov_re.to_numpy()[0, 0], rtol=1e-3)
    assert_allclose(np.sqrt(np.diagonal(ours.covariance[0])), theirs.bse_fe, rtol=2e-3)


# ---- dense restricted likelihood -------------------------------------------------------------------------------------
def columns_of(frame: pd.DataFrame, fixed: list[str]) -> np.ndarray:
    """Level columns of the first factor, the others without their first level."""
    return np.hstack(
        [pd.get_dummies(frame[name]).to_numpy(float)[:, 0 if i == 0 else 1 :] for i, name in enumerate(fixed)]
    )


@dataclass(frozen=True)
class Dense:
    """A model with the full covariance of its scores, nothing saved."""

    y: np.ndarray
    X: np.ndarray
    shared: list[np.ndarray]

    @classmethod
    def of(cls, frame: pd.DataFrame, fixed: list[str], random: list[str]) -> Dense:
        """Which scores share a level of each random term, from the labels."""
        labels = [frame[term.split(":")].astype(str).agg("/".join, axis=1).to_numpy() for term in random]
        shared = [(label[:, None] == label).astype(float) for label in labels]
        return cls(frame["score"].to_numpy(), columns_of(frame, fixed), shared)

    def covariance(self, variances: np.ndarray) -> np.ndarray:
        """Of all scores; the residual variance stands last."""
        parts = zip(variances, [*self.shared, np.eye(len(self.y))], strict=True)
        return sum(variance * part for variance, part in parts)

    def deviance(self, variances: np.ndarray) -> float:
        """-2 restricted log likelihood (Harville 1977)."""
        V = self.covariance(variances)
        inverse = np.linalg.inv(V)
        XVX = self.X.T @ inverse @ self.X
        rest = self.y - self.X @ np.linalg.solve(XVX, self.X.T @ inverse @ self.y)
        logs = np.linalg.slogdet(V)[1] + np.linalg.slogdet(XVX)[1]
        return float(logs + rest @ inverse @ rest + (len(self.y) - self.X.shape[1]) * np.log(2 * np.pi))


def dense_deviance(frame: pd.DataFrame, variances: np.ndarray, fixed: list[str], random: list[str]) -> float:
    """-2 restricted log likelihood at given variances."""
    return Dense.of(frame, fixed, random).deviance(variances)


@pytest.mark.parametrize("seed", range(6))
def test_the_optimum_is_the_optimum(seed: int) -> None:
    """The likelihood reported is the dense one at our variances, and a search from four starts finds none higher."""
    frame = panel(seed, 5, 3, 2, 0.1, (1.0, (0.0, 0.6)[seed % 2], 1.0))
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    ours = np.array([fit.variance[term] for term in [*PANEL, "residual"]], float)
    assert dense_deviance(frame, ours, ["hours"], PANEL) == pytest.approx(-2 * fit.loglik, abs=1e-8)
    dense = Dense.of(frame, ["hours"], PANEL)
    for start in ([0, 0, 0], [1, -2, 0], [-2, 1, 0], [2, 2, -1]):
        found = optimize.minimize(lambda log: dense.deviance(np.exp(log)), start, method="L-BFGS-B")
        assert found.fun >= -2 * fit.loglik - 1e-6


@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_crossed_factors_have_the_dense_likelihood(missing: float) -> None:
    """Position fixed, sitting random: the same identity through penalised columns."""
    frame = with_places(4, missing)
    terms = [*PANEL, "sitting"]
    fit = mixed.fit(frame, "score", ["hours", "position"], terms)
    ours = np.array([fit.variance[term] for term in [*terms, "residual"]], float)
    assert dense_deviance(frame, ours, ["hours", "position"], terms) == pytest.approx(-2 * fit.loglik, abs=1e-8)


@pytest.mark.parametrize(("seed", "missing"), [(1, 0.0), (6, 0.1)])
def test_position_and_sitting_follow_the_definitions(seed: int, missing: float) -> None:
    """Means, SE and df with position fixed and sitting random: generalised least squares at our variances, and
    Satterthwaite's 2 v^2 / g'Ag (Giesbrecht & Burns 1985) by numerical derivatives of the plain likelihood."""
    fixed, random = ["hours", "position"], [*PANEL, "sitting"]
    frame = with_places(seed, missing)
    fit = mixed.fit(frame, "score", fixed, random)
    assert not fit.singular
    ours = np.array([fit.variance[term] for term in [*random, "residual"]], float)
    dense = Dense.of(frame, fixed, random)
    average = np.hstack([np.eye(5), np.full((5, 4), 1 / 5)])
    rows = np.vstack([average, (average - average[-1])[:-1]])

    def variances_of(parameters: np.ndarray) -> np.ndarray:
        inverse = np.linalg.inv(dense.covariance(parameters))
        return np.diag(rows @ np.linalg.inv(dense.X.T @ inverse @ dense.X) @ rows.T)

    weighted = dense.X.T @ np.linalg.inv(dense.covariance(ours))
    estimates = rows @ np.linalg.solve(weighted @ dense.X, weighted @ dense.y)
    A = 2 * np.linalg.inv(approx_hess3(ours, dense.deviance))
    g = approx_fprime(ours, variances_of, centered=True)
    v = variances_of(ours)
    df = 2 * v**2 / np.einsum("kp,pr,kr->k", g, A, g)
    found = fit.against(16.0)
    assert_allclose([*fit.means, *(c.estimate for c in found)], estimates, rtol=1e-6)
    assert_allclose([*fit.mean_se, *(c.se for c in found)], np.sqrt(v), rtol=1e-6)
    assert_allclose([*fit.mean_df, *(c.df for c in found)], df, rtol=1e-3)


# ---- the three routes ------------------------------------------------------------------------------------------------
def by_columns(frame: pd.DataFrame) -> tuple[float, np.ndarray, np.ndarray]:
    """Likelihood, means and covariance with the pulls as plain columns, the crossed route with nothing crossed."""
    labels = mixed.labelled(frame, "score", "hours", "assessor")
    read = labels.cells
    X = np.eye(len(labels.levels))[pd.factorize(frame["hours"], sort=True)[0]]
    centre = read.sums.sum() / len(frame)
    table = np.column_stack([X, frame["score"] - centre])
    at = frame.groupby(["assessor", "hours"]).ngroup()
    sums = np.zeros((*read.counts.shape, table.shape[1]))
    index = np.searchsorted(labels.assessors, frame["assessor"]), np.searchsorted(labels.levels, frame["hours"])
    np.add.at(sums[0], index, table)
    assert at.nunique() == (read.counts > 0).sum()
    problem = CrossedProblem(read.counts, sums, (table.T @ table)[None], X.shape[1], ("assessor", "cell"))
    _, point, _ = reml.optimise(problem)
    return -point.deviance[0] / 2, point.coefficients[0] + centre, point.residual[0] * point.inverse[0]


@pytest.mark.parametrize("missing", [0.0, 0.08, 0.3])
def test_weights_and_columns_agree(missing: float) -> None:
    """Routes for anything missing and for crossed factors give one fit, to 1e-8."""
    frame = panel(11, 9, 5, 3, missing)
    fits = fit_of(frame)
    loglik, means, covariance = by_columns(frame)
    assert fits.loglik[0] == pytest.approx(loglik, abs=1e-8)
    assert_allclose(fits.means[0], means, rtol=1e-8)
    assert_allclose(fits.covariance[0], covariance, rtol=1e-7)


@pytest.mark.parametrize("sd", [(1.0, 0.5, 1.0), (0.0, 0.5, 1.0), (1.0, 0.0, 1.0), (0.0, 0.0, 1.0)])
@pytest.mark.parametrize("replicates", [1, 3])
def test_closed_form_and_newton_agree(sd: tuple[float, float, float], replicates: int) -> None:
    """Pooled mean squares are what the iteration finds on complete data, boundaries included."""
    reads = [cells(panel(seed, 6, 4, replicates, 0.0, sd)) for seed in range(25)]
    counts, sums = np.concatenate([r.counts for r in reads]), np.concatenate([r.sums for r in reads])
    within = np.concatenate([r.within for r in reads])
    closed = mixed.fit_cells(counts, sums, within)
    nested = cell_fits.BOTH if replicates > 1 else ("assessor",)
    newton = cell_fits._weighted(counts, sums, within, closed.copied, nested)
    assert isinstance(closed, cell_fits.BalancedFits)
    assert_allclose(newton.loglik, closed.loglik, atol=1e-9)
    assert_allclose(newton.residual, closed.residual, rtol=1e-8)
    assert_allclose(newton.interaction, closed.interaction, rtol=1e-7, atol=1e-9)
    assert_allclose(newton.assessor, closed.assessor, rtol=1e-7, atol=1e-9)
    assert_allclose(newton.covariance, closed.covariance, rtol=1e-7, atol=1e-14)
    assert_allclose(newton.weights, closed.weights, rtol=1e-7)
    assert_allclose(newton.containment, closed.containment)
    for ours, theirs in zip(newton.difference(3), closed.difference(3), strict=True):
        assert_allclose(ours, theirs, rtol=1e-7, atol=1e-12)
    for ours, theirs in zip(newton.mean(), closed.mean(), strict=True):
        assert_allclose(ours, theirs, rtol=1e-7)
    for ours, theirs in zip(newton.f_test(), closed.f_test(), strict=True):
        assert_allclose(ours, theirs, rtol=1e-7)
    general = contrast_of(closed, np.array([[1.0, -1.0, 0, 0], [0.5, 0.5, 0, 0]]))
    for ours, theirs in zip(closed.contrast(np.array([[1.0, -1, 0, 0], [0.5, 0.5, 0, 0]])), general, strict=True):
        assert_allclose(ours, theirs, rtol=1e-10)


def test_a_mixed_batch_is_its_single_fits() -> None:
    """Complete, incomplete, copied and unreplicated panels may stand in one batch, each as if alone."""
    frames = [panel(1), panel(2, missing=0.1), panel(3, missing=0.1), panel(4, replicates=1), panel(5)]
    frames[4]["score"] = frames[4].groupby(["assessor", "hours"])["score"].transform("first")
    reads = [cells(frame) for frame in frames]
    batch = mixed.fit_cells(*(np.concatenate([getattr(r, n) for r in reads]) for n in ("counts", "sums", "within")))
    assert batch.copied.tolist() == [False, False, False, False, True]
    for row, frame in enumerate(frames):
        alone = fit_of(frame)
        for name in ("residual", "interaction", "assessor", "loglik", "means", "covariance", "weights", "containment"):
            assert_allclose(getattr(batch, name)[row], getattr(alone, name)[0], rtol=1e-7, atol=1e-12)
        for ours, theirs in zip(batch.difference(4), alone.difference(4), strict=True):
            assert_allclose(ours[row], theirs[0], rtol=1e-6, atol=1e-12)
        assert_allclose(batch.f_test()[2][row], alone.f_test()[2][0], rtol=1e-6)


@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_a_shared_pattern_need_not_be_repeated(missing: float) -> None:
    """Counts (1, a, h) mean the same as counts repeated for the batch."""
    read = cells(panel(7, missing=missing))
    rng = np.random.default_rng(1)
    sums = np.where(read.counts > 0, read.sums + rng.normal(0, 1, (20, *read.sums.shape[1:])), 0)
    within = read.within * rng.uniform(0.5, 2, 20)
    shared = mixed.fit_cells(read.counts, sums, within)
    repeated = mixed.fit_cells(np.repeat(read.counts, 20, 0), sums, within)
    for name in ("residual", "interaction", "assessor", "loglik", "means", "covariance", "weights", "containment"):
        assert_allclose(getattr(shared, name), getattr(repeated, name), rtol=1e-9)
    assert shared.parts.shape == shared.means.shape


@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_the_working_covariance_is_that_of_cell_means(missing: float) -> None:
    """residual (diag(1 / weights) + ratio) is error / n + interaction on the diagonal, assessor everywhere."""
    read = cells(panel(8, missing=missing))
    fits = mixed.fit_cells(read.counts, read.sums, read.within)
    seen = read.counts[0] > 0
    spread = fits.residual / fits.weights[0][seen]
    assert_allclose(spread, fits.residual / read.counts[0][seen] + fits.interaction, rtol=1e-10)
    assert_allclose(fits.residual * fits.assessor_ratio, fits.assessor, rtol=1e-10)


def test_several_attributes_are_read_at_once() -> None:
    """A batch by attribute equals attribute by attribute, whatever is missing in which."""
    frames = [panel(seed, missing=0.1).assign(attribute=name) for seed, name in ((1, "acidity"), (2, "bitter"))]
    read = mixed.labelled(pd.concat(frames).sample(frac=1, random_state=1), "score", "hours", "assessor", "attribute")
    assert read.attributes == ("acidity", "bitter")
    batch = mixed.fit_cells(read.cells.counts, read.cells.sums, read.cells.within)
    singles = [mixed.fit(frame, "score", ["hours"], PANEL) for frame in frames]
    assert_allclose(batch.loglik, [single.loglik for single in singles], atol=1e-9)
    assert_allclose(batch.f_test()[2], [single.anova.den_df for single in singles], rtol=1e-7)


# ---- analysis of variance --------------------------------------------------------------------------------------------
def anova_examples() -> list[pytest.param]:
    """Repeated-measures tables without replication, with the sources' F, df and p (public pages and scipy
    recomputation)."""
    table = pd.read_csv(REFERENCE / "07a_anova_rm_and_two_way_no_rep.csv")
    found = []
    for name, rows in table.groupby("example", sort=False):
        raw = rows["raw_data(rows=subjects/assessors)"].dropna()
        values = rows.set_index("quantity")["recomputed"]
        if len(raw) and {"F_treat", "df"} <= set(values.index):
            found.append(pytest.param(raw.iloc[0], values, id=str(name)[:40]))
    return found


@pytest.mark.parametrize(("raw", "expected"), anova_examples())
def test_one_score_a_cell_gives_the_two_way_anova(raw: str, expected: pd.Series) -> None:
    """F, df and p of the sources where assessors differ by more than chance; there the variance is above zero."""
    y = np.array([line.split() for line in raw.split("|")], float)
    frame = pd.DataFrame(y).melt(ignore_index=False, var_name="hours", value_name="score").reset_index(names="assessor")
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    assert fit.notes == ("interaction dropped",)
    assert fit.variance["assessor:hours"] is None
    if float(expected["F_subject"]) > 1:
        assert fit.anova.f == pytest.approx(float(expected["F_treat"]), rel=1e-6)
        assert fit.anova.p == pytest.approx(float(expected["p_treat"]), rel=1e-5)
        assert [fit.anova.num_df, fit.anova.den_df] == [float(df) for df in str(expected["df"]).split(",")[:2]]


@pytest.mark.parametrize("seed", range(4))
def test_balanced_f_is_the_repeated_measures_f_of_pingouin(seed: int) -> None:
    """With replicates, F on cell means against assessor:hours, as pingouin has it, where that variance is above
    zero."""
    frame = panel(seed, 7, 4, 3, sd=(1.0, 1.0, 1.0))
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = pingouin.rm_anova(
            frame, dv="score", within="hours", subject="assessor", correction=False, detailed=True
        )
    assert not fit.singular
    assert fit.anova.f == pytest.approx(theirs["F"].iloc[0], rel=1e-9)
    assert fit.anova.den_df == pytest.approx(theirs["DF"].iloc[1], rel=1e-9)


# ---- delicate points -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_a_million_added_to_every_score_changes_only_the_means(missing: float) -> None:
    """Pulls are centred before anything is squared."""
    near = panel(3, missing=missing)
    far = near.assign(score=near["score"] + 1e6)
    for fixed, random in ((["hours"], PANEL), (["hours", "replicate"], PANEL)):
        low, high = mixed.fit(near, "score", fixed, random), mixed.fit(far, "score", fixed, random)
        assert high.loglik == pytest.approx(low.loglik, abs=1e-6)
        assert_allclose(high.means - 1e6, low.means, atol=1e-8)
        assert_allclose([c.df for c in high.against(0.0)], [c.df for c in low.against(0.0)], rtol=1e-5)


@pytest.mark.parametrize("missing", [0.0, 0.1])
def test_copied_replicates_count_once(missing: float) -> None:
    """Identical replicates everywhere: the fit of the cell means, and a note."""
    frame = panel(4, missing=missing)
    frame["score"] = frame.groupby(["assessor", "hours"])["score"].transform("first")
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    once = mixed.fit(frame.drop_duplicates(["assessor", "hours"]), "score", ["hours"], PANEL)
    assert "copied replicates" in fit.notes
    assert fit.variance["assessor:hours"] is None
    assert fit.loglik == pytest.approx(once.loglik, abs=1e-9)
    assert [c.se for c in fit.against(0.0)] == pytest.approx([c.se for c in once.against(0.0)])
    assert [c.df for c in fit.against(0.0)] == pytest.approx([c.df for c in once.against(0.0)])
    crossed = mixed.fit(frame, "score", ["hours"], [*PANEL, "replicate"])
    assert "copied replicates" in crossed.notes
    assert np.isfinite(crossed.loglik)


@pytest.mark.parametrize("missing", [0.0, 0.2])
@pytest.mark.parametrize("random", [PANEL, [*PANEL, "replicate"]])
def test_constant_scores_have_no_spread_and_say_so(missing: float, random: list[str]) -> None:
    """No likelihood, no variance, standard errors of zero; no silent nonsense."""
    fit = mixed.fit(panel(5, missing=missing).assign(score=4.2), "score", ["hours"], random)
    assert "constant scores" in fit.notes
    assert np.isnan(fit.loglik)
    assert fit.variance["residual"] == 0
    assert_allclose(fit.means, 4.2)
    assert_allclose(fit.mean_se, 0, atol=1e-12)
    assert all(c.estimate == pytest.approx(0, abs=1e-12) and c.df > 0 and np.isnan(c.p) for c in fit.against(0.0))


@pytest.mark.parametrize("missing", [0.0, 0.2])
def test_scores_explained_exactly_are_an_exact_fit(missing: float) -> None:
    """Assessor plus pull and nothing else: the pulls' differences without error."""
    frame = panel(6, replicates=1, missing=missing)
    person = frame["assessor"].str[1:].astype(float)
    frame["score"] = person + frame["hours"] / 8
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    assert "exact fit" in fit.notes
    assert_allclose([c.estimate for c in fit.against(0.0)], [0.5, 1.0, 1.5, 2.0])
    assert_allclose([c.se for c in fit.against(0.0)], 0, atol=1e-9)


@pytest.mark.parametrize("missing", [0.0, 0.15])
def test_without_a_second_score_the_interaction_is_dropped(missing: float) -> None:
    """No cell scored twice: the fit without the term, its variance unknown rather than zero."""
    frame = panel(7, replicates=1, missing=missing)
    fit, plain = (mixed.fit(frame, "score", ["hours"], random) for random in (PANEL, ["assessor"]))
    assert fit.notes == ("interaction dropped",)
    assert fit.variance["assessor:hours"] is None
    assert "assessor:hours" not in plain.variance
    assert plain.notes == ()
    assert fit.loglik == plain.loglik


def test_assessor_alone_may_be_asked_of_replicated_cells() -> None:
    """Leaving the interaction out is the fit with its variance held at zero."""
    frame = panel(9, missing=0.1)
    fit = mixed.fit(frame, "score", ["hours"], ["assessor"])
    ours = np.array([fit.variance["assessor"], fit.variance["residual"]])
    dense = dense_deviance(frame, ours, ["hours"], ["assessor"])
    assert dense == pytest.approx(-2 * fit.loglik, abs=1e-8)
    assert fit.loglik <= mixed.fit(frame, "score", ["hours"], PANEL).loglik + 1e-9


def test_disconnected_blocks_are_said_to_be_so() -> None:
    """Two groups of assessors without a common pull are compared between people only."""
    frame = panel(10, 8, 4, 2)
    first = frame["assessor"] < "A004"
    frame = frame[first == (frame["hours"] < 8)]
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    assert "disconnected" in fit.notes
    assert fit_of(frame).parts.tolist() == [[0, 0, 2, 2]]
    # Cells 16, assessors 8, pulls 4, connected parts 2.
    assert fit.containment_df == 16 - 8 - 4 + 2
    within, across = fit.against(0.0)[0], fit.against(0.0)[1]
    assert across.se > within.se


@pytest.mark.parametrize("seed", range(5))
def test_containment_is_the_difference_of_two_ranks(seed: int) -> None:
    """rank[X Za Zc] - rank[X Za] of dense columns."""
    frame = panel(seed, 6, 4, 2, 0.35)
    X, Za = (pd.get_dummies(frame[name]).to_numpy(float) for name in ("hours", "assessor"))
    Zc = pd.get_dummies(frame["assessor"] + frame["hours"].astype(str)).to_numpy(float)
    ranks = [np.linalg.matrix_rank(np.hstack(blocks)) for blocks in ((X, Za, Zc), (X, Za))]
    assert mixed.fit(frame, "score", ["hours"], PANEL).containment_df == ranks[0] - ranks[1]


@pytest.mark.parametrize("seed", range(3))
def test_containment_with_sittings_is_the_difference_of_two_ranks(seed: int) -> None:
    """rank[X Zs Za Zc] - rank[X Zs Za] of dense columns."""
    frame = with_places(seed, 0.3)
    X, Za, Zs = (pd.get_dummies(frame[name]).to_numpy(float) for name in ("hours", "assessor", "sitting"))
    Zc = pd.get_dummies(frame["assessor"] + frame["hours"].astype(str)).to_numpy(float)
    ranks = [np.linalg.matrix_rank(np.hstack(blocks)) for blocks in ((X, Zs, Za, Zc), (X, Zs, Za))]
    fit = mixed.fit(frame, "score", ["hours"], [*PANEL, "sitting"])
    assert fit.containment_df == ranks[0] - ranks[1]


@pytest.mark.parametrize("like", ["one", "hours", "assessor", "cell", "serving"])
def test_a_sitting_that_cannot_be_told_apart_is_no_random_factor(like: str) -> None:
    """One sitting, or one for each pull, assessor, cell or serving: dropped, with a note, and nothing changes."""
    frame = panel(12, missing=0.1)
    labels = {"one": 1, "cell": frame["assessor"] + frame["hours"].astype(str), "serving": frame.index}
    frame["sitting"] = labels[like] if like in labels else frame[like]
    fit, plain = (mixed.fit(frame, "score", ["hours"], random) for random in ([*PANEL, "sitting"], PANEL))
    assert fit.notes == ("dropped: sitting",)
    assert fit.variance["sitting"] is None
    assert fit.loglik == pytest.approx(plain.loglik, abs=1e-9)


def test_nearly_copied_replicates_still_converge() -> None:
    """One replicate off by a tenth among copies: a ratio of thousands, found at the dense optimum."""
    frame = panel(13, missing=0.05)
    frame["score"] = frame.groupby(["assessor", "hours"])["score"].transform("first").round(1)
    frame.loc[frame.index[-1], "score"] += 0.1
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    ours = np.array([fit.variance[term] for term in [*PANEL, "residual"]], float)
    assert ours[1] / ours[2] > 1000
    assert dense_deviance(frame, ours, ["hours"], PANEL) == pytest.approx(-2 * fit.loglik, abs=1e-6)
    for factor in (0.99, 1.01):
        for at in range(3):
            moved = ours.copy()
            moved[at] *= factor
            assert dense_deviance(frame, moved, ["hours"], PANEL) > -2 * fit.loglik


def test_any_size_of_error_is_fitted_without_a_warning() -> None:
    """Some single missing scores, error from a millionth to a thousand times its size: a stationary point each time."""
    frame = panel(14, 8, 6, 2, 0.05)
    read = cells(frame)
    rng = np.random.default_rng(3)
    sums = np.where(read.counts > 0, read.sums + rng.normal(0, 0.3, (300, 8, 6)), 0)
    within = read.within * 10 ** rng.uniform(-12, 6, 300)
    means = np.divide(sums, read.counts, out=np.zeros_like(sums), where=read.counts > 0)
    centred = np.where(read.counts > 0, means - (means.sum(1) / (read.counts > 0).sum(1))[:, None], 0)
    rho, point, slope = reml.optimise(CellProblem.of(read.counts, centred, within, cell_fits.BOTH))
    fits = mixed.fit_cells(read.counts, sums, within)
    assert np.isfinite(fits.loglik).all()
    assert_allclose(fits.loglik, -point.deviance / 2, rtol=1e-9)
    assert_allclose(slope.gradient * rho, 0, atol=1e-5)
    assert (slope.gradient[rho == 0] >= 0).all()


# ---- invariances -----------------------------------------------------------------------------------------------------
@settings(max_examples=25, deadline=None)
@given(st.integers(0, 10_000), st.floats(-50, 50), st.floats(0.05, 20), st.randoms(use_true_random=False))
def test_order_shift_and_scale_of_the_scores_do_not_matter(seed: int, shift: float, scale: float, random) -> None:
    """Rows in any order; scores times s plus c: means follow, variances times s^2, F and df stay."""
    frame = panel(seed, 6, 4, 2, 0.15)
    order = list(range(len(frame)))
    random.shuffle(order)
    moved = frame.iloc[order].assign(score=lambda d: d["score"] * scale + shift)
    one, two = (mixed.fit(d, "score", ["hours"], PANEL) for d in (frame, moved))
    assert_allclose(two.means, one.means * scale + shift, rtol=1e-6, atol=1e-6)
    least = 1e-7 * one.variance["residual"] * scale**2
    for term, value in one.variance.items():
        assert two.variance[term] == pytest.approx(value * scale**2, rel=1e-5, abs=least)
    assert two.anova.f == pytest.approx(one.anova.f, rel=1e-6)
    assert two.anova.den_df == pytest.approx(one.anova.den_df, rel=1e-5)
    free = len(frame) - 4
    assert two.loglik == pytest.approx(one.loglik - free * np.log(scale), abs=1e-6)


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 10_000), st.permutations(range(5)))
def test_names_of_the_pulls_do_not_matter(seed: int, order: list[int]) -> None:
    """Pulls renamed: the same likelihood, the same contrast between the same two pulls."""
    frame = panel(seed, 6, 5, 2, 0.1)
    renamed = frame.assign(hours=frame["hours"].map({4.0 * i: float(new) for i, new in enumerate(order)}))
    one, two = (mixed.fit(d, "score", ["hours"], PANEL) for d in (frame, renamed))
    assert two.loglik == pytest.approx(one.loglik, abs=1e-8)
    ours = next(c for c in one.against(16.0) if c.level == 0.0)
    theirs = next(c for c in two.against(float(order[4])) if c.level == float(order[0]))
    assert theirs.estimate == pytest.approx(ours.estimate, abs=1e-7)
    assert theirs.df == pytest.approx(ours.df, rel=1e-5)


# ---- mistakes --------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("response", "fixed", "random", "says"),
    [
        ("taste", ["hours"], PANEL, "response 'taste'"),
        ("score", ["time"], PANEL, "term 'time'"),
        ("score", ["hours"], ["assessor", "assessor:time"], "no column 'time'"),
        ("score", [], PANEL, "at least one factor"),
        ("score", ["hours"], ["assessor:hours"], "simple factor"),
        ("score", ["hours", "twin"], PANEL, "cannot be told apart"),
    ],
)
def test_a_wrong_model_is_refused_by_name(response: str, fixed: list[str], random: list[str], says: str) -> None:
    """The message names the argument and what is wrong with it."""
    frame = panel(1).assign(twin=lambda d: d["hours"] * 2)
    with pytest.raises(ValueError, match=says):
        mixed.fit(frame, response, fixed, random)


def test_gaps_and_poor_data_are_refused() -> None:
    """A missing score or label, a single assessor, a pull nobody scored."""
    frame = panel(1)
    with pytest.raises(ValueError, match="finite"):
        mixed.fit(frame.assign(score=frame["score"].where(frame.index > 0)), "score", ["hours"], PANEL)
    with pytest.raises(ValueError, match="empty cell"):
        mixed.fit(frame.assign(assessor=frame["assessor"].where(frame.index > 0)), "score", ["hours"], PANEL)
    with pytest.raises(ValueError, match="at least two"):
        mixed.fit(frame[frame["assessor"] == "A000"], "score", ["hours"], PANEL)
    read = cells(frame)
    counts = read.counts.copy()
    counts[:, :, 2] = 0
    with pytest.raises(ValueError, match="every pull"):
        mixed.fit_cells(counts, read.sums, read.within)
    with pytest.raises(ValueError, match="shape"):
        mixed.fit_cells(counts[0], read.sums, read.within)
    fit = mixed.fit(frame, "score", ["hours"], PANEL)
    with pytest.raises(ValueError, match="not among the levels"):
        fit.against(99)
