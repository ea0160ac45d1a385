"""Staff: first leader, sign-in, roles."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import time
from datetime import UTC, datetime, timedelta

from studyapp.errors import BadInput, NotAllowed, TooManyTries
from studyapp.records import Role, Staff
from studyapp.services.access import new_id, new_token, require, token_hash
from studyapp.services.standing import stamp
from studyapp.settings import settings
from studyapp.store import Store, events, people
from studyapp.words import _

SHORTEST = 10
MINE, ALL = 5, 50
STAYS = timedelta(days=14)  # then somebody who forgot to sign out is signed out


def _secret(passphrase: str, salt: str) -> str:
    """Scrypt of a passphrase, with its salt in front."""
    raw = hashlib.scrypt(passphrase.encode(), salt=bytes.fromhex(salt), n=2**14, r=8, p=1)
    return f"{salt}${raw.hex()}"


def _checked(name: str, passphrase: str) -> str:
    name = name.strip()
    if not name or len(name) > 60:
        raise BadInput(_("Fix the name: write one of 1 to 60 letters."))
    if len(passphrase) < SHORTEST:
        raise BadInput(
            _("Fix the passphrase: take at least {n} letters; a short sentence is easy to keep in mind.").format(
                n=SHORTEST
            )
        )
    return name


def needs_first_leader(store: Store) -> bool:
    """True while nobody runs studies here."""
    with store.read() as tx:
        return people.staff_count(tx) == 0


def first_leader(store: Store, name: str, passphrase: str) -> Staff:
    """Make the first panel leader of an empty store."""
    name = _checked(name, passphrase)
    member = Staff(new_id(), name, "leader")
    with store.write() as tx:
        if people.staff_count(tx):
            raise NotAllowed(_("Not done: this store has a panel leader already. Sign in."))
        people.add_staff(tx, member, _secret(passphrase, secrets.token_hex(16)))
        events.append(tx, "staff added", {"staff": member.id, "role": member.role})
    return member


def add_staff(store: Store, by: Staff, name: str, role: Role, passphrase: str, person: str | None = None) -> Staff:
    """Add a panel leader or a preparer; `person` ties the account to somebody who also tastes."""
    require(by, "leader")
    name = _checked(name, passphrase)
    if role not in ("leader", "preparer"):
        raise BadInput(_("Fix the role: take leader or preparer."))
    member = Staff(new_id(), name, role, person)
    with store.write() as tx:
        if people.staff_by_name(tx, name):
            raise BadInput(_("Fix the name: somebody here is called {name} already.").format(name=name))
        people.add_staff(tx, member, _secret(passphrase, secrets.token_hex(16)))
        events.append(tx, "staff added", {"staff": member.id, "role": role, "by": by.id})
    return member


def staff_list(store: Store, by: Staff) -> tuple[Staff, ...]:
    """Everybody who runs studies."""
    require(by, "leader")
    with store.read() as tx:
        return people.all_staff(tx)


def refuse_flood(store: Store, kind: str, address: str) -> None:
    """Slow down guessing: five wrong tries a minute an address, fifty in all."""
    with store.read() as tx:
        mine, everybody = people.tries(tx, kind, address, time.time() - 60)
    if mine >= MINE or everybody >= ALL:
        raise TooManyTries(_("Not done: too many wrong tries. Wait a minute, then try again."))


def count_wrong(store: Store, kind: str, address: str) -> None:
    """Count one wrong try."""
    with store.write() as tx:
        people.note_try(tx, kind, address, time.time())
        events.append(tx, "refused", {"what": kind})


def sign_in(store: Store, name: str, passphrase: str, address: str) -> str:
    """A new token for the member with this name and passphrase."""
    refuse_flood(store, "sign-in", address)
    with store.read() as tx:
        found = people.staff_by_name(tx, name.strip())
    kept = found[1] if found else f"{'00' * 16}$"
    right = hmac.compare_digest(kept, _secret(passphrase, kept.split("$")[0]))
    if found is None or not right:
        count_wrong(store, "sign-in", address)
        raise NotAllowed(_("Not done: name and passphrase do not belong together."))
    return _token(store, found[0])


def _token(store: Store, member: Staff) -> str:
    token = new_token()
    with store.write() as tx:
        people.add_token(tx, token_hash(token), staff=member.id)
        events.append(tx, "signed in", {"staff": member.id})
    return token


def enter_demo(store: Store, role: Role) -> str:
    """A token for the invented workshop; refused anywhere else."""
    if not settings().demo:
        raise NotAllowed(_("Not done: only the invented workshop can be entered without a passphrase."))
    with store.read() as tx:
        member = people.staff_by_role(tx, role)
    if member is None:
        raise BadInput(_("Fix the role: take leader or preparer."))
    return _token(store, member)


def staff_of(store: Store, token: str | None) -> Staff | None:
    """Who this token belongs to, None when it is worthless."""
    if not token:
        return None
    with store.read() as tx:
        return people.staff_by_token(tx, token_hash(token), stamp(datetime.now(UTC) - STAYS))


def sign_out(store: Store, token: str | None) -> None:
    """End a token."""
    if token:
        with store.write() as tx:
            people.end_token(tx, token_hash(token))
            events.append(tx, "signed out", {})
