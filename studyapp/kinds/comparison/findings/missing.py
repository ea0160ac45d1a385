"""What is said of makes that were lost, taken back or never scored, and of servings that could not be judged."""

from __future__ import annotations

from typing import TYPE_CHECKING

from studyapp.findings.losses import loss_reasons
from studyapp.findings.numbers import opening
from studyapp.kinds.comparison.plan import CONTROL
from studyapp.words import _, ngettext

if TYPE_CHECKING:
    from analysis.comparing import Compared, LostPiece, UnjudgedPiece


def headline(found: Compared, name: str) -> str:
    """A make that is not among those weighed, in one sentence."""
    fates = {one.fate for one in found.lost if one.make == name}
    return (_("{make} was lost.") if fates == {"lost"} else _("{make}: cannot tell.")).format(make=name)


def says(found: Compared) -> list[str]:
    """Every sentence that page one owes its reader."""
    return [*(_lost(one, found) for one in found.lost), *(_unjudged(one) for one in found.unjudged)]


def no_price(found: Compared) -> list[str]:
    """Why no chance of an answer is told, where one is missing and none can be."""
    if not found.open_makes or found.reason is not None:
        return []
    if found.unjudged:
        return [
            _("What more sittings would bring is not reckoned: nothing tells how the pieces would have been judged.")
        ]
    if any(one.fate != "lost" for one in found.lost):
        return [
            _("What more sittings would bring is not reckoned: it hangs on whether the missing piece can be served.")
        ]
    return []


def piece(name: str) -> str:
    """A make by its name, or the control."""
    return _("the control") if name == CONTROL else name


def _lost(one: LostPiece, found: Compared) -> str:
    named = loss_reasons().get(one.reason or "", one.reason or _("no reason given"))
    texts = {"make": opening(piece(one.make)), "why": named, "sitting": one.sitting, "batch": one.batch}
    if one.fate == "unread":
        return _("Nobody scored {make}, so it cannot be shown.").format(**texts)
    if one.fate == "taken back":
        return _("{make} was taken back after it had been scored ({why}), so it cannot be shown.").format(**texts)
    if one.sitting is not None:
        sentence = _(
            "In sitting {sitting}, {make} was lost ({why}): it is compared within the sittings that served it."
        )
        return sentence.format(**{**texts, "make": piece(one.make)})
    if one.batch is not None and one.make == found.reference:
        return _("Batch {batch} of {make} was lost ({why}), so the others of that batch are not compared.").format(
            **texts
        )
    if one.batch is not None and one.make in found.not_weighed:
        return _(
            "Batch {batch} of {make} was lost ({why}). It may have been at its worst there, so it is not shown."
        ).format(**texts)
    if one.batch is not None:
        return _("Batch {batch} of {make} was lost ({why}).").format(**texts)
    return _("{make} was lost ({why}): nothing is said about it.").format(**texts)


def _unjudged(one: UnjudgedPiece) -> str:
    return ngettext(
        "{name} of {make}: {n} serving could not be judged. What is said holds whatever it would have been.",
        "{name} of {make}: {n} servings could not be judged. What is said holds whatever they would have been.",
        one.count,
    ).format(name=opening(one.attribute), make=piece(one.make), n=one.count)
