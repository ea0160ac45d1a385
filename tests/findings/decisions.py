"""Decisions as values, for tests of their wording: one panel, six pulls, told by the attributes' upper limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from analysis.stopping import Anova, AttributeResult, AttributeRule, Decision, Offer, PullResult

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)
ACIDITY = (3.1, 1.9, 1.1, 0.4, 0.1)
BITTERNESS = (1.6, 0.8, 0.35, 0.2, 0.05)


def attribute(
    name: str,
    differences: tuple[float, ...],
    *,
    wanted: Any = "lower",
    margin: float = 1.0,
    limit: float | None = None,
    half: float = 0.52,
    reference_mean: float = 3.5,
) -> AttributeResult:
    """One attribute: worsening of each shorter pull, all with the same half width of the interval."""
    rule = AttributeRule(wanted, margin, limit)
    sign = -1 if wanted == "higher" else 1
    pulls = [
        _pull(hour, reference_mean + sign * difference, difference, rule, half)
        for hour, difference in zip(HOURS, differences, strict=False)
    ]
    end = HOURS[-1]
    mean = reference_mean
    meets = None if limit is None else sign * mean + half < sign * limit
    pulls.append(
        PullResult(
            hours=end,
            mean=mean,
            mean_low=mean - half,
            mean_high=mean + half,
            difference=0.0,
            **dict.fromkeys(_BOUNDS, None),
            within_margin=True,
            within_limit=meets,
            shown_to_fail=False,
        )
    )
    shortest = None
    for pull in reversed(pulls):
        if not (pull.within_margin and pull.within_limit is not False):
            break
        shortest = pull.hours
    return AttributeResult(
        name=name,
        rule=rule,
        reference_hours=end,
        shortest_hours=shortest,
        assessors=8,
        reml_loglik=-140.0,
        variance={"assessor": 1.0, "assessor:hours": 0.25, "residual": 1.0},
        anova=Anova(21.0, 5.0, 35.0, 0.0001),
        pulls=tuple(pulls),
    )


_BOUNDS = (
    "se",
    "df",
    "upper",
    "lower",
    "own_se",
    "own_df",
    "own_upper",
    "own_lower",
    "sitting_upper",
    "sitting_lower",
    "decisive_upper",
    "decisive_lower",
)


def _pull(hour: float, mean: float, difference: float, rule: AttributeRule, half: float) -> PullResult:
    upper, lower = difference + half, difference - half
    within = upper < rule.margin and (rule.wanted != "same" or lower > -rule.margin)
    sign = -1 if rule.wanted == "higher" else 1
    meets = None if rule.limit is None else sign * mean + half < sign * rule.limit
    return PullResult(
        hours=hour,
        mean=mean,
        mean_low=mean - half,
        mean_high=mean + half,
        difference=difference,
        se=0.3,
        df=35.0,
        upper=upper,
        lower=lower,
        own_se=0.31,
        own_df=7.0,
        own_upper=upper,
        own_lower=lower,
        sitting_upper=None,
        sitting_lower=None,
        decisive_upper=upper,
        decisive_lower=lower,
        within_margin=within,
        within_limit=meets,
        shown_to_fail=lower >= rule.margin,
    )


def decision(*results: AttributeResult, **changes: Any) -> Decision:
    """A `stop` at the longest of the attributes' shortest hours, unless `changes` say otherwise."""
    results = results or (attribute("acidity", ACIDITY), attribute("bitterness", BITTERNESS))
    by_hour = sorted(results, key=lambda result: -(result.shortest_hours or 0))
    needed = by_hour[0].shortest_hours or HOURS[-1]
    made = Decision(
        verdict="stop",
        hours=needed,
        reason=None,
        look=1,
        looks=1,
        level=0.05,
        alpha=0.05,
        control_hours=0.0,
        control_found=True,
        control_told_by=8,
        latest_hours=None,
        binding=by_hour[0].name,
        next_binding=by_hour[1].name if len(by_hour) > 1 else None,
        reference_hours=HOURS[-1],
        passes={hour: hour >= needed for hour in HOURS},
        fails_on={},
        attributes={result.name: result for result in results},
        warnings=(),
        scope={"assessors": 8, "sittings": 2, "batches": 1},
    )
    return replace(made, **changes)


