"""The sentence of every warning that the stop rule can raise."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from studyapp.findings.numbers import hours, opening
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.stopping import Warning as StopWarning

Values = Mapping[str, Any]


def warning_sentence(warning: StopWarning) -> str:
    """The sentence of one warning.

    Raises:
        ValueError: there is no sentence for this code; a warning must never vanish unread.
    """
    writer = _WRITERS.get(warning.code)
    if writer is None:
        raise ValueError(f"no sentence for the warning {warning.code!r}")
    return writer(warning.values)


def warning_codes() -> frozenset[str]:
    """All codes that have a sentence."""
    return frozenset(_WRITERS)


# ---- too little to go on -----------------------------------------------------------------------------------------
def _too_few_assessors(values: Values) -> str:
    return ngettext(
        "{name}: only {n} assessor has scores, and at least 5 are needed.",
        "{name}: only {n} assessors have scores, and at least 5 are needed.",
        int(values["assessors"]),
    ).format(name=_name(values), n=values["assessors"])


def _same_score(values: Values) -> str:
    return _("{name}: everyone gave the same score everywhere, so it tells nothing.").format(name=_name(values))


def _own_error_unknown(values: Values) -> str:
    return _(
        "{name}: too many scores are missing to see how much the assessors differ among themselves, so it cannot pass."
    ).format(name=_name(values))


def _few_assessors(values: Values) -> str:
    return ngettext(
        "Only {n} assessor tasted: the intervals are wide, so good pulls can stay unshown.",
        "Only {n} assessors tasted: the intervals are wide, so good pulls can stay unshown.",
        int(values["assessors"]),
    ).format(n=values["assessors"])


def _one_batch(values: Values) -> str:
    return _("One batch was tasted: the next one may need other hours.")


# ---- orders and sittings -----------------------------------------------------------------------------------------
def _order_not_recorded(values: Values) -> str:
    return _("The serving order was not recorded, so nobody can tell whether a pull gained from its place.")


def _orders_unbalanced(values: Values) -> str:
    if values["why"] == "cannot adjust":
        return _("The rule takes the place on the tray out, but these orders do not let place and pull be told apart.")
    if values["why"] == "one order for all":
        if values["adjusted"]:
            return _("Everyone tasted in one and the same order; the effect of the place was taken out by the model.")
        return _("Everyone tasted in one and the same order, so place and pull cannot be told apart.")
    if values["adjusted"]:
        return _("Some pulls stood far from the reference in the order; the effect of the place was taken out.")
    return _("Some pulls stood far from the reference in the order, so place and pull cannot be told apart.")


def _as_prepared(values: Values) -> str:
    return _(
        "There was one sitting: the answer holds as the pulls were prepared for it. "
        "A tray tempered differently would have moved a pull for everybody."
    )


def _sittings_disagree(values: Values) -> str:
    return _(
        "{name}: the sittings disagree about the pulls, so the error may be larger than promised. "
        "Look for a tray that was prepared differently."
    ).format(name=_name(values))


# ---- people ------------------------------------------------------------------------------------------------------
def _still_notices(values: Values) -> str:
    return ngettext(
        "{name}: {k} of {n} clearly finds {h} h worse than {ref} h. Ask that person to pick the odd one out, blind.",
        "{name}: {k} of {n} clearly find {h} h worse than {ref} h. Ask these people to pick the odd one out, blind.",
        int(values["count"]),
    ).format(
        name=_name(values),
        k=values["count"],
        n=values["assessors"],
        h=hours(float(values["hours"])),
        ref=hours(float(values["reference"])),
    )


def _scales_stretched(values: Values) -> str:
    return _(
        "{name}: some assessors stretch the scale more than three times as far as others, "
        "so the error may reach 8 of 100."
    ).format(name=_name(values))


def _name(values: Values) -> str:
    return opening(str(values["attribute"]))


_WRITERS: dict[str, Callable[[Values], str]] = {
    "too few assessors": _too_few_assessors,
    "same score everywhere": _same_score,
    "own error unknown": _own_error_unknown,
    "few assessors": _few_assessors,
    "one batch": _one_batch,
    "order not recorded": _order_not_recorded,
    "orders unbalanced": _orders_unbalanced,
    "as prepared for this sitting": _as_prepared,
    "sittings disagree": _sittings_disagree,
    "someone still notices": _still_notices,
    "scales stretched": _scales_stretched,
}
