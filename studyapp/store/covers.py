"""What the chain covers beside scores: the rows behind a decision, each held by the hash of its fixed columns.

A cover is an event whose body names a table, the columns that pick the rows, how many there are and the SHA-256 of
their canonical JSON. Whoever changes, adds or removes such a row outside the app leaves a cover that no longer fits.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Connection, Table, func, select

from studyapp.records import Event
from studyapp.store import events, schema

# Columns that move on with the work and are therefore told by events of their own.
MOVING = {
    "sitting": {"state", "starts_at", "opened_at", "closed_at"},
    "serving": {"started_at", "finished_at", "outcome"},
    "trial_set": {"started_at", "finished_at", "outcome"},
}
COVERED: dict[str, Table] = {
    table.name: table
    for table in (
        schema.sample,
        schema.attribute,
        schema.seat,
        schema.sitting,
        schema.serving,
        schema.tray,
        schema.key_view,
        schema.opening,
        schema.decision,
        schema.signature,
        schema.deviation,
        schema.pull_note,
        schema.trial_sample,
        schema.trial_set,
    )
}


def _rows(tx: Connection, name: str, where: dict[str, Any]) -> list[dict[str, Any]]:
    """The fixed columns of the rows that `where` picks, in the order of the primary key."""
    table, moving = COVERED[name], MOVING.get(name, set())
    query = select(*(column for column in table.columns if column.name not in moving))
    for column, value in where.items():
        query = query.where(table.c[column] == value)
    found = tx.execute(query.order_by(*table.primary_key.columns))
    return [dict(row._mapping) for row in found]


def cover(tx: Connection, kind: str, table: str, where: dict[str, Any], study: str | None, **more: Any) -> Event:
    """Put the rows just written under the chain; `more` goes into the body of the event as it is."""
    kept = _rows(tx, table, where)
    body = {**more, "table": table, "where": where, "rows": len(kept), "sha256": events.digest(kept)}
    return events.append(tx, kind, body, study)


def fits(tx: Connection, body: dict[str, Any]) -> bool:
    """Whether the rows a cover names are still the ones it was written for."""
    kept = _rows(tx, body["table"], body["where"])
    return bool(len(kept) == body["rows"] and events.digest(kept) == body["sha256"])


def row_counts(tx: Connection) -> dict[str, int]:
    """Rows of every covered table."""
    return {
        name: int(tx.execute(select(func.count()).select_from(table)).scalar_one()) for name, table in COVERED.items()
    }
