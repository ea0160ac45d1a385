"""A calendar as an iCalendar file (RFC 5545), written out by hand: few properties, each exactly as the standard asks.

Times are "floating" (RFC 5545 section 3.3.5, form 1): what the workshop's clock shows, wherever the file is opened.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime

from studyapp.kinds.hours.plan import HoursStudy
from studyapp.kinds.hours.rule.run_calendar import Appointment, PullCalendar, keep_alike, mass_older, of_study
from studyapp.words import _

MOST_OCTETS = 75
_PRODUCT = "-//studyapp//pull calendar//EN"
_SPACE = uuid.UUID("6f1c8f0e-6a57-4d0b-9a2e-3c1d5f7b9e21")  # any fixed one: the same study keeps its identifiers


def study_calendar(study: HoursStudy) -> bytes:
    """The calendar file of a study as it is planned now.

    Raises:
        BadInput: hour zero has no planned time yet, or the habits of the workshop fit no calendar.
    """
    return calendar_file(of_study(study), study, datetime.now(UTC))


def calendar_file(run: PullCalendar, study: HoursStudy, made_at: datetime) -> bytes:
    """The calendar of one study; importing it again moves the entries instead of doubling them.

    Args:
        run: what is to be done.
        study: identifies the entries, together with what each is; its title heads them, and the sittings of looks
            that it has not reached are tentative.
        made_at: with its zone; the stamp of every entry.
    """
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{_PRODUCT}", "CALSCALE:GREGORIAN"]
    for appointment in run.appointments:
        lines += _entry(appointment, run, study, made_at)
    lines.append("END:VCALENDAR")
    return b"".join(folded(line) for line in lines)


def _entry(one: Appointment, run: PullCalendar, study: HoursStudy, made_at: datetime) -> Iterator[str]:
    summary, note = _told(one)
    tentative = one.look > max(1, study.look)
    if tentative:
        summary, note = _if_needed(summary, note, run.mass_older(one.number or 1))
    yield "BEGIN:VEVENT"
    yield f"UID:{uuid.uuid5(_SPACE, f'{study.id}/{one.kind}/{one.hours}/{one.number}')}"
    yield f"DTSTAMP:{made_at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    yield f"DTSTART:{one.starts:%Y%m%dT%H%M%S}"
    yield f"DTEND:{one.ends:%Y%m%dT%H%M%S}"
    yield f"SUMMARY:{text(_('{title}: {what}').format(title=study.plan.title, what=summary))}"
    yield f"DESCRIPTION:{text(note)}"
    yield f"STATUS:{'TENTATIVE' if tentative else 'CONFIRMED'}"
    if one.kind == "rest":
        yield "TRANSP:TRANSPARENT"
    yield "END:VEVENT"


def _if_needed(summary: str, note: str, days: int) -> tuple[str, str]:
    """Both, for something that comes only when the verdict before leaves it open."""
    only = _("{what}, only if the verdict before cannot tell").format(what=summary)
    told = _("{note} Not before this time; {older}. {keep}")
    return only, told.format(note=note, older=mass_older(days), keep=keep_alike())


def _told(one: Appointment) -> tuple[str, str]:
    """What an entry says, and what to mind."""
    hot = _("Hot mass and moving parts: guards on, gloves, never alone, as the machine's manual and site rules say.")
    if one.kind == "start":
        return _("hour zero"), hot
    if one.kind == "pull":
        return _("pull at {h} h").format(h=f"{one.hours:g}"), hot
    if one.kind == "temper":
        told = _("All pulls in one go, the same temper and the same mould: every piece of a sitting has one age.")
        return _("temper and mould for tasting {n}").format(n=one.number), told
    if one.kind == "rest":
        told = _("Dark, odour-tight, away from botanicals, at one temperature.")
        return _("pieces for tasting {n} rest").format(n=one.number), told
    told = _("No coffee, snack or smoke in the hour before; no perfume. A tasting clears no allergen and no hygiene.")
    return _("tasting {n}").format(n=one.number), told


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
