"""A calendar as an iCalendar file (RFC 5545), written out by hand: few properties, each exactly as the standard asks.

Times are "floating" (RFC 5545 section 3.3.5, form 1): what the workshop's clock shows, wherever the file is opened.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from studyapp.calendars import Appointment, Calendar
from studyapp.records import Study
from studyapp.words import _

MOST_OCTETS = 75
_PRODUCT = "-//studyapp//pull calendar//EN"
_SPACE = uuid.UUID("6f1c8f0e-6a57-4d0b-9a2e-3c1d5f7b9e21")  # any fixed one: the same study keeps its identifiers


@dataclass(frozen=True, slots=True)
class Entry:
    """What an appointment says, what to mind, and its status by RFC 5545: TENTATIVE where it may not come."""

    summary: str
    note: str
    status: str = "CONFIRMED"


def calendar_file(
    calendar: Calendar, study: Study[Any], told: Callable[[Appointment], Entry], made_at: datetime
) -> bytes:
    """The calendar of one study; importing it again moves the entries instead of doubling them.

    Args:
        calendar: what is to be done.
        study: identifies the entries, together with what each is; its title heads them.
        told: the words of an appointment.
        made_at: with its zone; the stamp of every entry.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{_PRODUCT}", "CALSCALE:GREGORIAN"]
    for appointment in calendar.appointments:
        lines += _entry(appointment, told(appointment), study, made_at)
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) for line in lines)


def _entry(one: Appointment, told: Entry, study: Study[Any], made_at: datetime) -> Iterator[str]:
    yield "BEGIN:VEVENT"
    yield f"UID:{uuid.uuid5(_SPACE, f'{study.id}/{one.kind}/{one.level}/{one.number}')}"
    yield f"DTSTAMP:{made_at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART:{one.starts:%Y%m%dT%H%M%S}"
    yield f"DTEND:{one.ends:%Y%m%dT%H%M%S}"
    yield f"SUMMARY:{text(_('{title}: {what}').format(title=study.plan.title, what=told.summary))}"
    yield f"DESCRIPTION:{text(told.note)}"
    yield f"STATUS:{told.status}"
    if one.kind == "rest":
        yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def text(value: str) -> str:
    r"""A TEXT value (section 3.3.11): backslash, semicolon and comma escaped, line breaks as \n, no control letters."""
    for letter in "\\;,":
        value = value.replace(letter, "\\" + letter)
    value = "\\n".join(value.replace("\r\n", "\n").replace("\r", "\n").split("\n"))
    return "".join(letter for letter in value if letter == "\t" or (letter >= " " and letter != "\x7f"))


def folded(line: str) -> bytes:
    """A content line (section 3.1): at most 75 octets a line without its CRLF, never cut inside a letter."""
    return b"\r\n ".join(_pieces(letter.encode() for letter in line)) + b"\r\n"


def _pieces(letters: Iterable[bytes]) -> Iterator[bytes]:
    piece, room = b"", MOST_OCTETS
    for letter in letters:
        if len(piece) + len(letter) > room:
            yield piece
            piece, room = b"", MOST_OCTETS - 1  # the blank that marks a continued line counts
        piece += letter
    yield piece
