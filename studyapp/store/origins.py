"""What the stores that kept a study before this one wrote about it: their events, as they came with the package."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from sqlalchemy import Connection, insert, select

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


def came_along(tx: Connection, study: str) -> bool:
    """Whether events of earlier keepers are here."""
    return tx.execute(select(schema.origin.c.seq).where(schema.origin.c.study_id == study).limit(1)).first() is not None
