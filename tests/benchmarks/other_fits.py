"""statsmodels' mixed model at its best, to set our fits beside.

By default `MixedLM.fit` goes through three optimisers, one after another where one does not converge, and warns; timed
like that it looks several times slower than it is. Here every data set gets the one optimiser, and the one of two
layouts, that is fastest on it among those that say they converged and reach our log likelihood to within 0.05 (at a
variance of zero all of them stop a little short). Looking for it costs nothing in the timings, which a user could not
have: the ratios lean towards statsmodels. Retries are never timed, and a data set on which no optimiser arrives alone
is left out.
"""

from __future__ import annotations

import time
import warnings
from collections.abc import Callable, Iterator
from functools import partial
from itertools import product
from typing import Any

import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM

# The last is slow but always arrives; it is tried where no other does.
OPTIMISERS, LAST_RESORT = ("bfgs", "lbfgs", "cg", "powell"), ("nm",)
SHORT = 0.05
Model = Callable[[], MixedLM]


def hours_models(frame: pd.DataFrame) -> list[Model]:
    """score ~ hours + assessor + assessor:hours, the assessor as a random intercept of groups or as a component."""
    cell = {"cell": "0 + C(hours)"}
    return [
        lambda: MixedLM.from_formula("score ~ C(hours)", frame, groups="assessor", re_formula="1", vc_formula=cell),
        lambda: MixedLM.from_formula(
            "score ~ C(hours)", frame, groups="assessor", re_formula="0", vc_formula={"a": "1"} | cell
        ),
    ]


def crossed_models(frame: pd.DataFrame) -> list[Model]:
    """The same with position fixed and sitting crossed: everything is a component of one group."""
    parts = {"a": "0 + C(assessor)", "c": "0 + C(assessor):C(hours)", "s": "0 + C(sitting)"}
    return [
        lambda: MixedLM.from_formula(
            "score ~ C(hours) + C(position)", frame, groups=np.ones(len(frame)), re_formula="0", vc_formula=parts
        )
    ]


def best_fit(models: list[Model], loglik: float) -> tuple[Callable[[], object], Callable[[], object]] | None:
    """The fastest single fit that arrives at `loglik`: from a model that is already built, and model and fit; None
    where no optimiser arrives."""
    for optimisers in (OPTIMISERS, LAST_RESORT):
        arrived = list(_arrived(models, optimisers, loglik))
        if arrived:
            _, make, optimiser = min(arrived, key=lambda found: found[0])
            built = make()
            return _quiet(partial(_itself, built), optimiser), _quiet(make, optimiser)
    return None


def _arrived(models: list[Model], optimisers: tuple[str, ...], loglik: float) -> Iterator[tuple[float, Model, str]]:
    """Seconds, model and optimiser of every single fit that converges where it should."""
    built = [(make, partial(_itself, make())) for make in models]
    for (make, itself), optimiser in product(built, optimisers):
        fit = _quiet(itself, optimiser)
        start = time.process_time()
        try:
            found = fit()
        except np.linalg.LinAlgError:
            continue
        if found.converged and found.llf >= loglik - SHORT:
            yield time.process_time() - start, make, optimiser


def _itself(built: MixedLM) -> MixedLM:
    return built


def _quiet(make: Model, optimiser: str) -> Callable[[], Any]:
    """One fit with one optimiser, its warnings not shown."""

    def fit() -> object:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return make().fit(reml=True, method=optimiser)

    return fit
