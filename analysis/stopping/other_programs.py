"""The model of one attribute as statsmodels fits it, and the analysis of variance of pingouin, in one form.

Both libraries are loaded inside the functions, so that nothing but a question to them pays for it.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import chdtrc

from analysis.model.contrasts import differences

if TYPE_CHECKING:
    from analysis.stopping.decision import Anova

Array = NDArray[np.float64]
# One search, without retries. On 90 drawn panels (5 to 12 assessors, 3 to 6 pulls, up to a quarter missing, 35 of them
# with a variance at zero) the simplex always said that it had converged and was never more than 4e-8 below the
# highest likelihood; "bfgs" gave up on 38, "cg" on 37, "lbfgs" on 14, and "lbfgs" and "powell" ended more than 1e-4
# short of it on 23 and 8 although they said they had converged.
OPTIMISER = "nm"
MOST_STEPS = 1000
# A factor that crosses the assessors makes all scores one block of this many random columns; one of 280 takes 4 s.
MOST_COLUMNS = 300
# It divides by every variance, so one at zero is put this far above, in residual variances.
NEARLY_ZERO = 1e-9
COMPONENTS = {"assessor": "1", "assessor:hours": "0 + C(hours)"}
CROSSED = {"assessor": "0 + C(assessor)", "assessor:hours": "0 + C(assessor):C(hours)", "sitting": "0 + C(sitting)"}


class GaveNothing(Exception):
    """The library ended with an error; the text is its own."""


@dataclass(frozen=True, slots=True)
class Difference:
    """One pull against the reference: estimate and standard error (None when there is none), scale units."""

    hours: float
    estimate: float
    se: float | None


@dataclass(frozen=True, slots=True)
class Fit:
    """What a program says of the mixed model: restricted log-likelihood, variances by name, differences of every other
    pull to the reference, F of hours."""

    loglik: float | None
    variance: Mapping[str, float | None]
    differences: tuple[Difference, ...]
    anova: Anova


@dataclass(frozen=True, slots=True)
class OtherFit:
    """`found` is where the search of the other program ended, None when that broke off (`problem` has its words), and
    `converged` what it says of that; its standard errors are the ones it prints, which let means and variances be
    unsure together, its F takes the variances as they are.

    `at_given` is what its own formulas give at the variances handed to it, without any search: log-likelihood,
    residual variance, differences and their standard errors with the variances taken as they are."""

    found: Fit | None
    converged: bool
    at_given: Fit
    problem: str = ""


@dataclass(frozen=True, slots=True)
class OtherAnova:
    """`test` of the pulls on cell means; `between` and `error` are its two mean squares, scale units squared."""

    test: Anova
    between: float
    error: float


@contextmanager
def _quietly() -> Iterator[None]:
    """Neither library's warnings: what they warn of is looked at in their results."""
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            yield
    except (ValueError, ArithmeticError) as problem:
        raise GaveNothing(" ".join(str(problem).split())) from problem


# ---- statsmodels -----------------------------------------------------------------------------------------------------
def mixed_model(
    rows: pd.DataFrame, fixed: Sequence[str], variance: Mapping[str, float], optimiser: str = OPTIMISER
) -> OtherFit:
    """Restricted maximum likelihood by statsmodels.

    Args:
        rows: the scores of one attribute, columns assessor, hours, score and those that the terms name.
        fixed: factors beside hours.
        variance: of every random term and "residual", as found by us; the names say which terms are fitted.
        optimiser: one of statsmodels' own.

    Raises:
        GaveNothing: not even its formulas gave an answer.
    """
    with _quietly():
        model = _model(rows, fixed, [name for name in variance if name != "residual"])
    hours = sorted(rows["hours"].unique())
    found, converged, problem = _searched(model, hours, optimiser)
    with _quietly():  # after the search, which tells the model that its likelihood is the restricted one
        ratios = np.array([variance[name] for name in model.exog_vc.names]) / variance["residual"]
        return OtherFit(found, converged, _reported(model, ratios, hours, None), problem)


