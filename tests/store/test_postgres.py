"""The same store on PostgreSQL: same rows, same chain, same guards, no fork among several servers."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from sqlalchemy.exc import DBAPIError

from studyapp.errors import NotAllowed, StoreProblem
from studyapp.kinds.hours import deciding
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, Mark
from studyapp.services import (
    accounts,
    backups,
    closing,
    joining,
    panel,
    planning,
    preparing,
    spreads,
    tasting,
    watching,
)
from studyapp.services.checking import check
from studyapp.store import Store, events, open_store
from tests.conftest import CHECKS

pytestmark = pytest.mark.postgres
PHRASE = "a bench by the window"


@pytest.fixture
def store(postgres: str) -> Any:
    """A fresh store."""
    opened = open_store(postgres)
    yield opened
    opened.close()


def sealed(store: Store) -> tuple[Any, Any, str, Any]:
    """Staff, a sealed study and its open sitting with every tray out."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)
    seated = tuple(panel.add_assessor(store, leader, f"Seat {n}").id for n in range(5))
    plan = HoursPlan(
        "On PostgreSQL",
        question="Is 8 h enough?",
        pulls=(Pull(0), Pull(8), Pull(24)),
        attributes=(Attribute("Acidity"),),
        assessors=seated,
        looks=1,
        sittings=1,
        rest_seconds=0,
        contains="cocoa",
    )
    study = planning.new_study(store, leader, "hours", plan.title)
    planning.keep_plan(store, leader, study, plan)
    planning.seal(store, leader, study, plan.title)
    (sitting,) = preparing.sittings(store, preparer, study)
    for tray in preparing.trays(store, preparer, sitting.id):
        preparing.release_tray(store, preparer, sitting.id, tray.position, CHECKS, "Cleo")
    watching.open_sitting(store, leader, sitting.id)
    return leader, preparer, study, sitting


def test_a_whole_study_runs_and_verifies(store: Store, postgres: str) -> None:
    """From the first leader to a signed verdict; the record is sound and knows its head."""
    leader, preparer, study, sitting = sealed(store)
    key = preparing.levels_by_code(store, preparer, sitting.id)
    for number, link in enumerate(joining.issue_links(store, leader, sitting.id)):
        token = joining.join(store, link.code, "10.0.0.7", None)
        here = tasting.agree(store, token)
        while here.kind in ("warm_up", "serving"):
            for line in here.lines:
                value = 8 - key[here.code] / 6 + number / 10
                nonce = f"{here.serving}{line.id}"[:64]
                for again in (False, True):
                    assert tasting.keep_mark(store, token, Mark(here.serving, line.id, value, nonce)).again is again
            here = tasting.finish_serving(store, token, here.serving)
    tasting_note = "number two was grainy"
    tasting.send_note(store, token, tasting_note)
    closing.open_key(store, leader, study, "Ada")
    assert len(deciding.scores(store, leader, study)) == 15
    known = spreads.of_panel(store, leader)
    assert (known.studies, known.assessors, known.invented, known.source("acidity")) == (1, 5, False, "own")
    closing.sign(store, leader, study, "ran the test")
    report = check(postgres)
    assert report.sound, report
    assert check(postgres, report.head).sound


def test_an_account_begins_changes_ends_and_comes_back(store: Store, postgres: str) -> None:
    """The same doors as on SQLite: each step ends the sign-ins before it, and the list tells where people are."""
    leader = accounts.first_leader(store, "Ada", PHRASE)
    preparer = accounts.add_staff(store, leader, "Ben", "preparer", PHRASE)
    first = accounts.sign_in(store, "Ben", PHRASE, "10.0.0.7")
    second = accounts.change_passphrase(store, first, PHRASE, "a stool by the stove", "10.0.0.7")
    assert [accounts.staff_of(store, token) for token in (first, second)] == [None, preparer]
    assert [one.browsers for one in accounts.everybody(store, leader)] == [0, 1]
    accounts.end_account(store, leader, preparer.id)
    assert accounts.staff_of(store, second) is None
    with pytest.raises(NotAllowed):
        accounts.sign_in(store, "Ben", "a stool by the stove", "10.0.0.7")
    accounts.give_passphrase(store, leader, preparer.id, PHRASE)
    assert accounts.staff_of(store, second) is None
    assert accounts.staff_of(store, accounts.sign_in(store, "Ben", PHRASE, "10.0.0.7")) == preparer
    assert check(postgres).sound


@pytest.mark.parametrize("table", ["score", "trial", "event"])
def test_the_database_refuses_to_change_the_record(store: Store, table: str) -> None:
    """Update, removal and emptying are refused by the server itself."""
    for statement in (f"UPDATE {table} SET at = 'x'", f"DELETE FROM {table}", f"TRUNCATE {table} CASCADE"):
        with pytest.raises(DBAPIError, match="append-only"), store.write() as tx:
            tx.exec_driver_sql(statement)


