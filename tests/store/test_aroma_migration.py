"""A store of the first version becomes one of today, with everything that was in it and every guard."""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.config import Config
from sqlalchemy.exc import DatabaseError

from studyapp.services.checking import check
from studyapp.store import Store, events, open_store, schema
from studyapp.store.engine import connect
from tests.kinds.aroma.aroma_kitchen import PLAN, furnish_aroma


def first_version(file: str) -> None:
    """A store as the first version left it, with a sealed study of hours."""
    store = Store(connect(file))
    config = Config()
    config.set_main_option("script_location", "studyapp.store:migrations")
    config.set_main_option("path_separator", "os")
    with store.write() as tx:
        config.attributes["connection"] = tx
        command.upgrade(config, "0001")
        tx.exec_driver_sql("INSERT INTO meta (key, value) VALUES ('code salt', 'salt')")
        tx.exec_driver_sql(
            "INSERT INTO study (id, state, look, plan, seal, created_at, example)"
            " VALUES ('old', 'sealed', 1, '{\"title\": \"Old\"}', 'x', 't', FALSE)"
        )
        tx.exec_driver_sql("INSERT INTO person (id, name, created_at) VALUES ('p', 'A. Name', 't')")
    store.close()


def shape(store: Store) -> dict[str, str]:
    """Every table, index and trigger as SQLite keeps them; a column added later stands last in its text."""
    with store.read() as tx:
        rows = tx.exec_driver_sql("SELECT type, name, sql FROM sqlite_master WHERE sql IS NOT NULL").all()
    return {f"{kind} {name}": sql for kind, name, sql in rows}


def test_a_first_store_is_brought_up_to_date(tmp_path: Path) -> None:
    """Rows stay, the old study is one of hours, and tables, indexes and guards are those of a new store."""
    old, new = str(tmp_path / "old.sqlite"), str(tmp_path / "new.sqlite")
    first_version(old)
    store, fresh = open_store(old), open_store(new)
    assert shape(store) == shape(fresh)
    with store.read() as tx:
        assert tx.exec_driver_sql("SELECT kind, plan FROM study").one() == ("hours", '{"title": "Old"}')
        assert tx.exec_driver_sql("SELECT name FROM person").scalar() == "A. Name"
        assert tx.exec_driver_sql("SELECT version_num FROM alembic_version").scalar() == "0005"
    for change in ("UPDATE study SET plan = '{}'", "UPDATE study SET kind = 'aroma'"):
        with pytest.raises(DatabaseError, match="sealed"), store.write() as tx:
            tx.exec_driver_sql(change)
    store.close()
    fresh.close()


def test_a_step_that_fails_leaves_the_first_version(tmp_path: Path) -> None:
    """Rows in the old table of trials came from no version of the app: nothing is dropped, nothing half done."""
    file = str(tmp_path / "old.sqlite")
    first_version(file)
    store = Store(connect(file))
    with store.write() as tx:
        tx.exec_driver_sql("INSERT INTO assessor (id, pseudonym, may_taste, created_at) VALUES ('a', 'A', TRUE, 't')")
        tx.exec_driver_sql(
            "INSERT INTO trial (study_id, assessor_id, method, number, presented, chosen, correct, guessed, nonce, at,"
            " sha256) VALUES ('old', 'a', 'triangle', 1, '[]', '1', TRUE, FALSE, 'n', 't', 'h')"
        )
    before = shape(store)
    store.close()
    with pytest.raises(RuntimeError, match="no version of the app"):
        open_store(file)
    store = Store(connect(file))
    assert shape(store) == before
    store.close()


@pytest.mark.postgres
def test_an_aroma_study_runs_on_postgres(postgres: str) -> None:
    """Same rows, same guards, one answer a set, a sound record."""
    with contextlib.closing(open_store(postgres)) as store:
        kitchen = furnish_aroma(store, PLAN)
        kitchen.taste_all(lambda _name, _level, number: number == 1)
        for change in (
            "UPDATE study SET kind = 'hours'",
            "UPDATE trial_set SET samples = '[]'",
            "UPDATE trial_sample SET plain = TRUE",
            "DELETE FROM trial",
        ):
            with pytest.raises(DatabaseError, match=r"sealed|append-only"), store.write() as tx:
                tx.exec_driver_sql(change)
        again = "SELECT set_id, '[]', FALSE, 'x', at, 'h' FROM trial LIMIT 1"
        with pytest.raises(DatabaseError, match="uq_trial_answer"), store.write() as tx:
            tx.exec_driver_sql(f"INSERT INTO trial (set_id, choice, guess, nonce, at, sha256) {again}")
        assert check(postgres).sound


def test_every_column_of_a_set_and_a_box_is_covered(tmp_path: Path) -> None:
    """What the chain leaves out of a set is only how far it went."""
    from studyapp.store.covers import COVERED, MOVING

    assert {schema.trial_set.name, schema.trial_sample.name} <= set(COVERED)
    assert MOVING["trial_set"] == {"started_at", "finished_at", "outcome"}
    store: Any = open_store(str(tmp_path / "studies.sqlite"))
    kitchen = furnish_aroma(store)
    with store.read() as tx:
        kinds = [event.kind for event in events.all_events(tx, kitchen.study)]
    assert kinds.count("sets dealt") == 2
    assert kinds.count("samples named") == 1
    store.close()
