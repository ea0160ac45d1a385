"""Worked out once: by one thread, for one store, at one moment of one study; and forgotten in its turn.

What must hold follows from the record alone: whatever adds an event to a study asks anew, and nothing else does.
"""

from __future__ import annotations

import gc
import threading
import weakref
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from studyapp.errors import NotAllowed, NothingToDecide
from studyapp.kinds.aroma import deciding as aroma_deciding
from studyapp.kinds.aroma.findings import told as aroma_pages
from studyapp.kinds.hours import deciding, setting_out
from studyapp.kinds.hours.deciding import ways
from studyapp.printing import papers
from studyapp.services import closing, packages, planning, preparing, refining, watching, worked_out
from studyapp.services.worked_out import Keeper
from studyapp.store import Store, open_store
from tests.stores import earlier
from tests.stores.earlier import Earlier

OPEN, SIGNED, SERVED = "Hours, cannot tell", "Hours, signed", "Hours, being served"


@pytest.fixture(autouse=True)
def _empty(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is kept from the tests before, so that what is kept can be counted."""
    monkeypatch.setattr(worked_out, "_keeper", Keeper())


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """An empty store."""
    kept = open_store(str(tmp_path / "empty.sqlite"))
    yield kept
    kept.close()


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Earlier]:
    """A workshop with studies of either kind, opened and signed."""
    (tmp_path / "earlier").mkdir()
    with earlier.opened("v0002_rule_1", tmp_path / "earlier") as found:
        yield found


def decision(kept: Earlier, title: str = OPEN) -> Any:
    """The verdict of a study of the workshop."""
    return deciding.decision(kept.store, kept.leader, kept.study(title))


# ---- the keeper ------------------------------------------------------------------------------------------------------
def test_many_who_ask_at_once_get_one_answer_that_was_worked_out_once(store: Store) -> None:
    keeper, begun, asked, done = Keeper(), [], threading.Barrier(8), threading.Event()

    def work() -> object:
        begun.append(threading.get_ident())
        assert done.wait(30)
        return object()

    def ask(_number: int) -> object:
        asked.wait(30)
        return keeper.once(store, "answer", work)

    with ThreadPoolExecutor(8) as pool:
        answers = [pool.submit(ask, number) for number in range(8)]
        threading.Timer(0.2, done.set).start()
        found = [answer.result(30) for answer in answers]
    assert len(begun) == 1
    assert len({id(answer) for answer in found}) == 1


def test_what_is_raised_is_not_kept_and_nothing_is_an_answer_too(store: Store) -> None:
    keeper, tries = Keeper(), iter([ZeroDivisionError("once"), None, ZeroDivisionError("never asked again")])

    def work() -> None:
        failure = next(tries)
        if failure is not None:
            raise failure

    with pytest.raises(ZeroDivisionError, match="once"):
        keeper.once(store, "answer", work)
    assert len(keeper) == 0
    assert keeper.once(store, "answer", work) is None
    assert keeper.once(store, "answer", work) is None


def test_whoever_waited_for_a_failure_tries_for_themselves(store: Store) -> None:
    keeper, asked = Keeper(), threading.Barrier(2)
    tries = iter([ZeroDivisionError("the first fails"), None])

    def work() -> str:
        failure = next(tries)
        if failure is not None:
            raise failure
        return "answer"

    def ask(_number: int) -> str:
        asked.wait(30)
        return keeper.once(store, "answer", work)

    with ThreadPoolExecutor(2) as pool:
        answers = [pool.submit(ask, number) for number in range(2)]
    assert sorted(type(answer.exception()).__name__ for answer in answers) == ["NoneType", "ZeroDivisionError"]


def test_the_number_is_bounded_and_the_one_asked_for_longest_ago_goes_first(store: Store) -> None:
    keeper, worked = Keeper(most=3), []

    def ask(name: str) -> None:
        keeper.once(store, name, lambda: worked.append(name))

    for name in "abc":
        ask(name)
    ask("a")
    ask("d")
    assert len(keeper) == 3
    for name in "acd":
        ask(name)
    assert worked == list("abcd")
    ask("b")
    assert worked == list("abcdb")


def test_two_stores_share_nothing_and_are_not_held(tmp_path: Path) -> None:
    """The same name in another store is another answer, even where a new store lies where an old one lay."""
    keeper, stores = Keeper(), [open_store(str(tmp_path / f"{name}.sqlite")) for name in "ab"]
    assert [keeper.once(one, "name", lambda n=n: n) for n, one in enumerate(stores)] == [0, 1]
    assert [keeper.once(one, "name", lambda: 2) for one in stores] == [0, 1]
    gone = weakref.ref(stores[1])
    stores.pop().close()
    gc.collect()
    assert gone() is None
    fresh = open_store(str(tmp_path / "b.sqlite"))
    assert keeper.once(fresh, "name", lambda: 3) == 3
    for each in (fresh, *stores):
        each.close()


def test_one_piece_at_a_time_and_the_background_takes_its_turn(store: Store) -> None:
    """Two answers of different names and a step in the background never run beside each other."""
    keeper, at_work, most, lock = Keeper(), [0], [0], threading.Lock()

    def work() -> None:
        with lock:
            at_work[0] += 1
            most[0] = max(most[0], at_work[0])
        threading.Event().wait(0.05)
        with lock:
            at_work[0] -= 1

    def steps() -> Iterator[int]:
        yield 0
        for number in range(1, 4):
            work()
            yield number

    background = refining.Refining(steps(), at_once=0.0)
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda name: keeper.once(store, name, work), range(4)))
    while not background.over:
        threading.Event().wait(0.01)
    refining.stop()
    assert (background.latest, most[0]) == (3, 1)


def test_work_waits_while_somebody_saves_and_an_answer_that_is_there_does_not(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With quiet never to come, work begins only once the server lets it go; what is kept is there at once."""
    keeper = Keeper()
    keeper.once(store, "kept", lambda: 1)
    for name in ("QUIET_SECONDS", "LONGEST_REST"):
        monkeypatch.setattr(refining, name, 3600.0)
    refining.give_way()
    begun = threading.Event()
    asking = threading.Thread(target=lambda: keeper.once(store, "new", begun.set))
    asking.start()
    assert keeper.once(store, "kept", lambda: 2) == 1
    assert not begun.wait(0.3)
    refining.stop()
    assert begun.wait(30)
    asking.join()
    monkeypatch.setattr(refining._bench, "saved", float("-inf"))


# ---- a study and its events ------------------------------------------------------------------------------------------
def _deviation(kept: Earlier, study: str) -> None:
    watching.note_deviation(kept.store, kept.leader, study, "A window stood open.")


def _signature(kept: Earlier, study: str) -> None:
    closing.sign(kept.store, kept.leader, study, "ran the test")


def _pull(kept: Earlier, study: str) -> None:
    hours = planning.study(kept.store, kept.leader, study).plan.pulls[0].hours
    setting_out.note_pull(kept.store, kept.leader, study, hours, "2026-11-24 10:41")


@pytest.mark.parametrize("act", [_deviation, _signature, _pull])
def test_every_event_of_a_study_asks_anew_and_those_of_others_do_not(
    kept: Earlier, act: Callable[[Earlier, str], None]
) -> None:
    before, beside = decision(kept), deciding.description(kept.store, kept.leader, kept.study(OPEN))
    other = decision(kept, SIGNED)
    assert decision(kept) is before
    act(kept, kept.study(OPEN))
    after = decision(kept)
    assert after is not before
    assert after == before
    assert deciding.description(kept.store, kept.leader, kept.study(OPEN)) is not beside
    assert decision(kept, SIGNED) is other


def test_the_next_sitting_asks_anew_and_each_look_has_its_own_verdict(kept: Earlier) -> None:
    """The second look is closed without a mark: its verdict rests on the same scores, and is another answer."""
    study, first = kept.study(OPEN), decision(kept)
    (sitting,) = deciding.plan_next_sitting(kept.store, kept.leader, study)
    planned = decision(kept)
    assert planned is not first
    assert planned == first
    watching.open_sitting(kept.store, kept.leader, sitting.id)
    watching.close_sitting(kept.store, kept.leader, sitting.id, "the power was cut")
    closing.open_key(kept.store, kept.leader, study, "Ada")
    second = decision(kept)
    assert second is not planned
    assert second.look == 2
    assert first.look == 1


def test_the_price_rests_on_the_other_opened_studies_too(kept: Earlier) -> None:
    """Opening the key of another study tells more of this panel: the price is asked anew, the verdict is not."""

    def price() -> Any:
        return deciding.offers(kept.store, kept.leader, kept.study(OPEN))

    before, verdict, other = price(), decision(kept), kept.study(SERVED)
    assert price() is before
    for sitting in preparing.sittings(kept.store, kept.leader, other):
        if sitting.state != "closed":
            watching.close_sitting(kept.store, kept.leader, sitting.id, "the power was cut")
    assert price() is before
    closing.open_key(kept.store, kept.leader, other, "Ada")
    assert price() is not before
    assert decision(kept) is verdict


def test_the_same_study_in_another_store_is_another_answer(kept: Earlier, tmp_path: Path) -> None:
    study, here = kept.study(SIGNED), decision(kept, SIGNED)
    packages.take_out(kept.store, study, tmp_path / "out")
    other = open_store(str(tmp_path / "other.sqlite"))
    assert packages.bring_in(other, tmp_path / "out") == study
    there = deciding.decision(other, kept.leader, study)
    assert there == here
    assert there is not here
    watching.note_deviation(kept.store, kept.leader, study, "Only here.")
    assert deciding.decision(other, kept.leader, study) is there
    other.close()


def test_a_refusal_is_not_kept(kept: Earlier, workshop: Any) -> None:
    """Who may not ask is refused although the answer is there, and too few scores are told each time."""
    decision(kept)
    preparer = workshop.preparer
    with pytest.raises(NotAllowed):
        deciding.decision(kept.store, preparer, kept.study(OPEN))
    with pytest.raises(NotAllowed):
        aroma_deciding.verdict(kept.store, preparer, kept.study("Aroma, opened"))
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "the power was cut")
    closing.open_key(workshop.store, workshop.leader, workshop.study, "Ada")
    held = len(worked_out._keeper)
    for _again in range(2):
        with pytest.raises(NothingToDecide):
            deciding.decision(workshop.store, workshop.leader, workshop.study)
    assert len(worked_out._keeper) == held


def test_the_report_finds_what_the_page_worked_out(kept: Earlier) -> None:
    """Of either kind: after the page the report adds nothing to what is kept."""
    study = kept.study(OPEN)
    deciding.shown(kept.store, kept.leader, study)
    list(ways.searching(kept.store, kept.leader, study))
    deciding.description(kept.store, kept.leader, study)
    aroma = planning.study(kept.store, kept.leader, kept.study("Aroma, opened"))
    told = aroma_pages.told(kept.store, kept.leader, aroma)
    held = len(worked_out._keeper)
    assert held == 6  # verdict, price, ways and description; an aroma's verdict and what is said of it
    for of in (study, aroma.id):
        assert papers.paper(kept.store, kept.leader, "report", of)[1].startswith(b"%PDF")
    assert len(worked_out._keeper) == held
    assert aroma_pages.told(kept.store, kept.leader, aroma) is told
    watching.note_deviation(kept.store, kept.leader, aroma.id, "A window stood open.")
    assert aroma_pages.told(kept.store, kept.leader, aroma) == told
    assert aroma_pages.told(kept.store, kept.leader, aroma) is not told
