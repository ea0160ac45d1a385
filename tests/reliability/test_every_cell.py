"""No cell of a store can be changed by hand unseen: every column of every table, in a store of this version.

What covers vouch for is forged in test_columns_of_covers.py, events in test_forgeries.py; here is the rest: people,
accounts, sign-ins, codes, notes, studies, and what moves on with the work. What nobody can prove is named with why.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection

from studyapp.store import checks, open_store, schema, state_checks
from studyapp.store.covers import COVERED, MOVING

pytestmark = pytest.mark.reliability

# Columns that no event tells, and why that is so.
UNTOLD = {
    ("person", "name"): "names can be erased, and the record could not",
    ("person", "contact"): "like the name",
    ("person", "created_at"): "goes with the name",
    ("meta", "key"): "salts and codes of the store itself: whoever changes one shuts people out and gets nobody in",
    ("meta", "value"): "the same",
    ("attempt", "id"): "tries of the last minute, forgotten by themselves",
    ("attempt", "kind"): "the same",
    ("attempt", "address"): "the same",
    ("attempt", "at"): "the same",
}
# An end that was set by hand signs somebody out, which they notice; it lets nobody in.
HARMLESS = {("token", "ended_at"), ("join_code", "ended_at")}
ELSEWHERE = {"score", "trial", "event"}  # hashed row by row, link by link


def columns() -> Iterator[tuple[str, str]]:
    """Every column that no cover and no hash of a row vouches for."""
    for table in schema.metadata.sorted_tables:
        for column in table.columns:
            fixed = table.name in COVERED and column.name not in MOVING.get(table.name, ())
            if table.name not in ELSEWHERE and not fixed and (table.name, column.name) not in UNTOLD:
                yield table.name, column.name


def faults(tx: Connection) -> list[str]:
    """Tables of what does not hold, or was erased without an event."""
    told = checks.chain(tx)
    found = [
        *checks.seal_faults(tx, told),
        *checks.note_faults(tx, told),
        *checks.photo_faults(tx, told),
        *state_checks.state_faults(tx, told.sound).faults,
    ]
    return [fault.table for fault in found]


def other(value: Any) -> Any:
    """Something that a cell does not hold; of a JSON text other values, for blanks between them mean nothing."""
    if isinstance(value, (int, float)):
        return value + 1000
    if isinstance(value, bytes):
        return value + b" "
    return value.replace("{", '{"x":1,', 1) if value.startswith('{"') else f"{value} "


def forgeries(tx: Connection, table: str, column: str) -> Iterator[tuple[int, Any]]:
    """One row that holds something there, which is changed and emptied; and one that holds nothing, which is filled."""
    at = f'FROM {table} WHERE "{column}" IS'
    full = tx.exec_driver_sql(f'SELECT rowid, "{column}" {at} NOT NULL ORDER BY rowid DESC LIMIT 1').first()
    empty = tx.exec_driver_sql(f"SELECT rowid {at} NULL ORDER BY rowid DESC LIMIT 1").first()
    if full is not None:
        yield full[0], other(full[1])
        if schema.metadata.tables[table].c[column].nullable:
            yield full[0], None
    if empty is not None and (table, column) not in HARMLESS:
        yield empty[0], "2026-01-01T00:00:00Z" if column.endswith("_at") else "7"


def unnoticed(tx: Connection) -> tuple[set[tuple[str, str]], list[str]]:
    """The columns that had something to forge, and the forgeries that nothing gives away."""
    for (name,) in tx.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").all():
        tx.exec_driver_sql(f"DROP TRIGGER {name}")
    tx.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
    tried, missed = set(), []
    for table, column in columns():
        for row, value in forgeries(tx, table, column):
            change = tx.begin_nested()
            tx.exec_driver_sql(f'UPDATE {table} SET "{column}" = ? WHERE rowid = ?', (value, row))
            tried.add((table, column))
            orphan = tx.exec_driver_sql("PRAGMA foreign_key_check").first()
            if orphan is None and table not in faults(tx):
                missed.append(f"{table}.{column} = {value!r}")
            change.rollback()
    return tried, missed


def test_no_cell_is_changed_unseen(hours: Path, aroma: Path, imported: tuple[Path, str]) -> None:
    """Three records, which together have something in every column."""
    tried: set[tuple[str, str]] = set()
    for file in (hours, aroma, imported[0]):
        with closing(open_store(str(file))) as store, store.engine.connect() as tx, tx.begin() as all_of_it:
            assert faults(tx) == []
            here, missed = unnoticed(tx)
            all_of_it.rollback()
        assert "; ".join(missed) == ""
        tried |= here
    assert set(columns()) - tried == set()


def test_every_table_is_proven_somewhere() -> None:
    """A table that is added later is covered, hashed, told by events, or named above."""
    known = {*COVERED, *ELSEWHERE, *(table for table, _column in UNTOLD), "alembic_version"}
    told = {*state_checks.TABLES, "token", "join_code", "origin", "photo"}
    assert set(schema.metadata.tables) - known == told - known


@pytest.mark.parametrize("table", ["presence", "note", "photo", "token", "join_code", "staff", "assessor", "study"])
def test_no_row_is_taken_out_unseen(hours: Path, table: str) -> None:
    """Each of them leaves an event without its row."""
    with closing(open_store(str(hours))) as store, store.engine.connect() as tx, tx.begin() as all_of_it:
        tx.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
        for (name,) in tx.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").all():
            tx.exec_driver_sql(f"DROP TRIGGER {name}")
        tx.exec_driver_sql(f"DELETE FROM {table} WHERE rowid = (SELECT max(rowid) FROM {table})")
        assert table in faults(tx)
        all_of_it.rollback()
