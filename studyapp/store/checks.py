"""Reading the whole record back and recomputing what can be recomputed. Nothing is written.

Each function returns faults in the order of the record, so that the first one names the first bad row.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, exists, select, text

from studyapp.store import canonical, covers, events, photos, schema
from studyapp.store.faults import Fault
from studyapp.store.row_hashes import row_hash
from studyapp.store.scope import EVERYTHING, NOBODY, Scope

FIRST_KIND = "hours"
AT_ONCE = 1_000  # events in memory while the chain is walked


# ---- the file ------------------------------------------------------------------------------------------------------
def damage(tx: Connection) -> list[Fault]:
    """What SQLite's own integrity check says, and rows that point at nothing; pages of PostgreSQL carry checksums."""
    if tx.dialect.name != "sqlite":
        return [fault for table in schema.metadata.sorted_tables for fault in _orphans(tx, table)]
    said = [str(row[0]) for row in tx.execute(text("PRAGMA integrity_check(20)"))]
    faults = [Fault("damaged", "store", line) for line in said if line != "ok"]
    orphans = tx.execute(text("PRAGMA foreign_key_check"))
    return faults + [Fault("orphan", str(row[0]), str(row[1])) for row in orphans]


def _orphans(tx: Connection, table: Table) -> Iterator[Fault]:
    """Rows that point at nothing: PostgreSQL lets whoever owns the database switch that off for a while."""
    for key in table.foreign_keys:
        there = exists().where(key.column == key.parent)
        query = select(*table.primary_key.columns).where(key.parent.is_not(None), ~there)
        for row in tx.execute(query.order_by(*table.primary_key.columns).limit(20)):
            yield Fault("orphan", table.name, " ".join(map(str, row)))


# ---- the chain -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Chain:
    """Events as read: those that hold, what does not, how many there are, and the hash of the last."""

    sound: tuple[Any, ...]
    faults: tuple[Fault, ...]
    count: int
    head: str


@dataclass(frozen=True, slots=True)
class Walk:
    """The chain after an event of this number, without its events: what does not hold, and which of them are changed;
    the number of the last and its hash."""

    after: int
    faults: tuple[Fault, ...]
    changed: frozenset[int]
    count: int
    head: str


def chain(tx: Connection, scope: Scope = EVERYTHING, walked: Walk | None = None) -> Chain:
    """The events of a scope; what was not `walked` is held against its own hash, and is a fault where it does not."""
    walked, own = (walked, False) if walked else (walk(tx), True)
    sound, faults = [], []
    seq, head = 0, events.GENESIS
    for row in tx.execute(select(schema.event).where(scope.rows(schema.event)).order_by(schema.event.c.seq)):
        seq, head = row.seq, row.hash
        if seq > walked.after:
            body = None if seq in walked.changed else json.loads(row.body)
        elif (body := _held(row)) is None:
            faults.append(Fault("changed event", "event", str(seq)))
        if body is not None:
            sound.append((seq, row.at, row.kind, row.study_id, body, head))
    return Chain(tuple(sound), walked.faults if own else tuple(faults), seq, head)


def walk(tx: Connection, after: tuple[int, str] = (0, events.GENESIS), heard: Callable[[int], object] = int) -> Walk:
    """Every event after one of this number and hash, and every link, a few at a time; `heard` is told the number of
    each."""
    faults: list[Fault] = []
    expected, prev = after[0] + 1, after[1]
    query = select(schema.event).where(schema.event.c.seq > after[0]).order_by(schema.event.c.seq)
    for row in tx.execute(query.execution_options(yield_per=AT_ONCE)):
        if row.seq != expected:
            faults.append(Fault("gap", "event", str(expected)))
        elif row.prev != prev:
            faults.append(Fault("broken link", "event", str(row.seq)))
        if _held(row) is None:
            faults.append(Fault("changed event", "event", str(row.seq)))
        prev, expected = row.hash, row.seq + 1
        heard(row.seq)
    changed = frozenset(int(fault.row) for fault in faults if fault.code == "changed event")
    return Walk(after[0], tuple(faults), changed, expected - 1, prev)


def _held(row: Any) -> dict[str, Any] | None:
    """The body of an event that matches its hash, None when it does not or its text is not the canonical one."""
    try:
        body = canonical.loads(row.body)
        link = events.link_of(row.seq, row.at, row.kind, row.study_id, row.body, row.prev)
        return body if isinstance(body, dict) and link == row.hash else None
    except (ValueError, TypeError, RecursionError):
        return None


