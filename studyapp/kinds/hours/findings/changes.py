"""What would change a decision: a tighter margin, another batch, one person left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.numbers import beside, hours, opening, rounded_down, units
from studyapp.kinds.hours.findings.batches import what_more
from studyapp.kinds.hours.findings.descriptions import left_out
from studyapp.kinds.hours.findings.instruments import REASON, more_portions, tighter
from studyapp.kinds.hours.findings.reading import (
    better_pull,
    blocking,
    new_longest,
    next_pulls,
    pull_before,
    shorter_pull,
    shown_too_late,
    split_by_wish,
)
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import AttributeResult, Decision, PullResult
    from analysis.stopping.describe import Description


def what_would_change(decision: Decision, description: Description | None = None) -> tuple[str, ...]:
    """The sentences under "What would change this", the nearest change first."""
    if decision.hours is not None:
        another = what_more(decision) if decision.confirms is None else ""
        said = [_tighter(decision), tighter(decision), another, left_out(description)]
    elif decision.verdict == "conche longer":
        said = [_later_pulls(decision), what_more(decision), left_out(description)]
    elif decision.verdict == "no hour fits":
        said = [_new_rule(), what_more(decision)]
    elif decision.verdict == "not confirmed":
        said = [_new_rule(), left_out(description)]
    else:
        said = [*_open_on(decision), _looks_left(decision)]
    return tuple(sentence for sentence in said if sentence)


def _tighter(decision: Decision) -> str:
    """The largest margin of the deciding attribute, in hundredths, with which this pull would not pass, and the first
    that then could: a pull passes with all longer ones, and at exactly its limit it is not within."""
    result = decision.attributes.get(decision.binding or "")
    if result is None or decision.hours is None:
        return ""
    needed = [_least_margin(result, pull) for pull in result.pulls if decision.hours <= pull.hours]
    margin, told = rounded_down(max(needed, default=0.0))
    if margin <= 0:
        return ""
    longer = _first_within(result, margin)
    if longer is None:
        return _("A margin for {name} of {m} units or less: then nothing shorter than {ref} h would do.").format(
            name=result.name, m=told, ref=hours(decision.reference_hours)
        )
    return _("A margin for {name} of {m} units or less: then {h} h at the earliest.").format(
        name=result.name, m=told, h=hours(longer)
    )


def _least_margin(result: AttributeResult, pull: PullResult) -> float:
    """The margin that a pull must stay below to be within; 0 for the reference."""
    if pull.decisive_upper is None or pull.decisive_lower is None:
        return 0.0
    return max(pull.decisive_upper, -pull.decisive_lower if result.rule.both_ways else 0.0)


def _first_within(result: AttributeResult, margin: float) -> float | None:
    """The shortest pull that, with all longer ones, would lie within `margin`."""
    found = None
    for pull in sorted(result.pulls, key=lambda pull: -pull.hours):
        if pull.hours == result.reference_hours:
            continue
        if pull.decisive_upper is None or _least_margin(result, pull) >= margin:
            break
        found = pull.hours
    return found


def _later_pulls(decision: Decision) -> str:
    first, second = next_pulls(decision)
    return _("Pulls at {a} and {b} h: they would show where it levels off.").format(a=hours(first), b=hours(second))


def _new_rule() -> str:
    return _("Another margin or limit, set and sealed before the next study, or a changed process.")


def _open_on(decision: Decision) -> list[str]:
    """What would settle a question that is open; nothing of the kind where the panel cannot be believed."""
    if decision.reason == "better hours":
        return [_from(better_pull(decision))]
    if decision.reason == REASON:
        return [more_portions(one) for one in decision.more_repeats]
    if decision.reason == "window":
        return [*_not_inside(decision), _between(decision)]
    if decision.reason == "still improving":
        return [*_not_held(decision), _later_pulls(decision)]
    if decision.reason == "reference fails":
        return [_new_rule(), _from(new_longest(decision))]
    if decision.reason in ("reference meets limits", "reference misses a limit"):
        return _blocks(decision)
    return []


def _from(hour: float | None) -> str:
    if hour is None:
        return ""
    return _("A new study that is sealed with {h} h as its reference.").format(h=hours(hour))


def _not_inside(decision: Decision) -> list[str]:
    """Each note that may have faded, or has grown, at the pull that passes; what is shown too late stays so."""
    if shown_too_late(decision):
        return []
    faded, grown = split_by_wish(decision, decision.not_inside)
    texts = {"h": hours(decision.shortest_hours or decision.reference_hours)}
    said = [
        _("{name} at {h} h shown to be kept since every shorter pull: it is not yet.").format(
            name=opening(name), **texts
        )
        for name in faded
    ]
    return [
        *said,
        *(
            _("{name} at {h} h back down to what a shorter pull had.").format(name=opening(name), **texts)
            for name in grown
        ),
    ]


def _between(decision: Decision) -> str:
    hour = decision.shortest_hours
    before = None if hour is None else pull_before(decision, hour)
    if hour is None or before is None:
        return ""
    return _("A pull between {a} and {b} h.").format(a=hours(before), b=hours(hour))


def _not_held(decision: Decision) -> list[str]:
    ref = hours(decision.reference_hours)
    sentence = _("{name} at {ref} h shown to have held since every shorter pull: it is not yet.")
    return [sentence.format(name=opening(name), ref=ref) for name in decision.not_held]


def _blocks(decision: Decision) -> list[str]:
    """Each attribute that keeps the pull next to the reference from passing."""
    hour = shorter_pull(decision)
    if hour is None:
        return []
    said = []
    for result, pull in blocking(decision, hour):
        if pull.decisive_upper is None:
            continue
        if pull.within_margin:
            sentence = _("{name} at {h} h shown to meet its limit: it is not yet.")
        elif result.rule.both_ways:
            sentence = _("{name} at {h} h shown to lie within {m} units either way: it is not yet.")
        else:
            sentence = _("{name} at {h} h shown to be worse by less than {m} units: it could be {most}.")
        said.append(
            sentence.format(
                name=opening(result.name),
                h=hours(hour),
                m=units(result.rule.margin),
                most=beside(pull.decisive_upper, result.rule.margin),
            )
        )
    return said


def _looks_left(decision: Decision) -> str:
    left = decision.looks - decision.look
    if left < 1:
        return ""
    return ngettext(
        "One more opening of the key: the rule was sealed with {n} more.",
        "More openings of the key: the rule was sealed with {n} more.",
        left,
    ).format(n=left)
