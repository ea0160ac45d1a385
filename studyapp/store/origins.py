"""What the stores that kept a study before this one wrote about it: their events, as they came with the package."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, func, insert, select

from studyapp.records import Event
from studyapp.store import events, schema

Row = dict[str, Any]
BEGUN = "import begun"


def add(tx: Connection, study: str, rows: Iterable[Row]) -> None:
    """Keep the events of earlier keepers; each row names its keeper."""
    kept = [{**row, "study_id": study} for row in rows]
    if kept:
        tx.execute(insert(schema.origin), kept)


def rows(tx: Connection, study: str) -> list[Row]:
    """Every row as it was kept, the first keeper first."""
    c = schema.origin.c
    names = [column for column in schema.origin.columns if column.name != "study_id"]
    found = tx.execute(select(*names).where(c.study_id == study).order_by(c.keeper, c.seq))
    return [dict(row._mapping) for row in found]


def told(tx: Connection, study: str, *kinds: str) -> list[Event]:
    """The events of a study that are of these kinds, those of earlier keepers first."""
    c = schema.origin.c
    query = select(schema.origin).where(c.study_id == study, c.of == study, c.kind.in_(kinds))
    before = [
        Event(r.seq, r.at, r.kind, json.loads(r.body), r.prev, r.hash, r.of)
        for r in tx.execute(query.order_by(c.keeper, c.seq))
    ]
    return [*before, *events.of_kinds(tx, study, *kinds)]


def brought_in(tx: Connection) -> Mapping[str, str]:
    """When each study that came in a package came, by its id."""
    c = schema.event.c
    query = select(c.study_id, func.min(c.at)).where(c.kind == BEGUN).group_by(c.study_id)
    return {row[0]: row[1] for row in tx.execute(query)}


def came(tx: Connection, study: str) -> str | None:
    """When a study was brought in; None for one that began here."""
    c = schema.event.c
    return tx.execute(select(func.min(c.at)).where(c.study_id == study, c.kind == BEGUN)).scalar()
