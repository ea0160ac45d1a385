"""The kitchen: what goes into which cup, how much of it, and whether a tray may leave; the same for every kind."""

from __future__ import annotations

from collections import Counter
from typing import Any

from studyapp import registry
from studyapp.errors import BadInput, NotAllowed
from studyapp.records import SPARES, Check, FillRow, Quantity, Sitting, Staff, Study, Tray, TrayCup
from studyapp.services import leaving_out, names, spares
from studyapp.services.access import require, sitting_or_refuse, study_or_refuse, tastes
from studyapp.store import Store, openings, servings, studies, trials
from studyapp.store import sittings as sitting_store
from studyapp.words import _


def sittings(store: Store, by: Staff, study_id: str | None = None) -> tuple[Sitting, ...]:
    """Sittings that are not closed, everywhere or of one study."""
    require(by, "preparer", "leader")
    with store.read() as tx:
        return sitting_store.of_study(tx, study_id) if study_id else sitting_store.everywhere(tx)


def sitting(store: Store, by: Staff, sitting_id: str) -> Sitting:
    """One sitting, closed or not. Raises NotFound."""
    require(by, "preparer", "leader")
    with store.read() as tx:
        return sitting_or_refuse(tx, sitting_id)


# ---- trays -----------------------------------------------------------------------------------------------------------
def trays(store: Store, by: Staff, sitting_id: str) -> tuple[Tray, ...]:
    """Every tray with its codes; no sample."""
    require(by, "preparer", "leader")
    with store.read() as tx:
        sitting_or_refuse(tx, sitting_id)
        return trays_of(tx, sitting_id)


def trays_of(tx: Any, sitting_id: str) -> tuple[Tray, ...]:
    """The trays of a sitting within a transaction; the cups of a set follow each other in the order of tasting."""
    released = sitting_store.released(tx, sitting_id)
    out = leaving_out.codes(tx, sitting_or_refuse(tx, sitting_id))
    by_position: dict[int, list[TrayCup]] = {}
    for row in servings.cups(tx, sitting_id):
        if row.code not in out:
            by_position.setdefault(row.position, []).append(TrayCup(row.number, row.pseudonym, row.code))
    for position, seat, name, codes in trials.cups(tx, sitting_id):
        by_position.setdefault(position, []).extend(TrayCup(seat, name, code) for code in codes)
    return tuple(
        Tray(sitting_id, p, tuple(cups), *released.get(p, (None, None))) for p, cups in sorted(by_position.items())
    )


# ---- the key ---------------------------------------------------------------------------------------------------------
def fill_rows(store: Store, by: Staff, sitting_id: str) -> tuple[FillRow, ...]:
    """The key of a sitting, for its preparer alone. From now on this person cannot taste in the study."""
    require(by, "preparer")
    with store.write() as tx:
        study = study_or_refuse(tx, sitting_or_refuse(tx, sitting_id).study)
        _key_holder(tx, by, study)
        return filled(tx, study.id, sitting_id)


def spare_rows(store: Store, by: Staff, sitting_id: str) -> tuple[FillRow, ...]:
    """The spares of a sitting with the box of each, a row a spare, for its preparer alone as `fill_rows`."""
    require(by, "preparer")
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        _key_holder(tx, by, study_or_refuse(tx, sitting.study))
        return tuple(FillRow(SPARES, 0, (cup,)) for cup in _spares(tx, sitting).items())


def _spares(tx: Any, sitting: Sitting) -> dict[str, str]:
    """The box of every spare of a sitting, by its code."""
    letters = {one.id: one.letter for one in studies.samples(tx, sitting.study)}
    return {code: letters[held] for code, held in spares.dealt(tx, sitting).items()}


def spare_codes(store: Store, by: Staff, sitting_id: str) -> tuple[str, ...]:
    """The codes of the spares, for their labels; no sample."""
    require(by, "preparer", "leader")
    with store.read() as tx:
        return tuple(spares.dealt(tx, sitting_or_refuse(tx, sitting_id)))


def levels_by_code(store: Store, by: Staff, sitting_id: str) -> dict[str, float]:
    """The level of the sample in every cup of a sitting, by its code, for its preparer alone; for invented scores."""
    rows = fill_rows(store, by, sitting_id)
    with store.read() as tx:
        levels = {one.letter: one.level for one in studies.samples(tx, sitting_or_refuse(tx, sitting_id).study)}
    return {code: levels[letter] for row in rows for code, letter in row.cups}


def filled(tx: Any, study_id: str, sitting_id: str) -> tuple[FillRow, ...]:
    """Single cups, then sets of cups, each by tray and seat."""
    letters = {box.id: box.letter for box in trials.boxes(tx, study_id)}
    out = leaving_out.codes(tx, sitting_or_refuse(tx, sitting_id))
    cups = (row for row in servings.key(tx, sitting_id) if row.code not in out)
    single = (FillRow(row.position, row.number, ((row.code, row.letter),)) for row in cups)
    sets = (
        FillRow(position, seat, tuple(zip(codes, (letters[held] for held in samples), strict=True)))
        for position, seat, codes, samples in trials.key(tx, sitting_id)
    )
    return (*single, *sets)


def _key_holder(tx: Any, by: Staff, study: Study[Any]) -> None:
    """Keep that this member has seen the key. Raises NotAllowed if it is one of the people who taste."""
    if tastes(tx, by, study):
        raise NotAllowed(_("Not done: you taste in this study, so somebody else holds its key."))
    openings.note_view(tx, study.id, by.id)


