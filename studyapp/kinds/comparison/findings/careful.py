"""What is said beside the verdicts of a comparison, never part of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from studyapp.findings.numbers import units
from studyapp.kinds.comparison.plan import ComparisonStudy
from studyapp.kinds.comparison.rule import FIRST_RULE
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Warning

Values = Mapping[str, Any]


def told_warning(warning: Warning) -> str:
    """The sentence of a warning. Raises KeyError for a code without one: nothing must vanish unread."""
    return _WRITERS[warning.code](warning.values)


def earlier_rule(study: ComparisonStudy) -> list[str]:
    """What is said where an earlier rule was sealed and nobody has signed yet; nothing else."""
    from analysis.comparing import COMPARING_VERSION

    sealed = study.named.get("comparing_version", FIRST_RULE)
    if sealed >= COMPARING_VERSION or study.state == "decided":
        return []
    return [
        _(
            "Sealed under version {sealed} of the rule of comparisons and decided by version {now}: pieces that were "
            "lost and cups that nobody could judge count since then."
        ).format(sealed=sealed, now=COMPARING_VERSION)
    ]


def codes() -> frozenset[str]:
    """All codes that have a sentence."""
    return frozenset(_WRITERS)


def _few(v: Values) -> str:
    return _("With {n} assessors the limits are wide: up to {reach} units on either side.").format(
        n=v["assessors"], reach=units(v["widest"])
    )


def _orders(v: Values) -> str:
    if v["adjusted"]:
        return _("Pieces were not served in balanced orders; the effect of the place is taken out by the model.")
    return _("Pieces were not served in balanced orders, so what is due to their place cannot be told from the makes.")


def _noticing(v: Values) -> str:
    told = ngettext(
        "{n} of {all} assessors clearly finds {make} worse on {name} by more than the margin. Try a forced choice "
        "with that person.",
        "{n} of {all} assessors clearly find {make} worse on {name} by more than the margin. Try a forced choice "
        "with them.",
        v["count"],
    )
    return told.format(n=v["count"], all=v["assessors"], make=v["hours"], name=v["attribute"])


def _not_told(v: Values) -> str:
    return _("On {name} the control was not told apart, so likeness on it rests on the panel's being able to.").format(
        name=v["attribute"]
    )


def _nobody(v: Values) -> str:
    return _("Nobody marked any {name} anywhere.").format(name=v["attribute"])


def _few_both(v: Values) -> str:
    return _("On {name} only {n} assessors scored both {make} and the reference.").format(
        name=v["attribute"], n=v["both"], make=v["hours"]
    )


def _copies(v: Values) -> str:
    return _("On {name} every second score equals the first for {who}: ask whether they were copied.").format(
        name=v["attribute"], who=", ".join(v["assessors"])
    )


def _stretched(v: Values) -> str:
    return _("Assessors use the scale of {name} very differently; a false claim may then come in 8 of 100.").format(
        name=v["attribute"]
    )


def _disagree(v: Values) -> str:
    return _("On {name} sittings disagree about the makes: a tray may have been prepared differently.").format(
        name=v["attribute"]
    )


def _unjudged(sentence: Callable[[], str]) -> Callable[[Values], str]:
    return lambda v: sentence().format(name=v["attribute"], n=v["assessors"])


_WRITERS: dict[str, Callable[[Values], str]] = {
    "few assessors": _few,
    "order not recorded": lambda _v: _("The order of serving was not recorded, so nobody can say what it did."),
    "orders unbalanced": _orders,
    "as prepared for this sitting": lambda _v: _("One sitting alone: the makes as prepared for this sitting."),
    "sittings disagree": _disagree,
    "rests on few": _few_both,
    "not_told_here": _not_told,
    "nobody marked": _nobody,
    "one person's copies": _copies,
    "someone still notices": _noticing,
    "scales stretched": _stretched,
    "too few assessors": _unjudged(lambda: _("{name} was scored by {n} assessors; five or more are needed.")),
    "same score everywhere": _unjudged(lambda: _("{name} has the same score everywhere, which tells nothing.")),
    "copied": _unjudged(lambda: _("Scores of {name} repeat as honest tasting does not: ask whether they were copied.")),
    "own error unknown": _unjudged(lambda: _("Too few scores of {name} to tell how much assessors differ.")),
}
