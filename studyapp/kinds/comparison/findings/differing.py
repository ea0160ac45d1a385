"""What else differed between the makes, in sentences, and how far a verdict may be put down to the way of making."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from studyapp.batches import shown_unit
from studyapp.findings.numbers import digits_of, listed, trimmed
from studyapp.kinds.comparison.plan import Likewise
from studyapp.words import _

if TYPE_CHECKING:
    from analysis.comparing import Compared
    from analysis.comparing.confounders import Likeness
    from studyapp.kinds.comparison.files.decisions import Alike

_DIGITS = 3


def rows(make: str, alike: Alike, quantities: Mapping[str, Likewise]) -> list[tuple[str, str, str, str]]:
    """Quantity, answer as a code and in words, and difference of one make, a row a quantity."""
    return [
        (
            what,
            found[make].answer,
            _answer(found[make]),
            _difference(found[make], shown_unit(quantities[what].unit) if what in quantities else ""),
        )
        for what, found in alike.items()
        if make in found
    ]


def _answer(one: Likeness) -> str:
    return {
        "matched": _("matched"),
        "differs": _("differs"),
        "not shown to match": _("not shown to match"),
        "reported": _("reported"),
        "not recorded": _("not recorded"),
    }[one.answer]


def _difference(one: Likeness, unit: str) -> str:
    if one.difference is None:
        return ""
    if one.low is None or one.high is None:
        return _("{d}; a single reading tells no limits").format(d=_signed(one.difference, unit, _DIGITS))
    digits = digits_of((one.high - one.low) / 2)
    low, high = trimmed(one.low, digits), trimmed(one.high, digits)
    return _("{d}, between {low} and {high}").format(d=_signed(one.difference, unit, digits), low=low, high=high)


def _signed(value: float, unit: str, digits: int) -> str:
    told = _("{n} {unit} more") if value > 0 else _("{n} {unit} less")
    return _("no different") if value == 0 else told.format(n=trimmed(abs(value), digits), unit=unit).replace("  ", " ")


def because(make: str, found: Compared, alike: Alike) -> str:
    """Whether a verdict may be put down to the way of making."""
    open_ = [what for what, one in alike.items() if make in one and one[make].answer != "matched"]
    if found.claim != "make":
        told = _("Not “because of the way of making”: one batch of each was tasted.")
        return told if not open_ else f"{told} " + _("Not shown to match either: {list}.").format(list=listed(open_))
    if not alike:
        return _("Not “because of the way of making”: nothing was read beside the taste.")
    if open_:
        return _("Not “because of the way of making”: not shown to match are {list}.").format(list=listed(open_))
    return _("Because of the way of making, as far as {n} other things were alike.").format(n=len(alike))
