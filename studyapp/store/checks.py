"""Reading the whole record back and recomputing what can be recomputed. Nothing is written.

Each function returns faults in the order of the record, so that the first one names the first bad row.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import rfc8785
from sqlalchemy import Connection, Table, select, text

from studyapp.store import covers, events, photos, schema, shapes
from studyapp.store.faults import Fault
from studyapp.store.row_hashes import row_hash

FIRST_KIND = "hours"


# ---- the file ------------------------------------------------------------------------------------------------------
def damage(tx: Connection) -> list[Fault]:
    """What SQLite's own integrity check says; nothing to ask on PostgreSQL, whose pages carry checksums."""
    if tx.dialect.name != "sqlite":
        return []
    said = [str(row[0]) for row in tx.execute(text("PRAGMA integrity_check(20)"))]
    faults = [Fault("damaged", "store", line) for line in said if line != "ok"]
    orphans = tx.execute(text("PRAGMA foreign_key_check"))
    return faults + [Fault("orphan", str(row[0]), str(row[1])) for row in orphans]


# ---- the chain -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Chain:
    """The events as read: those that hold, what does not, and the head."""

    sound: tuple[Any, ...]
    faults: tuple[Fault, ...]
    count: int
    head: str
    hashes: frozenset[str]


def chain(tx: Connection) -> Chain:
    """Walk the chain from its first event and recompute every link."""
    sound: list[Any] = []
    faults: list[Fault] = []
    prev, expected = events.GENESIS, 1
    for row in tx.execute(select(schema.event).order_by(schema.event.c.seq)):
        if row.seq != expected:
            faults.append(Fault("gap", "event", str(expected)))
        elif row.prev != prev:
            faults.append(Fault("broken link", "event", str(row.seq)))
        body = _body(row)
        if body is None or events.link(row.seq, row.at, row.kind, row.study_id, body, row.prev) != row.hash:
            faults.append(Fault("changed event", "event", str(row.seq)))
        else:
            sound.append((row.seq, row.at, row.kind, row.study_id, body, row.hash))
        prev, expected = row.hash, row.seq + 1
    return Chain(tuple(sound), tuple(faults), expected - 1, prev, frozenset(event[-1] for event in sound))


def _body(row: Any) -> dict[str, Any] | None:
    """The body of an event, None when its text is not the canonical one."""
    try:
        body = json.loads(row.body)
        return body if isinstance(body, dict) and rfc8785.dumps(body).decode() == row.body else None
    except (ValueError, TypeError, RecursionError):
        return None


# ---- the rows the chain covers -------------------------------------------------------------------------------------
def score_faults(tx: Connection, told: Chain) -> list[Fault]:
    """Every score row against its own hash and its event, and every event against its row."""
    return _row_faults(tx, told, schema.score)


def trial_faults(tx: Connection, told: Chain) -> list[Fault]:
    """The same for every forced-choice trial."""
    return _row_faults(tx, told, schema.trial)


def _row_faults(tx: Connection, told: Chain, table: Table) -> list[Fault]:
    """Faults of an append-only table, in the order of its rows."""
    name = table.name
    wanted = {int(body[name]): body["sha256"] for _, _, kind, _, body, _ in told.sound if kind == name}
    faults = []
    for row in tx.execute(select(table).order_by(table.c.id)):
        due = wanted.pop(row.id, None)
        written = _hash_or_none(lambda each: row_hash(name, each._mapping), row)
        if written != row.sha256 or due not in (None, row.sha256):
            faults.append(Fault("changed row", name, str(row.id)))
        elif due is None:
            faults.append(Fault("row without event", name, str(row.id)))
    return faults + [Fault("event without row", name, str(id_)) for id_ in sorted(wanted)]


def _hash_or_none(hash_of: Any, row: Any) -> str | None:
    """The hash of a row, None when a forged value has no canonical text."""
    try:
        return str(hash_of(row))
    except (ValueError, TypeError):
        return None