OPEN = (3.1, 2.1, 1.6, 1.1, 0.6)
SOME = (0.0, 12.0, 16.0, 24.0)
OFFERS = (
    Offer("all pulls", HOURS, 1, 1, 1.0, 1, 6, 8, 48, {"stop": 0.55, "cannot tell": 0.45}, 0.55, 0.011, 0.5),
    Offer("open pulls", SOME, 1, 1, 1.0, 2, 8, 8, 64, {"stop": 0.62, "cannot tell": 0.38}, 0.62, 0.011, 0.6),
    Offer("all looks", HOURS, 3, 3, 1.8, 1, 6, 24, 144, {"stop": 0.71, "cannot tell": 0.29}, 0.71, 0.01, 0.7),
)


def every_kind() -> dict[str, Decision]:
    """One decision for every wording."""
    acidity, bitterness = attribute("acidity", ACIDITY), attribute("bitterness", BITTERNESS)
    still_open = attribute("acidity", OPEN)
    fading = attribute("cacao flavour", (1.6, 0.9, 0.0, -0.6, -0.2), wanted="higher")
    unknown: dict[str, Any] = {
        "verdict": "cannot tell",
        "hours": None,
        "passes": {hour: hour == HOURS[-1] for hour in HOURS},
    }
    missed = attribute("acidity", OPEN, limit=3.6)
    return {
        "stop": decision(acidity, bitterness),
        "stop, better than the reference": decision(attribute("acidity", (3.1, 1.9, 1.1, -0.4, -0.1)), bitterness),
        "stop, level with the reference": decision(attribute("acidity", (3.1, 1.9, 1.1, 0.04, -0.1)), bitterness),
        "stop, same wanted": decision(attribute("sweetness", (-3.1, -1.9, -1.1, -0.3, 0.1), wanted="same"), bitterness),
        "stop, limit": decision(attribute("acidity", ACIDITY, limit=4.5), bitterness),
        "stop, limit from below": decision(attribute("cacao flavour", ACIDITY, wanted="higher", limit=2.0)),
        "stop, window": decision(acidity, fading, latest_hours=16.0),
        "stop, window of one hour": decision(acidity, fading, latest_hours=12.0),
        "stop, window without a note that fades": decision(acidity, latest_hours=16.0),
        "conche longer": decision(still_open, **unknown | {"verdict": "conche longer"}),
        "conche longer, unnamed": decision(acidity, **unknown | {"verdict": "conche longer"}),
        "no hour fits": decision(
            acidity,
            **unknown | {"verdict": "no hour fits"},
            fails_on={hour: ("acidity",) if hour < 12 else ("off-notes", "bitterness") for hour in HOURS},
        ),
        "no hour fits, too short then too long": decision(
            acidity,
            fading,
            **unknown | {"verdict": "no hour fits"},
            fails_on={hour: ("acidity",) if hour < 12 else ("cacao flavour",) for hour in HOURS},
        ),
        "no hour fits, empty window": decision(
            acidity, fading, **unknown | {"verdict": "no hour fits"}, latest_hours=8.0
        ),
        "no hour fits, empty window, unnamed": decision(
            acidity, **unknown | {"verdict": "no hour fits"}, latest_hours=8.0
        ),
        "reference meets limits": decision(still_open, bitterness, **unknown, reason="reference meets limits", looks=2),
        "reference meets limits, last look": decision(still_open, **unknown, reason="reference meets limits"),
        "reference meets limits, with a limit": decision(
            attribute("acidity", OPEN, limit=4.5), **unknown, reason="reference meets limits"
        ),
        "reference misses a limit": decision(missed, **unknown, reason="reference misses a limit", looks=2),
        "reference misses a limit, unnamed": decision(still_open, **unknown, reason="reference misses a limit"),
        "open, same wanted": decision(
            attribute("sweetness", OPEN, wanted="same"), **unknown, reason="reference meets limits"
        ),
        "open, better": decision(
            attribute("acidity", (3, 2, 1.6, 1.1, -0.2), half=1.4), **unknown, reason="reference meets limits"
        ),
        "open, level": decision(
            attribute("acidity", (3, 2, 1.6, 1.1, -0.04), half=1.4), **unknown, reason="reference meets limits"
        ),
        "too short": decision(attribute("acidity", (5, 4, 3, 2.5, 1.9)), **unknown, reason="reference meets limits"),
        "control not found": decision(
            still_open, **unknown, reason="control not found", control_found=False, control_told_by=0
        ),
        "orders": decision(still_open, **unknown, reason="orders"),
        "not enough data": decision(
            replace(still_open, judged=False, why_not="too few assessors"),
            **unknown,
            reason="not enough data",
        ),
        "not enough data, unnamed": decision(still_open, **unknown, reason="not enough data"),
    }