# ---- the rows the chain covers -------------------------------------------------------------------------------------
def score_faults(tx: Connection, told: Chain, scope: Scope = EVERYTHING) -> list[Fault]:
    """Every score row against its own hash and its event, and every event against its row."""
    return _row_faults(tx, told, schema.score, scope)


def trial_faults(tx: Connection, told: Chain, scope: Scope = EVERYTHING) -> list[Fault]:
    """The same for every forced-choice trial."""
    return _row_faults(tx, told, schema.trial, scope)


def _row_faults(tx: Connection, told: Chain, table: Table, scope: Scope) -> list[Fault]:
    """Faults of an append-only table, in the order of its rows."""
    name = table.name
    wanted = {int(body[name]): body["sha256"] for _, _, kind, _, body, _ in told.sound if kind == name}
    faults = []
    for row in tx.execute(select(table).where(scope.rows(table)).order_by(table.c.id)):
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


def seal_faults(tx: Connection, told: Chain, scope: Scope = EVERYTHING) -> list[Fault]:
    """Every sealed plan against the hash in its study and in its event."""
    seals = {
        # an imported study was sealed before its event here; early seals of the first kind name none
        study: (body["seal"], body.get("sealed_at", at), body.get("kind", FIRST_KIND))
        for _, at, kind, study, body, _ in told.sound
        if kind == "sealed"
    }
    faults = []
    for row in tx.execute(select(schema.study).where(scope.rows(schema.study)).order_by(schema.study.c.id)):
        due = seals.pop(row.id, None)
        if row.seal is None and due is None:
            continue
        plan = _hash_or_none(lambda each: events.digest(json.loads(each.plan)), row)
        if due != (row.seal, row.sealed_at, row.kind) or plan != row.seal or row.state == "draft":
            faults.append(Fault("changed seal", "study", row.id))
    return faults + [Fault("event without row", "study", str(study)) for study in seals]


def cover_faults(tx: Connection, told: Chain, scope: Scope = EVERYTHING) -> list[Fault]:
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
            count = body["rows"]
            if scope == NOBODY:  # what was given to a study since is told there once more, and counted there
                rows = covers.kept(tx, body, scope)
                count = len(rows)
            known[table][same] = known[table].get(same, Counter()) | covers.recorded(count, rows)
    for table, picked in known.items():
        faults += _uncovered(tx, table, picked.values(), scope)
    return faults


def _uncovered(tx: Connection, table: str, recorded: Iterable[Counter[str]], scope: Scope) -> list[Fault]:
    """Rows of a covered table that were never recorded; else the columns that hold more than was recorded."""
    known: Counter[str] = Counter()
    for each in recorded:
        known.update(each)
    over = [name for name, count in covers.counted(tx, table, scope).items() if count > known[name]]
    if covers.ROWS in over:
        return [Fault("uncovered row", table)]
    return [Fault("uncovered value", table, name) for name in over]


def note_faults(tx: Connection, told: Chain, scope: Scope = EVERYTHING) -> list[Fault]:
    """Every free text that was not erased against its salted hash and its event."""
    wanted = {body["note"]: body["sha256"] for _, _, kind, _, body, _ in told.sound if kind == "note"}
    faults = []
    rows = select(schema.note).where(scope.rows(schema.note))
    for row in tx.execute(rows.order_by(schema.note.c.at, schema.note.c.id)):
        due = wanted.get(row.id)
        written = None if row.text is None else events.salted(row.salt or "", row.text)
        if due != row.sha256 or (row.erased_at is None and written != row.sha256):
            faults.append(Fault("changed note", "note", row.id))
    return faults


def photo_faults(tx: Connection, told: Chain, scope: Scope = EVERYTHING) -> list[Fault]:
    """Every photo against the event that it was kept by, and an erased one against the event that says so."""
    wanted = {
        body["photo"]: (study, *(body[name] for name in ("level", "kind", "sha256", "by", "at")))
        for _, _, kind, study, body, _ in told.sound
        if kind == photos.KEPT
    }
    erased = {body["photo"]: body["at"] for _, _, kind, _, body, _ in told.sound if kind == photos.ERASED}
    faults = []
    rows = select(schema.photo).where(scope.rows(schema.photo))
    for row in tx.execute(rows.order_by(schema.photo.c.at, schema.photo.c.id)):
        due = wanted.pop(row.id, None)
        as_kept = due == (row.study_id, row.hours, row.kind, row.sha256, row.by, row.at)
        content = None if row.id in erased else row.sha256
        is_there = row.content is None if content is None else photos.sha256(row.content) == content
        if not (as_kept and is_there and row.erased_at == erased.get(row.id)):
            faults.append(Fault("changed row", "photo", row.id))
    return faults + [Fault("event without row", "photo", str(id_)) for id_ in wanted]
