"""The chain, the guards and the transactions they live in."""

from __future__ import annotations

import hashlib
import itertools
import json
import threading
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import DatabaseError

from studyapp.store import events, trials
from tests.furnished import empty


@pytest.fixture
def store(tmp_path: Path) -> Any:
    """An empty store."""
    opened = empty(tmp_path / "studies.sqlite")
    yield opened
    opened.close()


def one_mark(hand: Any) -> None:
    """Agree, taste, mark the first line."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 5.0)


def test_each_event_is_hashed_over_the_one_before(store: Any) -> None:
    """Anybody can recompute the chain with a JSON library and SHA-256."""
    with store.write() as tx:
        events.append(tx, "one", {"b": 2.0, "a": "é"})
        events.append(tx, "two", {}, "study")
    with store.read() as tx:
        first, second = events.all_events(tx)
        assert events.head(tx) == (2, second.hash)
    text = f'{{"at":"{first.at}","body":{{"a":"é","b":2}},"kind":"one","prev":"{"0" * 64}","seq":1,"study":null}}'
    assert first.hash == hashlib.sha256(text.encode()).hexdigest()
    assert second.prev == first.hash


def test_a_change_that_fails_leaves_no_event(store: Any) -> None:
    """Event and row live in one transaction."""

    def fail() -> None:
        with store.write() as tx:
            events.append(tx, "one", {})
            raise RuntimeError("something after the event")

    with pytest.raises(RuntimeError, match="after the event"):
        fail()
    with store.read() as tx:
        assert events.count(tx) == 0


def test_many_threads_write_one_unbroken_chain(store: Any) -> None:
    """One writer behind one lock: no fork, no gap, no error."""

    def write() -> None:
        for _ in range(25):
            with store.write() as tx:
                events.append(tx, "tick", {})

    threads = [threading.Thread(target=write) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.read() as tx:
        chain = events.all_events(tx)
    assert [event.seq for event in chain] == list(range(1, 201))
    assert all(after.prev == before.hash for before, after in itertools.pairwise(chain))


def test_a_reader_sees_one_moment(store: Any) -> None:
    """What is written while somebody reads does not show in the middle of the reading."""
    with store.write() as tx:
        events.append(tx, "one", {})
    with store.read() as reading:
        assert events.count(reading) == 1
        with store.write() as tx:
            events.append(tx, "two", {})
        assert events.count(reading) == 1
    with store.read() as reading:
        assert events.count(reading) == 2


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE score SET value = 9",
        "DELETE FROM score",
        "UPDATE event SET body = '{}'",
        "DELETE FROM event",
        "UPDATE study SET plan = '{}'",
        "UPDATE serving SET sample_id = (SELECT min(id) FROM sample)",
        "UPDATE serving SET code = '999'",
        "UPDATE sample SET hours = 1",
        "UPDATE attribute SET name = 'x'",
    ],
)
def test_the_database_itself_refuses_to_change_the_record(workshop: Any, hand: Any, statement: str) -> None:
    """Guards in the file hold against any program that does not remove them first."""
    one_mark(hand)
    with pytest.raises(DatabaseError, match=r"append-only|sealed"), workshop.store.write() as tx:
        tx.exec_driver_sql(statement)
    assert hand.place().marks_kept == 1


def test_the_database_itself_refuses_to_change_a_trial(workshop: Any) -> None:
    """Forced-choice trials are as final as scores, and one set takes one answer."""
    with workshop.store.write() as tx:
        assessor = tx.exec_driver_sql("SELECT min(id) FROM assessor").scalar()
        row = {"id": "s", "assessor_id": assessor, "position": 1, "level": None, "codes": ["1"], "samples": ["x"]}
        trials.add_sets(tx, workshop.sitting, [row])
        trials.add_answer(tx, workshop.study, "s", ["1"], False, None, "n" * 24)
    for statement in (
        "UPDATE trial SET choice = '[]'",
        "DELETE FROM trial",
        "UPDATE trial_set SET samples = '[]'",
        "UPDATE study SET kind = 'aroma'",
    ):
        with pytest.raises(DatabaseError, match=r"append-only|sealed"), workshop.store.write() as tx:
            tx.exec_driver_sql(statement)
    with pytest.raises(DatabaseError, match="UNIQUE"), workshop.store.write() as tx:
        trials.add_answer(tx, workshop.study, "s", ["2"], False, None, "m" * 24)


def test_every_score_has_its_hash_in_the_chain(workshop: Any, hand: Any) -> None:
    """Row and event come together, and the event holds the row's SHA-256."""
    one_mark(hand)
    with workshop.store.read() as tx:
        row = tx.exec_driver_sql("SELECT id, sha256 FROM score").one()
        bodies = [event.body for event in events.all_events(tx, workshop.study) if event.kind == "score"]
    assert bodies == [{"score": row.id, "sha256": row.sha256}]


def test_events_hold_no_names(workshop: Any, hand: Any) -> None:
    """Names can be erased, events cannot: so events know ids only."""
    one_mark(hand)
    with workshop.store.read() as tx:
        everything = json.dumps([event.body for event in events.all_events(tx)])
    assert not [name for name in ("Ada", "Ben", "Cleo", "Heron") if name in everything]
