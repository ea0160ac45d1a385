"""A forced choice on a phone: the codes of one set in serving order, one or two to pick, and an answer that stands.

The answer travels by `POST /choice`, as a mark does by its own route: the page moves on only after the store has
committed, and an answer that could not leave waits on the phone.
"""

from __future__ import annotations

from typing import Any

from studyapp.components import phone
from studyapp.records import Place
from studyapp.words import _

_TRIAL = phone.page("trial", "trial/trial.css", "trial/trial.js")


def trial(place: Place, seat: str) -> None:
    """Draw the set of a place; `seat` names this phone's box of unsent answers."""
    phone.show(_TRIAL, f"trial-{place.trial}", data(place, seat))


def data(place: Place, seat: str) -> dict[str, Any]:
    """All that reaches the phone, as texts and codes."""
    offered = place.cups[1:] if place.tell_reference else place.cups
    return {
        "seat": seat,
        "at": place.at,
        "set": place.trial,
        "heading": _("Trial {number} of {of}").format(number=place.number, of=place.of),
        "saved_at": place.saved_at,
        "intro": _intro(place),
        "ask": place.ask,
        "reference": place.cups[0] if place.tell_reference else "",
        "cups": [{"code": code, "order": order} for code, order in zip(offered, _orders(place), strict=True)],
        "pick": place.pick,
        "words": phone.words_of(place) | _words(place.pick),
    }


def _orders(place: Place) -> list[str]:
    """The place of each offered cup in the row, as a word."""
    words = [_("first"), _("second"), _("third"), _("fourth"), _("fifth")]
    return words[1 if place.tell_reference else 0 : len(place.cups)]


def _intro(place: Place) -> str:
    """How the cups are tasted; how they are related stands in the question."""
    if place.one_by_one:
        return _("Both pieces are behind you. Answer from what you noticed at the moment of each.")
    back = _("Going back to a cup is allowed.") if place.may_go_back else _("Please do not go back to a cup.")
    return f"{_('Taste from top to bottom.')} {back}"


def _words(pick: int) -> dict[str, Any]:
    pair = pick > 1
    return {
        "keep": _("Keep {codes}"),
        "guess": _("Keep {codes}, it was a guess"),
        "keepNone": _("Keep my answer"),
        "guessNone": _("Keep it, it was a guess"),
        "both": _("{first} and {second}"),
        "reference": _("reference"),
        "gap": _("Pick two first. A guess is fine.") if pair else _("Pick one first. A guess is fine."),
        "half": _("Pick one more first. A guess is fine."),
        "full": _("Two are picked. Take one away first."),
        "about": _("No idea? Pick any two and say it was a guess; guesses are part of the test. A kept answer stands.")
        if pair
        else _("No idea? Pick any one and say it was a guess; guesses are part of the test. A kept answer stands."),
    }
