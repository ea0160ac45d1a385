"""Who may do what: the checks every service begins with, and the secrets they rest on."""

from __future__ import annotations

import hashlib
import secrets
from typing import Any

from studyapp import registry
from studyapp.errors import NotAllowed, NotFound, StoreProblem
from studyapp.records import Role, Sitting, Staff, Study
from studyapp.store import CODE_SALT, Store, openings, people, sittings, studies
from studyapp.words import _


def new_id() -> str:
    """A random id that tells nothing."""
    return secrets.token_hex(8)


def new_token() -> str:
    """A bearer token of 192 bits."""
    return secrets.token_urlsafe(24)


LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"  # none that looks like another


def new_code(length: int) -> str:
    """A code that a person types."""
    return "".join(secrets.choice(LETTERS) for _letter in range(length))


def code_hash(store: Store, code: str) -> str:
    """What the store keeps of a code. Codes are short (eight letters are 39.6 bits), so their hash is slow and salted
    by the store."""
    with store.read() as tx:
        salt = people.meta(tx, CODE_SALT)
    return hashlib.scrypt(code.upper().encode(), salt=bytes.fromhex(salt or ""), n=2**12, r=8, p=1, dklen=32).hex()


def token_hash(token: str) -> str:
    """What the store keeps of a token: enough entropy for a plain hash."""
    return hashlib.sha256(token.encode()).hexdigest()


def require(by: Staff | None, *roles: Role) -> Staff:
    """The member, if the role fits.

    Raises:
        NotAllowed: nobody is signed in, or the role is another.
    """
    if by is None:
        raise NotAllowed(_("Not done: sign in first."))
    if by.first:
        raise NotAllowed(_("Not done: choose a passphrase of your own first, under Account."))
    if by.role not in roles:
        raise NotAllowed(_("Not done: this page belongs to another role. Sign in with the account that has it."))
    return by


def study_or_refuse(tx: Any, study_id: str, kind: str | None = None) -> Study[Any]:
    """The study, or NotFound; NotAllowed for one of another kind than `kind`, where one is named; StoreProblem where it
    stands as opened and the chain tells of no opening."""
    kept = studies.get(tx, study_id)
    if kept is None:
        raise NotFound(_("Not done: this study is not kept here. Open it from the list of studies."))
    if kind is not None and kept.kind != kind:
        raise NotAllowed(_("Not done: this is a study of another kind. Open it from the list of studies."))
    if kept.state not in ("draft", "sealed") and openings.shut(tx, study_id):
        raise StoreProblem(
            _(
                "Careful: this study stands as opened, and the record tells that its key is closed: it was edited "
                "outside the app. Nothing of it is shown. Run `studyapp check`, then restore the last backup."
            )
        )
    return registry.study_of(kept)


def sitting_or_refuse(tx: Any, sitting_id: str) -> Sitting:
    """The sitting, or NotFound."""
    sitting = sittings.get(tx, sitting_id)
    if sitting is None:
        raise NotFound(_("Not done: this sitting is not kept here. Open it from the list of studies."))
    return sitting


def tastes(tx: Any, by: Staff, study: Study[Any]) -> bool:
    """Whether a member is one of the people who taste in a study."""
    persons = {one.person for one in people.assessors(tx) if one.id in study.plan.assessors}
    return bool(by.person and by.person in persons)
