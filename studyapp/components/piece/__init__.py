"""One piece of a set, eaten alone: its code, then the time until its moment, then what is to be noticed.

Each tap travels by `POST /piece` with the seconds that it waited for a connection, so the clock begins with the tap and
not with the network. What the taps stand for is in `services.noticing`.
"""

from __future__ import annotations

from typing import Any

from studyapp.components import phone
from studyapp.records import Place
from studyapp.services.noticing import TOLERATED_SECONDS
from studyapp.words import _, ngettext

_PIECE = phone.page("piece", "rest_timer/rest_timer.css", "piece/piece.css", "piece/piece.js")
_LAST_SECONDS = 10


def piece(place: Place, seat: str) -> None:
    """Draw the piece of a place."""
    phone.show(_PIECE, f"piece-{place.trial}-{place.piece}-{bool(place.ready_at)}", data(place, seat))


def data(place: Place, seat: str) -> dict[str, Any]:
    """All that reaches the phone. `step` is the one that the button takes."""
    which = _("first piece") if place.piece == 1 else _("second piece")
    return {
        "seat": seat,
        "set": place.trial,
        "step": 2 * place.piece - (not place.ready_at),
        "heading": _("Trial {number} of {of}, {which}").format(number=place.number, of=place.of, which=which),
        "code": place.code,
        "ready_at": place.ready_at or "",
        "now": place.now,
        "seconds": place.seconds,
        "tolerated": TOLERATED_SECONDS,
        "words": phone.words_of(place) | _words(place),
    }


def _words(place: Place) -> dict[str, Any]:
    begin = _("Eat this piece alone and {swallow}. Touch the button the moment it is gone: its time runs from then.")
    return {
        "eatTitle": _("Eat this piece"),
        "eatText": begin.format(swallow=place.swallow.rstrip(". ")),
        "eaten": _("It is gone"),
        "waitTitle": _("Wait for its moment"),
        "waitText": _(
            "Eat and drink nothing, say nothing, and keep this page open. At the end you are asked to notice."
        ),
        "nowTitle": _("Now: {ask}").format(ask=place.ask),
        "nowText": _("Keep in mind how much. You answer after the second piece."),
        "noticed": _("I have noticed"),
        "pastTitle": _("Its moment has passed"),
        "pastText": _("This piece can no longer be asked about. That is no fault of yours, and the tasting goes on."),
        "past": _("Go on"),
        "length": ngettext("{count} second in all", "{count} seconds in all", place.seconds).format(
            count=place.seconds
        ),
        "left": [
            ngettext("{count} second", "{count} seconds", count).format(count=count)
            for count in range(1, max(_LAST_SECONDS, place.seconds) + 1)
        ],
    }
