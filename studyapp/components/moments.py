"""Times as people read them: kept in UTC, shown in the clock of this machine."""

from __future__ import annotations

from datetime import datetime

from studyapp.findings.days import month
from studyapp.store import clock as app_clock
from studyapp.words import _


def moment(kept: str) -> datetime:
    """A kept UTC text as a local time."""
    return datetime.fromisoformat(kept.replace("Z", "+00:00")).astimezone()


def clock(kept: str | None) -> str:
    """Hours and minutes; with the day in front when it is not today."""
    if not kept:
        return "–"
    local = moment(kept)
    same_day = local.date() == app_clock.now().astimezone().date()
    return (
        local.strftime("%H:%M") if same_day else _("{day} {time}").format(day=day(kept), time=local.strftime("%H:%M"))
    )


def day(kept: str) -> str:
    """Day and month of a kept time, for example 24 Nov."""
    return day_of(moment(kept))


def day_of(local: datetime) -> str:
    """Day and month of a local time."""
    return _("{day} {month}").format(day=local.day, month=month(local.month))


def weekday(number: int) -> str:
    """Short name of a day of the week; 0 is Monday."""
    return (_("Mon"), _("Tue"), _("Wed"), _("Thu"), _("Fri"), _("Sat"), _("Sun"))[number]


def appointment(local: datetime) -> str:
    """Weekday, day and time of something to come, for example Tue 24 Nov, 08:00."""
    told = _("{weekday} {day}, {time}")
    return told.format(weekday=weekday(local.weekday()), day=day_of(local), time=local.strftime("%H:%M"))


def minutes_since(kept: str | None, now: datetime | None = None) -> int:
    """Whole minutes since a kept time, 0 when there is none."""
    if not kept:
        return 0
    return max(0, int(((now or app_clock.now()) - moment(kept)).total_seconds() // 60))


def countdown(until: str | None, now: datetime | None = None) -> str:
    """Minutes and seconds until a kept time, for example 1:40."""
    if not until:
        return "0:00"
    left = max(0, int((moment(until) - (now or app_clock.now())).total_seconds()))
    return f"{left // 60}:{left % 60:02d}"
