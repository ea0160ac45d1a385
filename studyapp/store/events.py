"""The record: a chain of events, each hashed over the one before, that covers every score.

Hashes are SHA-256 over RFC 8785 canonical JSON. Order comes from sequence numbers, never from the clock.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, func, insert, select

from studyapp.records import Event
from studyapp.store import canonical, clock, schema

GENESIS = "0" * 64
ALIKE_MS = 1000 * clock.TOLERATED_SECONDS
# Built once: every mark asks for these.
_HEAD = select(schema.event.c.seq, schema.event.c.hash).order_by(schema.event.c.seq.desc()).limit(1)
_INSERT = insert(schema.event)


def now() -> str:
    """The present moment in UTC, to the second, on the clock of the app."""
    return clock.now().strftime(clock.FORMAT)


def digest(value: Any) -> str:
    """SHA-256 of the canonical JSON of `value`."""
    return hashlib.sha256(canonical.dumps(value)).hexdigest()


def salted(salt: str, text: str) -> str:
    """What the chain keeps of a free text: once the salt is erased, nobody can tell the text by trying."""
    return digest({"salt": salt, "text": text})


def tied(id_: str, person: str | None) -> str | None:
    """What the chain keeps of the person behind an account or an assessor: whoever has only the events cannot tell
    which account is which assessor."""
    return None if person is None else salted(id_, person)


def link(seq: int, at: str, kind: str, study: str | None, body: dict[str, Any], prev: str) -> str:
    """The hash of one event."""
    return link_of(seq, at, kind, study, canonical.dumps(body).decode(), prev)


def link_of(seq: int, at: str, kind: str, study: str | None, text: str, prev: str) -> str:
    """The same from the canonical text of its body: SHA-256 of the canonical text of all six, whose names are in order
    here."""
    word = canonical.quoted
    told = f'"at":{word(at)},"body":{text},"kind":{word(kind)},"prev":{word(prev)},"seq":{seq},"study":{word(study)}'
    return hashlib.sha256(f"{{{told}}}".encode()).hexdigest()


def head(tx: Connection) -> tuple[int, str]:
    """Number of events and the hash of the last."""
    row = tx.execute(_HEAD).first()
    return (row.seq, row.hash) if row else (0, GENESIS)


def last_at(tx: Connection) -> str:
    """When the last event was kept; empty before the first."""
    return str(tx.execute(select(schema.event.c.at).order_by(schema.event.c.seq.desc()).limit(1)).scalar() or "")


def head_of(tx: Connection, study: str) -> str:
    """The hash of the last event of a study; empty before the first."""
    query = select(schema.event.c.hash).where(schema.event.c.study_id == study)
    return tx.execute(query.order_by(schema.event.c.seq.desc()).limit(1)).scalar() or ""


def append(tx: Connection, kind: str, body: dict[str, Any], study: str | None = None) -> Event:
    """Add one event at the head of the chain."""
    seq, prev = head(tx)
    at = now()
    text = canonical.dumps(body).decode()
    hash_ = link_of(seq + 1, at, kind, study, text, prev)
    row = {"seq": seq + 1, "at": at, "kind": kind, "study_id": study, "body": text, "prev": prev, "hash": hash_}
    tx.execute(_INSERT, row)
    return Event(seq + 1, at, kind, body, prev, hash_, study)


def note_jump(tx: Connection) -> None:
    """Say once that the wall clock was set, where it was, before anything of a transaction bears a time. Where no
    sitting is open the app follows it, once that is in the record."""
    if not clock.has_jumped():
        return
    told, seconds = clock.told(tx), round(clock.ahead())
    if told.get("followed") and abs(told["clock"]["ms"] - clock.anchor(of_wall=True)["ms"]) < ALIKE_MS:
        clock.take_over(told["clock"])
        return
    free = not clock.is_needed(tx)
    if free or abs(told.get("clock", {}).get("ahead", 0) - seconds) >= clock.TOLERATED_SECONDS:
        body = {"seconds": seconds, "followed": free, "clock": clock.anchor(of_wall=free)}
        append(tx, clock.JUMPED, body, None)


def all_events(tx: Connection, study: str | None = None) -> list[Event]:
    """Every event in order, or those of one study."""
    query = select(schema.event).order_by(schema.event.c.seq)
    if study is not None:
        query = query.where(schema.event.c.study_id == study)
    return [Event(r.seq, r.at, r.kind, json.loads(r.body), r.prev, r.hash, r.study_id) for r in tx.execute(query)]


def of_kinds(tx: Connection, study: str, *kinds: str) -> list[Event]:
    """The events of a study that are of these kinds, in order."""
    c = schema.event.c
    query = select(schema.event).where(c.study_id == study, c.kind.in_(kinds)).order_by(c.seq)
    return [Event(r.seq, r.at, r.kind, json.loads(r.body), r.prev, r.hash, r.study_id) for r in tx.execute(query)]


def has(tx: Connection, hash_: str) -> bool:
    """Whether an event has this hash."""
    return tx.execute(select(schema.event.c.seq).where(schema.event.c.hash == hash_)).first() is not None


def hashes(tx: Connection) -> Iterator[str]:
    """The hash of every event, a few at a time."""
    return iter(tx.execute(select(schema.event.c.hash).execution_options(yield_per=1_000)).scalars())


def count(tx: Connection) -> int:
    """Changes so far: a counter that moves with every write."""
    return int(tx.execute(select(func.coalesce(func.max(schema.event.c.seq), 0))).scalar_one())
