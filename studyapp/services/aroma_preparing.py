"""The kitchen of an aroma study: which box goes into which cup, how much of it, and whether a tray may leave.

Trays with their codes are those of `preparing.trays`; the cups of a set follow each other in the order of tasting.
"""

from __future__ import annotations

from collections import Counter

from studyapp.records import BoxQuantity, SetFill, Staff
from studyapp.services import preparing
from studyapp.services.access import aroma_study_or_refuse, require, sitting_or_refuse
from studyapp.store import Store, studies, trials

CHECKS = (*preparing.CHECKS, "botanical_named")


def fill_rows(store: Store, by: Staff, sitting_id: str) -> tuple[SetFill, ...]:
    """The key of a sitting, for its preparer alone. From now on this person cannot taste in the study."""
    require(by, "preparer")
    with store.write() as tx:
        study = aroma_study_or_refuse(tx, sitting_or_refuse(tx, sitting_id).study)
        preparing.refuse_taster(tx, by, study.plan.assessors)
        studies.note_key_view(tx, study.id, by.id)
        letters = {box.id: box.letter for box in trials.boxes(tx, study.id)}
        return tuple(
            SetFill(position, seat, tuple(zip(codes, (letters[held] for held in samples), strict=True)))
            for position, seat, codes, samples in trials.key(tx, sitting_id)
        )


def quantities(store: Store, by: Staff, study_id: str) -> tuple[BoxQuantity, ...]:
    """Pieces and grams of every box for the sittings to come, one spare for every ten cups.

    When all are over, it is what they took, as in `preparing.quantities`.
    """
    require(by, "preparer")
    with store.write() as tx:
        study = aroma_study_or_refuse(tx, study_id)
        preparing.refuse_taster(tx, by, study.plan.assessors)
        studies.note_key_view(tx, study.id, by.id)
        cups = Counter(
            held
            for sitting in preparing.to_fill(tx, study_id)
            for _position, _seat, _codes, samples in trials.key(tx, sitting.id)
            for held in samples
        )
        boxes = trials.boxes(tx, study_id)
    return tuple(
        BoxQuantity(box.letter, box.name, *preparing.with_spares(cups[box.id], study.plan.piece_g))
        for box in sorted(boxes, key=lambda one: one.letter)
    )


def release_tray(
    store: Store, by: Staff, sitting_id: str, position: int, checks: frozenset[str], second_person: str
) -> None:
    """Let one tray leave the kitchen: cleared as food, allergens shown and botanical named, pieces sound, labels read.

    Raises:
        BadInput: a check is open or the second person is missing.
        NotAllowed: the sitting is over, or a tray before is still in the kitchen.
    """
    require(by, "preparer")
    second_person = preparing.cleared(by, checks, CHECKS, second_person)
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        aroma_study_or_refuse(tx, sitting.study)
        preparing.let_out(tx, by, sitting, position, checks, second_person)
