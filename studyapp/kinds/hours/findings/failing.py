"""What is shown against a pull: its margin or its limit missed, or a note that has faded or grown again."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from studyapp.findings.numbers import beside, hours, hours_list, opening, units
from studyapp.kinds.hours.findings.instruments import by_name, fails_at
from studyapp.kinds.hours.findings.pulls import shown
from studyapp.kinds.hours.findings.reading import good_before, pull_at
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, Decision, PullResult

Kind = Literal["limit", "margin", "past"]


def kind(result: AttributeResult, pull: PullResult, margins_count: bool = True) -> Kind:
    """On what a pull fails that is shown to fail on this attribute.

    The limits printed are those of one statement; a failure is shown at a smaller level, so whatever failed lies beyond
    its bound in the printed limits too. What lies within both was shown against a shorter pull. Against a reference
    that fails itself no margin counts, so there a loss since a shorter pull is named first.
    """
    if _beyond_limit(result, pull):
        return "limit"
    if _beyond_margin(result, pull) and (margins_count or not _may_be_past(result, pull)):
        return "margin"
    return "past"


def _beyond_limit(result: AttributeResult, pull: PullResult) -> bool:
    limit = result.rule.limit
    if limit is None:
        return False
    return pull.mean_high <= limit if result.rule.wanted == "higher" else pull.mean_low >= limit


def _beyond_margin(result: AttributeResult, pull: PullResult) -> bool:
    if pull.decisive_lower is None or pull.decisive_upper is None:
        return False
    below = result.rule.both_ways and pull.decisive_upper <= -result.rule.margin
    return pull.decisive_lower >= result.rule.margin or below


def _may_be_past(result: AttributeResult, pull: PullResult) -> bool:
    """Whether the pull was scored worse than a shorter one by the margin, without which that cannot be shown."""
    before = good_before(result, pull.hours)
    if before is None or result.rule.both_ways:
        return False
    return result.rule.sign * (pull.mean - before.mean) >= result.rule.margin


def standing(result: AttributeResult, pull: PullResult) -> str:
    """In two or three words on what a pull is shown to fail, for tables."""
    if kind(result, pull) == "limit":
        return _("fails its limit")
    if kind(result, pull) == "margin":
        return _("fails its margin")
    return _("grown again") if result.rule.wanted == "lower" else _("faded")


# ---- sentences -----------------------------------------------------------------------------------------------------
def against_pulls(decision: Decision, only: float | None = None) -> list[str]:
    """A sentence for each attribute and way to fail: at which pulls, or whether at this one `only`, it is shown."""
    found: dict[tuple[str, Kind | None], list[float]] = {}
    margins_count = decision.reference_hours not in decision.fails_on
    for hour in sorted(decision.fails_on) if only is None else (only,):
        for name in decision.fails_on.get(hour, ()):
            result = decision.attributes.get(name)
            pull = pull_at(result, hour)
            why = None if result is None or pull is None else kind(result, pull, margins_count)
            found.setdefault((name, why), []).append(hour)
    return [
        fails_at(decision, name, pulls)
        if by_name(decision, name)
        else _against(decision, name, why).format(
            name=opening(name), pulls=hours_list(pulls), **_bounds(decision, name)
        )
        for (name, why), pulls in found.items()
    ]


def _against(decision: Decision, name: str, why: Kind | None) -> str:
    result = decision.attributes.get(name)
    if result is None or why is None:
        return _("{name} at {pulls} h: shown to fail.")
    if why == "limit":
        return _("{name} at {pulls} h: the limit of {limit} units is missed.")
    if why == "margin":
        if result.rule.both_ways:
            return _("{name} at {pulls} h: apart from {ref} h by {m} units or more.")
        return _("{name} at {pulls} h: worse than at {ref} h by {m} units or more.")
    if result.rule.wanted == "lower":
        return _("{name} at {pulls} h: grown again since a shorter pull, by {m} units or more.")
    return _("{name} at {pulls} h: faded since a shorter pull, by {m} units or more.")


def _bounds(decision: Decision, name: str) -> dict[str, str]:
    result = decision.attributes.get(name)
    if result is None:
        return {}
    return {
        "ref": hours(decision.reference_hours),
        "m": units(result.rule.margin),
        "limit": units(result.rule.limit or 0.0),
    }


def reference_fails(decision: Decision) -> list[str]:
    """What the reference itself is shown to fail on, with its numbers."""
    ref = decision.reference_hours
    said = []
    for name in decision.fails_on.get(ref, ()):
        result = decision.attributes.get(name)
        pull = pull_at(result, ref)
        if result is None or pull is None:
            said.append(_("{ref} h itself fails on {name}.").format(ref=hours(ref), name=name))
        else:
            said.append(_itself(result, pull))
    return said or [_("{ref} h itself is shown to fail.").format(ref=hours(ref))]


def _itself(result: AttributeResult, pull: PullResult) -> str:
    limit, higher = result.rule.limit, result.rule.wanted == "higher"
    texts = {"ref": hours(pull.hours), "name": result.name, "m": units(result.rule.margin)}
    if limit is None or kind(result, pull) != "limit":  # the reference has no margin to fail
        if higher:
            sentence = _("{ref} h itself comes too late for {name}: faded since a shorter pull, by {m} units or more.")
        else:
            sentence = _("{ref} h itself comes too late for {name}: grown since a shorter pull, by {m} units or more.")
        return sentence.format(**texts)
    if higher:
        sentence = _("{ref} h itself misses the limit for {name}: mean {mean}, at most {bound}, limit {limit} units.")
    else:
        sentence = _("{ref} h itself misses the limit for {name}: mean {mean}, at least {bound}, limit {limit} units.")
    bound = pull.mean_high if higher else pull.mean_low
    return sentence.format(mean=units(pull.mean), bound=beside(bound, limit), limit=units(limit), **texts)


def fate(result: AttributeResult, pull: PullResult) -> str:
    """What became of a pull on this attribute, in two or three words: the same in the tables of screen and paper."""
    if pull.shown_to_fail:
        return standing(result, pull)
    if pull.within_limit is False:
        return _("limit not shown")
    if pull.hours == result.reference_hours:
        return _("reference")
    if shown(result, pull):
        return _("within")
    return _("within, a longer pull is not") if pull.within_margin else _("not shown")
