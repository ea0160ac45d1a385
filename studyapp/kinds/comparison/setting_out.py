"""What a seal sets on the table: a box for every batch of every make and for the control, and balanced orders."""

from __future__ import annotations

from typing import Any

from analysis.design import serving_orders
from studyapp.errors import BadInput
from studyapp.kinds.comparison.plan import (
    CONTROL,
    KIND,
    TENS,
    ComparisonPlan,
    ComparisonStudy,
    every_piece,
    make_of,
    piece_of,
    served,
)
from studyapp.kinds.comparison.rule import words_of
from studyapp.records import PullNote, Sitting, Staff
from studyapp.services import losses, table
from studyapp.services.access import new_id, require, study_or_refuse
from studyapp.services.table import note_taken as note_taken
from studyapp.store import Store, studies
from studyapp.store import pulls as notes
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
    gone = losses.lost_as_a_whole(tx, study_id)
    ids = {one.level: one.id for one in studies.samples(tx, study_id) if one.level not in gone}
    for sitting in made:
        samples = [ids[level] for level in served(plan, sitting.number) if level in ids]
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
    make, piece = make_of(level), piece_of(plan, level)
    if make == CONTROL:
        return _("control: {words}").format(words=words_of(plan, make))
    told = _("make {letter}: {words}").format(letter=make, words=words_of(plan, piece))
    if plan.batches < 2:
        return told
    return _("{make}, batch {n}").format(make=told, n=int(level) % TENS)


# ---- what cannot be served -------------------------------------------------------------------------------------------
def note_lost(
    store: Store, by: Staff, study_id: str, level: float, reason: str, actual_at: str, sitting: int | None = None
) -> None:
    """Keep that a piece cannot be served, for a physical `reason`: in one sitting, or in every one that is left.

    Raises:
        BadInput: no such piece, or a reason that is not on the list.
        NotAllowed: it was served there already, the key is open, or whoever notes tastes in the study.
    """
    with store.write() as tx:
        study = _noting(tx, by, study_id)
        if level not in every_piece(study.plan):
            raise BadInput(_("Fix the piece: choose one that is served."))
        losses.note(tx, by, study, level, piece_told(study.plan, level), reason, actual_at, sitting)


def undo_lost(store: Store, by: Staff, study_id: str, level: float, actual_at: str) -> None:
    """Take back the loss of a piece; both notes stay. Raises NotAllowed where a sitting has gone on without it."""
    with store.write() as tx:
        losses.undo(tx, by, _noting(tx, by, study_id), level, actual_at)


def lost_of(store: Store, by: Staff, study_id: str) -> tuple[PullNote, ...]:
    """Every loss that stands; `hours` is the number of the piece."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        study_or_refuse(tx, study_id, KIND)
        return notes.losses(notes.in_force(tx, study_id))


def _noting(tx: Any, by: Staff, study_id: str) -> ComparisonStudy:
    study = study_or_refuse(tx, study_id, KIND)
    losses.may_note(tx, by, study)
    return study
