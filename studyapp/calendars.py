"""Clock times of a study: when somebody is there, when samples are moulded and rest, and when they are tasted.

What a kind makes before that, it puts in front. Times are local times of this machine without a zone, as they stand on
the workshop's clock; hours that pass are hours also through a night in which the clocks change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from studyapp.errors import BadInput
from studyapp.words import _, ngettext

SITTING_DAYS = 370  # so far ahead sittings are looked for


@dataclass(frozen=True, slots=True)
class Habits:
    """How a workshop works: somebody is there from `opens` to `closes` on `days` (0 Monday to 6 Sunday); minutes to
    temper and mould all samples for a sitting, days that pieces rest before it, and when in the day sittings begin
    (mid-morning by default, when palates are fresh). Times are those of the clock on the wall, "08:00"."""

    opens: str = "08:00"
    closes: str = "18:00"
    days: tuple[int, ...] = (0, 1, 2, 3, 4)
    temper_minutes: int = 120
    rest_days: int = 7
    sitting_at: str = "10:30"

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Habits:
        """Those of a kept document."""
        values: dict[str, Any] = dict(document)
        return cls(**{**values, "days": tuple(values.get("days", cls().days))})


@dataclass(frozen=True, slots=True)
class Appointment:
    """Something to be done from `starts` to `ends`. `kind` is "temper", "rest", "sitting" or a word of the kind of
    study; `level` an hour, dose or batch; `number` that of a sitting, of the tempering for it and of the rest between,
    and the `look` they belong to; `outside` working hours. Later looks are tasted only if the verdict before cannot
    tell, so their times are the earliest ones."""

    kind: str
    starts: datetime
    ends: datetime
    level: float | None = None
    number: int | None = None
    look: int = 1
    outside: bool = False


@dataclass(frozen=True, slots=True)
class Calendar:
    """Everything that a plan asks for, in order of time. `age` of every piece at every sitting since it was moulded."""

    appointments: tuple[Appointment, ...]
    age: timedelta

    @property
    def outside(self) -> tuple[Appointment, ...]:
        """What falls outside working hours."""
        return tuple(one for one in self.appointments if one.outside)

    def mass_older(self, number: int) -> int:
        """Days that the mass of a sitting has waited since it was made, beyond those for the first sitting."""
        days = {one.number: one.starts.date() for one in self.appointments if one.kind == "sitting"}
        return (days[number] - days[1]).days


def of(made: Sequence[Appointment], tables: Sequence[Appointment]) -> Calendar:
    """What was made, and what `sittings` gave for it, in order of time."""
    age = tables[2].starts - tables[0].ends
    return Calendar(tuple(sorted((*made, *tables), key=lambda one: one.starts)), age)


def after(start: datetime, hours: float) -> datetime:
    """What the clock shows when so many hours have passed, also when it was put forward or back in between."""
    return datetime.fromtimestamp(start.timestamp() + 3600 * hours)


def made(
    kind: str, at: datetime, minutes: float, habits: Habits, level: float | None = None, number: int | None = None
) -> Appointment:
    """Work on what will be tasted, marked where nobody is there when it begins."""
    ends = at + timedelta(minutes=minutes)
    return Appointment(kind, at, ends, level, number, outside=not somebody_there(habits, at))


def somebody_there(habits: Habits, at: datetime) -> bool:
    """Whether a moment falls into working hours."""
    opens, closes = time.fromisoformat(habits.opens), time.fromisoformat(habits.closes)
    return at.weekday() in habits.days and opens <= at.time() <= closes


def refuse_unfit(habits: Habits) -> None:
    """Raise BadInput for a day that ends before it begins, a week without days, and what takes no time or too much."""
    opens, closes, sits = (time.fromisoformat(each) for each in (habits.opens, habits.closes, habits.sitting_at))
    if opens >= closes or not habits.days:
        raise BadInput(_("Fix the working hours: choose at least one day, and an end later than the beginning."))
    if not 0 < habits.temper_minutes <= 24 * 60:
        raise BadInput(_("Fix the tempering: write minutes above 0, at most a day."))
    if not 0 < habits.rest_days <= 60:
        raise BadInput(_("Fix the rest of the pieces: write 1 to 60 days."))
    if not opens <= sits <= closes:
        raise BadInput(_("Fix the time of the sittings: it lies outside the working hours."))


def sittings(habits: Habits, minutes: float, count: int, before: Appointment, look: int = 1) -> list[Appointment]:
    """Tempering, rest and sitting of each of `count` sittings, on working days after what comes before; one a day.

    A sitting takes so many `minutes`. Every piece of every sitting has the same age. Raises BadInput where no such days
    are found.
    """
    number = before.number or 0
    last, found = number + count, list[Appointment]()
    for passed in range(1, SITTING_DAYS + 1):
        day = before.starts.date() + timedelta(days=passed)
        tasted = day + timedelta(days=habits.rest_days)
        if {day.weekday(), tasted.weekday()} <= set(habits.days):
            number += 1
            found += _one_sitting(habits, minutes, day, tasted, number, look)
        if number == last:
            return found
    raise BadInput(
        ngettext(
            "Fix the rest of the pieces: no working day is {n} day after another.",
            "Fix the rest of the pieces: no working day is {n} days after another.",
            habits.rest_days,
        ).format(n=habits.rest_days)
    )


def _one_sitting(
    habits: Habits, minutes: float, tempered: date, tasted: date, number: int, look: int
) -> list[Appointment]:
    begins = datetime.combine(tempered, time.fromisoformat(habits.opens))
    done = begins + timedelta(minutes=habits.temper_minutes)
    sits = datetime.combine(tasted, time.fromisoformat(habits.sitting_at))
    ends = sits + timedelta(minutes=minutes)
    return [
        Appointment("temper", begins, done, None, number, look, not somebody_there(habits, done)),
        Appointment("rest", done, sits, None, number, look),
        Appointment("sitting", sits, ends, None, number, look, not somebody_there(habits, ends)),
    ]


def in_words(one: Appointment) -> tuple[str, str]:
    """What is to be done between making and tasting, and what to mind; both as an entry of a calendar says them."""
    if one.kind == "temper":
        told = _("All samples in one go, the same temper and the same mould: every piece of a sitting has one age.")
        return _("temper and mould for tasting {n}").format(n=one.number), told
    if one.kind == "rest":
        told = _("Dark, odour-tight, away from botanicals, at one temperature.")
        return _("pieces for tasting {n} rest").format(n=one.number), told
    told = _("No coffee, snack or smoke in the hour before; no perfume. A tasting clears no allergen and no hygiene.")
    return _("tasting {n}").format(n=one.number), told
