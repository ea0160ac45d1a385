"""Staff, assessors, the people behind them, tokens and counted tries."""

from __future__ import annotations

import json
from dataclasses import replace

from sqlalchemy import Connection, bindparam, delete, func, insert, select, update

from studyapp.records import Account, Assessor, Staff
from studyapp.store import schema
from studyapp.store.events import now


def meta(tx: Connection, key: str) -> str | None:
    """A value kept for the store itself, such as its salt."""
    return tx.execute(select(schema.meta.c.value).where(schema.meta.c.key == key)).scalar()


def keep_meta(tx: Connection, key: str, value: str) -> None:
    """Keep a value for the store itself, once."""
    tx.execute(insert(schema.meta).values(key=key, value=value))


def forget_meta(tx: Connection, key: str) -> None:
    """Forget such a value."""
    tx.execute(delete(schema.meta).where(schema.meta.c.key == key))


# ---- staff ---------------------------------------------------------------------------------------------------------
def _staff(row: object) -> Staff:
    return Staff(row.id, row.name, row.role, row.person_id)  # type: ignore[attr-defined]


def add_staff(tx: Connection, member: Staff, secret: str) -> str:
    """Add somebody who runs studies, and return when."""
    at = now()
    tx.execute(
        insert(schema.staff).values(
            id=member.id, name=member.name, role=member.role, secret=secret, person_id=member.person, created_at=at
        )
    )
    return at


def staff_count(tx: Connection) -> int:
    """How many run studies here; members who came with an imported study do not."""
    query = select(func.count()).select_from(schema.staff).where(schema.staff.c.ended_at.is_(None))
    return int(tx.execute(query).scalar_one())


def accounts(tx: Connection, since: str, id_: str | None = None) -> tuple[Account, ...]:
    """Every account of this store by name, or the one of a member, with the sign-ins that still hold and were made at
    `since` or later. Members who came with an imported study have no passphrase, so no account."""
    held = (
        (schema.token.c.staff_id == schema.staff.c.id)
        & schema.token.c.ended_at.is_(None)
        & (schema.token.c.created_at >= since)
    )
    query = (
        select(schema.staff, func.count(schema.token.c.hash).label("browsers"), func.max(schema.token.c.created_at))
        .outerjoin(schema.token, held)
        .where(schema.staff.c.secret != "")
        .group_by(schema.staff.c.id)
        .order_by(schema.staff.c.name)
    )
    if id_ is not None:
        query = query.where(schema.staff.c.id == id_)
    return tuple(Account(_staff(row), row.browsers, row[-1], row.ended_at) for row in tx.execute(query))


def everybody(tx: Connection) -> tuple[Staff, ...]:
    """Every member, those that ended or came with an imported study too."""
    return tuple(_staff(row) for row in tx.execute(select(schema.staff)))


def member(tx: Connection, id_: str) -> Staff | None:
    """One member, ended or not."""
    row = tx.execute(select(schema.staff).where(schema.staff.c.id == id_)).first()
    return _staff(row) if row else None


def leaders(tx: Connection) -> tuple[Staff, ...]:
    """Everybody who leads and can sign in."""
    c = schema.staff.c
    query = select(schema.staff).where(c.role == "leader", c.secret != "", c.ended_at.is_(None)).order_by(c.name)
    return tuple(_staff(row) for row in tx.execute(query))


def staff_by_name(tx: Connection, name: str) -> Staff | None:
    """The member with this name, ended or not."""
    row = tx.execute(select(schema.staff).where(schema.staff.c.name == name)).first()
    return _staff(row) if row else None


def secret(tx: Connection, id_: str) -> str | None:
    """The hash of a member's passphrase, None when nobody signs in with it (any more)."""
    query = select(schema.staff.c.secret).where(schema.staff.c.id == id_, schema.staff.c.ended_at.is_(None))
    return tx.execute(query).scalar() or None


def set_secret(tx: Connection, id_: str, secret: str) -> None:
    """Another passphrase; an account that had ended lives again, and every sign-in with the old one ends."""
    tx.execute(update(schema.staff).where(schema.staff.c.id == id_).values(secret=secret, ended_at=None))
    _end_tokens_of_staff(tx, id_)


def renew_secret(tx: Connection, id_: str, secret: str) -> None:
    """Another hash of the same passphrase; nobody is signed out."""
    tx.execute(update(schema.staff).where(schema.staff.c.id == id_).values(secret=secret))


def end_staff(tx: Connection, id_: str) -> str:
    """End an account and every sign-in, and return when; the row stays, because the record names it."""
    at = now()
    tx.execute(
        update(schema.staff).where(schema.staff.c.id == id_, schema.staff.c.ended_at.is_(None)).values(ended_at=at)
    )
    _end_tokens_of_staff(tx, id_)
    return at


def ended_staff(tx: Connection) -> tuple[str, ...]:
    """Members whose account ended."""
    query = select(schema.staff.c.id).where(schema.staff.c.ended_at.is_not(None)).order_by(schema.staff.c.id)
    return tuple(row.id for row in tx.execute(query))


