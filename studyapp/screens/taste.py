"""Taste: the one page an assessor ever sees, drawn from where the store says they stand."""

from __future__ import annotations

import hashlib

from studyapp import session
from studyapp.components.ballot import ballot
from studyapp.components.piece import piece
from studyapp.components.rest_timer import rest_timer
from studyapp.components.step import step
from studyapp.components.trial import trial
from studyapp.records import Place, Seat
from studyapp.services import tasting


def render() -> None:
    """The page of the assessor who holds this browser."""
    seat = session.seat()
    if seat is not None:
        draw(tasting.place(session.store(), session.seat_token()), box(seat))
        return
    gone = session.seat_gone()
    if gone is not None:
        draw(tasting.gone(*gone), box(gone[0]))


def box(seat: Seat) -> str:
    """A name for this phone's unsent marks, one for each assessor and sitting, that tells nothing about either."""
    return hashlib.sha256(f"{seat.sitting}/{seat.assessor}".encode()).hexdigest()[:16]


def draw(place: Place, seat: str) -> None:
    """Each kind of place has its component."""
    if place.kind in ("serving", "warm_up"):
        ballot(place, seat)
    elif place.kind == "trial":
        trial(place, seat)
    elif place.kind == "piece":
        piece(place, seat)
    elif place.kind == "rest":
        rest_timer(place, seat)
    else:
        step(place, seat)
