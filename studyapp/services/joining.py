"""How a phone becomes a seat: a personal code for one sitting, then a token."""

from __future__ import annotations

from typing import Any

from studyapp.errors import NotAllowed, NotFound
from studyapp.records import JoinLink, Seat, Staff
from studyapp.services.access import (
    code_hash,
    new_code,
    new_token,
    require,
    sitting_or_refuse,
    study_or_refuse,
    token_hash,
)
from studyapp.services.accounts import count_wrong, refuse_flood
from studyapp.services.devices import UNKNOWN, Device
from studyapp.settings import settings
from studyapp.store import Store, events, openings, people, people_checks, servings, sittings, studies, trials
from studyapp.words import _

LENGTH = 8


def issue_links(store: Store, by: Staff, sitting_id: str) -> tuple[JoinLink, ...]:
    """New personal codes for everybody who is served in a sitting; earlier codes and the seats they gave end. Readable
    only now."""
    require(by, "leader")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        served = servings.blind_by_assessor(tx, sitting_id).keys() | trials.blind_by_assessor(tx, sitting_id).keys()
        seats = [seat for seat in studies.seats(tx, sitting.study) if seat[1] in served]
    if sitting.state == "closed":
        raise NotAllowed(_("Not done: this sitting is closed."))
    made = [(assessor, JoinLink(pseudonym, new_code(LENGTH))) for _number, assessor, pseudonym in seats]
    hashed = [(code_hash(store, link.code), assessor) for assessor, link in made]
    with store.write() as tx:
        sittings.end_codes(tx, sitting_id)
        people.end_tokens_of_sitting(tx, sitting_id)
        for hash_, assessor in hashed:
            sittings.add_code(tx, hash_, sitting_id, assessor)
        events.append(tx, "links issued", {"sitting": sitting_id, "by": by.id}, sitting.study)
    return tuple(link for _assessor, link in made)


def join(store: Store, code: str, address: str, staff_token: str | None, device: Device = UNKNOWN) -> str:
    """The seat token for a code; the record keeps on which device it was opened.

    Raises:
        NotFound: the code is wrong or its sitting is over.
        NotAllowed: this person holds the key, or may not taste.
        TooManyTries: too many wrong codes in the last minute.
    """
    refuse_flood(store, "join", address)
    hash_ = code_hash(store, code.strip())
    with store.read() as tx:
        found = sittings.code(tx, hash_)
    if found is None:
        count_wrong(store, "join", address)
        raise NotFound(_("Not done: this link is used up or mistyped. Ask for a new one."))
    sitting_id, assessor_id = found
    token = new_token()
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        if sitting.state == "closed":
            raise NotFound(_("Not done: this tasting is over. Ask for the next link."))
        refusal = _refusal(tx, sitting.study, assessor_id, staff_token)
        where = {**device.told(sitting.study), **_signed_in(tx, staff_token)}
        if refusal is None:
            where["token"] = people_checks.mark(assessor_id, token_hash(token))
            people.add_token(tx, token_hash(token), assessor=assessor_id, sitting=sitting_id)
            sittings.keep_presence(tx, sitting_id, assessor_id)
        what = "joined" if refusal is None else "seat refused"
        events.append(tx, what, {"sitting": sitting_id, "assessor": assessor_id, **where}, sitting.study)
    if refusal is not None:
        raise NotAllowed(refusal)
    return token


def _signed_in(tx: Any, staff_token: str | None) -> dict[str, str]:
    """Which account the browser was signed in with when it opened the link."""
    member = people.staff_by_token(tx, token_hash(staff_token)) if staff_token else None
    return {"staff": member.id} if member else {}


def _refusal(tx: Any, study: str, assessor_id: str, staff_token: str | None) -> str | None:
    """Who has seen the key cannot taste: neither on this device nor as this person. None: may sit down."""
    assessor = people.assessor(tx, assessor_id)
    if assessor is None or not assessor.may_taste:
        return _("Nothing for you today. Speak to the panel leader if that surprises you.")
    member = people.staff_by_token(tx, token_hash(staff_token)) if staff_token else None
    device = member is not None and openings.knows_samples(tx, study, member)
    if device or any(openings.knows_samples(tx, study, own) for own in people.staff_of_person(tx, assessor.person)):
        return _("Not done: you hold the key of this study, so you cannot taste in it.")
    return None


def demo_seat(store: Store, kind: str) -> str:
    """A seat token in the invented workshop: the first assessor of an open sitting who is not through yet.

    `kind` is the kind of study whose sitting is wanted.

    Raises:
        NotAllowed: this is no invented workshop.
        NotFound: no sitting is open.
    """
    if not settings().demo:
        raise NotAllowed(_("Not done: only the invented workshop can be entered without a link."))
    token = new_token()
    with store.write() as tx:
        opened = [sitting for sitting in sittings.everywhere(tx) if sitting.state == "open"]
        opened = [sitting for sitting in opened if study_or_refuse(tx, sitting.study).kind == kind]
        if not opened:
            raise NotFound(_("Not done: no sitting is open. Open one as panel leader first."))
        sitting = opened[-1]
        seats = [assessor for _number, assessor, _name in studies.seats(tx, sitting.study)]
        free = next((each for each in seats if not _through(tx, sitting.id, each)), seats[0])
        people.add_token(tx, token_hash(token), assessor=free, sitting=sitting.id)
        sittings.keep_presence(tx, sitting.id, free)
        mark = people_checks.mark(free, token_hash(token))
        events.append(tx, "joined", {"sitting": sitting.id, "assessor": free, "token": mark}, sitting.study)
    return token


def _through(tx: Any, sitting: str, assessor: str) -> bool:
    present = sittings.presence(tx, sitting, assessor)
    gone = present is not None and bool(present.left_at or present.declined_at)
    cups, sets = servings.blind(tx, sitting, assessor), trials.blind(tx, sitting, assessor)
    return gone or (all(cup.finished_at for cup in cups) and all(each.finished_at for each in sets))


def seat_of(store: Store, seat_token: str | None) -> Seat | None:
    """Who this phone is, None when its token is worthless."""
    if not seat_token:
        return None
    with store.read() as tx:
        found = people.seat_of_token(tx, token_hash(seat_token))
    return Seat(*found) if found else None
