"""When each phone was last heard of: in memory alone, for it is no part of the record."""

from __future__ import annotations

from datetime import datetime
from weakref import WeakKeyDictionary

from studyapp.records import Seat
from studyapp.store import Store, clock

_since: WeakKeyDictionary[Store, dict[tuple[str, str], datetime]] = WeakKeyDictionary()


def note(store: Store, seat: Seat) -> None:
    """This phone has just asked for something."""
    _since.setdefault(store, {})[seat.sitting, seat.assessor] = clock.now()


def last(store: Store, sitting: str, assessor: str) -> datetime | None:
    """When this seat's phone was last heard; None when it was not since the server started."""
    return _since.get(store, {}).get((sitting, assessor))