def seal_faults(tx: Connection, told: Chain) -> list[Fault]:
    """Every sealed plan against the hash in its study and in its event."""
    seals = {
        # an imported study was sealed before its event here; early seals of the first kind name none
        study: (body["seal"], body.get("sealed_at", at), body.get("kind", FIRST_KIND))
        for _, at, kind, study, body, _ in told.sound
        if kind == "sealed"
    }
    faults = []
    for row in tx.execute(select(schema.study).order_by(schema.study.c.id)):
        due = seals.pop(row.id, None)
        if row.seal is None and due is None:
            continue
        plan = _hash_or_none(lambda each: events.digest(json.loads(each.plan)), row)
        if due != (row.seal, row.sealed_at, row.kind) or plan != row.seal or row.state == "draft":
            faults.append(Fault("changed seal", "study", row.id))
    return faults + [Fault("event without row", "study", str(study)) for study in seals]


def cover_faults(tx: Connection, told: Chain) -> list[Fault]:
    """Every cover against the rows it was written for, and rows and values that no cover knows."""
    faults: list[Fault] = []
    known: dict[str, dict[Any, Counter[str]]] = {name: {} for name in covers.COVERED}
    for seq, _, _, _, body, _ in told.sound:
        table = body.get("table")
        if table in covers.COVERED:
            rows = covers.kept(tx, body)
            if not covers.fits(body, rows):
                faults.append(Fault("changed cover", table, str(seq)))
            # one more cover of the same rows adds columns, never rows
            same = tuple(sorted(body["where"].items()))
            known[table][same] = known[table].get(same, Counter()) | covers.recorded(body, rows)
    return faults + [fault for table, picked in known.items() for fault in _uncovered(tx, table, picked.values())]


def _uncovered(tx: Connection, table: str, recorded: Iterable[Counter[str]]) -> list[Fault]:
    """Rows of a covered table that were never recorded; else the columns that hold more than was recorded."""
    known: Counter[str] = Counter()
    for each in recorded:
        known.update(each)
    over = [name for name, count in covers.counted(tx, table).items() if count > known[name]]
    if covers.ROWS in over:
        return [Fault("uncovered row", table)]
    return [Fault("uncovered value", table, name) for name in over]


def note_faults(tx: Connection, told: Chain) -> list[Fault]:
    """Every free text that was not erased against its salted hash and its event."""
    wanted = {body["note"]: body["sha256"] for _, _, kind, _, body, _ in told.sound if kind == "note"}
    faults = []
    for row in tx.execute(select(schema.note).order_by(schema.note.c.at, schema.note.c.id)):
        due = wanted.get(row.id)
        written = None if row.text is None else events.salted(row.salt or "", row.text)
        if due != row.sha256 or (row.erased_at is None and written != row.sha256):
            faults.append(Fault("changed note", "note", row.id))
    return faults


def photo_faults(tx: Connection, told: Chain) -> list[Fault]:
    """Every photo that was not erased against the hash in its event; an erased one against the event that says so."""
    wanted = {body["photo"]: body["sha256"] for _, _, kind, _, body, _ in told.sound if kind == photos.KEPT}
    erased = {body["photo"] for _, _, kind, _, body, _ in told.sound if kind == photos.ERASED}
    faults = []
    for row in tx.execute(select(schema.photo).order_by(schema.photo.c.at, schema.photo.c.id)):
        gone = row.id in erased
        as_told = (
            row.content is None and row.erased_at is not None if gone else photos.sha256(row.content) == row.sha256
        )
        if wanted.pop(row.id, None) != row.sha256 or not as_told:
            faults.append(Fault("changed row", "photo", row.id))
    return faults + [Fault("event without row", "photo", str(id_)) for id_ in wanted]


def faults(tx: Connection, told: Chain) -> Iterator[Fault]:
    """Everything that does not hold, the file first, then the chain, then the rows."""
    yield from damage(tx)
    yield from shapes.faults(tx)
    yield from told.faults
    for part in (score_faults, trial_faults, seal_faults, cover_faults, note_faults, photo_faults):
        yield from part(tx, told)
