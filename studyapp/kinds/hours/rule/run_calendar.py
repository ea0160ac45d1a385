"""From the start of a run to clock times: pulls, tempering, resting and sittings, and how much mass they ask for.

Times are local times of this machine without a zone, as they stand on the workshop's clock; hours of the run are hours
that pass, also through a night in which the clocks change.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from studyapp import calendars
from studyapp.calendars import Appointment, Calendar, Habits
from studyapp.errors import BadInput
from studyapp.kinds.hours.plan import HoursPlan, HoursStudy
from studyapp.kinds.hours.rule.orders import always_served
from studyapp.records import MINUTES_A_PIECE
from studyapp.words import _, ngettext

PULL_MINUTES = 15
STEP = timedelta(minutes=15)
DAYS_TO_SEARCH = 7
MOST_PULLED = 0.05  # of the load; more begins to conche another batch than the one asked about
SPARE_SHARE = 0.1


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
def start_of(plan: HoursPlan) -> datetime | None:
    """When hour zero is planned, or None."""
    return datetime.fromisoformat(plan.starts_at) if plan.starts_at else None


def moved_to(plan: HoursPlan, start: datetime | None) -> HoursPlan:
    """The plan with another hour zero."""
    return replace(plan, starts_at=start.isoformat(timespec="minutes") if start is not None else None)


def calendar(plan: HoursPlan) -> Calendar:
    """Pulls, then for each sitting of every sealed look one tempering of all pulls, the rest and the sitting.

    All pulls are tempered together, after the last one, so that every piece of a sitting has the same age; each sitting
    has its own tempering, so that this age is also the same from sitting to sitting. What later looks need is moulded
    only once the verdict before could not tell: its pieces are as old as before, its mass is older (`mass_older`).

    Raises:
        BadInput: no pulls, no planned start, or habits that no calendar can hold.
    """
    run = _run(_hours(plan), _start(plan), plan.habits)
    calendars.refuse_unfit(plan.habits)
    tables: list[Appointment] = []
    for look in range(1, plan.looks + 1):
        count = plan.sittings if look == 1 else plan.next_sittings
        tables += calendars.sittings(plan.habits, sitting_minutes(plan), count, (tables or run)[-1], look)
    return calendars.of(run, tables)


def of_study(study: HoursStudy) -> Calendar:
    """The calendar of a study; once it is decided no later look comes. Raises as `calendar`."""
    decided = study.state == "decided"
    return calendar(replace(study.plan, looks=study.look) if decided else study.plan)


def _hours(plan: HoursPlan) -> list[float]:
    hours = sorted({pull.hours for pull in plan.pulls})
    if not hours:
        raise BadInput(_("Fix the pulls: write them first, then the calendar follows."))
    return hours


def _start(plan: HoursPlan) -> datetime:
    start = start_of(plan)
    if start is None:
        raise BadInput(_("Not done: write when hour zero is planned, then the calendar follows."))
    return start


def _run(hours: Sequence[float], start: datetime, habits: Habits) -> list[Appointment]:
    """The start of the run, where it is no pull itself, and the pulls."""
    found = [calendars.made("pull", calendars.after(start, h), PULL_MINUTES, habits, h) for h in hours]
    if hours[0] > 0:
        found.insert(0, calendars.made("start", start, PULL_MINUTES, habits))
    return found


def sitting_minutes(plan: HoursPlan) -> int:
    """About how long a sitting takes: every piece and the rest after it."""
    pieces = pieces_a_sitting(plan) + plan.warm_up
    return math.ceil(pieces * (plan.rest_seconds / 60 + MINUTES_A_PIECE))


def pieces_a_sitting(plan: HoursPlan) -> int:
    """Scored pieces of one assessor in one sitting."""
    return min(len(plan.pulls) * plan.replicates * plan.batches_a_sitting, plan.palate)


def propose_start(plan: HoursPlan) -> ProposedStart:
    """Within a week after the planned start, the one with fewest pulls outside working hours, the nearest of these.

    Raises:
        BadInput: no pulls, or no planned start.
    """
    hours, planned = _hours(plan), _start(plan)
    steps = int(timedelta(days=DAYS_TO_SEARCH) / STEP)
    tried = (planned + number * STEP for number in range(steps + 1))
    outside, starts = min((sum(one.outside for one in _run(hours, at, plan.habits)), at) for at in tried)
    return ProposedStart(starts, outside)


def mass_older(days: int) -> str:
    """What is different about the pieces of a later look, in words."""
    return ngettext("mass {n} day older than for tasting 1", "mass {n} days older than for tasting 1", days).format(
        n=days
    )


def keep_alike() -> str:
    """What must be done for that difference to be one and the same for every pull."""
    return _(
        "Pieces for a later opening are moulded for it and as old as before, but their mass is older. Keep what is "
        "left of every pull in the same way: dark, odour-tight, at one temperature."
    )


# ---- mass ----------------------------------------------------------------------------------------------------------
def share_pulled(plan: HoursPlan) -> float | None:
    """Share of the load that all pulls take away, or None where masses or load are not known."""
    masses = [pull.mass_g for pull in plan.pulls]
    if not plan.load_g or not masses or any(mass is None for mass in masses):
        return None
    return sum(mass or 0.0 for mass in masses) / plan.load_g


def quantities(plan: HoursPlan, instrument_g: float = 50.0, reserve_g: float = 50.0) -> tuple[MassNeeded, ...]:
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


def _whole(plan: HoursPlan) -> int:
    """Cups of one pull in a sitting that serves it to everybody as often as a palate takes."""
    each = plan.replicates
    if len(plan.pulls) * each > plan.palate:
        each = math.ceil(plan.palate / len(plan.pulls))
    return len(plan.assessors) * each


def _first_look(plan: HoursPlan, hours: Sequence[float], place: int) -> int:
    """Cups of one pull before the first look; where it takes turns, the most that balanced turns give it."""
    blocks = len(plan.assessors) * plan.sittings
    if len(hours) <= plan.palate or place in always_served(plan, hours):
        return _whole(plan) * plan.sittings
    return math.ceil(blocks * (plan.palate - 2) / (len(hours) - 2))


def too_much(plan: HoursPlan) -> str | None:
    """The caution when the pulls change the very load they are taken from, or None."""
    share = share_pulled(plan)
    if share is None or share <= MOST_PULLED:
        return None
    return _(
        "Careful: the pulls take {n} of 100 g of the load; above {most} the batch that is left conches differently. "
        "Take less at each pull, or fewer pulls."
    ).format(n=f"{100 * share:.1f}", most=f"{100 * MOST_PULLED:g}")
