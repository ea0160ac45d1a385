"""The calendar of a run as a file: pulls, tempering and sittings, in words."""

from __future__ import annotations

from datetime import UTC, datetime

from studyapp import calendars
from studyapp.calendars import Appointment
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.kinds.hours.rule.run_calendar import keep_alike, mass_older, of_study
from studyapp.printing.calendar_file import Entry, calendar_file
from studyapp.words import _


def study_calendar(study: HoursStudy, made_at: datetime | None = None) -> bytes:
    """The calendar file of a study as it is planned now; sittings of looks that it has not reached are tentative.

    Raises:
        BadInput: hour zero has no planned time yet, or the habits of the workshop fit no calendar.
    """
    run = of_study(study)

    def told(one: Appointment) -> Entry:
        summary, note = _told(one)
        if one.look <= max(1, study.look):
            return Entry(summary, note)
        return _if_needed(summary, note, run.mass_older(one.number or 1))

    return calendar_file(run, study, told, made_at or datetime.now(UTC))


def _if_needed(summary: str, note: str, days: int) -> Entry:
    """For something that comes only when the verdict before leaves it open."""
    only = _("{what}, only if the verdict before cannot tell").format(what=summary)
    told = _("{note} Not before this time; {older}. {keep}")
    return Entry(only, told.format(note=note, older=mass_older(days), keep=keep_alike()), tentative=True)


def _told(one: Appointment) -> tuple[str, str]:
    """What an entry says, and what to mind."""
    hot = _("Hot mass and moving parts: guards on, gloves, never alone, as the machine's manual and site rules say.")
    if one.kind == "start":
        return _("hour zero"), hot
    if one.kind == "pull":
        return _("pull at {h} h").format(h=f"{one.level:g}"), hot
    return calendars.in_words(one)