def tie(tx: Connection, id_: str, person: str | None) -> None:
    """Keep which human an account is."""
    tx.execute(update(schema.staff).where(schema.staff.c.id == id_).values(person_id=person))


def staff_by_role(tx: Connection, role: str) -> Staff | None:
    """The first member with that role."""
    query = (
        select(schema.staff)
        .where(schema.staff.c.role == role, schema.staff.c.ended_at.is_(None))
        .order_by(schema.staff.c.created_at)
    )
    row = tx.execute(query).first()
    return _staff(row) if row else None


def staff_of_person(tx: Connection, person: str | None) -> tuple[Staff, ...]:
    """The accounts of one human, usually none."""
    if person is None:
        return ()
    return tuple(_staff(row) for row in tx.execute(select(schema.staff).where(schema.staff.c.person_id == person)))


def staff_by_token(tx: Connection, hash_: str, since: str = "") -> Staff | None:
    """Who this live token belongs to, if it was made at `since` or later."""
    query = (
        select(schema.staff)
        .join(schema.token, schema.token.c.staff_id == schema.staff.c.id)
        .where(schema.token.c.hash == hash_, schema.token.c.kind == "staff", schema.token.c.ended_at.is_(None))
        .where(schema.token.c.created_at >= since, schema.staff.c.ended_at.is_(None))
    )
    row = tx.execute(query).first()
    return replace(_staff(row), first=_has_first_passphrase(tx, row.id)) if row else None


# Events that tell where a passphrase came from: somebody else gave it, or the member chose it.
_GIVEN = ("staff added", "passphrase given", "account brought back")


def _has_first_passphrase(tx: Connection, id_: str) -> bool:
    """Whether the last passphrase of a member is one that another account gave; read from the chain alone."""
    c = schema.event.c
    query = select(c.kind, c.body).where(c.kind.in_((*_GIVEN, "passphrase changed")), c.body.contains(f'"{id_}"'))
    told = [(row.kind, json.loads(row.body)) for row in tx.execute(query.order_by(c.seq))]
    mine = [(kind, body) for kind, body in told if body["staff"] == id_]
    return bool(mine) and mine[-1][0] in _GIVEN and "by" in mine[-1][1]


# ---- assessors -----------------------------------------------------------------------------------------------------
def _assessor(row: object) -> Assessor:
    return Assessor(row.id, row.pseudonym, bool(row.may_taste), row.person_id)  # type: ignore[attr-defined]


def add_person(tx: Connection, id_: str, name: str, contact: str) -> None:
    """Keep a name and a contact apart from every score."""
    tx.execute(insert(schema.person).values(id=id_, name=name, contact=contact, created_at=now()))


def add_assessor(tx: Connection, assessor: Assessor) -> str:
    """Add a pseudonym, and return when."""
    at = now()
    tx.execute(
        insert(schema.assessor).values(
            id=assessor.id,
            pseudonym=assessor.pseudonym,
            may_taste=assessor.may_taste,
            person_id=assessor.person,
            created_at=at,
        )
    )
    return at


def assessors(tx: Connection) -> tuple[Assessor, ...]:
    """Every pseudonym in alphabetical order."""
    return tuple(_assessor(row) for row in tx.execute(select(schema.assessor).order_by(schema.assessor.c.pseudonym)))


def assessor(tx: Connection, id_: str) -> Assessor | None:
    """One pseudonym."""
    row = tx.execute(select(schema.assessor).where(schema.assessor.c.id == id_)).first()
    return _assessor(row) if row else None


def set_may_taste(tx: Connection, id_: str, may: bool) -> None:
    """Keep whether somebody may taste; never why."""
    tx.execute(update(schema.assessor).where(schema.assessor.c.id == id_).values(may_taste=may))


def erased_assessors(tx: Connection) -> tuple[str, ...]:
    """Assessors whose name was erased."""
    query = (
        select(schema.assessor.c.id)
        .join(schema.person, schema.person.c.id == schema.assessor.c.person_id)
        .where(schema.person.c.erased_at.is_not(None))
        .order_by(schema.assessor.c.id)
    )
    return tuple(row.id for row in tx.execute(query))


def erase_person(tx: Connection, id_: str) -> None:
    """Remove name and contact; the pseudonym and its scores stay."""
    tx.execute(update(schema.person).where(schema.person.c.id == id_).values(name=None, contact=None, erased_at=now()))


def erase_notes(tx: Connection, assessor_id: str) -> None:
    """Remove every free text of an assessor with its salt; the chain keeps a hash nobody can open."""
    tx.execute(
        update(schema.note)
        .where(schema.note.c.assessor_id == assessor_id, schema.note.c.erased_at.is_(None))
        .values(text=None, salt=None, erased_at=now())
    )


