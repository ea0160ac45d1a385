"""A result to draw."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from analysis.stopping import Anova, AttributeResult, AttributeRule, PullResult, Wanted

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
WORSE = (3.1, 1.9, 1.1, 0.4, 0.1)


def _pull(hours: float, worse: float, half: float, margin: float) -> PullResult:
    low, high = worse - half, worse + half
    return PullResult(
        hours=hours, mean=3.5 + worse, mean_low=3.0 + worse, mean_high=4.0 + worse, difference=worse,
        se=half / 1.9, df=35.0, upper=high, lower=low, own_se=half / 2, own_df=7.0, own_upper=high - 0.1,
        own_lower=low + 0.1, sitting_upper=None, sitting_lower=None, decisive_upper=high, decisive_lower=low,
        within_margin=high < margin, within_limit=None, shown_to_fail=low >= margin,
    )  # fmt: skip


def _reference(hours: float) -> PullResult:
    return PullResult(
        hours=hours, mean=3.5, mean_low=3.0, mean_high=4.0, difference=0.0, se=None, df=None, upper=None, lower=None,
        own_se=None, own_df=None, own_upper=None, own_lower=None, sitting_upper=None, sitting_lower=None,
        decisive_upper=None, decisive_lower=None, within_margin=True, within_limit=None, shown_to_fail=False,
    )  # fmt: skip


@pytest.fixture
def attribute_result() -> Callable[..., AttributeResult]:
    """A function that builds one attribute's result: acidity falling over six pulls, 12 h the first that is enough."""

    def build(
        name: str = "Acidity",
        wanted: Wanted = "lower",
        margin: float = 1.0,
        limit: float | None = None,
        shortest: float | None = 12.0,
    ) -> AttributeResult:
        pulls = tuple(_pull(hours, worse, 0.5, margin) for hours, worse in zip(HOURS, WORSE, strict=False))
        return AttributeResult(
            name=name, rule=AttributeRule(wanted, margin, limit), reference_hours=24.0, shortest_hours=shortest,
            assessors=8, reml_loglik=-200.0, variance={"assessor": 0.9, "assessor:hours": 0.2, "residual": 1.0},
            anova=Anova(20.0, 5.0, 35.0, 0.0001), pulls=(*pulls, _reference(24.0)),
        )  # fmt: skip

    return build
