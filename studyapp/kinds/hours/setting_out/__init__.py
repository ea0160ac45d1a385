"""What a seal sets on the table: samples, ballot, seats, and for every sitting its orders and codes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from studyapp.kinds.hours.plan import HoursPlan
from studyapp.kinds.hours.rule.batches import lot
from studyapp.kinds.hours.rule.orders import orders_of
from studyapp.kinds.hours.setting_out.pulls import lost_batches, note_pull, note_taken, pull_told
from studyapp.records import Sample, Sitting
from studyapp.services import table
from studyapp.services.access import new_id
from studyapp.services.losses import lost_as_a_whole
from studyapp.store import servings, studies

__all__ = ["boxes", "make_sittings", "note_pull", "note_taken", "set_out"]


def set_out(tx: Any, study_id: str, plan: HoursPlan) -> None:
    """What a seal puts on the table: samples, ballot, seats, and the sittings of the first look."""
    table.name_samples(tx, study_id, plan.pieces())
    studies.add_attributes(tx, study_id, [(new_id(), line) for line in plan.attributes])
    studies.add_seats(tx, study_id, plan.assessors)
    make_sittings(tx, study_id, plan, look=1)


def boxes(tx: Any, study_id: str, plan: HoursPlan) -> dict[str, str]:
    """The pull in every box, by its letter."""
    return {one.letter: pull_told(plan, one.level) for one in studies.samples(tx, study_id)}


def make_sittings(
    tx: Any, study_id: str, plan: HoursPlan, look: int, hours: tuple[float, ...] | None = None
) -> tuple[Sitting, ...]:
    """Plan the sittings of a look; `hours` names the pulls to serve, None all of them. Of several batches each sitting
    serves one or two whole ones, by lot."""
    gone, pieces = lost_as_a_whole(tx, study_id), plan.pieces()
    served = [
        one
        for one in studies.samples(tx, study_id)
        if (hours is None or pieces[one.level][1] in hours) and one.level not in gone
    ]
    groups = _groups(tx, study_id, plan, look, gone)
    made = table.plan_sittings(tx, study_id, len(groups), look)
    for group in sorted(set(groups)):
        own = [sitting for sitting, batches in zip(made, groups, strict=True) if batches == group]
        _serve(tx, own, plan, [one for one in served if pieces[one.level][0] in group])
    return made


def _groups(tx: Any, study_id: str, plan: HoursPlan, look: int, gone: set[float]) -> list[tuple[int, ...]]:
    """The batches of each sitting of a look."""
    if not plan.several:
        return [(0,)] * (plan.sittings if look == 1 else plan.next_sittings)
    return lot(plan, look, lost_batches(plan, gone), table.seed(tx, study_id, f"batches of look {look}"))


def _serve(tx: Any, made: Sequence[Sitting], plan: HoursPlan, served: Sequence[Sample]) -> None:
    """The orders and codes of sittings that serve the same samples."""
    pieces, study_id = plan.pieces(), made[0].study
    seeds = [table.seed(tx, study_id, sitting.number) for sitting in made]
    before = _dealt_before(tx, study_id, [one.id for one in served])
    dealt = orders_of(plan, [pieces[one.level][1] for one in served], seeds, before)
    for sitting, seed, orders in zip(made, seeds, dealt, strict=True):
        # the same piece for all, tasted and not scored
        warm_up = served[len(served) // 2].id if plan.warm_up else None
        table.serve_cups(tx, sitting, [[served[pull].id for pull in order] for order in orders], seed, warm_up)


def _dealt_before(tx: Any, study_id: str, samples: Sequence[str]) -> list[list[list[int]]]:
    """How often each of these samples was dealt to each seat so far, a table for each earlier sitting of them."""
    cups = servings.dealt(tx, study_id)
    seats = [assessor for _number, assessor, _name in studies.seats(tx, study_id)]
    numbers = sorted({number for number, _assessor, sample in cups if sample in samples})
    return [[[cups[number, seat, sample] for sample in samples] for seat in seats] for number in numbers]