# ---- tokens and tries ----------------------------------------------------------------------------------------------
def add_token(
    tx: Connection, hash_: str, *, staff: str | None = None, assessor: str | None = None, sitting: str | None = None
) -> None:
    """Keep the hash of a new token."""
    kind = "staff" if staff else "seat"
    tx.execute(
        insert(schema.token).values(
            hash=hash_, kind=kind, staff_id=staff, assessor_id=assessor, sitting_id=sitting, created_at=now()
        )
    )


def end_token(tx: Connection, hash_: str) -> None:
    """Make a token worthless."""
    tx.execute(
        update(schema.token)
        .where(schema.token.c.hash == hash_, schema.token.c.ended_at.is_(None))
        .values(ended_at=now())
    )


def had_token(tx: Connection, staff: str, hash_: str, since: str) -> bool:
    """Whether this member was given that token at `since` or later, ended or not."""
    c = schema.token.c
    query = select(c.hash).where(c.hash == hash_, c.staff_id == staff, c.created_at >= since)
    return tx.execute(query).first() is not None


def _end_tokens_of_staff(tx: Connection, staff: str) -> None:
    tx.execute(
        update(schema.token)
        .where(schema.token.c.staff_id == staff, schema.token.c.ended_at.is_(None))
        .values(ended_at=now())
    )


def end_tokens_of_assessor(tx: Connection, assessor: str) -> None:
    """Make every seat token of an assessor worthless."""
    tx.execute(
        update(schema.token)
        .where(schema.token.c.assessor_id == assessor, schema.token.c.ended_at.is_(None))
        .values(ended_at=now())
    )


def end_tokens_of_seat(tx: Connection, assessor: str, sitting: str) -> int:
    """Make the tokens of one seat worthless; how many phones that were."""
    c = schema.token.c
    mine = (c.sitting_id == sitting, c.assessor_id == assessor, c.ended_at.is_(None))
    return int(tx.execute(update(schema.token).where(*mine).values(ended_at=now())).rowcount)


def held_seats(tx: Connection, sitting: str) -> frozenset[str]:
    """The assessors of a sitting whose phone holds a live token."""
    c = schema.token.c
    query = select(c.assessor_id).where(c.sitting_id == sitting, c.kind == "seat", c.ended_at.is_(None))
    return frozenset(tx.execute(query).scalars())


def ended_seat(tx: Connection, hash_: str) -> tuple[str, str, str] | None:
    """(assessor id, pseudonym, sitting id) of a seat token that ended."""
    t, a = schema.token.c, schema.assessor.c
    query = (
        select(t.assessor_id, a.pseudonym, t.sitting_id)
        .join(schema.assessor, a.id == t.assessor_id)
        .where(t.hash == hash_, t.kind == "seat", t.ended_at.is_not(None))
    )
    row = tx.execute(query).first()
    return (row.assessor_id, row.pseudonym, row.sitting_id) if row else None


def end_tokens_of_sitting(tx: Connection, sitting: str) -> None:
    """Make every seat token of a sitting worthless."""
    tx.execute(
        update(schema.token)
        .where(schema.token.c.sitting_id == sitting, schema.token.c.ended_at.is_(None))
        .values(ended_at=now())
    )


# Built once: every mark asks for it.
_SEAT_OF_TOKEN = (
    select(schema.token.c.assessor_id, schema.assessor.c.pseudonym, schema.token.c.sitting_id)
    .join(schema.assessor, schema.assessor.c.id == schema.token.c.assessor_id)
    .where(schema.token.c.hash == bindparam("hash"), schema.token.c.kind == "seat", schema.token.c.ended_at.is_(None))
)


def seat_of_token(tx: Connection, hash_: str) -> tuple[str, str, str] | None:
    """(assessor id, pseudonym, sitting id) of a live seat token."""
    row = tx.execute(_SEAT_OF_TOKEN, {"hash": hash_}).first()
    return (row.assessor_id, row.pseudonym, row.sitting_id) if row else None


def note_try(tx: Connection, kind: str, address: str, at: float) -> None:
    """Count a try and forget those older than a minute, and those that a clock set back has put further ahead than
    other processes may be."""
    tx.execute(delete(schema.attempt).where((schema.attempt.c.at < at - 60) | (schema.attempt.c.at > at + 60)))
    tx.execute(insert(schema.attempt).values(kind=kind, address=address, at=at))


def forget_try(tx: Connection, kind: str, address: str, at: float) -> None:
    """Take back a try that was right."""
    c = schema.attempt.c
    tx.execute(delete(schema.attempt).where(c.kind == kind, c.address == address, c.at == at))


def tries(tx: Connection, kind: str, address: str, at: float) -> tuple[int, int]:
    """Tries in the minute before `at`, by this clock or that of another process: from this address, and in all."""
    base = (
        select(func.count())
        .select_from(schema.attempt)
        .where(schema.attempt.c.kind == kind, schema.attempt.c.at.between(at - 60, at + 60))
    )
    mine = tx.execute(base.where(schema.attempt.c.address == address)).scalar_one()
    return int(mine), int(tx.execute(base).scalar_one())
