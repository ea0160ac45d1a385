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
    return pull_before(decision, decision.reference_hours)


def pull_before(decision: Decision, hour: float) -> float | None:
    """The next shorter pull, None for the shortest."""
    return max((pull for pull in decision.passes if pull < hour), default=None)


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
    if result.rule.both_ways:
        return max(upper, -result.rule.margin - pull.decisive_lower)
    return upper


def improving(decision: Decision) -> list[tuple[AttributeResult, PullResult]]:
    """The attributes that still got better up to the longest pull, each with the pull before it, the clearest first."""
    hour = shorter_pull(decision)
    found = []
    for name in decision.improving:
        result = decision.attributes.get(name)
        pull = pull_at(result, hour)
        if result is not None and pull is not None:
            found.append((result, pull))
    return sorted(found, key=lambda pair: -(pair[1].decisive_lower or 0.0))


def better_pull(decision: Decision) -> float | None:
    """Of the pulls shown better than the shortest that passes, the one to go on from: better on most attributes, then
    furthest ahead of the reference, then the shortest."""

    def key(hour: float) -> tuple[int, float, float]:
        names = decision.better[hour]
        pulls = [pull_at(decision.attributes.get(name), hour) for name in names]
        return -len(names), sum(pull.difference for pull in pulls if pull is not None), hour

    return min(decision.better, key=key, default=None)


def new_longest(decision: Decision) -> float | None:
    """The longest pull that a new study could have when the reference fails: nothing is shown against it, and there is
    a shorter one to serve beside it."""
    return max((hour for hour in decision.unfailed if hour > min(decision.passes)), default=None)


# ---- the window ----------------------------------------------------------------------------------------------------
def past_hour(decision: Decision) -> float | None:
    """The first pull after the window, or None when it reaches the longest pull or was not asked for."""
    latest = decision.latest_hours
    if latest is None or latest >= decision.reference_hours:
        return None
    return min((hour for hour in decision.passes if hour > latest), default=None)


def split_by_wish(decision: Decision, names: tuple[str, ...]) -> tuple[list[str], list[str]]:
    """Of attributes that leave their window: those wanted higher, which fade, and those wanted lower, which grow."""
    wished = {name: decision.attributes[name].rule.wanted for name in names if name in decision.attributes}
    return (
        [name for name, wanted in wished.items() if wanted == "higher"],
        [name for name, wanted in wished.items() if wanted == "lower"],
    )


def shown_too_late(decision: Decision) -> bool:
    """Whether a note at the pull that passes is shown worse than at a shorter one by its margin, not only perhaps."""
    hour = decision.shortest_hours
    pulls = [pull_at(decision.attributes.get(name), hour) for name in decision.not_inside]
    return any(pull.shown_to_fail for pull in pulls if pull is not None)


def good_before(result: AttributeResult, hour: float) -> PullResult | None:
    """The shorter pull at which the attribute stood highest (wanted higher) or lowest (wanted lower)."""
    return min(
        (pull for pull in result.pulls if pull.hours < hour),
        key=lambda pull: result.rule.sign * pull.mean,
        default=None,
    )
