"""Photos of pulls: kept apart from the chain, so that one can be erased; the chain holds the hash of each."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from sqlalchemy import Connection, insert, select, update

from studyapp.store import events, schema
from studyapp.store.events import now

KEPT, ERASED = "photo kept", "photo erased"


@dataclass(frozen=True, slots=True)
class Photo:
    """What is known of a photo without its content: of which pull, by whom, and when it was erased, if it was."""

    id: str
    hours: float
    sha256: str
    by: str
    at: str
    erased_at: str | None


def sha256(content: bytes | None) -> str | None:
    """The hash of a content; None where it is gone, or no bytes."""
    return hashlib.sha256(content).hexdigest() if isinstance(content, bytes) else None


def add(tx: Connection, id_: str, study: str, hours: float, content: bytes, kind: str, by: str) -> None:
    """Keep one photo; `kind` is its media type."""
    told = {"kind": kind, "sha256": sha256(content), "by": by, "at": now()}
    tx.execute(insert(schema.photo).values(id=id_, study_id=study, hours=hours, content=content, **told))
    events.append(tx, KEPT, {"photo": id_, "level": hours, **told}, study)


def of_study(tx: Connection, study: str) -> tuple[Photo, ...]:
    """Every photo of a study in order of time, erased ones too."""
    c = schema.photo.c
    query = select(c.id, c.hours, c.sha256, schema.staff.c.name, c.at, c.erased_at)
    query = query.join(schema.staff, schema.staff.c.id == c.by).where(c.study_id == study).order_by(c.at, c.id)
    return tuple(Photo(*row) for row in tx.execute(query))


def content(tx: Connection, id_: str) -> tuple[str, str, bytes] | None:
    """The study of a photo, its media type and its bytes; None where there is none any more."""
    c = schema.photo.c
    row = tx.execute(select(c.study_id, c.kind, c.content).where(c.id == id_, c.content.is_not(None))).first()
    return (row.study_id, row.kind, row.content) if row else None


def erase(tx: Connection, id_: str, study: str, by: str) -> None:
    """Take the content away, once; its hash stays."""
    c = schema.photo.c
    gone, at = update(schema.photo).where(c.id == id_, c.study_id == study, c.erased_at.is_(None)), now()
    if tx.execute(gone.values(content=None, erased_at=at)).rowcount:
        events.append(tx, ERASED, {"photo": id_, "by": by, "at": at}, study)
