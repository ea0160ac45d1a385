"""The people who taste: pseudonyms for the record, names apart and erasable."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from studyapp.errors import BadInput, NotFound
from studyapp.records import Assessor, Staff
from studyapp.services import names
from studyapp.services.access import new_id, require
from studyapp.store import Store, events, people
from studyapp.words import _


def assessors(store: Store, by: Staff) -> tuple[Assessor, ...]:
    """Every pseudonym, alphabetically."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return people.assessors(tx)


def add_assessor(store: Store, by: Staff, pseudonym: str, real_name: str = "", contact: str = "") -> Assessor:
    """Add somebody under a pseudonym; name and contact are kept apart."""
    require(by, "leader")
    pseudonym, real_name = names.clean(pseudonym), names.clean(real_name)
    if not pseudonym or len(pseudonym) > 40:
        raise BadInput(_("Fix the pseudonym: write one of 1 to 40 letters, for example the name of a bird."))
    with store.write() as tx:
        if any(names.alike(known.pseudonym) == names.alike(pseudonym) for known in people.assessors(tx)):
            raise BadInput(_("Fix the pseudonym: {name} is taken.").format(name=pseudonym))
        person = new_id()
        people.add_person(tx, person, real_name, contact.strip())
        assessor = Assessor(new_id(), pseudonym, True, person)
        at = people.add_assessor(tx, assessor)
        named = events.salted(assessor.id, pseudonym)  # the record holds no names, pseudonyms neither
        body = {"assessor": assessor.id, "pseudonym": named, "person": events.tied(assessor.id, person)}
        events.append(tx, "assessor added", {**body, "by": by.id, "at": at})
    return assessor


def set_may_taste(store: Store, by: Staff, assessor_id: str, may: bool) -> None:
    """Keep whether somebody may taste; the reason is nobody's business here."""
    require(by, "leader")
    with store.write() as tx:
        _known(people.assessor(tx, assessor_id))
        people.set_may_taste(tx, assessor_id, may)
        if not may:
            people.end_tokens_of_assessor(tx, assessor_id)
        events.append(tx, "may taste", {"assessor": assessor_id, "may": may, "by": by.id})


def erase_person(store: Store, by: Staff, assessor_id: str) -> None:
    """Remove name, contact and free texts; pseudonym and scores stay, so that the decision holds."""
    require(by, "leader")
    with store.write() as tx:
        _known(people.assessor(tx, assessor_id))
        forget(tx, assessor_id)
        events.append(tx, "person erased", {"assessor": assessor_id, "by": by.id})


def forget(tx: Any, assessor_id: str) -> None:
    """Erase within a transaction; somebody who is not kept here needs nothing."""
    assessor = people.assessor(tx, assessor_id)
    if assessor is None:
        return
    if assessor.person:
        people.erase_person(tx, assessor.person)
    people.erase_notes(tx, assessor_id)
    people.set_may_taste(tx, assessor_id, False)
    people.end_tokens_of_assessor(tx, assessor_id)


def erase_again(tx: Any, ids: Sequence[str]) -> None:
    """Within a transaction, erase once more whom a restored backup still knows by name."""
    for id_ in ids:
        if id_ not in people.erased_assessors(tx) and people.assessor(tx, id_) is not None:
            forget(tx, id_)
            events.append(tx, "person erased", {"assessor": id_})


def _known(assessor: Assessor | None) -> Assessor:
    if assessor is None:
        raise NotFound(_("Not done: nobody is kept under that pseudonym."))
    return assessor
