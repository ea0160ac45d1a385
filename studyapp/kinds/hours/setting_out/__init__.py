"""What a seal sets on the table: samples, ballot, seats, and for every sitting its orders and codes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from studyapp.findings.numbers import hours as as_hours
from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule.orders import orders_of
from studyapp.kinds.hours.setting_out.pulls import note_pull, note_taken
from studyapp.records import Sitting
from studyapp.services import table
from studyapp.services.access import new_id
from studyapp.services.losses import lost_as_a_whole
from studyapp.store import servings, studies
from studyapp.words import _

__all__ = ["boxes", "make_sittings", "note_pull", "note_taken", "set_out"]


def set_out(tx: Any, study_id: str, plan: HoursPlan) -> None:
    """What a seal puts on the table: samples, ballot, seats, and the sittings of the first look."""
    table.name_samples(tx, study_id, [pull.hours for pull in plan.pulls])
    studies.add_attributes(tx, study_id, [(new_id(), line) for line in plan.attributes])
    studies.add_seats(tx, study_id, plan.assessors)
    make_sittings(tx, study_id, plan, look=1)


def boxes(tx: Any, study_id: str, plan: HoursPlan) -> dict[str, str]:
    """The pull in every box, by its letter."""
    return {one.letter: _("{h} h").format(h=as_hours(one.level)) for one in studies.samples(tx, study_id)}


def make_sittings(
    tx: Any, study_id: str, plan: HoursPlan, look: int, hours: tuple[float, ...] | None = None
) -> tuple[Sitting, ...]:
    """Plan the sittings of a look; `hours` names the pulls to serve, None all of them."""
    made = table.plan_sittings(tx, study_id, plan.sittings if look == 1 else plan.next_sittings, look)
    gone = lost_as_a_whole(tx, study_id)
    served = [
        one for one in studies.samples(tx, study_id) if (hours is None or one.level in hours) and one.level not in gone
    ]
    seeds = [table.seed(tx, study_id, sitting.number) for sitting in made]
    before = _dealt_before(tx, study_id, [one.id for one in served])
    dealt = orders_of(plan, [one.level for one in served], seeds, before)
    for sitting, seed, orders in zip(made, seeds, dealt, strict=True):
        # the same piece for all, tasted and not scored
        warm_up = served[len(served) // 2].id if plan.warm_up else None
        table.serve_cups(tx, sitting, [[served[pull].id for pull in order] for order in orders], seed, warm_up)
    return made


def _dealt_before(tx: Any, study_id: str, samples: Sequence[str]) -> list[list[list[int]]]:
    """How often each of these samples was dealt to each seat so far, a table for each earlier sitting."""
    cups = servings.dealt(tx, study_id)
    seats = [assessor for _number, assessor, _name in studies.seats(tx, study_id)]
    numbers = sorted({number for number, _assessor, _sample in cups})
    return [[[cups[number, seat, sample] for sample in samples] for seat in seats] for number in numbers]