def boxes(store: Store, by: Staff, study_id: str) -> dict[str, str]:
    """What every box holds, in words, by its letter, for the preparer alone."""
    require(by, "preparer")
    with store.write() as tx:
        study = study_or_refuse(tx, study_id)
        _key_holder(tx, by, study)
        return dict(registry.setting_out(study.kind).boxes(tx, study_id, study.plan))


def quantities(store: Store, by: Staff, study_id: str) -> tuple[Quantity, ...]:
    """Pieces and grams of every box for the sittings to come, one spare for every ten cups.

    When all are over, it is what they took: a fill sheet printed late still says what each box held.
    """
    require(by, "preparer")
    with store.write() as tx:
        study = study_or_refuse(tx, study_id)
        _key_holder(tx, by, study)
        cups = Counter(
            letter
            for sitting in _to_fill(tx, study_id)
            for row in filled(tx, study_id, sitting.id)
            for _code, letter in row.cups
        )
        aside = Counter(letter for each in _to_fill(tx, study_id) for letter in _spares(tx, each).values())
        holds = registry.setting_out(study.kind).boxes(tx, study_id, study.plan)
    return tuple(
        Quantity(letter, holds[letter], *_with_spares(count, aside[letter], study.plan.piece_g))
        for letter, count in sorted(cups.items())
    )


def _to_fill(tx: Any, study_id: str) -> tuple[Sitting, ...]:
    """The sittings to come or, when all are over, every one of them."""
    kept = sitting_store.of_study(tx, study_id)
    return tuple(one for one in kept if one.state != "closed") or kept


def _with_spares(cups: int, dealt: int, piece_g: float) -> tuple[int, float]:
    """Pieces with the spares that have codes, at least one for every ten cups, and their grams."""
    whole = cups + max(dealt, spares.number(cups))
    return whole, round(whole * piece_g, 1)


# ---- a tray leaves ---------------------------------------------------------------------------------------------------
def checks(study: Study[Any]) -> tuple[Check, ...]:
    """What is confirmed before a tray leaves: what every kind asks, then what this kind asks beside."""
    return (*_usual_checks(), *registry.rule(study.kind).checks(study.plan))


def _usual_checks() -> tuple[Check, ...]:
    return (
        Check(
            "safe_food",
            _("Cleared as food by the person responsible; a tasting cannot show that an allergen is absent"),
            _("cleared as food by the person responsible"),
            _("Not released: nobody has cleared the pieces as food. A tasting cannot show that an allergen is absent."),
        ),
        Check(
            "allergens_shown",
            _("The allergen list has been shown to everybody who tastes"),
            _("allergen list shown to assessors"),
            _("Not released: the allergen list is not confirmed."),
        ),
        Check(
            "sound_pieces",
            _("No bloom, no broken piece, lids on"),
            _("no bloom, no broken piece, lids on"),
            _("Not released: look for bloom and broken pieces first, and put the lids on."),
        ),
        Check(
            "labels_read",
            _("Labels read against the tray sheet by a second person"),
            _("labels read against this sheet by a second person"),
            _("Not released: a second person reads the labels against the sheet first."),
        ),
    )


def release_tray(
    store: Store, by: Staff, sitting_id: str, position: int, ticked: frozenset[str], second_person: str
) -> None:
    """Let one tray leave the kitchen, after those before it; a repeat changes nothing. `ticked` are codes of `checks`.

    Raises:
        BadInput: a check is open, the second person is missing, or there is no such tray.
        NotAllowed: the sitting is over, or a tray before is still in the kitchen.
    """
    require(by, "preparer")
    with store.write() as tx:
        let_go(tx, by, sitting_or_refuse(tx, sitting_id), position, ticked, second_person)


def let_go(tx: Any, by: Staff, sitting: Sitting, position: int, ticked: frozenset[str], second_person: str) -> None:
    """One tray leaves, within a transaction."""
    for check in checks(study_or_refuse(tx, sitting.study)):
        if check.code not in ticked:
            raise BadInput(check.refusal)
    second_person = second_reader(by, second_person)
    if _may_leave(tx, sitting, position):
        sitting_store.release(tx, sitting, position, by.id, second_person, sorted(ticked))


def second_reader(by: Staff, name: str) -> str:
    """The name of who read the labels beside the preparer. Raises BadInput without one, or for one's own."""
    name = names.clean(name)
    if not name:
        raise BadInput(_("Not released: a second person reads the labels against the sheet. Write who that was."))
    if names.alike(name) == names.alike(by.name):
        raise BadInput(_("Not released: {name} is you; somebody else reads the labels.").format(name=name))
    return name


def _may_leave(tx: Any, sitting: Sitting, position: int) -> bool:
    """Whether a tray leaves now; False when it is out already."""
    if sitting.state == "closed":
        raise NotAllowed(_("Not released: this sitting is closed."))
    positions = [tray.position for tray in trays_of(tx, sitting.id)]
    if position not in positions:
        raise BadInput(_("Not released: there is no tray {n} in this sitting.").format(n=position))
    out = sitting_store.released(tx, sitting.id)
    if position in out:
        return False
    waiting = [before for before in positions if before < position and before not in out]
    if waiting:
        raise NotAllowed(_still_in(waiting[0]))
    return True


def _still_in(position: int) -> str:
    if position == 0:
        return _("Not released: the warm-up tray is still in the kitchen; it leaves first.")
    return _("Not released: tray {n} is still in the kitchen; it leaves first.").format(n=position)
