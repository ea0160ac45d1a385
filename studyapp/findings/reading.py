"""Reading a decision: which pull, which attribute, which hour a sentence is about."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, Decision, PullResult


def pull_at(result: AttributeResult | None, hour: float | None) -> PullResult | None:
    """The pull of an attribute at that hour, if it was tasted."""
    if result is None:
        return None
    return next((pull for pull in result.pulls if pull.hours == hour), None)


def shorter_pull(decision: Decision) -> float | None:
    """The pull next to the reference."""
    return max((hour for hour in decision.passes if hour < decision.reference_hours), default=None)


def next_pulls(decision: Decision) -> tuple[float, float]:
    """Two hours to pull after the longest: one and two more of the last step."""
    shorter = shorter_pull(decision)
    step = decision.reference_hours - (shorter or 0.0)
    return decision.reference_hours + step, decision.reference_hours + 2 * step


def blocking(decision: Decision, hour: float | None) -> list[tuple[AttributeResult, PullResult]]:
    """What keeps a pull from passing, the worst first: how far its upper limit reaches over the margin."""
    found = []
    for result in decision.attributes.values():
        pull = pull_at(result, hour)
        if pull is not None and not (pull.within_margin and pull.within_limit is not False):
            found.append((result, pull))
    return sorted(found, key=lambda pair: -_excess(*pair))


def _excess(result: AttributeResult, pull: PullResult) -> float:
    if pull.decisive_upper is None or pull.decisive_lower is None:
        return float("inf")
    upper = pull.decisive_upper - result.rule.margin
    if result.rule.wanted == "same":
        return max(upper, -result.rule.margin - pull.decisive_lower)
    return upper


def failing_pulls(decision: Decision) -> dict[str, list[float]]:
    """For each attribute that fails somewhere, the pulls where it is shown to, shortest first."""
    found: dict[str, list[float]] = {}
    for hour in sorted(decision.fails_on):
        for name in decision.fails_on[hour]:
            found.setdefault(name, []).append(hour)
    return dict(sorted(found.items()))


def improving(decision: Decision) -> tuple[AttributeResult, PullResult] | None:
    """The attribute that most clearly still got better up to the longest pull, with the pull before it."""
    hour = shorter_pull(decision)
    found = []
    for result in decision.attributes.values():
        pull = pull_at(result, hour)
        if pull is not None and pull.decisive_lower is not None and result.rule.wanted != "same":
            found.append((result, pull))
    rising = [pair for pair in found if not pair[1].within_margin and (pair[1].decisive_lower or 0.0) > 0]
    return max(rising, key=lambda pair: pair[1].decisive_lower or 0.0, default=None)


def past_hour(decision: Decision) -> float | None:
    """The first pull after the window for notes that fade, or None when the window reaches the longest pull."""
    latest = decision.latest_hours
    if latest is None or latest >= decision.reference_hours:
        return None
    return min((hour for hour in decision.passes if hour > latest), default=None)


def fading(decision: Decision) -> str | None:
    """The attribute wanted higher that closes the window: the one whose mean fell most after it."""
    past, latest = past_hour(decision), decision.latest_hours
    falls: dict[str, float] = {}
    for name, result in decision.attributes.items():
        after = pull_at(result, past)
        if result.rule.wanted != "higher" or after is None:
            continue
        best = max((pull.mean for pull in result.pulls if latest is not None and pull.hours <= latest), default=None)
        if best is not None:
            falls[name] = best - after.mean
    return max(falls, key=lambda name: falls[name]) if falls else None
