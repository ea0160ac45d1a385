"""Sittings: state, join codes, who is present, trays, notes."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, func, insert, select, update

from studyapp.records import Sitting
from studyapp.store import covers, events, schema
from studyapp.store.events import now


def _sitting(row: Any) -> Sitting:
    return Sitting(row.id, row.study_id, row.number, row.label, row.state, row.starts_at)


def add(tx: Connection, sitting: Sitting, look: int) -> None:
    """Keep a planned sitting."""
    tx.execute(
        insert(schema.sitting).values(
            id=sitting.id,
            study_id=sitting.study,
            number=sitting.number,
            look=look,
            label=sitting.label,
            state=sitting.state,
            starts_at=sitting.starts_at,
        )
    )
    covers.cover(tx, "sitting planned", "sitting", {"id": sitting.id}, sitting.study, look=look)


_GET = select(schema.sitting).where(schema.sitting.c.id == bindparam("id"))  # built once: every mark asks for it


def get(tx: Connection, id_: str) -> Sitting | None:
    """One sitting."""
    row = tx.execute(_GET, {"id": id_}).first()
    return _sitting(row) if row else None


def of_study(tx: Connection, study: str, look: int | None = None) -> tuple[Sitting, ...]:
    """The sittings of a study in order, or those of one look."""
    query = select(schema.sitting).where(schema.sitting.c.study_id == study).order_by(schema.sitting.c.number)
    if look is not None:
        query = query.where(schema.sitting.c.look == look)
    return tuple(_sitting(row) for row in tx.execute(query))


def everywhere(tx: Connection) -> tuple[Sitting, ...]:
    """Every sitting that is not closed."""
    query = (
        select(schema.sitting)
        .where(schema.sitting.c.state.in_(("planned", "open", "paused")))
        .order_by(schema.sitting.c.study_id, schema.sitting.c.number)
    )
    return tuple(_sitting(row) for row in tx.execute(query))


def set_state(tx: Connection, id_: str, state: str, at: str) -> None:
    """Open, pause or close a sitting, at the time that the event of this act tells."""
    values: dict[str, Any] = {"state": state}
    if state == "closed":
        values["closed_at"] = at
    tx.execute(update(schema.sitting).where(schema.sitting.c.id == id_).values(**values))
    if state == "open":
        tx.execute(
            update(schema.sitting)
            .where(schema.sitting.c.id == id_, schema.sitting.c.opened_at.is_(None))
            .values(opened_at=at)
        )


# ---- join codes ----------------------------------------------------------------------------------------------------
def end_codes(tx: Connection, sitting: str, assessor: str | None = None) -> None:
    """Make every code of a sitting worthless, or that of one assessor."""
    c = schema.join_code.c
    ended = update(schema.join_code).where(c.sitting_id == sitting, c.ended_at.is_(None)).values(ended_at=now())
    tx.execute(ended if assessor is None else ended.where(c.assessor_id == assessor))


def has_codes(tx: Connection, sitting: str) -> bool:
    """Whether somebody can still join with a code of this sitting."""
    c = schema.join_code.c
    return tx.execute(select(c.hash).where(c.sitting_id == sitting, c.ended_at.is_(None)).limit(1)).first() is not None


def add_code(tx: Connection, hash_: str, sitting: str, assessor: str) -> None:
    """Keep the hash of a personal code."""
    tx.execute(insert(schema.join_code).values(hash=hash_, sitting_id=sitting, assessor_id=assessor, created_at=now()))


def code(tx: Connection, hash_: str) -> tuple[str, str] | None:
    """(sitting id, assessor id) of a live code."""
    query = select(schema.join_code).where(schema.join_code.c.hash == hash_, schema.join_code.c.ended_at.is_(None))
    row = tx.execute(query).first()
    return (row.sitting_id, row.assessor_id) if row else None


# ---- presence ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Presence:
    """What an assessor said at the door, and whether they left."""

    agreed_at: str | None = None
    declined_at: str | None = None
    left_at: str | None = None
    kept: bool | None = None


def presence(tx: Connection, sitting: str, assessor: str) -> Presence | None:
    """None until the assessor has opened the link."""
    query = select(schema.presence).where(
        schema.presence.c.sitting_id == sitting, schema.presence.c.assessor_id == assessor
    )
    row = tx.execute(query).first()
    return Presence(row.agreed_at, row.declined_at, row.left_at, row.kept) if row else None


def presences(tx: Connection, sitting: str) -> dict[str, Presence]:
    """Presence by assessor id."""
    rows = tx.execute(select(schema.presence).where(schema.presence.c.sitting_id == sitting))
    return {row.assessor_id: Presence(row.agreed_at, row.declined_at, row.left_at, row.kept) for row in rows}


def keep_presence(tx: Connection, sitting: str, assessor: str, **values: Any) -> None:
    """Keep what an assessor said at the door."""
    if presence(tx, sitting, assessor) is None:
        tx.execute(insert(schema.presence).values(sitting_id=sitting, assessor_id=assessor, **values))
    elif values:
        tx.execute(
            update(schema.presence)
            .where(schema.presence.c.sitting_id == sitting, schema.presence.c.assessor_id == assessor)
            .values(**values)
        )


# ---- trays and notes -----------------------------------------------------------------------------------------------
def release(tx: Connection, sitting: Sitting, position: int, by: str, second_person: str, checks: list[str]) -> None:
    """Keep that a tray may leave the kitchen."""
    tx.execute(
        insert(schema.tray).values(
            sitting_id=sitting.id,
            position=position,
            released_at=now(),
            released_by=by,
            second_person=second_person,
            checks=json.dumps(checks),
        )
    )
    where = {"sitting_id": sitting.id, "position": position}
    covers.cover(tx, "tray released", "tray", where, sitting.study, by=by)


def released(tx: Connection, sitting: str) -> dict[int, tuple[str, str]]:
    """Position -> (time, name of who released it)."""
    query = (
        select(schema.tray.c.position, schema.tray.c.released_at, schema.staff.c.name)
        .join(schema.staff, schema.staff.c.id == schema.tray.c.released_by)
        .where(schema.tray.c.sitting_id == sitting)
    )
    return {row.position: (row.released_at, row.name) for row in tx.execute(query)}


def last_release(tx: Connection, sitting: str) -> tuple[frozenset[str], str, str] | None:
    """(ticked checks, second person, time) of the tray that left last."""
    c = schema.tray.c
    query = select(c.checks, c.second_person, c.released_at).where(c.sitting_id == sitting)
    row = tx.execute(query.order_by(c.position.desc()).limit(1)).first()
    return (frozenset(json.loads(row.checks)), row.second_person, row.released_at) if row else None


def add_note(tx: Connection, id_: str, sitting: Sitting, assessor: str, text: str, salt: str) -> None:
    """Keep a free text apart from the chain, so that it can be erased; the chain holds its salted hash."""
    sha, at = events.salted(salt, text), now()
    tx.execute(
        insert(schema.note).values(
            id=id_, sitting_id=sitting.id, assessor_id=assessor, text=text, salt=salt, sha256=sha, at=at
        )
    )
    body = {"note": id_, "sitting": sitting.id, "assessor": assessor, "sha256": sha, "at": at}
    events.append(tx, "note", body, sitting.study)


def note_count(tx: Connection, sitting: str, assessor: str) -> int:
    """How many notes one seat has sent in a sitting, erased ones included."""
    c = schema.note.c
    query = select(func.count()).select_from(schema.note).where(c.sitting_id == sitting, c.assessor_id == assessor)
    return int(tx.execute(query).scalar_one())


def note_authors(tx: Connection, sitting: str) -> dict[str, str]:
    """Who wrote each note of a sitting: note id -> assessor id."""
    c = schema.note.c
    return {row.id: row.assessor_id for row in tx.execute(select(c.id, c.assessor_id).where(c.sitting_id == sitting))}


def notes(tx: Connection, study: str) -> list[tuple[str, str, str]]:
    """(time, pseudonym, text) of every note that was not erased."""
    query = (
        select(schema.note.c.at, schema.assessor.c.pseudonym, schema.note.c.text)
        .join(schema.assessor, schema.assessor.c.id == schema.note.c.assessor_id)
        .join(schema.sitting, schema.sitting.c.id == schema.note.c.sitting_id)
        .where(schema.sitting.c.study_id == study, schema.note.c.text.is_not(None))
        .order_by(schema.note.c.at)
    )
    return [(row.at, row.pseudonym, row.text) for row in tx.execute(query)]
