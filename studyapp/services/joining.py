"""How a phone becomes a seat: a personal code for one sitting, then a token; one seat is one phone at a time."""

from __future__ import annotations

from typing import Any
from weakref import WeakKeyDictionary

from studyapp.errors import NotAllowed, NotFound
from studyapp.records import JoinLink, PlaceKind, Seat, Staff
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
from studyapp.services.seating import lost_seat
from studyapp.settings import settings
from studyapp.store import Store, events, openings, people, people_checks, servings, sittings, studies, trials
from studyapp.words import _

LENGTH = 8
# The codes of the sittings that are on now, by store, sitting and assessor. The store keeps hashes alone; while the
# server runs, a leader can show and print a code again without throwing anybody out.
_readable: WeakKeyDictionary[Store, dict[str, dict[str, JoinLink]]] = WeakKeyDictionary()


def issue_links(store: Store, by: Staff, sitting_id: str) -> tuple[JoinLink, ...]:
    """New personal codes for everybody who is served in a sitting; earlier codes and the seats they gave end."""
    made = _made(store, by, sitting_id, None)
    hashed = {code_hash(store, link.code): assessor for assessor, link in made.items()}
    with store.write() as tx:
        sittings.end_codes(tx, sitting_id)
        people.end_tokens_of_sitting(tx, sitting_id)
        _keep(tx, by, sitting_id, hashed)
    _readable.setdefault(store, {})[sitting_id] = made
    return tuple(made.values())


def issue_link(store: Store, by: Staff, sitting_id: str, pseudonym: str) -> JoinLink:
    """A new code for one person, whose earlier code ends; nobody else is touched. The phone that holds the seat keeps
    it until another one joins with the new code.

    Raises:
        NotFound: nobody of that name is in the sitting.
    """
    made = _made(store, by, sitting_id, pseudonym)
    if not made:
        raise NotFound(_("Not done: {name} is not in this sitting.").format(name=pseudonym))
    ((assessor, link),) = made.items()
    hashed = {code_hash(store, link.code): assessor}
    with store.write() as tx:
        sittings.end_codes(tx, sitting_id, assessor)
        _keep(tx, by, sitting_id, hashed, assessor=assessor)
    _readable.setdefault(store, {}).setdefault(sitting_id, {})[assessor] = link
    return link


def _made(store: Store, by: Staff, sitting_id: str, only: str | None) -> dict[str, JoinLink]:
    """Fresh codes by assessor, for all seats or for one."""
    require(by, "leader")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        served = servings.blind_by_assessor(tx, sitting_id).keys() | trials.blind_by_assessor(tx, sitting_id).keys()
        seats = [seat for seat in studies.seats(tx, sitting.study) if seat[1] in served]
    if sitting.state == "closed":
        raise NotAllowed(_("Not done: this sitting is closed."))
    return {assessor: JoinLink(name, new_code(LENGTH)) for _number, assessor, name in seats if only in (None, name)}


def _keep(tx: Any, by: Staff, sitting_id: str, hashed: dict[str, str], **one: str) -> None:
    """Hash and assessor of each new code; `one` names the assessor where it is for one person alone."""
    for hash_, assessor in hashed.items():
        sittings.add_code(tx, hash_, sitting_id, assessor)
    study = sitting_or_refuse(tx, sitting_id).study
    marks = {people_checks.mark(assessor, hash_): assessor for hash_, assessor in hashed.items()}
    told = {"sitting": sitting_id, "by": by.id, "codes": marks}
    events.append(tx, "link issued" if one else "links issued", {**told, **one}, study)


def readable_links(store: Store, by: Staff, sitting_id: str) -> tuple[JoinLink, ...]:
    """The codes that this server has made for a sitting and that still hold, by name."""
    require(by, "leader")
    with store.read() as tx:
        if not sittings.has_codes(tx, sitting_id):
            return ()
    return tuple(sorted(_readable.get(store, {}).get(sitting_id, {}).values(), key=lambda link: link.pseudonym))


def names(store: Store, by: Staff, sitting_id: str) -> tuple[str, ...]:
    """Who has a seat in a sitting, by name."""
    require(by, "leader")
    with store.read() as tx:
        seats = studies.seats(tx, sitting_or_refuse(tx, sitting_id).study)
    return tuple(sorted(name for _number, _assessor, name in seats))


def thrown_out(store: Store, by: Staff, sitting_id: str) -> tuple[str, ...] | None:
    """Whom a new set of links would put out of their seats, by name; None before the first set."""
    require(by, "leader")
    with store.read() as tx:
        held = people.held_seats(tx, sitting_id)
        if not held and not sittings.has_codes(tx, sitting_id):
            return None
        seats = studies.seats(tx, sitting_or_refuse(tx, sitting_id).study)
    return tuple(sorted(name for _number, assessor, name in seats if assessor in held))


def join(
    store: Store,
    code: str,
    address: str,
    staff_token: str | None,
    device: Device = UNKNOWN,
    seat_token: str | None = None,
) -> str:
    """The seat token for a code; the record keeps on which device it was opened. `seat_token` is what this browser
    holds: the link opened once more on the same phone changes nothing, on another one it takes the seat over.

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
    held = seat_of(store, seat_token)
    if held is not None and (held.sitting, held.assessor) == found and seat_token is not None:
        return seat_token
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        if sitting.state == "closed":
            raise NotFound(_("Not done: this tasting is over. Ask for the next link."))
        refusal = _refusal(tx, sitting.study, assessor_id, staff_token)
        where = {**device.told(sitting.study), **_signed_in(tx, staff_token)}
        if refusal is None:
            where["token"] = people_checks.mark(assessor_id, token_hash(token))
            if people.end_tokens_of_seat(tx, assessor_id, sitting_id):
                where["instead"] = "of another phone"
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
        invented = [one for one in opened if study_or_refuse(tx, one.study).example]
        sitting = (invented or opened)[-1]
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


def seat_gone(store: Store, seat_token: str | None) -> tuple[Seat, PlaceKind] | None:
    """Whose phone this was, when its sitting goes on without it: on another phone, or after a new link."""
    with store.read() as tx:
        return lost_seat(tx, seat_token)


def seat_of(store: Store, seat_token: str | None) -> Seat | None:
    """Who this phone is, None when its token is worthless."""
    if not seat_token:
        return None
    with store.read() as tx:
        found = people.seat_of_token(tx, token_hash(seat_token))
    return Seat(*found) if found else None
