"""The rest between two servings: a clock that runs to the server's end time."""

from __future__ import annotations

from typing import Any

from studyapp.components import phone
from studyapp.records import Place
from studyapp.words import _, ngettext

_REST = phone.page("rest_timer", "rest_timer/rest_timer.css", "rest_timer/rest_timer.js")


def rest_timer(place: Place, seat: str) -> None:
    """Draw the rest of a place."""
    phone.show(_REST, f"rest-{place.number}", data(place, seat))


def data(place: Place, seat: str) -> dict[str, Any]:
    """All that reaches the phone."""
    return {
        "seat": seat,
        "at": place.at,
        "heading": _heading(place),
        "saved_at": place.saved_at,
        "ready_at": place.ready_at,
        "now": place.now,
        "seconds": place.rest_seconds,
        "length": _length(place.rest_seconds),
        "routine": place.routine,
        "words": phone.words_of(place) | _words(place.rest_seconds // 60 + 1) | _next(place),
    }


def _next(place: Place) -> dict[str, str]:
    return {"next": _("Next piece")} if place.one_by_one else {}


def _heading(place: Place) -> str:
    if place.piece:
        return _("Rest, then the second piece of trial {number}").format(number=place.number)
    then = _("Rest, then trial {number} of {of}") if place.cups_a_set else _("Rest, then serving {number} of {of}")
    return then.format(number=place.number, of=place.of)


def _length(seconds: int) -> str:
    if seconds % 60 or seconds < 60:
        return ngettext("{count} second in all", "{count} seconds in all", seconds).format(count=seconds)
    return ngettext("{count} minute in all", "{count} minutes in all", seconds // 60).format(count=seconds // 60)


def _words(minutes: int) -> dict[str, Any]:
    return {
        "restTitle": _("Let your mouth settle"),
        "restOver": _("The rest is over"),
        "restText": _("The next cup shows here when the time is up. Lock the phone if you like; the clock runs on."),
        "readyAt": _("ready at {time}"),
        "minutes": [
            ngettext("{count} minute left", "{count} minutes left", count).format(count=count)
            for count in range(1, minutes + 1)
        ],
        "seconds": [ngettext("{count} second", "{count} seconds", count).format(count=count) for count in range(1, 11)],
    }
