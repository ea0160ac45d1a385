"""From the start of infusing to clock times: batches, tempering, ageing and sittings."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from studyapp import calendars
from studyapp.calendars import Appointment, Calendar
from studyapp.errors import BadInput
from studyapp.kinds.aroma.plan import SINCE_BOTANICAL, AromaPlan
from studyapp.kinds.aroma.rule import control
from studyapp.records import MINUTES_A_SET
from studyapp.words import _


def start_of(plan: AromaPlan) -> datetime | None:
    """When infusing is planned to begin, or None."""
    return datetime.fromisoformat(plan.starts_at) if plan.starts_at else None


def calendar(plan: AromaPlan) -> Calendar:
    """Every batch, then for each sitting one tempering of all samples, the days they age, and the sitting.

    All samples are tempered together, after the last batch, so that every piece of a sitting has the same age.

    Raises:
        BadInput: no planned start, no doses, batches or days yet, or habits that no calendar can hold.
    """
    start = start_of(plan)
    if start is None:
        raise BadInput(_("Not done: write when infusing is planned to begin, then the calendar follows."))
    calendars.refuse_unfit(plan.habits)
    batches = list(_batches(plan, start))
    if plan.control is not None:
        batches.append(calendars.made("control", batches[-1].ends, plan.batch_minutes, plan.habits))
    return calendars.of(batches, calendars.sittings(plan.habits, _sitting_minutes(plan), plan.sittings, batches[-1]))


def _batches(plan: AromaPlan, start: datetime) -> Iterator[Appointment]:
    """What is made, one batch after the other; the blank first and small doses before large ones, so that no aroma of
    the batch before gets into it. Plain chocolate of a later day is made at the hour of the infused one."""
    step = timedelta(minutes=plan.batch_minutes)
    if plan.aim in SINCE_BOTANICAL:
        yield calendars.made("infuse", start, plan.batch_minutes, plan.habits)
        for level in sorted(plan.batches):
            at = start + (level * step if plan.aim == "carry over" else timedelta(days=level))
            yield calendars.made("plain", at, plan.batch_minutes, plan.habits, float(level))
        return
    yield calendars.made("blank", start, plan.batch_minutes, plan.habits)
    doses: list[float | None] = [dose for dose in sorted(plan.doses) if dose] if plan.aim == "dose" else [None]
    for number, dose in enumerate(doses, start=1):
        yield calendars.made("infuse", start + number * step, plan.batch_minutes, plan.habits, dose)


def _sitting_minutes(plan: AromaPlan) -> float:
    sets = plan.sets_a_sitting + control.most_a_sitting(plan)
    return sets * (MINUTES_A_SET + plan.rest_seconds / 60)
