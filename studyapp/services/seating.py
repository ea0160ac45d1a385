"""What every act of an assessor begins with: whose phone this is, and that an answer carries its own number."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.records import PlaceKind, Seat, Sitting
from studyapp.services.access import token_hash
from studyapp.services.standing import stamp
from studyapp.store import clock, events, people, servings, sittings, trials
from studyapp.words import _

SHORTEST_NONCE, LONGEST_NONCE = 16, 64


def seat_or_refuse(tx: Any, seat_token: str | None) -> Seat:
    """Who this phone is; NotAllowed for a worthless token, with what became of it."""
    found = people.seat_of_token(tx, token_hash(seat_token)) if seat_token else None
    if found is not None:
        return Seat(*found)
    lost = lost_seat(tx, seat_token)
    if lost is None:
        raise NotAllowed(_("Not done: this page is out of date. Open your link again; your marks are kept."))
    if lost[1] == "elsewhere":
        raise NotAllowed(_("Not kept: this tasting went on to another phone. Do it once more there."))
    raise NotAllowed(_("Not kept: your link was replaced. Ask the panel leader for the new one, then do it once more."))


def lost_seat(tx: Any, seat_token: str | None) -> tuple[Seat, PlaceKind] | None:
    """Whose phone this was while its sitting still goes on, and whether another one has taken its place."""
    found = people.ended_seat(tx, token_hash(seat_token)) if seat_token else None
    if found is None:
        return None
    seat = Seat(*found)
    if sitting_of(tx, seat).state == "closed":
        return None
    return seat, "elsewhere" if seat.assessor in people.held_seats(tx, seat.sitting) else "replaced"


def sitting_of(tx: Any, seat: Seat) -> Sitting:
    """The sitting of a seat, or NotFound."""
    found = sittings.get(tx, seat.sitting)
    if found is None:
        raise NotFound(_("Not done: this sitting is not kept here. Ask for a new link."))
    return found


def check_nonce(nonce: Any) -> None:
    """Refuse an answer without its number: a second sending could not be told from a second answer."""
    if not isinstance(nonce, str) or not SHORTEST_NONCE <= len(nonce) <= LONGEST_NONCE:
        raise BadInput(_("Not done: the mark came without its number. Mark the line again."))


def own_nonce(*what: str | int) -> str:
    """The nonce of a row that the server makes by itself, always the same for the same `what`.

    It is longer than any that a phone may send, or ever could: so nobody can have taken it before.
    """
    return f"server:{events.digest(list(what))}"


def grams_eaten(tx: Any, assessor: str, piece_g: float) -> dict[str, Any]:
    """Grams tasted today and in seven days, in all studies, counted in pieces of this one."""
    since = {
        "grams_today": events.now()[:10] + "T00:00:00Z",
        "grams_week": stamp(clock.now() - timedelta(days=7)),
    }
    return {
        name: round(
            (servings.finished_since(tx, assessor, moment) + trials.cups_since(tx, assessor, moment)) * piece_g, 1
        )
        for name, moment in since.items()
    }
