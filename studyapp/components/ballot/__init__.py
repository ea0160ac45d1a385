"""The ballot: the code of one cup and a line scale for each attribute, all in one component.

Marks travel by `POST /mark`, not through Streamlit: the page says "saved" only after the store has committed.
"""

from __future__ import annotations

from typing import Any

from studyapp.components import phone
from studyapp.records import Line, Place
from studyapp.words import _, ngettext

_BALLOT = phone.page("ballot", "ballot/ballot.css", "ballot/ballot.js")


def ballot(place: Place, seat: str) -> None:
    """Draw the serving of a place; `seat` names this phone's box of unsent marks."""
    phone.show(_BALLOT, f"ballot-{place.serving}", data(place, seat))


def data(place: Place, seat: str) -> dict[str, Any]:
    """All that reaches the phone, as texts and numbers."""
    practice = place.kind == "warm_up"
    return {
        "seat": seat,
        "at": place.at,
        "serving": place.serving,
        "code": place.code,
        "heading": _heading(place),
        "practice": _practice(place) if practice else _swapped(place),
        "may_swap": place.may_swap,
        "saved_at": place.saved_at,
        "lines": [_line(line) for line in place.lines],
        "words": phone.words() | _words(len(place.lines)),
    }


def _heading(place: Place) -> str:
    if place.kind == "warm_up":
        return _("To warm up. Take cup")
    return _("Serving {number} of {of}. Take cup").format(number=place.number, of=place.of)


def _practice(place: Place) -> str:
    if place.lines:
        return _("This first cup is for practice: its marks count for nothing.")
    return _("Taste this cup to wake your mouth up. There is nothing to mark; go on when you are done.")


def _swapped(place: Place) -> str:
    if not place.swapped:
        return ""
    return _("The panel leader brings you this piece in place of the other one. Mark every line anew.")


def _line(line: Line) -> dict[str, Any]:
    return {
        "id": line.id,
        "name": line.name,
        "definition": line.definition,
        "low_word": line.low_word,
        "high_word": line.high_word,
        "value": line.value,
    }


def _words(lines: int) -> dict[str, Any]:
    return {
        "marked": _("marked"),
        "notMarked": _("not marked"),
        "spoken": _("{value} of 10, from {low} to {high}"),
        "gaps": [_gap(count) for count in range(1, lines + 1)],
        "cannot": _("I cannot judge this one"),
        "cannotTitle": _("Why can you not judge it?"),
        "cannotText": _("All lines of this cup stay empty, and the reason is kept with them. Then you go on."),
        "swapTitle": _("Another piece of it?"),
        "swapText": _("You can have another piece, under a new code. What you marked on this one is then marked anew."),
        "swap": _("Bring me another piece"),
        "noSwap": _("I cannot judge another one either"),
        "cannotKeep": _("Leave this cup unjudged"),
        "cannotOther": _("Another reason"),
        "cannotGap": _("Choose a reason first, or write a few words."),
        # The code is kept: reasons from before tasting can then be told from those that may lie in the taste.
        "reasons": [
            ["mouth tired", _("My mouth is tired or burnt")],
            ["piece missing", _("The piece is broken, too small or missing")],
            ["wrong code", _("The code on the cup is a different one")],
            ["disturbed", _("I was disturbed, or a smell got in the way")],
            ["does not want to", _("I do not want to taste this one")],
        ],
    }


def _gap(count: int) -> str:
    said = ngettext("One line has no mark yet: {names}.", "{count} lines have no mark yet: {names}.", count)
    return said.replace("{count}", _count(count))


def _count(count: int) -> str:
    small = {2: _("Two"), 3: _("Three"), 4: _("Four"), 5: _("Five"), 6: _("Six")}
    return small.get(count, str(count))
