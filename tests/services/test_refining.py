"""Work in the background: it grows, ends, can be given up, fails in the open, and leaves no thread behind."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest

from analysis.planning.operating_characteristics import operating_characteristics
from studyapp.kinds.hours.deciding import prospects
from studyapp.kinds.hours.deciding.scenarios import usual
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.kinds.hours.rule import rule_of
from studyapp.records import Attribute, Chance
from studyapp.services import refining
from studyapp.services.refining import Refining

HOURS = (0.0, 4.0, 8.0, 12.0, 16.0, 20.0, 24.0, 30.0)
BLOCKS = HoursPlan(
    "x",
    pulls=tuple(Pull(h) for h in HOURS),
    attributes=(Attribute("acidity"), Attribute("bitterness")),
    assessors=tuple(f"a{n}" for n in range(8)),
    control=0.0,
    looks=2,
    sittings=2,
)


@pytest.fixture(autouse=True)
def _quiet() -> Iterator[None]:
    """No test leaves work behind."""
    yield
    refining.stop()
    assert "refining" not in threads()


def threads() -> list[str]:
    """Names of the threads that run."""
    return [thread.name for thread in threading.enumerate()]


def until(true: Callable[[], object], seconds: float = 30) -> None:
    """Wait until something is so; fail when it never is."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        threading.Event().wait(0.005)


class Steps:
    """Counts upwards; each step in the background waits until it is let through. The first is free."""

    def __init__(self, last: int = 1000) -> None:
        self.last, self.begun, self.through = last, 0, threading.Semaphore(1)

    def __iter__(self) -> Iterator[int]:
        for number in range(self.last):
            self.begun = number + 1
            assert self.through.acquire(timeout=30)
            yield number


# ---- how an answer grows ---------------------------------------------------------------------------------------------
def test_the_first_step_is_there_at_once_and_the_last_one_in_the_end() -> None:
    work = Refining(iter(range(500)), at_once=0.0)
    assert work.latest == 0
    until(lambda: work.over)
    assert (work.latest, work.look(), work.failure) == (499, 499, None)
    until(lambda: "refining" not in threads())


def test_short_work_ends_in_the_first_moment_without_a_thread() -> None:
    work = Refining(iter([1, 2, None, 3, None]), at_once=60.0)
    assert (work.latest, work.over) == (3, True)
    assert "refining" not in threads()


def test_what_grows_ends_at_the_answer_of_the_statistics() -> None:
    """However the steps fell, 300 studies with seed 5 are those of a call for 300, for blocks and for other designs."""
    work = Refining(prospects.more_and_more(BLOCKS, 5, 300), at_once=0.0)
    seen = [work.latest]
    until(lambda: (seen.append(work.look()), work.over)[1])
    assert work.latest == prospects.what_it_can_show(BLOCKS, 5, 300)
    counts = [power.done for power in seen if power is not None]
    assert counts == sorted(counts)
    assert 0 < counts[0] < counts[-1] == 900
    longer = replace(BLOCKS, sittings=3)
    for plan, chance in ((BLOCKS, work.latest.stop_by), (longer, work.latest.one_more_sitting)):
        rule = rule_of(plan, 2)
        found = operating_characteristics(usual(rule, HOURS), rule, prospects.design_of(plan), 300, 5)
        assert chance == Chance(found.stop_by(16.0), 300)


def test_the_error_of_a_chance_shrinks_and_is_never_nothing() -> None:
    """By hand, two studies added on either side: none of 96 is 2 of 100, two standard errors of which are 0.028."""
    assert Chance(0.0, 96).error == pytest.approx(2 * (0.02 * 0.98 / 100) ** 0.5)
    assert Chance(0.5, 9996).error == pytest.approx(0.01)
    assert Chance(1.0, 96).error == pytest.approx(Chance(0.0, 96).error)


# ---- giving up -------------------------------------------------------------------------------------------------------
def test_cancelled_work_takes_no_further_step() -> None:
    steps = Steps()
    work = Refining(iter(steps), at_once=0.0)
    until(lambda: steps.begun == 2)
    work.cancel()
    steps.through.release()
    until(lambda: "refining" not in threads())
    assert (work.latest, steps.begun, work.over) == (0, 2, True)
    assert work.look() == 0
    assert "refining" not in threads()


def test_many_pieces_share_one_thread_and_take_turns() -> None:
    every = [Steps() for _piece in range(6)]
    works = [Refining(iter(steps), at_once=0.0) for steps in every]
    for round_ in range(2, 5):
        for steps in every:
            steps.through.release()
        until(lambda at_least=round_: all(work.latest is not None and work.latest >= at_least - 1 for work in works))
        assert threads().count("refining") == 1
    for work, steps in zip(works, every, strict=True):
        work.cancel()
        steps.through.release()


def test_what_nobody_looks_at_rests_and_goes_on_when_somebody_does(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(refining, "UNSEEN_SECONDS", 0.0)
    work = Refining(iter(range(3)), at_once=0.0)
    until(lambda: "refining" not in threads())
    assert (work.latest, work.over) == (0, False)
    monkeypatch.undo()
    work.look()
    until(lambda: work.over)
    assert work.latest == 2


def test_stopping_waits_for_the_step_and_is_not_for_ever() -> None:
    steps = Steps()
    work = Refining(iter(steps), at_once=0.0)
    until(lambda: steps.begun == 2)
    steps.through.release()
    steps.through.release()
    refining.stop()
    assert "refining" not in threads()
    reached = steps.begun
    steps.through.release()
    steps.through.release()
    until(lambda: work.look() is not None and steps.begun > reached)
    work.cancel()
    steps.through.release()


def test_the_next_step_waits_while_something_is_saved_but_not_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    """With quiet never to come, only the bound on the rest lets the second step and all further ones happen."""
    monkeypatch.setattr(refining, "QUIET_SECONDS", 3600.0)
    monkeypatch.setattr(refining, "LONGEST_REST", 3600.0)
    refining.give_way()
    work = Refining(iter(range(1000)), at_once=0.0)
    until(lambda: work.latest == 1)
    refining.stop()
    assert (work.latest, work.over) == (1, False)
    monkeypatch.setattr(refining, "LONGEST_REST", 0.0)
    work.look()
    until(lambda: work.over)
    assert work.latest == 999


# ---- failing ---------------------------------------------------------------------------------------------------------
def _failing() -> Iterator[int]:
    yield 1
    raise ZeroDivisionError("nobody may read this")


def test_a_failure_in_the_background_is_kept_and_ends_that_piece_only() -> None:
    other = Refining(iter(range(2000)), at_once=0.0)
    work = Refining(_failing(), at_once=0.0)
    until(lambda: work.over and other.over)
    assert isinstance(work.failure, ZeroDivisionError)
    assert (work.latest, other.latest) == (1, 1999)


def test_a_failure_in_the_first_moment_is_raised_where_it_was_asked() -> None:
    with pytest.raises(ZeroDivisionError):
        Refining(_failing(), at_once=60.0)
