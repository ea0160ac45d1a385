"""Why a look cannot tell, and what to do about it: one writer for each reason."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from studyapp.findings.numbers import beside, hours, hours_list, listed, opening, units
from studyapp.kinds.hours.findings.batches import NOT_BORNE, why_batches
from studyapp.kinds.hours.findings.failing import kind, reference_fails
from studyapp.kinds.hours.findings.instruments import REASON, still_better, why_limits
from studyapp.kinds.hours.findings.missing import why_missing
from studyapp.kinds.hours.findings.reading import (
    better_pull,
    blocking,
    good_before,
    improving,
    new_longest,
    pull_at,
    pull_before,
    shorter_pull,
    shown_too_late,
)
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, Decision, PullResult

# More scores of the same do not help here, so no price of them is named among the reasons.
PRICELESS = ("orders", "control not found", "better hours", "reference lost", REASON, *NOT_BORNE)


def why_unsure(decision: Decision) -> list[str]:
    """The sentences of `cannot tell`.

    Raises:
        ValueError: the reason has no words; an answer must never vanish unread.
    """
    writer = _WRITERS.get(decision.reason or "")
    if writer is None:
        raise ValueError(f"no sentences for the reason {decision.reason!r}")
    return writer(decision)


def reasons() -> frozenset[str]:
    """All reasons that have sentences."""
    return frozenset(_WRITERS)


# ---- the panel or its scores cannot be believed ----------------------------------------------------------------------
def _control_not_found(decision: Decision) -> list[str]:
    return [
        _("The {h} h pull is known to differ, and the panel did not tell it from {ref} h.").format(
            h=hours(decision.control_hours), ref=hours(decision.reference_hours)
        ),
        _("So sameness cannot be believed today either. Check labels, temperature and rests, and taste again."),
    ]


def _orders(decision: Decision) -> list[str]:
    return [
        _("Pulls stood at different places in the sittings, and the first serving scores differently by itself."),
        _("So a pull may look good only for its place. Serve again in balanced orders."),
    ]


def _not_enough_data(decision: Decision) -> list[str]:
    names = [result.name for result in decision.attributes.values() if not result.judged]
    copied = [result.name for result in decision.attributes.values() if result.why_not == "copied"]
    said = [_("{names} could not be judged from the scores at hand.").format(names=opening(listed(names)))]
    if not names:
        said = [_("There are too few scores to compare the pulls.")]
    if copied:
        said.append(_("Ask whether scores of {names} were copied, and taste again.").format(names=listed(copied)))
    return said


# ---- what passes may not be the hour to stop at ----------------------------------------------------------------------
def _better_hours(decision: Decision) -> list[str]:
    better, shortest = better_pull(decision), decision.shortest_hours
    if better is None or shortest is None:
        return [_("A longer pull is shown better than the shortest that passes.")]
    texts = {"better": hours(better), "h": hours(shortest), "ref": hours(decision.reference_hours)}
    said = [_("{h} h comes close enough to {ref} h, but {better} h is shown to be better than {h} h.").format(**texts)]
    for name in decision.better[better]:
        result = decision.attributes.get(name)
        if result is not None:
            said += _how_much_better(result, better, shortest)
    others = [hour for hour in sorted(decision.better) if hour != better]
    if others:
        sentence = ngettext("{others} h is better too.", "{others} h are better too.", len(others))
        said.append(sentence.format(others=hours_list(others)))
    new = _("Plan a new study with {better} h as the longest pull, and seal it as the reference to be matched.")
    return [*said, new.format(**texts)]


def _how_much_better(result: AttributeResult, better: float, shortest: float) -> list[str]:
    """Against the shortest pull that passes, and against the reference where that is shown too."""
    one, other = pull_at(result, better), pull_at(result, shortest)
    if one is None or other is None:
        return []
    texts = {
        "name": opening(result.name),
        "better": hours(better),
        "h": hours(shortest),
        "m": units(result.rule.margin),
    }
    sentence = _("{name} at {better} h: better than at {h} h by {d} units, at least by its margin of {m}.")
    said = [sentence.format(d=beside(other.difference - one.difference, result.rule.margin), **texts)]
    if one.decisive_upper is not None and one.decisive_upper < 0:
        said.append(
            _("It is better than at {ref} h too, by {d} units, at least {least}.").format(
                ref=hours(result.reference_hours), d=units(-one.difference), least=beside(-one.decisive_upper, 0.0)
            )
        )
    return said


def _window(decision: Decision) -> list[str]:
    hour, ref = decision.shortest_hours, decision.reference_hours
    if hour is None:
        return [_("What passes is not shown to be early enough.")]
    if shown_too_late(decision):
        said = [_("{h} h comes close enough to {ref} h, but too late.").format(h=hours(hour), ref=hours(ref))]
    elif hour < ref:
        said = [_("{h} h comes close enough to {ref} h, but may come too late.").format(h=hours(hour), ref=hours(ref))]
    else:
        said = [_("{ref} h itself may come too late.").format(ref=hours(ref))]
    for name in decision.not_inside:
        result = decision.attributes.get(name)
        pull = pull_at(result, hour)
        if result is not None and pull is not None:
            said.append(_grown(decision, result, pull) if result.rule.wanted == "lower" else _not_kept(result, pull))
    before = pull_before(decision, hour)
    if before is not None:
        sentence = _("An hour between {a} and {b} h may be long enough and still early enough.")
        said.append(sentence.format(a=hours(before), b=hours(hour)))
    return said


def _not_kept(result: AttributeResult, pull: PullResult) -> str:
    """A note wanted higher that has faded, or may have."""
    before, margin = good_before(result, pull.hours), units(result.rule.margin)
    name, fall = opening(result.name), 0.0 if before is None else before.mean - pull.mean
    if before is not None and pull.shown_to_fail:
        sentence = _(
            "{name} at {h} h: faded, lower than at {early} h by {d} units, and a loss of {m} or more is shown."
        )
        return sentence.format(name=name, h=hours(pull.hours), early=hours(before.hours), d=units(fall), m=margin)
    if before is None or round(fall, 1) <= 0:
        sentence = _("{name} was not shown to be kept at {h} h: a loss of {m} units, its margin, is not ruled out.")
        return sentence.format(name=name, h=hours(pull.hours), m=margin)
    return _(
        "{name} was not shown to be kept at {h} h: lower than at {early} h by {d} units, "
        "and a loss of {m} units, its margin, is not ruled out."
    ).format(name=name, h=hours(pull.hours), early=hours(before.hours), d=units(fall), m=margin)


def _grown(decision: Decision, result: AttributeResult, pull: PullResult) -> str:
    """A note wanted lower that has grown again, with its limits where the rule found them worth a warning."""
    texts = {"name": opening(result.name), "h": hours(pull.hours)}
    for warning in decision.warnings:
        values = warning.values
        if warning.code == "grew" and (values["attribute"], values["hours"]) == (result.name, pull.hours):
            sentence = _(
                "{name} at {h} h: grown again, higher than at {early} h by {d} units, between {low} and {high}."
            )
            numbers = {key: float(str(values[key])) for key in ("difference", "low", "high", "earlier")}
            return sentence.format(
                d=units(numbers["difference"]),
                low=beside(numbers["low"], 0.0),
                high=units(numbers["high"]),
                early=hours(numbers["earlier"]),
                **texts,
            )
    before = good_before(result, pull.hours)
    if before is None:
        return _("{name} at {h} h: grown again since a shorter pull.").format(**texts)
    return _("{name} at {h} h: grown again, higher than at {early} h by {d} units.").format(
        early=hours(before.hours), d=units(pull.mean - before.mean), **texts
    )


def _still_improving(decision: Decision) -> list[str]:
    said = still_improving(decision)
    others = [name for name in decision.not_held if name not in decision.improving]
    own = [name for name in decision.not_held if name in decision.improving]
    if others:
        sentence = ngettext(
            "Whether {names} holds meanwhile was not shown.",
            "Whether {names} hold meanwhile was not shown.",
            len(others),
        )
        said.append(sentence.format(names=listed(others)))
    if own:
        sentence = _("For {names}, a shorter pull may have been better than {ref} h.")
        said.append(sentence.format(names=listed(own), ref=hours(decision.reference_hours)))
    return [*said, _until_known(decision)]


def still_improving(decision: Decision) -> list[str]:
    """Which attributes still got better up to the longest pull, and by how much."""
    said = []
    for result, pull in improving(decision):
        sentence = _("{name} still got better from {h1} to {h2} h, by {d} units, at least {least}.")
        said.append(
            sentence.format(
                name=opening(result.name),
                h1=hours(pull.hours),
                h2=hours(decision.reference_hours),
                d=units(pull.difference),
                least=beside(pull.decisive_lower or 0.0, 0.0),
            )
        )
    said += still_better(decision)
    return said or [_("Flavour still got better up to the longest pull.")]


def _reference_fails(decision: Decision) -> list[str]:
    ref = hours(decision.reference_hours)
    said = [*reference_fails(decision), _("So being close to {ref} h decides nothing.").format(ref=ref)]
    if not decision.unfailed:
        return said
    said.append(
        _("Nothing that was shown speaks against {pulls} h.").format(pulls=hours_list(sorted(decision.unfailed)))
    )
    longest = new_longest(decision)
    if longest is not None:
        sentence = _("Plan a new study with {h} h as the longest pull, or taste these pulls again.")
        said.append(sentence.format(h=hours(longest)))
    return said


# ---- nothing shorter was shown ---------------------------------------------------------------------------------------
def _open(decision: Decision) -> list[str]:
    return [*_what_blocks(decision), _meanwhile(decision)]


def _what_blocks(decision: Decision) -> list[str]:
    """What stays possible for the pull next to the reference, and what blocks it."""
    shorter = shorter_pull(decision)
    blocks = blocking(decision, shorter)
    if shorter is None or not blocks:
        if decision.reason == "reference misses a limit":
            return []
        return [_("No shorter pull was shown to be good enough.")]
    result, pull = blocks[0]
    texts = {"h": hours(shorter), "ref": hours(decision.reference_hours), "name": result.name}
    if pull.decisive_upper is None or pull.decisive_lower is None:
        return [_("For {h} h, {name} could not be judged.").format(**texts)]
    same, margin = result.rule.both_ways, result.rule.margin
    texts |= {
        "d": units(pull.difference if same else abs(pull.difference)),
        "low": beside(pull.decisive_lower, -margin if same else margin),
        "most": beside(pull.decisive_upper, margin),
        "m": units(margin),
    }
    return [_open_sentence(result, pull).format(**texts)]


def _open_sentence(result: AttributeResult, pull: PullResult) -> str:
    same = result.rule.both_ways
    if pull.shown_to_fail:
        return _fails_sentence(result, pull)
    if pull.within_margin:
        return _("{h} h comes close enough to {ref} h, but {name} is not shown to meet its limit there.")
    if same:
        return _(
            "{h} h may be as good as {ref} h: {name} is apart by {d} units, "
            "but it could be anything between {low} and {most} and the margin is {m} either way."
        )
    if round(pull.difference, 1) == 0:
        return _(
            "{h} h may be as good as {ref} h: {name} is no worse on average, "
            "but it could be worse by {most} and the margin is {m}."
        )
    if pull.difference < 0:
        return _(
            "{h} h may be as good as {ref} h: {name} is even better by {d} units, "
            "but it could be worse by {most} and the margin is {m}."
        )
    return _(
        "{h} h may be as good as {ref} h: {name} is worse by {d} units, "
        "but it could be up to {most} and the margin is {m}."
    )


def _fails_sentence(result: AttributeResult, pull: PullResult) -> str:
    """A pull next to the reference that is shown to fail on this attribute."""
    why = kind(result, pull)
    if why == "limit":
        return _("{h} h misses the limit for {name}.")
    if why == "past" and result.rule.wanted == "lower":
        return _("{h} h comes too late for {name}: grown again since a shorter pull, by {m} units or more.")
    if why == "past":
        return _("{h} h comes too late for {name}: faded since a shorter pull, by {m} units or more.")
    if result.rule.both_ways:
        return _(
            "{h} h does not match {ref} h: {name} is apart by {d} units, between {low} and {most}, "
            "and the margin is {m} either way."
        )
    return _("{h} h is too short: {name} is worse than at {ref} h by {d} units, at least {low}, and the margin is {m}.")


def _meanwhile(decision: Decision) -> str:
    reference = hours(decision.reference_hours)
    if decision.reason == "reference misses a limit":
        missed = [name for name, result in decision.attributes.items() if _misses(result, decision.reference_hours)]
        if not missed:
            return _("{ref} h itself was not shown to meet every limit.").format(ref=reference)
        return _("{ref} h itself was not shown to meet the limit for {names}.").format(
            ref=reference, names=listed(missed)
        )
    if decision.look >= decision.looks:
        if any(result.rule.limit is not None for result in decision.attributes.values()):
            return _("Nothing shorter was shown to be good enough. {ref} h meets every limit.").format(ref=reference)
        return _("Nothing shorter was shown to be good enough.")
    return _until_known(decision)


def _until_known(decision: Decision) -> str:
    return _("Until it is known, stay at {ref} h.").format(ref=hours(decision.reference_hours))


def _misses(result: AttributeResult, hour: float) -> bool:
    pull = pull_at(result, hour)
    return pull is not None and pull.within_limit is False


_WRITERS: dict[str, Callable[[Decision], list[str]]] = {
    "reference lost": why_missing,
    "pull missing": why_missing,
    "unjudged": why_missing,
    **dict.fromkeys(NOT_BORNE, why_batches),
    "orders": _orders,
    "not enough data": _not_enough_data,
    "control not found": _control_not_found,
    "better hours": _better_hours,
    "window": _window,
    REASON: why_limits,
    "still improving": _still_improving,
    "reference fails": _reference_fails,
    "reference misses a limit": _open,
    "reference meets limits": _open,
}
