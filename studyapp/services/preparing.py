"""The kitchen: which pull goes into which cup, how much of it, and whether a tray may leave."""

from __future__ import annotations

import math
from collections import Counter
from typing import Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import FillRow, Quantity, Sitting, Staff, Tray, TrayCup
from studyapp.services.access import require, sitting_or_refuse, study_or_refuse
from studyapp.store import Store, people, servings, studies, trials
from studyapp.store import sittings as sitting_store
from studyapp.words import _

CHECKS = ("safe_food", "allergens_shown", "sound_pieces", "labels_read")
SPARE_SHARE = 0.1


def sittings(store: Store, by: Staff, study_id: str | None = None) -> tuple[Sitting, ...]:
    """Sittings that are not closed, everywhere or of one study."""
    require(by, "preparer", "leader")
    with store.read() as tx:
        return sitting_store.of_study(tx, study_id) if study_id else sitting_store.everywhere(tx)


def trays(store: Store, by: Staff, sitting_id: str) -> tuple[Tray, ...]:
    """Every tray with its codes; no sample."""
    require(by, "preparer", "leader")
    with store.read() as tx:
        sitting_or_refuse(tx, sitting_id)
        return trays_of(tx, sitting_id)


def trays_of(tx: Any, sitting_id: str) -> tuple[Tray, ...]:
    """The trays of a sitting within a transaction; the cups of a set follow each other in the order of tasting."""
    released = sitting_store.released(tx, sitting_id)
    by_position: dict[int, list[TrayCup]] = {}
    for row in servings.cups(tx, sitting_id):
        by_position.setdefault(row.position, []).append(TrayCup(row.number, row.pseudonym, row.code))
    for position, seat, name, codes in trials.cups(tx, sitting_id):
        by_position.setdefault(position, []).extend(TrayCup(seat, name, code) for code in codes)
    return tuple(
        Tray(sitting_id, p, tuple(cups), *released.get(p, (None, None))) for p, cups in sorted(by_position.items())
    )


def fill_rows(store: Store, by: Staff, sitting_id: str) -> tuple[FillRow, ...]:
    """The key of a sitting, for its preparer alone. From now on this person cannot taste in the study."""
    require(by, "preparer")
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        study = study_or_refuse(tx, sitting.study)
        refuse_taster(tx, by, study.plan.assessors)
        studies.note_key_view(tx, study.id, by.id)
        return tuple(
            FillRow(row.position, row.number, row.code, row.letter, row.hours) for row in servings.key(tx, sitting_id)
        )


def refuse_taster(tx: Any, by: Staff, seated: tuple[str, ...]) -> None:
    """Raise NotAllowed if this member is one of the people who taste."""
    persons = {assessor.person for assessor in people.assessors(tx) if assessor.id in seated}
    if by.person and by.person in persons:
        raise NotAllowed(_("Not done: you taste in this study, so somebody else holds its key."))


def quantities(store: Store, by: Staff, study_id: str) -> tuple[Quantity, ...]:
    """Pieces and grams of every pull for the sittings to come, one spare for every ten cups.

    When all are over, it is what they took: a fill sheet printed late still says which box held which pull.
    """
    require(by, "preparer")
    with store.write() as tx:
        study = study_or_refuse(tx, study_id)
        refuse_taster(tx, by, study.plan.assessors)
        studies.note_key_view(tx, study.id, by.id)
        cups = Counter(
            (row.letter, row.hours) for sitting in to_fill(tx, study_id) for row in servings.key(tx, sitting.id)
        )
    return tuple(
        Quantity(letter, hours, *with_spares(count, study.plan.piece_g))
        for (letter, hours), count in sorted(cups.items())
    )


def to_fill(tx: Any, study_id: str) -> tuple[Sitting, ...]:
    """The sittings to come or, when all are over, every one of them."""
    kept = sitting_store.of_study(tx, study_id)
    return tuple(one for one in kept if one.state != "closed") or kept


def with_spares(cups: int, piece_g: float) -> tuple[int, float]:
    """Pieces with one spare for every ten cups, and their grams."""
    whole = cups + math.ceil(SPARE_SHARE * cups)
    return whole, round(whole * piece_g, 1)


def release_tray(
    store: Store, by: Staff, sitting_id: str, position: int, checks: frozenset[str], second_person: str
) -> None:
    """Let one tray leave the kitchen: cleared as food, allergens shown, pieces sound, labels read by a second person.

    Raises:
        BadInput: a check is open or the second person is missing.
        NotAllowed: the sitting is over, or a tray before is still in the kitchen.
    """
    require(by, "preparer")
    second_person = cleared(by, checks, CHECKS, second_person)
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        study_or_refuse(tx, sitting.study)
        let_out(tx, by, sitting, position, checks, second_person)


def cleared(by: Staff, checks: frozenset[str], needed: tuple[str, ...], second_person: str) -> str:
    """The name of the second person, once every check is made; BadInput names what is open."""
    missing = [check for check in needed if check not in checks]
    if missing:
        raise BadInput(_open_check(missing[0]))
    second_person = second_person.strip()
    if not second_person:
        raise BadInput(_("Not released: a second person reads the labels against the sheet. Write who that was."))
    if second_person.casefold() == by.name.casefold():
        raise BadInput(_("Not released: {name} is you; somebody else reads the labels.").format(name=second_person))
    return second_person


def let_out(tx: Any, by: Staff, sitting: Sitting, position: int, checks: frozenset[str], second_person: str) -> None:
    """Keep that a tray may leave, after those before it; a repeat changes nothing."""
    if sitting.state == "closed":
        raise NotAllowed(_("Not released: this sitting is closed."))
    positions = [tray.position for tray in trays_of(tx, sitting.id)]
    if position not in positions:
        raise BadInput(_("Not released: there is no tray {n} in this sitting.").format(n=position))
    out = sitting_store.released(tx, sitting.id)
    if position in out:
        return
    waiting = [before for before in positions if before < position and before not in out]
    if waiting:
        raise NotAllowed(_still_in(waiting[0]))
    sitting_store.release(tx, sitting, position, by.id, second_person, sorted(checks))


def _still_in(position: int) -> str:
    if position == 0:
        return _("Not released: the warm-up tray is still in the kitchen; it leaves first.")
    return _("Not released: tray {n} is still in the kitchen; it leaves first.").format(n=position)


def _open_check(check: str) -> str:
    return {
        "safe_food": _(
            "Not released: nobody has cleared the pieces as food. A tasting cannot show that an allergen is absent."
        ),
        "allergens_shown": _("Not released: the allergen list is not confirmed."),
        "sound_pieces": _("Not released: look for bloom and broken pieces first, and put the lids on."),
        "labels_read": _("Not released: a second person reads the labels against the sheet first."),
        "botanical_named": _("Not released: name the botanical, its part and its lot to the assessors first."),
    }[check]
