"""What would change a decision: a tighter margin, another batch, one person left out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.descriptions import left_out
from studyapp.findings.numbers import beside, hours, opening, rounded_down, units
from studyapp.findings.reading import blocking, next_pulls, shorter_pull
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.describe import Description
    from analysis.stopping import AttributeResult, Decision, PullResult


def what_would_change(decision: Decision, description: Description | None = None) -> tuple[str, ...]:
    """The sentences under "What would change this", the nearest change first."""
    if decision.verdict == "stop":
        said = [_tighter(decision), _one_batch(), left_out(description)]
    elif decision.verdict == "conche longer":
        said = [_later_pulls(decision), _one_batch(), left_out(description)]
    elif decision.verdict == "no hour fits":
        said = [_new_rule(), _one_batch()]
    else:
        said = [*_blocks(decision), _looks_left(decision)]
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
    return max(pull.decisive_upper, -pull.decisive_lower if result.rule.wanted == "same" else 0.0)


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


def _one_batch() -> str:
    return _("A second batch: until one is tasted, this is about one batch only.")


def _later_pulls(decision: Decision) -> str:
    first, second = next_pulls(decision)
    return _("Pulls at {a} and {b} h: they would show where it levels off.").format(a=hours(first), b=hours(second))


def _new_rule() -> str:
    return _("Another margin or limit, set and sealed before the next study, or a changed process.")


def _blocks(decision: Decision) -> list[str]:
    """Each attribute that keeps the pull next to the reference from passing."""
    hour = shorter_pull(decision)
    if decision.reason in ("control not found", "orders", "not enough data") or hour is None:
        return []
    said = []
    for result, pull in blocking(decision, hour):
        if pull.decisive_upper is None:
            continue
        if pull.within_margin:
            sentence = _("{name} at {h} h shown to meet its limit: it is not yet.")
        elif result.rule.wanted == "same":
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
        "One more look: the rule was sealed with {n} more.",
        "More looks: the rule was sealed with {n} more.",
        left,
    ).format(n=left)
