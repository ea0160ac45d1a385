"""What is said of several batches: the claim that was tested, in its words, and what each batch did."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from studyapp.findings.numbers import hours, opening, units
from studyapp.kinds.hours.findings.instruments import answer_words, by_name, value_of
from studyapp.kinds.hours.findings.reading import pull_at, shorter_pull
from studyapp.kinds.hours.plan import EACH, FEWEST_BATCHES, RECIPE, THIS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import BatchNumbers, Decision


def count(decision: Decision) -> int:
    """How many batches bear the claim."""
    return len(decision.batches.names) if decision.batches else 1


def holds_for(decision: Decision) -> str:
    """What the verdict is about, in the words of the claim that was tested."""
    n = count(decision)
    if decision.claim == RECIPE:
        return _("this recipe and machine")
    if decision.claim == EACH and n > 1:
        return _("each of these {n} batches").format(n=n)
    return _("this batch")


def averaged(decision: Decision) -> str:
    """ "on average over 3 batches"; nothing where no mean over batches is meant."""
    if decision.claim != RECIPE:
        return ""
    return ngettext("on average over {n} batch", "on average over {n} batches", count(decision)).format(
        n=count(decision)
    )


def of_all(decision: Decision, hour: float) -> str:
    """The first sentence under a stop."""
    texts = {"h": hours(hour), "ref": hours(decision.reference_hours), "n": count(decision)}
    if decision.claim == RECIPE:
        sentence = _(
            "On average over {n} batches of this recipe on this machine, every deciding attribute at {h} h is within "
            "its margin of the {ref} h pull."
        )
    elif decision.claim == EACH and count(decision) > 1:
        sentence = _(
            "In each of these {n} batches, at {h} h every deciding attribute is within its margin of that batch's "
            "{ref} h pull."
        )
    else:
        sentence = _("At {h} h every deciding attribute is within its margin of the {ref} h pull.")
    return sentence.format(**texts)


def differed(decision: Decision, name: str | None, hour: float) -> str:
    """How far the batches lay from each other at an hour on an attribute, and where the next one may lie."""
    told = decision.batches
    if told is None or name not in told.differences or pull_at(decision.attributes.get(name), hour) is None:
        return ""
    at = told.hours.index(hour)
    found = [numbers[at] for numbers in told.differences[name].values() if numbers[at] is not None]
    low, high = min(value for value in found if value is not None), max(value for value in found if value is not None)
    coming = told.next_upper[name][at] if name in told.next_upper else None
    if coming is None:
        return _("{name}: the batches lay between {low} and {high} units from their own {ref} h pulls.").format(
            name=opening(name), low=units(low), high=units(high), ref=hours(decision.reference_hours)
        )
    return _(
        "{name}: the batches lay between {low} and {high} units from their own {ref} h pulls; the next one may lie up "
        "to {next} above."
    ).format(
        name=opening(name), low=units(low), high=units(high), ref=hours(decision.reference_hours), next=units(coming)
    )


def what_more(decision: Decision) -> str:
    """What another batch would change."""
    if decision.claim == THIS or count(decision) < 2:
        return _("A second batch: until one is tasted, this is about one batch only.")
    if decision.claim == EACH:
        return _("Another batch: what is said is said of these {n}, and of no other.").format(n=count(decision))
    return _("A batch that goes wrong now and then: an average over {n} batches cannot see it.").format(
        n=count(decision)
    )


# ---- batch by batch --------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class BatchTable:
    """Every batch at one hour: a heading, which batch stands apart, the heads of the columns, and a line a batch."""

    title: str
    apart: str
    heads: tuple[str, ...]
    lines: tuple[tuple[str, ...], ...]


def batch_table(decision: Decision) -> BatchTable | None:
    """What each batch did at the hour in question; None of one batch alone."""
    told, hour = decision.batches, _hour_in_question(decision)
    if told is None or hour not in told.hours:
        return None
    at, limits = told.hours.index(hour), list(dict.fromkeys(one.name for one in decision.gates))
    worse = [_("{name}, worse by").format(name=name) for name in told.differences]
    alone = [_("by itself")] if told.alone else []
    title = _("The {n} batches at {h} h").format(n=len(told.names), h=hours(hour))
    lines = [
        (
            name,
            *(_worse(told, attribute, name, at) for attribute in told.differences),
            *(_read(decision, limit, name, hour) for limit in limits),
            *([_by_itself(told.alone[name].verdict, told.alone[name].hours)] if told.alone else []),
        )
        for name in told.names
    ]
    return BatchTable(title, _apart(decision), (_("batch"), *worse, *limits, *alone), tuple(lines))


def _hour_in_question(decision: Decision) -> float | None:
    if decision.hours is not None:
        return decision.hours
    return decision.shortest_hours if decision.shortest_hours is not None else shorter_pull(decision)


def _worse(told: BatchNumbers, attribute: str, name: str, at: int) -> str:
    """ "0.2, at most 0.6"; without its own limit where a mean over batches was tested."""
    value = told.differences[attribute][name][at]
    if value is None:
        return _("lost")
    upper = told.upper[attribute][name][at] if attribute in told.upper else None
    if upper is None:
        return units(value)
    return _("{value}, at most {end}").format(value=units(value), end=units(upper))


def _read(decision: Decision, limit: str, name: str, hour: float) -> str:
    """What an instrument read of a batch, with the end of its guard."""
    one = next((one for one in by_name(decision, limit) if one.batch == name), None)
    pull = next((pull for pull in one.pulls if pull.hours == hour), None) if one is not None else None
    if one is None or pull is None or pull.mean is None:
        return _("not read")
    said = value_of(one, pull.mean, pull)
    if pull.end is None or pull.answer == "fails":
        return _("{value}, {answer}").format(value=said, answer=answer_words(one, pull))
    ends = _("{value}, at most {end}") if one.gate.at_least is None else _("{value}, at least {end}")
    return ends.format(value=said, end=value_of(one, pull.end, pull))


def _by_itself(verdict: str, hour: float | None) -> str:
    if hour is not None:
        return _("stop at {h} h").format(h=hours(hour))
    return {
        "conche longer": _("conche longer"),
        "no hour fits": _("no hour fits"),
        "cannot tell": _("cannot tell"),
    }[verdict]


def _apart(decision: Decision) -> str:
    """The batches that depart; or that none does."""
    named = [one.values for one in decision.warnings if one.code == "batches differ"]
    if not named:
        return _("no batch stands apart")
    if count(decision) < FEWEST_BATCHES:
        return _("the batches differ")
    return ", ".join(dict.fromkeys(_("{batch} stands apart").format(batch=one["batch"]) for one in named))


def batch_says(name: str, hour: float, worse: float) -> str:
    """One batch at one pull, behind its mark."""
    return _("{batch} at {h} h: worse by {value}.").format(batch=name, h=hours(hour), value=units(worse))


def marks_say(decision: Decision) -> str:
    """What the marks of single batches mean; empty for one batch."""
    if decision.batches is None:
        return ""
    if decision.batches.alone:
        return _("One bar a batch, in the order of the table.")
    return _("Each bar is over all batches; the small rings are the single batches, in the order of the table.")


def batches_alt(decision: Decision, name: str) -> str:
    """The single batches of an attribute at the hour in question, for who cannot see the marks."""
    told, hour = decision.batches, _hour_in_question(decision)
    if told is None or hour not in told.hours or name not in told.differences:
        return ""
    at = told.hours.index(hour)
    listed_ = ", ".join(
        _("{batch} {value}").format(batch=batch, value=units(value))
        for batch, row in told.differences[name].items()
        if (value := row[at]) is not None
    )
    return _("Batch by batch at {h} h, worse by: {list}.").format(h=hours(hour), list=listed_)


# ---- cannot tell -----------------------------------------------------------------------------------------------------
def why_batches(decision: Decision) -> list[str]:
    """Why the batches do not bear the sealed claim."""
    n = count(decision)
    if decision.reason == "batch missing":
        return [
            _("More batches were sealed than were tasted, and nobody noted that one was lost before it was served."),
            _("A batch left out afterwards could be the one that is worse. Taste it, or note its loss."),
        ]
    if decision.reason == "batches apart":
        return [_("Fewer than five people tasted every batch, so batches and people cannot be told apart.")]
    return [
        ngettext(
            "{n} batch can be compared with its longest pull, and a claim on recipe and machine needs three.",
            "{n} batches can be compared with their longest pulls, and a claim on recipe and machine needs three.",
            n,
        ).format(n=n),
        _("Taste another batch."),
    ]


def headline_batches(decision: Decision) -> str:
    """The same as a headline."""
    return {
        "batch missing": _("Cannot tell: a sealed batch is missing."),
        "batches apart": _("Cannot tell: the batches were tasted by different people."),
        "too few batches": _("Cannot tell: too few batches for a claim on the recipe."),
    }[decision.reason or ""]


NOT_BORNE = ("batch missing", "batches apart", "too few batches")
