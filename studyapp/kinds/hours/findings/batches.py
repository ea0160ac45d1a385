"""What is said of several batches: the claim that was tested, in its words, and what each batch did."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.numbers import hours, opening, or_dash, units
from studyapp.kinds.hours.findings.instruments import value_of
from studyapp.kinds.hours.findings.reading import pull_at
from studyapp.kinds.hours.plan import EACH, RECIPE, THIS
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Decision


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


def rings_intro(decision: Decision) -> str:
    """What the small rings in the pictures are; nothing of one batch."""
    if decision.batches is None or count(decision) < 2:
        return ""
    if decision.claim == EACH:
        return _("Small rings are the single batches in the order tasted, each with its own bar.")
    return _("The bar is over all batches; small rings are the single ones, in the order tasted.")


def at_hour(decision: Decision) -> tuple[list[str], list[list[str]]] | None:
    """Heads and a line a batch: how much worse it was at the chosen hour, and what instruments read of it there."""
    told, hour = decision.batches, decision.hours
    if told is None or hour is None or count(decision) < 2:
        return None
    at, limits = told.hours.index(hour), list(dict.fromkeys(one.name for one in decision.gates))
    heads = [_("{name}, worse by").format(name=name) for name in told.differences]
    lines = [
        [
            batch,
            *(or_dash(numbers[batch][at], 1) for numbers in told.differences.values()),
            *(_read(decision, name, batch, hour) for name in limits),
        ]
        for batch in told.names
    ]
    return [_("batch"), *heads, *limits], lines


def _read(decision: Decision, name: str, batch: str, hour: float) -> str:
    for one in decision.gates:
        for pull in one.pulls:
            if (one.name, one.batch, pull.hours) == (name, batch, hour):
                return value_of(one, pull.mean, pull)
    return "–"


def what_more(decision: Decision) -> str:
    """What another batch would change."""
    if decision.claim == THIS or count(decision) < 2:
        return _("A second batch: until one is tasted, this is about one batch only.")
    if decision.claim == EACH:
        return _("Another batch: what is said is said of these {n}, and of no other.").format(n=count(decision))
    return _("A batch that goes wrong now and then: an average over {n} batches cannot see it.").format(
        n=count(decision)
    )


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
