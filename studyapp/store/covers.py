"""What the chain covers beside scores: the rows behind a decision, each held by the hash of its fixed columns.

A cover is an event whose body names a table, the columns that pick the rows, the columns it vouches for, how many rows
there are and the SHA-256 of their canonical JSON. Whoever changes, adds or removes such a row outside the app leaves a
cover that no longer fits. A column added to a table later is not among those an earlier cover vouches for: that cover
still fits, and the column must be empty in its rows until one more cover of the same rows names it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Connection, Table, func, select

from studyapp.records import Event
from studyapp.store import events, schema
from studyapp.store.scope import EVERYTHING, Scope

Row = dict[str, Any]
ROWS = "*"  # in a count: the rows themselves, beside the filled cells of each column

# Columns that move on with the work and are therefore told by events of their own.
MOVING = {
    "sitting": {"state", "starts_at", "opened_at", "closed_at"},
    "serving": {"started_at", "finished_at", "outcome"},
    "trial_set": {"started_at", "finished_at", "outcome"},
    "batch": {"study_id", "label", "recipe", "machine", "lot", "mass_g", "started_at", "made", "phases"},
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
        schema.batch,
        schema.phase,
        schema.machine_log,
        schema.reading,
        schema.flow_point,
    )
}

# Covers once named no columns: they vouch for those that their table had in the first two schemas, which agree on all
# of these. Never changed; a table that was made since has covers with names only.
FIRST: dict[str, tuple[str, ...]] = {
    "sample": ("id", "study_id", "hours", "letter"),
    "attribute": ("id", "study_id", "position", "name", "definition", "low_word", "high_word", "decides"),
    "seat": ("study_id", "assessor_id", "number"),
    "sitting": ("id", "study_id", "number", "look", "label"),
    "serving": ("id", "sitting_id", "assessor_id", "position", "code", "sample_id", "replicate", "scored"),
    "tray": ("sitting_id", "position", "released_at", "released_by", "second_person", "checks"),
    "key_view": ("study_id", "staff_id", "at"),
    "opening": ("study_id", "look", "by", "name", "at"),
    "decision": ("study_id", "look", "document", "at"),
    "signature": ("id", "study_id", "look", "name", "role", "by", "at"),
    "deviation": ("id", "study_id", "sentence", "known", "by", "at"),
    "pull_note": ("id", "study_id", "hours", "actual_at", "mass_g", "by", "at"),
    "trial_sample": ("id", "study_id", "letter", "name", "plain", "level"),
    "trial_set": ("id", "sitting_id", "assessor_id", "position", "level", "codes", "samples"),
}


def _fixed(table: str) -> list[str]:
    """The columns of today that a new cover vouches for."""
    return [column.name for column in COVERED[table].columns if column.name not in MOVING.get(table, set())]


def _rows(
    tx: Connection, name: str, names: Sequence[str], where: Mapping[str, Any], scope: Scope = EVERYTHING
) -> list[Row]:
    """The named columns of the rows that `where` picks, in the order of the primary key."""
    table = COVERED[name]
    query = select(*(table.c[each] for each in names)).where(scope.rows(table))
    for key, value in where.items():
        query = query.where(table.c[key] == value)
    found = tx.execute(query.order_by(*table.primary_key.columns))
    return [dict(row._mapping) for row in found]


def cover(tx: Connection, kind: str, table: str, where: dict[str, Any], study: str | None, **more: Any) -> Event:
    """Put the rows just written under the chain; `more` goes into the body of the event as it is."""
    names = _fixed(table)
    kept = _rows(tx, table, names, where)
    told = {"table": table, "where": where, "columns": names, "rows": len(kept), "sha256": events.digest(kept)}
    return events.append(tx, kind, {**more, **told}, study)


# ---- read back -----------------------------------------------------------------------------------------------------
def kept(tx: Connection, body: Mapping[str, Any], scope: Scope = EVERYTHING) -> list[Row]:
    """The rows of a scope that a cover names as they are now; none when it names a column that was never there."""
    names = body.get("columns") or FIRST.get(body["table"], ())
    known = {*COVERED[body["table"]].columns.keys()}
    return _rows(tx, body["table"], names, body["where"], scope) if names and known.issuperset(names) else []


def fits(body: Mapping[str, Any], rows: Sequence[Row]) -> bool:
    """Whether the rows a cover names are still the ones it was written for."""
    return bool(len(rows) == body["rows"] and events.digest(rows) == body["sha256"])


def recorded(count: int, rows: Sequence[Row]) -> Counter[str]:
    """So many rows a cover was written for, and how many of their cells in each column it names are filled."""
    filled = Counter(name for row in rows for name, value in row.items() if value is not None)
    return filled | Counter({ROWS: count})


def counted(tx: Connection, table: str, scope: Scope) -> Counter[str]:
    """How many rows of a covered table are in a scope, and how many of their cells in each fixed column are filled."""
    of, names = COVERED[table], _fixed(table)
    query = select(func.count(), *(func.count(of.c[name]) for name in names)).select_from(of).where(scope.rows(of))
    return Counter(dict(zip([ROWS, *names], tx.execute(query).one(), strict=True)))