def _searched(model: Any, hours: Sequence[float], optimiser: str) -> tuple[Fit | None, bool, str]:
    """Where the search ended, whether it says so itself, and why it broke off."""
    try:
        with _quietly():
            fit = model.fit(reml=True, method=[optimiser], maxiter=MOST_STEPS)
            found = _reported(model, np.asarray(fit.vcomp) / fit.scale, hours, np.asarray(fit.cov_params()))
            return found, bool(fit.converged), ""
    except GaveNothing as problem:
        return None, False, str(problem)


def columns(rows: pd.DataFrame, random: Sequence[str]) -> int:
    """How many random columns statsmodels holds at once for one block of scores."""
    if "sitting" not in random:
        return int(rows["hours"].nunique()) + 1
    return int(rows["assessor"].nunique() * (rows["hours"].nunique() + 1) + rows["sitting"].nunique())


def _model(rows: pd.DataFrame, fixed: Sequence[str], random: Sequence[str]) -> Any:
    """Assessors as groups, which is fast; where sittings cross them, one group of everything."""
    from statsmodels.regression.mixed_linear_model import MixedLM

    crossed = "sitting" in random
    written = CROSSED if crossed else COMPONENTS
    return MixedLM.from_formula(
        " + ".join(["score ~ 0 + C(hours)", *(f"C({name})" for name in fixed)]),
        rows.reset_index(drop=True),
        groups=np.zeros(len(rows)) if crossed else rows["assessor"].astype(str).to_numpy(),
        re_formula="0",
        vc_formula={name: written[name] for name in random},
    )


def _reported(model: Any, ratios: Array, hours: Sequence[float], printed: Array | None) -> Fit:
    """Everything at given variances, in residual variances (k,); `printed` is a covariance of all parameters to take
    standard errors from, None for the means' own with the variances taken as they are."""
    from statsmodels.regression.mixed_linear_model import MixedLMParams

    ratios = np.maximum(ratios, NEARLY_ZERO)
    none = np.zeros((0, 0))
    means, _ = model.get_fe_params(none, ratios)
    scale = float(model.get_scale(means, none, ratios))
    at = MixedLMParams.from_components(fe_params=means, cov_re=none, vcomp=ratios)
    p = len(means)
    given = np.linalg.inv(-model.hessian(at)[0][:p, :p])
    rows = np.zeros((len(hours) - 1, p))
    rows[:, : len(hours)] = differences(len(hours), len(hours) - 1)[:-1]
    estimate = rows @ means
    spread = np.sqrt(np.diag(rows @ (given if printed is None else printed[:p, :p]) @ rows.T))
    f = float(estimate @ np.linalg.solve(rows @ given @ rows.T, estimate)) / len(rows)
    return Fit(
        float(model.loglike(at)),
        {**dict(zip(model.exog_vc.names, (ratios * scale).tolist(), strict=True)), "residual": scale},
        tuple(map(Difference, map(float, hours[:-1]), estimate.tolist(), spread.tolist())),
        _known_errors(f, len(rows)),
    )


def _known_errors(f: float, q: int) -> Anova:
    """F of q rows when the errors are taken as known: no denominator df, p of chi-square."""
    from analysis.stopping.decision import Anova

    return Anova(f, float(q), None, float(chdtrc(q, q * f)))


# ---- pingouin --------------------------------------------------------------------------------------------------------
def repeated_measures(rows: pd.DataFrame) -> OtherAnova:
    """The analysis of variance of pingouin on each assessor's mean of each pull, every cell being there.

    Raises:
        GaveNothing: pingouin ended with an error.
    """
    from analysis.stopping.decision import Anova

    cells = rows.groupby(["assessor", "hours"], as_index=False)["score"].mean()
    with _quietly():
        import pingouin

        table = pingouin.rm_anova(
            cells, dv="score", within="hours", subject="assessor", correction=False, detailed=True
        )
        p = next(table[name] for name in ("p_unc", "p-unc") if name in table)  # by version
        pulls, error = table.iloc[0], table.iloc[1]
        test = Anova(float(pulls["F"]), float(pulls["DF"]), float(error["DF"]), float(p.iloc[0]))
        return OtherAnova(test, float(pulls["MS"]), float(error["MS"]))