def test_a_sealed_plan_cannot_be_changed_by_sql(store: Store) -> None:
    """Only the state of a sealed study moves on."""
    sealed(store)
    for statement in ("UPDATE study SET plan = '{}'", "UPDATE serving SET code = '1'", "UPDATE sample SET hours = 1"):
        with pytest.raises(DBAPIError, match="sealed"), store.write() as tx:
            tx.exec_driver_sql(statement)


def test_two_servers_write_one_unbroken_chain(store: Store, postgres: str) -> None:
    """Two engines with six threads each: without the lock before reading the head the chain forks."""
    other = open_store(postgres)

    def write(where: Store) -> None:
        for _ in range(20):
            with where.write() as tx:
                events.append(tx, "tick", {})

    threads = [threading.Thread(target=write, args=(where,)) for where in (store, other) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    other.close()
    report = check(postgres)
    assert report.sound
    assert report.events == 240


def test_two_servers_may_start_at_the_same_moment(postgres: str) -> None:
    """The tables are made once, and both can write."""
    said: list[BaseException] = []
    ready = threading.Barrier(3)

    def start() -> None:
        ready.wait()
        try:
            store = open_store(postgres)
            with store.write() as tx:
                events.append(tx, "started", {})
            store.close()
        except BaseException as error:
            said.append(error)

    threads = [threading.Thread(target=start) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert said == []
    assert check(postgres).events == 3


GUARDS = {
    "switched off": ("ALTER TABLE score DISABLE TRIGGER score_stands", "guard score_stands is gone"),
    "gone": ("DROP TRIGGER sample_fixed ON sample", "guard sample_fixed is gone"),
    "a hollow function": (
        "CREATE OR REPLACE FUNCTION event_stands() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$",
        "trigger event_stands of event",
    ),
    "never": (
        (
            "DROP TRIGGER serving_fixed ON serving; CREATE TRIGGER serving_fixed BEFORE UPDATE OF code ON serving"
            " FOR EACH ROW WHEN (FALSE) EXECUTE FUNCTION serving_stands()"
        ),
        "trigger serving_fixed of serving",
    ),
    "one of one's own": (
        (
            "CREATE FUNCTION aside() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$;"
            "CREATE TRIGGER helper BEFORE INSERT ON score FOR EACH ROW EXECUTE FUNCTION aside()"
        ),
        "trigger helper of score",
    ),
    "an index": ("DROP INDEX uq_trial_answer", "index uq_trial_answer of trial"),
}


@pytest.mark.parametrize("name", GUARDS)
def test_a_guard_that_holds_nothing_back_is_named(store: Store, postgres: str, name: str) -> None:
    """Whether it is there, on, watches its columns, and refuses."""
    assert check(postgres).sound
    change, said = GUARDS[name]
    with store.engine.begin() as connection:
        connection.exec_driver_sql(change)
    assert any(said in finding.sentence for finding in check(postgres).findings if finding.level == "error")


def test_an_edited_state_is_named(store: Store, postgres: str) -> None:
    """The state that the events give, on this database as on the other."""
    _leader, preparer, study, sitting = sealed(store)
    edits = {
        f"UPDATE sitting SET state = 'paused' WHERE id = '{sitting.id}'": f"state in row {sitting.id} of sitting",
        f"UPDATE study SET state = 'opened' WHERE id = '{study}'": f"state in row {study} of study",
        f"UPDATE staff SET role = 'leader' WHERE id = '{preparer.id}'": f"role in row {preparer.id} of staff",
    }
    assert check(postgres).sound
    for change in edits:
        with store.engine.begin() as connection:
            connection.exec_driver_sql(change)
    told = " ".join(finding.sentence for finding in check(postgres).findings)
    assert [said for said in edits.values() if said not in told] == []


def test_a_row_out_of_every_study_is_named_in_both_modes(store: Store, postgres: str, tmp_path: Any) -> None:
    """Whoever owns the database may switch its own checks off; a check goes on from a point there as well."""
    sealed(store)
    assert check(postgres, points=tmp_path).sound
    with store.engine.begin() as tx:
        tx.exec_driver_sql("SET session_replication_role = replica")
        tx.exec_driver_sql("DROP TRIGGER serving_fixed ON serving")
        tx.exec_driver_sql("UPDATE serving SET sitting_id = 'elsewhere' WHERE id = (SELECT min(id) FROM serving)")
    for report in (check(postgres), check(postgres, points=tmp_path)):
        assert any("points at nothing" in finding.sentence for finding in report.findings if finding.level == "error")


def test_backups_are_left_to_the_databases_own_tools(postgres: str, tmp_path: Any) -> None:
    """One sentence that names them."""
    with pytest.raises(StoreProblem, match="pg_dump"):
        backups.backup(postgres, tmp_path / "copy.sqlite")


def test_a_server_that_does_not_answer_is_told_in_one_sentence() -> None:
    """Nothing about hosts and stacks."""
    with pytest.raises(StoreProblem, match=r"^Not done: the store does not answer[^\n]+$"):
        open_store("postgresql://postgres@127.0.0.1:9/none")
