"""What a seal sets on the table: a box for every batch of every make and for the control, and balanced orders."""

from __future__ import annotations

from typing import Any

from analysis.design import serving_orders
from studyapp.kinds.comparison.plan import CONTROL, TENS, ComparisonPlan, every_piece, make_of, served
from studyapp.kinds.comparison.rule import words_of
from studyapp.records import Sitting
from studyapp.services import table
from studyapp.services.access import new_id
from studyapp.services.table import note_taken as note_taken
from studyapp.store import studies
from studyapp.words import _


def set_out(tx: Any, study_id: str, plan: ComparisonPlan) -> None:
    """What a seal puts on the table: samples, ballot, seats, and the sittings of the first look."""
    table.name_samples(tx, study_id, every_piece(plan))
    studies.add_attributes(tx, study_id, [(new_id(), line) for line in plan.attributes])
    studies.add_seats(tx, study_id, plan.assessors)
    make_sittings(tx, study_id, plan, look=1)


def make_sittings(tx: Any, study_id: str, plan: ComparisonPlan, look: int) -> tuple[Sitting, ...]:
    """Plan the sittings of a look, each with the control and one batch of every make."""
    made = table.plan_sittings(tx, study_id, plan.sittings if look == 1 else plan.next_sittings, look)
    ids = {one.level: one.id for one in studies.samples(tx, study_id)}
    for sitting in made:
        samples = [ids[level] for level in served(plan, sitting.number)]
        seed = table.seed(tx, study_id, sitting.number)
        orders = serving_orders(len(samples), len(plan.assessors), plan.replicates, seed)
        # The reference is tasted first by all and not scored.
        warm_up = samples[1] if plan.warm_up else None
        table.serve_cups(tx, sitting, [[samples[place] for place in order] for order in orders], seed, warm_up)
    return made


def boxes(tx: Any, study_id: str, plan: ComparisonPlan) -> dict[str, str]:
    """What is in every box, by its letter."""
    return {one.letter: piece_told(plan, one.level) for one in studies.samples(tx, study_id)}


def piece_told(plan: ComparisonPlan, level: float) -> str:
    """A piece in words: the make, and its batch where there are several."""
    make = make_of(level)
    if make == CONTROL:
        return _("control: {words}").format(words=words_of(plan, make))
    told = _("make {letter}: {words}").format(letter=make, words=words_of(plan, make))
    if plan.batches < 2:
        return told
    return _("{make}, batch {n}").format(make=told, n=int(level) % TENS)
