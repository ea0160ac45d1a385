"""Decisions as values, for tests of their wording: one panel, six pulls, told by the attributes' upper limits."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from analysis.instruments import Gate, GateResult, judge_gates
from analysis.planning import Offer
from analysis.stopping import Anova, AttributeResult, AttributeRule, Decision, LostPull, PullResult, Unjudged, Warning
from analysis.stopping.decision import Taste
from analysis.stopping.gates import MoreRepeats

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
    misses = limit is not None and sign * mean - half >= sign * limit
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
            shown_to_fail=misses,
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
        shown_to_fail=lower >= rule.margin or (rule.limit is not None and sign * mean - half >= sign * rule.limit),
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
        latest_hours=HOURS[-1],
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
    Offer("all pulls", HOURS, 1, 1, 1.0, 1, 6, 8, 48, {"stop": 0.55, "cannot tell": 0.45}, 0.55, 0.011, 0.5, 8, 8),
    Offer("open pulls", SOME, 1, 1, 1.0, 2, 8, 8, 64, {"stop": 0.62, "cannot tell": 0.38}, 0.62, 0.011, 0.6, 8, 16),
    Offer("all looks", HOURS, 3, 3, 1.8, 1, 6, 24, 144, {"stop": 0.71, "cannot tell": 0.29}, 0.71, 0.01, 0.7, 8, 24),
)


def every_kind() -> dict[str, Decision]:
    """One decision for every wording."""
    return {
        **_stops(),
        **_longer(),
        **_nothing_fits(),
        **_not_believed(),
        **_not_chosen(),
        **_nothing_shorter(),
        **_missing(),
        **_with_instruments(),
    }


def read(means: tuple[float | None, ...], **gate: Any) -> tuple[GateResult, ...]:
    """What three portions of every pull with a mean, 2 % apart, show of a limit of viscosity, at most 4.0 Pa.s."""
    values = [
        (hour, gate.get("quantity", "viscosity"), mean * factor)
        for hour, mean in zip(HOURS, means, strict=True)
        if mean is not None
        for factor in (0.98, 1.0, 1.02)
    ]
    limit = Gate(**{"quantity": "viscosity", "unit": "Pa.s", "at_most": 4.0, "log": True, **gate})
    table = pd.DataFrame(values, columns=["hours", "quantity", "value"])
    return judge_gates(table, {"viscosity": limit}, HOURS, 0.05)


def _with_instruments() -> dict[str, Decision]:
    """Limits of instruments beside flavour, which is ready at 12 h."""
    told = attribute("acidity", ACIDITY)
    ready = Taste("stop", 12.0)
    late, turning = read((6, 5, 4.6, 4.3, 3.4, 3.0)), read((6, 5, 3.6, 3.4, 3.4, 4.6))
    near, unread = read((6, 5, 4.6, 3.6, 3.97, 3.0)), read((6, 5, 4.6, 3.4, None, 3.0), quantity="ash", monotone=True)
    more = (MoreRepeats("viscosity", "", 16.0, 2, 0.7),)
    return {
        "viscosity decides": decision(told, hours=16.0, binding="viscosity", gates=late, taste=ready),
        "limits of instruments": unsure(
            told,
            reason="limits of instruments",
            gates=near,
            taste=ready,
            more_repeats=more,
        ),
        "a pull not read": decision(told, gates=unread, taste=ready),
        "a mass that thickens again": unsure(told, reason="limits of instruments", gates=turning, taste=ready),
        "no hour thin enough": decision(
            told,
            **{**UNKNOWN, "verdict": "no hour fits"},
            reason="every pull fails",
            gates=read((6, 5.5, 5.5, 5.5, 5.5, 5.5)),
            fails_on=dict.fromkeys(HOURS, ("viscosity",)),
        ),
        "longer for the mass": decision(
            told,
            **{**UNKNOWN, "verdict": "conche longer"},
            gates=read((8, 7, 6.4, 6, 5.5, 5.0)),
            binding="viscosity",
        ),
    }


def _missing() -> dict[str, Decision]:
    """Pulls that were lost, taken back or never scored, and servings that could not be judged."""
    told = attribute("acidity", OPEN)
    lost, back = LostPull(20.0, "lost", None, "dropped"), LostPull(12.0, "taken back", None, "spoilt")
    longest = LostPull(36.0, "lost", None, "machine stopped")
    return {
        "reference lost": unsure(told, reason="reference lost", lost=(longest,), reference_is_sealed=False),
        "pull missing": unsure(told, reason="pull missing", lost=(lost, back, LostPull(4.0, "unread"))),
        "unjudged": unsure(told, reason="unjudged", unjudged=(Unjudged("acidity", 12.0, 2),)),
        "stop, one pull lost": decision(attribute("acidity", ACIDITY), lost=(lost, LostPull(8.0, "lost", "2"))),
        "stop against the next longest": decision(
            attribute("acidity", ACIDITY), lost=(longest,), reference_is_sealed=False
        ),
    }


# All but a stop: nothing is chosen and no window opens.
UNKNOWN: dict[str, Any] = {
    "verdict": "cannot tell",
    "hours": None,
    "latest_hours": None,
    "passes": {hour: hour == HOURS[-1] for hour in HOURS},
}
PASSES_FROM_8 = {hour: hour >= 8 for hour in HOURS}


def unsure(*results: AttributeResult, reason: str, **changes: Any) -> Decision:
    """A `cannot tell` for this reason."""
    return decision(*results, **UNKNOWN | {"reason": reason} | changes)


def lost(result: AttributeResult, *hours: float) -> AttributeResult:
    """The attribute with these pulls shown worse than a shorter one by the margin."""
    pulls = tuple(replace(pull, shown_to_fail=pull.shown_to_fail or pull.hours in hours) for pull in result.pulls)
    return replace(result, pulls=pulls)


def uncertain(result: AttributeResult, at: float) -> AttributeResult:
    """The attribute with an interval at that pull so wide that nothing is shown there."""
    pulls = tuple(replace(x, decisive_lower=-3.0, decisive_upper=3.0) if x.hours == at else x for x in result.pulls)
    return replace(result, pulls=pulls)


def fading(name: str = "cacao flavour") -> AttributeResult:
    """Wanted higher, means 1.9, 2.6, 3.5, 4.1, 3.7, 3.5: fullest at 12 h."""
    return attribute(name, (1.6, 0.9, 0.0, -0.6, -0.2), wanted="higher")


def growing(name: str = "off-notes") -> AttributeResult:
    """Wanted lower, means 5.1, 2.9, 2.5, 2.7, 3.2, 3.5: least at 8 h, then cooked."""
    return attribute(name, (1.6, -0.6, -1.0, -0.8, -0.3))


def _stops() -> dict[str, Decision]:
    acidity, bitterness = attribute("acidity", ACIDITY), attribute("bitterness", BITTERNESS)
    return {
        "stop": decision(acidity, bitterness),
        "stop, better than the reference": decision(attribute("acidity", (3.1, 1.9, 1.1, -0.4, -0.1)), bitterness),
        "stop, level with the reference": decision(attribute("acidity", (3.1, 1.9, 1.1, 0.04, -0.1)), bitterness),
        "stop, same wanted": decision(attribute("sweetness", (-3.1, -1.9, -1.1, -0.3, 0.1), wanted="same"), bitterness),
        "stop, limit": decision(attribute("acidity", ACIDITY, limit=4.5), bitterness),
        "stop, limit from below": decision(attribute("cacao flavour", ACIDITY, wanted="higher", limit=2.0)),
        "stop, window": decision(acidity, fading(), latest_hours=16.0, closed_by=("cacao flavour",)),
        "stop, window of two notes": decision(
            acidity, fading(), fading("fruit"), latest_hours=16.0, closed_by=("cacao flavour", "fruit")
        ),
        "stop, window of a note that grows": decision(acidity, growing(), latest_hours=16.0, closed_by=("off-notes",)),
        "stop, window of two notes that grow": decision(
            acidity, growing(), growing("smoke"), latest_hours=16.0, closed_by=("off-notes", "smoke")
        ),
        "stop, window of both": decision(
            acidity, fading(), growing(), latest_hours=12.0, closed_by=("cacao flavour", "off-notes")
        ),
        "stop, window of one hour": decision(acidity, fading(), latest_hours=12.0, closed_by=("cacao flavour",)),
        "stop, window without a name": decision(acidity, latest_hours=16.0),
        "stop, window not known": decision(acidity, latest_hours=None),
        "stop, rests on few": decision(
            acidity, warnings=(FEW_BOTH, replace(FEW_BOTH, values=FEW_BOTH.values | {"both": 4}))
        ),
    }


FEW_BOTH = Warning("rests on few", {"attribute": "acidity", "hours": 12.0, "both": 3})


def _longer() -> dict[str, Decision]:
    still, second = attribute("acidity", OPEN), attribute("cacao flavour", (3, 2, 1.6, 1.2, 0.8), wanted="higher")
    flat = attribute("bitterness", (0.1, 0.1, 0.1, 0.1, 0.1))
    longer = {"verdict": "conche longer", "hours": None, "latest_hours": None, "passes": UNKNOWN["passes"]}
    return {
        "conche longer": decision(still, **longer, improving=("acidity",)),
        "conche longer, another held": decision(still, flat, **longer, improving=("acidity",)),
        "conche longer, two": decision(still, second, flat, **longer, improving=("acidity", "cacao flavour")),
        "conche longer, unnamed": decision(flat, **longer),
    }


def _nothing_fits() -> dict[str, Decision]:
    smoke = attribute("smoke", (1.0, 0.8, 0.6, 0.2, 0.1), limit=2.9)
    flavour = attribute("cacao flavour", (0.5, 0.4, 0.3, 0.2, 0.1), wanted="higher", limit=4.6)
    faded = attribute("fruit", (-2.6, -2.4, -2.0, -0.2, -0.1), wanted="higher")
    grown = attribute("off-notes", (-2.6, -2.4, -2.0, -0.2, -0.1))
    nothing = UNKNOWN | {"verdict": "no hour fits", "reason": "every pull fails", "binding": "smoke"}
    late = (12.0, 16.0, 24.0)
    return {
        "no hour fits": decision(smoke, **nothing, fails_on=dict.fromkeys(HOURS, ("smoke",))),
        "no hour fits, two limits": decision(
            smoke, flavour, **nothing, fails_on=dict.fromkeys(HOURS, ("smoke", "cacao flavour"))
        ),
        "no hour fits, too short then too long": decision(
            attribute("acidity", (5, 4, 3, 0.2, 0.1), limit=5.5),
            lost(faded, *late),
            **nothing | {"binding": "fruit"},
            fails_on={hour: ("fruit",) if hour in late else ("acidity",) for hour in HOURS},
        ),
        "no hour fits, grown": decision(
            smoke,
            lost(grown, *late),
            **nothing | {"binding": "off-notes"},
            fails_on={hour: ("off-notes",) if hour in late else ("smoke",) for hour in HOURS},
        ),
        "no hour fits, something else": decision(smoke, **nothing, fails_on=dict.fromkeys(HOURS, ("viscosity",))),
        "no hour fits, unnamed": decision(smoke, **nothing),
    }


def _not_believed() -> dict[str, Decision]:
    open_, other = attribute("acidity", OPEN), attribute("bitterness", BITTERNESS)

    def unjudged(why: str, *results: AttributeResult) -> Decision:
        return unsure(*(replace(each, judged=False, why_not=why) for each in results), reason="not enough data")

    return {
        "control not found": unsure(open_, reason="control not found", control_found=False, control_told_by=0),
        "orders": unsure(open_, reason="orders"),
        "batch missing": unsure(open_, reason="batch missing", claim="each of these batches"),
        "batches apart": unsure(open_, reason="batches apart", claim="recipe and machine"),
        "too few batches": unsure(open_, reason="too few batches", claim="recipe and machine"),
        "not enough data": unjudged("too few assessors", open_),
        "not enough data, copied": unjudged("copied", open_),
        "not enough data, two copied": unjudged("copied", open_, other),
        "not enough data, one score": unjudged("same score everywhere", open_),
        "not enough data, unnamed": unsure(open_, reason="not enough data"),
    }


GREW = Warning(
    "grew", {"attribute": "off-notes", "hours": 12.0, "earlier": 4.0, "difference": 0.6, "low": 0.2, "high": 1.0}
)


def _not_chosen() -> dict[str, Decision]:
    return {**_better_hours(), **_windows(), **_improvements(), **_failing_references()}


def _better_hours() -> dict[str, Decision]:
    valley = attribute("acidity", (3.5, 0.1, -1.5, -1.5, -0.5), half=0.5)
    shallow = uncertain(attribute("acidity", (3.5, 0.4, -0.9, -0.2, 0.1), half=0.5), at=8.0)
    full = attribute("fruit", (3.5, 0.2, -1.2, -0.2, 0.1), half=0.5, wanted="higher")

    def at_4(*results: AttributeResult, better: dict[float, tuple[str, ...]]) -> Decision:
        passes = {hour: hour >= 4 for hour in HOURS}
        return unsure(*results, reason="better hours", shortest_hours=4.0, better=better, passes=passes)

    return {
        "better hours": at_4(valley, better={8.0: ("acidity",)}),
        "better hours, two of them": at_4(valley, better={8.0: ("acidity",), 12.0: ("acidity",)}),
        "better hours, three of them": at_4(valley, better=dict.fromkeys((8.0, 12.0, 16.0), ("acidity",))),
        "better hours, two notes": at_4(valley, full, better={12.0: ("acidity",), 8.0: ("acidity", "fruit")}),
        "better hours, not than the reference": at_4(shallow, better={8.0: ("acidity",)}),
        "better hours, unnamed": unsure(valley, reason="better hours"),
    }


def _windows() -> dict[str, Decision]:
    late = attribute("fruit", (-0.1, -0.4, -0.6, 0.1, 0.2), wanted="higher")
    full = attribute("fruit", (0.9, 0.8, 0.2, -0.3, -0.2), wanted="higher")
    grown = attribute("off-notes", (0.6, -0.4, 0.0, 0.2, 0.1))

    def at_12(*results: AttributeResult, not_inside: tuple[str, ...], **changes: Any) -> Decision:
        passes = {hour: hour >= 12 for hour in HOURS}
        values = {"shortest_hours": 12.0, "passes": passes, "not_inside": not_inside} | changes
        return unsure(*results, reason="window", **values)

    return {
        "window, may have faded": at_12(late, not_inside=("fruit",)),
        "window, no loss seen": at_12(full, not_inside=("fruit",)),
        "window, grown": at_12(grown, not_inside=("off-notes",), warnings=(GREW,)),
        "window, grown without limits": at_12(grown, not_inside=("off-notes",)),
        "window, faded": at_12(
            lost(attribute("fruit", (-0.1, -2.4, -0.6, 0.4, 0.2), wanted="higher"), 12.0), not_inside=("fruit",)
        ),
        "window, both": at_12(late, grown, not_inside=("fruit", "off-notes"), warnings=(GREW,)),
        "window at the reference": at_12(late, not_inside=("fruit",), shortest_hours=24.0, passes=UNKNOWN["passes"]),
        "window, unnamed": unsure(late, reason="window"),
    }


def _improvements() -> dict[str, Decision]:
    still, second = attribute("acidity", OPEN), attribute("bitterness", (3.1, 2.1, 1.6, 1.2, 0.9))
    fruit, body = attribute("fruit", (0.1, 0, 0, -0.2, -0.4), wanted="higher"), attribute("body", (0, 0, 0, 0, 0))

    def improving(*results: AttributeResult, by: tuple[str, ...], not_held: tuple[str, ...]) -> Decision:
        return unsure(*results, reason="still improving", improving=by, not_held=not_held)

    return {
        "still improving": improving(still, fruit, by=("acidity",), not_held=("fruit",)),
        "still improving, two not held": improving(still, fruit, body, by=("acidity",), not_held=("fruit", "body")),
        "still improving, two": improving(still, second, fruit, by=("acidity", "bitterness"), not_held=("fruit",)),
        "still improving, better before": improving(still, by=("acidity",), not_held=("acidity",)),
        "still improving, unnamed": improving(still, by=(), not_held=()),
    }


def _failing_references() -> dict[str, Decision]:
    smoke = attribute("smoke", (-1.5, -1.4, -1.2, -1.0, 0.2), limit=2.9)
    flavour = attribute("cacao flavour", (0.5, 0.4, 0.3, 0.2, 0.1), wanted="higher", limit=4.6)
    faded = lost(attribute("fruit", (-2.6, -2.4, -2.0, -0.2, -0.1), wanted="higher"), 24.0)
    grown = lost(attribute("off-notes", (-2.6, -2.4, -2.0, -0.2, -0.1)), 24.0)

    def fails(*results: AttributeResult, unfailed: tuple[float, ...], names: tuple[str, ...]) -> Decision:
        return unsure(*results, reason="reference fails", fails_on={24.0: names}, unfailed=unfailed)

    return {
        "reference fails": fails(smoke, unfailed=(12.0,), names=("smoke",)),
        "reference fails, two pulls": fails(smoke, unfailed=(8.0, 12.0), names=("smoke",)),
        "reference fails, from below": fails(flavour, unfailed=(8.0,), names=("cacao flavour",)),
        "reference fails, faded": fails(faded, unfailed=(8.0,), names=("fruit",)),
        "reference fails, two notes": fails(smoke, grown, unfailed=(8.0,), names=("smoke", "off-notes")),
        "reference fails, only the shortest": fails(smoke, unfailed=(0.0,), names=("smoke",)),
        "reference fails, nothing left": fails(smoke, unfailed=(), names=("smoke",)),
        "reference fails, something else": fails(smoke, unfailed=(8.0,), names=("viscosity",)),
        "reference fails, unnamed": unsure(smoke, reason="reference fails"),
    }


def _nothing_shorter() -> dict[str, Decision]:
    still_open, bitterness = attribute("acidity", OPEN), attribute("bitterness", BITTERNESS)
    missed = attribute("acidity", OPEN, limit=3.6)
    too_sweet = attribute("sweetness", (-5, -4, -3, -2.5, -1.9), wanted="same")
    at_16 = lost(attribute("fruit", (-1.6, -1.9, -1.5, -0.8, 0.7), wanted="higher"), 16.0)
    cooked = lost(attribute("off-notes", (-1.6, -1.9, -1.5, -0.8, 0.7)), 16.0)

    def meets(*results: AttributeResult, **changes: Any) -> Decision:
        return unsure(*results, reason="reference meets limits", **changes)

    return {
        "reference meets limits": meets(still_open, bitterness, looks=2),
        "reference meets limits, last look": meets(still_open),
        "reference meets limits, with a limit": meets(attribute("acidity", OPEN, limit=4.5)),
        "reference misses a limit": unsure(missed, reason="reference misses a limit", looks=2),
        "reference misses a limit, unnamed": unsure(still_open, reason="reference misses a limit"),
        "open, same wanted": meets(attribute("sweetness", OPEN, wanted="same")),
        "open, better": meets(attribute("acidity", (3, 2, 1.6, 1.1, -0.2), half=1.4)),
        "open, level": meets(attribute("acidity", (3, 2, 1.6, 1.1, -0.04), half=1.4)),
        "too short": meets(attribute("acidity", (5, 4, 3, 2.5, 1.9))),
        "too far apart": meets(lost(too_sweet, 16.0)),
        "over its limit": meets(attribute("acidity", (5, 4, 3, 2.5, 0.9), limit=3.8)),
        "too late": meets(at_16),
        "too late, grown": meets(cooked),
    }
