"""From the start of a run to clock times: pulls, tempering, resting and sittings, and how much mass they ask for.

Times are local times of this machine without a zone, as they stand on the workshop's clock; hours of the run are hours
that pass, also through a night in which the clocks change.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Literal

from studyapp.errors import BadInput
from studyapp.records import Plan
from studyapp.services.dealing import always_served
from studyapp.words import _, ngettext

Kind = Literal["start", "pull", "temper", "rest", "sitting"]
MINUTES_A_PIECE = 2
PULL_MINUTES = 15
STEP = timedelta(minutes=15)
DAYS_TO_SEARCH, SITTING_DAYS = 7, 370
MOST_PULLED = 0.05  # of the load; more begins to conche another batch than the one asked about
SPARE_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class WorkingHours:
    """When somebody is there: from `opens` to `closes` on `days` (0 Monday to 6 Sunday)."""

    opens: time = time(8)
    closes: time = time(18)
    days: frozenset[int] = frozenset(range(5))

    def __post_init__(self) -> None:
        """Refuse a day that ends before it begins and a week without days."""
        if self.opens >= self.closes or not self.days:
            raise BadInput(_("Fix the working hours: choose at least one day, and an end later than the beginning."))

    def hold(self, at: datetime) -> bool:
        """Whether somebody is there at this time."""
        return at.weekday() in self.days and self.opens <= at.time() <= self.closes


@dataclass(frozen=True, slots=True)
class Habits:
    """How the workshop works: its hours, minutes to temper and mould all pulls, days that pieces rest, time of day of
    sittings (mid-morning by default, when palates are fresh)."""

    working: WorkingHours = WorkingHours()
    temper_minutes: int = 120
    rest_days: int = 7
    sitting_at: time = time(10, 30)

    def __post_init__(self) -> None:
        """Refuse what no calendar can hold."""
        if not 0 < self.temper_minutes <= 24 * 60:
            raise BadInput(_("Fix the tempering: write minutes above 0, at most a day."))
        if not 0 < self.rest_days <= 60:
            raise BadInput(_("Fix the rest of the pieces: write 1 to 60 days."))


def habits_query(habits: Habits) -> dict[str, str]:
    """Habits as they stand in the address of a calendar file; `habits_of` reads them."""
    return {
        "opens": habits.working.opens.isoformat("minutes"),
        "closes": habits.working.closes.isoformat("minutes"),
        "days": "".join(str(day) for day in sorted(habits.working.days)),
        "temper": str(habits.temper_minutes),
        "rest": str(habits.rest_days),
        "sitting": habits.sitting_at.isoformat("minutes"),
    }


def habits_of(given: Mapping[str, str]) -> Habits:
    """Habits from an address; what is missing is as usual. Raises BadInput."""
    usual = habits_query(Habits())
    asked = {name: given.get(name, usual[name]) for name in usual}
    try:
        days = frozenset(int(day) for day in asked["days"])
        if not days <= frozenset(range(7)):
            raise ValueError(asked["days"])
        working = WorkingHours(time.fromisoformat(asked["opens"]), time.fromisoformat(asked["closes"]), days)
        return Habits(working, int(asked["temper"]), int(asked["rest"]), time.fromisoformat(asked["sitting"]))
    except ValueError:
        raise BadInput(_("Not done: the address of this calendar is not complete. Take it from the plan.")) from None


@dataclass(frozen=True, slots=True)
class Appointment:
    """Something to be done from `starts` to `ends`. `hours` of a pull; `number` of a sitting, of the tempering for it
    and of the rest between; `outside` working hours."""

    kind: Kind
    starts: datetime
    ends: datetime
    hours: float | None = None
    number: int | None = None
    outside: bool = False


@dataclass(frozen=True, slots=True)
class PullCalendar:
    """Everything that a plan asks for, in order of time. `age` of every piece at every sitting."""

    appointments: tuple[Appointment, ...]
    age: timedelta

    @property
    def outside(self) -> tuple[Appointment, ...]:
        """What falls outside working hours."""
        return tuple(one for one in self.appointments if one.outside)


@dataclass(frozen=True, slots=True)
class ProposedStart:
    """The start nearest to the wished one that puts fewest pulls outside working hours, and how many those are."""

    starts: datetime
    outside: int


@dataclass(frozen=True, slots=True)
class MassNeeded:
    """Grams to take at one pull for every sealed look: `cups` scored, `warm_up` and `spare` ones, tests and reserve."""

    hours: float
    cups: int
    warm_up: int
    spare: int
    grams: int


# ---- times ---------------------------------------------------------------------------------------------------------
def start_of(plan: Plan) -> datetime | None:
    """Hour zero as it stands in the planned times of the pulls, or None."""
    for pull in plan.pulls:
        if pull.planned_at:
            return datetime.fromisoformat(pull.planned_at) - timedelta(hours=pull.hours)
    return None


def after(start: datetime, hours: float) -> datetime:
    """What the clock shows when so many hours have passed, also when it was put forward or back in between."""
    return datetime.fromtimestamp(start.timestamp() + 3600 * hours)


def calendar(plan: Plan, start: datetime, habits: Habits | None = None) -> PullCalendar:
    """Pulls, then for each sitting before the first look one tempering of all pulls, the rest and the sitting.

    All pulls are tempered together, after the last one, so that every piece of a sitting has the same age; each sitting
    has its own tempering, so that this age is also the same from sitting to sitting.

    Raises:
        BadInput: no pulls, or a sitting time outside working hours.
    """
    habits = habits or Habits()
    hours = _hours(plan)
    if not habits.working.opens <= habits.sitting_at <= habits.working.closes:
        raise BadInput(_("Fix the time of the sittings: it lies outside the working hours."))
    run = _run(hours, start, habits.working)
    tables = _sittings(plan, run[-1].starts.date() + timedelta(days=1), habits)
    age = tables[2].starts - tables[0].ends
    return PullCalendar(tuple(sorted((*run, *tables), key=lambda one: one.starts)), age)


def _hours(plan: Plan) -> list[float]:
    hours = sorted({pull.hours for pull in plan.pulls})
    if not hours:
        raise BadInput(_("Fix the pulls: write them first, then the calendar follows."))
    return hours


def _run(hours: Sequence[float], start: datetime, working: WorkingHours) -> list[Appointment]:
    """The start of the run, where it is no pull itself, and the pulls."""
    moments: list[tuple[Kind, float]] = [("pull", h) for h in hours]
    if hours[0] > 0:
        moments.insert(0, ("start", 0.0))
    found = []
    for kind, passed in moments:
        at = after(start, passed)
        ends = at + timedelta(minutes=PULL_MINUTES)
        found.append(Appointment(kind, at, ends, passed if kind == "pull" else None, outside=not working.hold(at)))
    return found


def _sittings(plan: Plan, first: date, habits: Habits) -> list[Appointment]:
    """Tempering, rest and sitting, each on a working day, as early as the pulls allow; one sitting a day."""
    found: list[Appointment] = []
    day, number, last = first, 1, first + timedelta(days=SITTING_DAYS)
    while number <= plan.sittings:
        if day > last:
            raise BadInput(
                ngettext(
                    "Fix the rest of the pieces: no working day is {n} day after another.",
                    "Fix the rest of the pieces: no working day is {n} days after another.",
                    habits.rest_days,
                ).format(n=habits.rest_days)
            )
        tasted = day + timedelta(days=habits.rest_days)
        if {day.weekday(), tasted.weekday()} <= habits.working.days:
            found += _one_sitting(plan, day, tasted, number, habits)
            number += 1
        day += timedelta(days=1)
    return found


def _one_sitting(plan: Plan, tempered: date, tasted: date, number: int, habits: Habits) -> list[Appointment]:
    begins = datetime.combine(tempered, habits.working.opens)
    done = begins + timedelta(minutes=habits.temper_minutes)
    sits = datetime.combine(tasted, habits.sitting_at)
    ends = sits + timedelta(minutes=sitting_minutes(plan))
    return [
        Appointment("temper", begins, done, number=number, outside=not habits.working.hold(done)),
        Appointment("rest", done, sits, number=number),
        Appointment("sitting", sits, ends, number=number, outside=not habits.working.hold(ends)),
    ]


def sitting_minutes(plan: Plan) -> int:
    """About how long a sitting takes: every piece and the rest after it."""
    pieces = pieces_a_sitting(plan) + plan.warm_up
    return math.ceil(pieces * (plan.rest_seconds / 60 + MINUTES_A_PIECE))


def pieces_a_sitting(plan: Plan) -> int:
    """Scored pieces of one assessor in one sitting."""
    return min(len(plan.pulls) * plan.replicates, plan.palate)


def propose_start(plan: Plan, wished: datetime, working: WorkingHours | None = None) -> ProposedStart:
    """Within a week after the wished start, the one with fewest pulls outside working hours, the nearest of these."""
    working, hours = working or WorkingHours(), _hours(plan)
    steps = int(timedelta(days=DAYS_TO_SEARCH) / STEP)
    tried = (wished + number * STEP for number in range(steps + 1))
    outside, starts = min((sum(one.outside for one in _run(hours, at, working)), at) for at in tried)
    return ProposedStart(starts, outside)


def moved_to(plan: Plan, start: datetime) -> Plan:
    """The plan with the times of its pulls counted from another start."""
    pulls = (replace(pull, planned_at=after(start, pull.hours).isoformat(timespec="minutes")) for pull in plan.pulls)
    return replace(plan, pulls=tuple(pulls))


# ---- mass ----------------------------------------------------------------------------------------------------------
def share_pulled(plan: Plan) -> float | None:
    """Share of the load that all pulls take away, or None where masses or load are not known."""
    masses = [pull.mass_g for pull in plan.pulls]
    if not plan.load_g or not masses or any(mass is None for mass in masses):
        return None
    return sum(mass or 0.0 for mass in masses) / plan.load_g


def quantities(plan: Plan, instrument_g: float = 50.0, reserve_g: float = 50.0) -> tuple[MassNeeded, ...]:
    """Grams each pull must yield for all sealed looks: tasters x sittings x piece, warm-up, a spare for every ten cups,
    tests by instrument and a retained reserve; rounded up to 10 g, as it must be known before the run starts.

    The warm-up comes from the middle pull. Where pulls go round in blocks, a later look may serve a pull to everybody,
    so that later looks are counted whole.
    """
    hours = _hours(plan)
    later = (plan.looks - 1) * plan.next_sittings
    found = []
    for place, h in enumerate(hours):
        cups = _first_look(plan, hours, place) + later * _whole(plan)
        warm = len(plan.assessors) * (plan.sittings + later) if plan.warm_up and place == len(hours) // 2 else 0
        spare = math.ceil(SPARE_SHARE * (cups + warm))
        grams = (cups + warm + spare) * plan.piece_g + instrument_g + reserve_g
        found.append(MassNeeded(h, cups, warm, spare, 10 * math.ceil(round(grams / 10, 6))))
    return tuple(found)


def _whole(plan: Plan) -> int:
    """Cups of one pull in a sitting that serves it to everybody as often as a palate takes."""
    each = plan.replicates
    if len(plan.pulls) * each > plan.palate:
        each = math.ceil(plan.palate / len(plan.pulls))
    return len(plan.assessors) * each


def _first_look(plan: Plan, hours: Sequence[float], place: int) -> int:
    """Cups of one pull before the first look; where it takes turns, the most that balanced turns give it."""
    blocks = len(plan.assessors) * plan.sittings
    if len(hours) <= plan.palate or place in always_served(plan, hours):
        return _whole(plan) * plan.sittings
    return math.ceil(blocks * (plan.palate - 2) / (len(hours) - 2))


def too_much(plan: Plan) -> str | None:
    """The caution when the pulls change the very load they are taken from, or None."""
    share = share_pulled(plan)
    if share is None or share <= MOST_PULLED:
        return None
    return _(
        "Careful: the pulls take {n} of 100 g of the load; above {most} the batch that is left conches differently. "
        "Take less at each pull, or fewer pulls."
    ).format(n=f"{100 * share:.1f}", most=f"{100 * MOST_PULLED:g}")
