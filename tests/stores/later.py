"""Tables of the record as a later version may have them: one column more in each, in the code and in the file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import cache

from sqlalchemy import Column, Text

from studyapp.store import Store, older, schema, shapes
from studyapp.store.covers import COVERED

LATER = "later"
RECORD = (*COVERED.values(), schema.score, schema.trial)
HASHED_FIRST = ("score", "trial")  # their rows are hashed before they are written, so the app would name the value


@contextmanager
def one_column_more() -> Iterator[None]:
    """While this lasts the code knows a column that may be empty in every table; what is written anew fills it."""
    for table in RECORD:
        table.append_column(Column(LATER, Text, default=None if table.name in HASHED_FIRST else "new"))
    today, blank = shapes.today, older.blank
    shapes.today = cache(_today)
    older.blank = lambda: _widened(blank())  # what the migrations of that version would make
    try:
        yield
    finally:
        shapes.today, older.blank = today, blank
        for table in RECORD:
            table._columns.remove(table.c[LATER])  # the library has no public way back


def _today() -> shapes.Made:
    """The tables, guards and indexes of an empty store of that version."""
    with closing(older.blank()) as store, store.read() as tx:
        return shapes.made(tx)


def _widened(store: older.Rehearsed) -> older.Rehearsed:
    """An empty store with the column; it is only read, so its own transaction adds it."""
    for table in RECORD:
        store._only.exec_driver_sql(f"ALTER TABLE {table.name} ADD COLUMN {LATER} TEXT")
    return store


def widen(store: Store) -> Store:
    """The column in the file, empty in every row, as a migration adds it."""
    with store.write() as tx:
        for table in RECORD:
            tx.exec_driver_sql(f"ALTER TABLE {table.name} ADD COLUMN {LATER} TEXT")
    return store
