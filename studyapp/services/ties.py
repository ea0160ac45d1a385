"""Which assessor an account is: so that nobody who has seen a key tastes, at whichever browser."""

from __future__ import annotations

from typing import Any

from studyapp.errors import NotAllowed, NotFound
from studyapp.records import Staff
from studyapp.services.access import require
from studyapp.store import Store, events, openings, people, sittings, studies
from studyapp.words import _


def tastes_as(store: Store, by: Staff, staff_id: str) -> str:
    """The id of the assessor that an account is; empty when they do not taste."""
    require(by, "leader")
    with store.read() as tx:
        member = _known(tx, staff_id)
        tied = (one.id for one in people.assessors(tx) if member.person and one.person == member.person)
        return next(tied, "")


def tie(store: Store, by: Staff, staff_id: str, assessor_id: str) -> None:
    """Say which assessor an account is, or with an empty id that they do not taste. Seats they must not hold end.

    Raises:
        NotFound: there is no such account or assessor.
        NotAllowed: the account has seen a key as the person it was said to be.
    """
    require(by, "leader")
    with store.write() as tx:
        member, person = _known(tx, staff_id), _person(tx, assessor_id)
        if person == member.person:
            return
        if member.person and openings.has_seen_any(tx, staff_id):
            raise NotAllowed(
                _("Not done: {name} has seen a key, so the assessor they are stays as it is.").format(name=member.name)
            )
        people.tie(tx, staff_id, person)
        events.append(tx, "tastes as", {"staff": staff_id, "person": events.tied(staff_id, person), "by": by.id})
        for sitting in sittings.everywhere(tx) if assessor_id else ():
            seated = assessor_id in {seat for _number, seat, _name in studies.seats(tx, sitting.study)}
            if seated and openings.knows_samples(tx, sitting.study, member):
                people.end_tokens_of_assessor(tx, assessor_id)


def _known(tx: Any, staff_id: str) -> Staff:
    member = people.member(tx, staff_id)
    if member is None:
        raise NotFound(_("Not done: there is no such account. Open the page Panel again."))
    return member


def _person(tx: Any, assessor_id: str) -> str | None:
    """The human behind an assessor."""
    if not assessor_id:
        return None
    assessor = people.assessor(tx, assessor_id)
    if assessor is None:
        raise NotFound(_("Not done: nobody is kept under that pseudonym. Open the page Panel again."))
    return assessor.person
