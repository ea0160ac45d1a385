"""The calendar of a run as a file: pulls, tempering and sittings, in words."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from studyapp import calendars
from studyapp.calendars import Appointment
from studyapp.kinds.hours.findings.pull_life import late_says, lost_says, off_by
from studyapp.kinds.hours.plan import HoursStudy
from studyapp.kinds.hours.rule.run_calendar import keep_alike, mass_older, of_study
from studyapp.kinds.hours.setting_out.pulls import PullLife, Pulls
from studyapp.printing.calendar_file import Entry, calendar_file
from studyapp.words import _

Lives = dict[float | None, PullLife]


def study_calendar(study: HoursStudy, made_at: datetime | None = None, kept: Pulls | None = None) -> bytes:
    """The calendar file of a study as it is planned now; sittings of looks that it has not reached are tentative. A
    pull stands where it was really taken, by the notes that are `kept`, or is due by the hour zero that was noted.

    Raises:
        BadInput: hour zero has no planned time yet, or the habits of the workshop fit no calendar.
    """
    run = of_study(study)
    lives: Lives = {life.hours: life for life in kept.lives} if kept else {}
    moved = replace(run, appointments=tuple(_moved(one, kept, lives) for one in run.appointments))

    def told(one: Appointment) -> Entry:
        summary, note = _told(one)
        if one.kind == "pull" and one.level in lives:
            return _as_taken(summary, note, lives[one.level])
        if one.look <= max(1, study.look):
            return Entry(summary, note)
        return _if_needed(summary, note, run.mass_older(one.number or 1))

    return calendar_file(moved, study, told, made_at or datetime.now(UTC))


def _moved(one: Appointment, kept: Pulls | None, lives: Lives) -> Appointment:
    """Hour zero and pulls at their real times; sittings keep the days that people were asked for."""
    starts = kept.zero if kept and kept.zero_noted and one.kind == "start" else None
    if one.kind == "pull" and one.level in lives:
        life = lives[one.level]
        starts = datetime.fromisoformat(life.taken.actual_at) if life.taken else life.due
    return replace(one, starts=starts, ends=starts + (one.ends - one.starts)) if starts else one


def _as_taken(summary: str, note: str, life: PullLife) -> Entry:
    """What became of a pull: lost, or taken at another hour than its own."""
    if life.gone:
        return Entry(f"{summary}, {lost_says(life)[-1]}", note, "CANCELLED")
    if life.taken is None:
        return Entry(summary, note)
    said = late_says(life.hours, life.late) if life.is_late else ""
    return Entry(f"{summary}, {_('taken')}, {off_by(life.late)}", f"{said} {note}".strip())


def _if_needed(summary: str, note: str, days: int) -> Entry:
    """For something that comes only when the verdict before leaves it open."""
    only = _("{what}, only if the verdict before cannot tell").format(what=summary)
    told = _("{note} Not before this time; {older}. {keep}")
    return Entry(only, told.format(note=note, older=mass_older(days), keep=keep_alike()), "TENTATIVE")


def _told(one: Appointment) -> tuple[str, str]:
    """What an entry says, and what to mind."""
    hot = _("Hot mass and moving parts: guards on, gloves, never alone, as the machine's manual and site rules say.")
    if one.kind == "start":
        return _("hour zero"), hot
    if one.kind == "pull":
        return _("pull at {h} h").format(h=f"{one.level:g}"), hot
    return calendars.in_words(one)
