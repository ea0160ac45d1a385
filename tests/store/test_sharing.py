"""Many small writes at one moment share a transaction, and each is still kept whole or not at all."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable
from contextvars import ContextVar
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import event, text

from studyapp.errors import BadInput, StoreProblem
from studyapp.store import events
from studyapp.waiting import Desk
from tests.conftest import apart
from tests.furnished import empty


@pytest.fixture
def store(tmp_path: Path) -> Any:
    """An empty store."""
    opened = empty(tmp_path / "studies.sqlite")
    yield opened
    opened.close()


def together(store: Any, acts: list[Callable[[Any], Any]]) -> list[Any]:
    """All acts at one moment: the writer is held until every one of them waits. Results and errors in order."""
    found: list[Any] = [None] * len(acts)

    def run(number: int) -> None:
        try:
            found[number] = store.write_together(acts[number])
        except Exception as error:
            found[number] = error

    threads = [threading.Thread(target=run, args=(number,)) for number in range(len(acts))]
    with store._lock:
        for thread in threads:
            thread.start()
        while len(store._waiting) < len(acts):
            threading.Event().wait(0.001)
    for thread in threads:
        thread.join()
    return found


def tick(tx: Any) -> int:
    """One small write."""
    return events.append(tx, "tick", {}).seq


def test_those_who_wait_together_are_kept_by_one_commit(store: Any) -> None:
    """Forty writes, one flush of the disk, forty answers."""
    commits: list[int] = []
    event.listen(store.engine, "commit", lambda _connection: commits.append(1))
    found = together(store, [tick] * 40)
    assert sorted(found) == list(range(1, 41))
    assert len(commits) == 1


def test_a_refusal_undoes_its_own_work_only(store: Any) -> None:
    """What one writes before it is refused leaves no trace; its neighbours are kept."""

    def refused(tx: Any) -> None:
        tick(tx)
        raise BadInput("Fix the mark.")

    found = together(store, [tick, refused, tick, refused, tick])
    with store.read() as tx:
        assert events.count(tx) == 3
    assert [type(each) for each in found].count(BadInput) == 2
    assert sorted(each for each in found if isinstance(each, int)) == [1, 2, 3]


def test_a_failing_database_keeps_nobody_and_tells_everybody(store: Any) -> None:
    """No answer without a row: all who shared the transaction hear that nothing was kept, and may try again."""
    found = together(store, [tick, lambda tx: tx.execute(text("SELECT * FROM no_such_table")), tick])
    assert [type(each) for each in found] == [StoreProblem] * 3
    with store.read() as tx:
        assert events.count(tx) == 0
    assert store.write_together(tick) == 1


@pytest.mark.parametrize("what", [RuntimeError("a defect"), KeyboardInterrupt()])
def test_a_commit_that_never_came_is_no_answer(store: Any, what: BaseException) -> None:
    """Whatever ends the shared transaction, nobody in it hears that they were kept."""

    def strike(_connection: Any) -> None:
        event.remove(store.engine, "commit", strike)
        raise what

    event.listen(store.engine, "commit", strike)
    with pytest.raises(type(what)):
        store.write_together(tick)
    with store.read() as tx:
        assert events.count(tx) == 0
    assert store.write_together(tick) == 1


def test_many_given_at_once_are_kept_by_one_commit_and_answered_in_order(store: Any) -> None:
    """Who is refused hears it, and leaves nothing; what all of them did is done once."""
    commits: list[int] = []
    event.listen(store.engine, "commit", lambda _connection: commits.append(1))

    def refused(tx: Any) -> None:
        tick(tx)
        raise BadInput("Fix the mark.")

    assert store.write_all([tick, tick, tick]) == [1, 2, 3]
    assert len(commits) == 1
    found = store.write_all([tick, refused, tick])
    assert [type(each) for each in found] == [int, BadInput, int]
    with store.read() as tx:
        assert events.count(tx) == 5


def test_a_crowd_at_the_desk_shares_transactions_and_keeps_its_languages(store: Any) -> None:
    """A hundred at one moment: few commits, each its own answer; a sentence is in the language of whoever asked."""
    commits: list[int] = []
    event.listen(store.engine, "commit", lambda _connection: commits.append(1))
    speaks: ContextVar[str] = ContextVar("speaks")

    async def one(desk: Desk, number: int) -> Any:
        speaks.set(f"language {number}")

        def act(tx: Any) -> str:
            tick(tx)
            if number % 10 == 9:
                raise BadInput(speaks.get())
            return speaks.get()

        try:
            return await desk.keep(store, act)
        except BadInput as refused:
            return f"not {refused}"

    async def crowd() -> list[Any]:
        desk = Desk(most=40)
        return list(await asyncio.gather(*(one(desk, number) for number in range(100))))

    found = apart(crowd())
    assert found == [f"{'not ' if number % 10 == 9 else ''}language {number}" for number in range(100)]
    assert len(commits) < 10
    with store.read() as tx:
        assert events.count(tx) == 90


def test_a_failing_database_is_heard_at_the_desk(store: Any) -> None:
    """By everybody in the same go; the desk goes on afterwards."""

    async def crowd() -> list[Any]:
        desk = Desk()
        broken = [tick, lambda tx: tx.execute(text("SELECT * FROM no_such_table"))]
        first = await asyncio.gather(*(desk.keep(store, act) for act in broken), return_exceptions=True)
        return [*first, await desk.keep(store, tick)]

    assert [type(each) for each in apart(crowd())] == [StoreProblem, StoreProblem, int]


def test_alone_it_is_a_transaction_like_any_other(store: Any) -> None:
    """The answer is what the work returned, after the commit."""
    assert store.write_together(tick) == 1
    with store.read() as tx:
        assert events.count(tx) == 1
