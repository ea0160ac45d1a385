"""Every column that a cover or a row hash vouches for is proven, in rows from before and after a table grew.

Each table of the record has one column more here than the app of today knows: rows of a store that an earlier version
wrote have it empty, rows that were brought in afterwards have it filled. Every cell of one row of each table is forged
in turn, with the guards removed first; the forgeries are undone by rolling back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import pytest
import rfc8785
from sqlalchemy import Connection, Table

from studyapp.store import Store, checks, covers, events, packages, row_hashes, schema
from studyapp.store.checks import Fault
from studyapp.store.migrations.versions import v0001_first, v0002_aroma
from tests.stores import earlier
from tests.stores.later import LATER, RECORD, one_column_more, widen

pytestmark = pytest.mark.reliability
# Their rows came later than those stores; tests/reliability/test_forged_batches.py forges them.
OF_BATCHES = ("batch", "phase", "machine_log", "reading", "flow_point")
BROUGHT = ("Hours, signed", "Aroma, signed")  # together they have a row in every table of the record


@pytest.fixture(scope="module", params=earlier.NAMES)
def grown(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Store]]:
    """`old`: an earlier store whose tables grew; `new`: studies of it brought into a store whose tables had grown."""
    folder = tmp_path_factory.mktemp("grown")
    with one_column_more(), earlier.opened(request.param, folder, widen) as kept:
        new = kept.beside(folder / "new.sqlite")
        for title in BROUGHT:
            _bring(kept.store, kept.study(title), new)
        yield {"old": kept.store, "new": new}
        new.close()


def _bring(source: Store, study: str, target: Store) -> None:
    """A study with the new column filled in every row."""
    with source.read() as tx:
        found = packages.take(tx, study)
    for table in RECORD:
        for row in found[table.name]:
            row[LATER] = "filled"
            if table.name in row_hashes.FIRST:
                row["sha256"] = row_hashes.row_hash(table.name, row)
    with target.write() as tx:
        packages.put(tx, found)


PROVE = {"score": checks.score_faults, "trial": checks.trial_faults}


def faults(tx: Connection) -> list[Fault]:
    """What the rows and the chain give away."""
    told = checks.chain(tx)
    parts = (*PROVE.values(), checks.cover_faults)
    return [*told.faults, *(fault for part in parts for fault in part(tx, told))]


@contextmanager
def forging(store: Store) -> Iterator[Connection]:
    """A transaction without guards that leaves nothing behind."""
    with store.engine.connect() as tx, tx.begin() as all_of_it:
        for (name,) in tx.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'").all():
            tx.exec_driver_sql(f"DROP TRIGGER {name}")
        tx.exec_driver_sql("PRAGMA defer_foreign_keys=ON")
        yield tx
        all_of_it.rollback()


def others(value: Any, name: str) -> set[Any]:
    """Values that a cell does not hold, for the new column none as well; 1001 for 1 could still pass for yes."""
    if value is None:
        return {"forged", 7}
    other = value + 1000 if isinstance(value, (int, float)) else f"{value} "
    return {other, None} if name == LATER else {other}


def unnoticed(tx: Connection, table: str, columns: list[str]) -> list[str]:
    """Those of `columns` in which the last row of a table can be changed without a fault of that table."""
    whole, missed = checks.chain(tx), []
    of_table = tuple(event for event in whole.sound if table in (event[2], event[4].get("table")))
    told = replace(whole, sound=of_table)
    for name in columns:
        value = tx.exec_driver_sql(f'SELECT "{name}" FROM {table} ORDER BY rowid DESC LIMIT 1').scalar()
        for forged in others(value, name):
            change = tx.begin_nested()
            last = f"(SELECT max(rowid) FROM {table})"
            tx.exec_driver_sql(f'UPDATE {table} SET "{name}" = ? WHERE rowid = {last}', (forged,))
            if table not in {fault.table for fault in PROVE.get(table, checks.cover_faults)(tx, told)}:
                missed.append(f"{name}: {value!r} -> {forged!r}")
            change.rollback()
    return missed


def named(table: Table) -> list[str]:
    """The names of all columns."""
    return [column.name for column in table.columns]


def fixed(table: str) -> list[str]:
    """The columns of a table that do not move on with the work."""
    return [name for name in named(schema.metadata.tables[table]) if name not in covers.MOVING.get(table, ())]


@pytest.mark.parametrize("table", [table.name for table in RECORD if table.name not in OF_BATCHES])
@pytest.mark.parametrize("age", ["old", "new"])
def test_a_forged_cell_is_found_in_every_column(grown: dict[str, Store], age: str, table: str) -> None:
    """Columns from before and the one that came later, in rows recorded before and after it came."""
    with forging(grown[age]) as tx:
        assert faults(tx) == []
        assert LATER in fixed(table)
        assert unnoticed(tx, table, fixed(table)) == []


def test_values_that_were_never_recorded_are_named(grown: dict[str, Store]) -> None:
    """Filling the new column of an old row leaves its cover whole, and is still no part of the record."""
    with forging(grown["old"]) as tx:
        tx.exec_driver_sql(f"UPDATE sample SET {LATER} = 'forged' WHERE hours = 8")
        assert faults(tx) == [Fault("uncovered value", "sample", LATER)]


def test_one_more_cover_of_the_same_rows_records_what_a_migration_filled(grown: dict[str, Store]) -> None:
    """From then on both covers hold, rows count once, and the new values are proven like the old."""
    with forging(grown["old"]) as tx:
        tx.exec_driver_sql(f"UPDATE sample SET {LATER} = hours || ' h'")
        for (study,) in tx.exec_driver_sql("SELECT DISTINCT study_id FROM sample").all():
            covers.cover(tx, "columns added", "sample", {"study_id": study}, study)
        assert faults(tx) == []
        assert unnoticed(tx, "sample", fixed("sample")) == []
        columns = "study_id, hours + 1, letter"
        tx.exec_driver_sql(
            f"INSERT INTO sample (id, study_id, hours, letter) SELECT 'x', {columns} FROM sample LIMIT 1"
        )
        assert Fault("uncovered row", "sample") in faults(tx)


# ---- the names themselves --------------------------------------------------------------------------------------------
def _without(name: str) -> Callable[[Connection, dict[str, Any]], dict[str, Any]]:
    """A cover that no longer vouches for one column, with the hash it would then have."""

    def forge(tx: Connection, body: dict[str, Any]) -> dict[str, Any]:
        narrow = {**body, "columns": [each for each in body["columns"] if each != name]}
        return {**narrow, "sha256": events.digest(covers.kept(tx, narrow))}

    return forge


def _nameless(_tx: Connection, body: dict[str, Any]) -> dict[str, Any]:
    """A cover of today made to look like an early one."""
    return {name: value for name, value in body.items() if name != "columns"}


def _shuffled(_tx: Connection, body: dict[str, Any]) -> dict[str, Any]:
    """The same names in another order: no row is told differently, and the event is."""
    return {**body, "columns": body["columns"][::-1]}


NAMES: dict[str, Callable[[Connection, dict[str, Any]], dict[str, Any]]] = {
    "leave out an old column": _without("hours"),
    "leave out the new column": _without(LATER),
    "leave out all names": _nameless,
    "turn the names round": _shuffled,
}


def _cover_of_samples(tx: Connection) -> tuple[int, dict[str, Any]]:
    """Number and body of the first cover of the table."""
    found = next(event for event in events.all_events(tx) if event.body.get("table") == "sample")
    return found.seq, found.body


@pytest.mark.parametrize("name", NAMES)
def test_forged_names_of_a_cover_are_found(grown: dict[str, Store], name: str) -> None:
    """The names stand in the event, and the chain holds the event."""
    with forging(grown["new"]) as tx:
        seq, body = _cover_of_samples(tx)
        forged = rfc8785.dumps(NAMES[name](tx, body)).decode()
        tx.exec_driver_sql("UPDATE event SET body = ? WHERE seq = ?", (forged, seq))
        assert Fault("changed event", "event", str(seq)) in faults(tx)


def test_a_cover_that_vouches_for_less_is_found_in_a_chain_written_anew(grown: dict[str, Store]) -> None:
    """Even before anybody looks for the printed head: the values of the column are then recorded nowhere."""
    with forging(grown["new"]) as tx:
        seq, body = _cover_of_samples(tx)
        _write_anew(tx, seq, _without("hours")(tx, body))
        assert faults(tx) == [Fault("uncovered value", "sample", "hours")]


def test_a_cover_of_a_column_that_never_was_is_a_fault(grown: dict[str, Store]) -> None:
    """Not an error in the middle of the check."""
    with forging(grown["new"]) as tx:
        seq, body = _cover_of_samples(tx)
        _write_anew(tx, seq, {**body, "columns": [*body["columns"], "nobody"]})
        assert Fault("changed cover", "sample", str(seq)) in faults(tx)


def _write_anew(tx: Connection, from_seq: int, body: dict[str, Any]) -> None:
    """Put another body into one event and link everything after it again."""
    told = [event for event in events.all_events(tx) if event.seq >= from_seq]
    tx.exec_driver_sql("UPDATE event SET prev = 'p' || seq, hash = 'h' || seq WHERE seq >= ?", (from_seq,))
    prev = told[0].prev
    for event in told:
        kept = body if event.seq == from_seq else event.body
        hash_ = events.link(event.seq, event.at, event.kind, event.study, kept, prev)
        row = (rfc8785.dumps(kept).decode(), prev, hash_, event.seq)
        tx.exec_driver_sql("UPDATE event SET body = ?, prev = ?, hash = ? WHERE seq = ?", row)
        prev = hash_


# ---- the columns of the first days -----------------------------------------------------------------------------------
def test_covers_without_names_vouch_for_the_columns_of_their_schema() -> None:
    """The frozen tables of the first two migrations say which columns there were."""
    then = {**v0001_first.metadata.tables, "trial_sample": v0002_aroma.trial_sample, "trial_set": v0002_aroma.trial_set}
    for table, names in covers.FIRST.items():
        there = [name for name in named(then[table]) if name not in covers.MOVING.get(table, ())]
        assert list(names) == there
    hashed = {"score": v0001_first.score, "trial": v0002_aroma.trial}
    for table, first in row_hashes.FIRST.items():
        assert [*first] == [name for name in named(hashed[table]) if name not in row_hashes.BESIDE]


def test_no_two_columns_of_a_hashed_row_go_by_one_name() -> None:
    """A later column called like an early name in the hash would push a value out of it."""
    for table, first in row_hashes.FIRST.items():
        names = [first.get(name, name) for name in named(schema.metadata.tables[table])]
        assert len(set(names)) == len(names)
