"""A set of cups before an assessor: one final choice, kept once, told blind."""

from __future__ import annotations

import dataclasses
import json
import subprocess
import sys
import threading
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy.exc import DatabaseError

from studyapp.errors import BadInput, NotAllowed, OutOfDate
from studyapp.services import joining, preparing, tasting, trying, watching
from studyapp.services.checking import check
from studyapp.store import sittings, trials
from tests.furnished import reached
from tests.kinds.aroma.aroma_kitchen import CANARIES, PLAN, Kitchen, Taster, key_of

METHODS = {
    "triangle": (3, 1),
    "duo-trio": (3, 1),
    "two-alternative": (2, 1),
    "three-alternative": (3, 1),
    "tetrad": (4, 2),
    "two-out-of-five": (5, 2),
}


@pytest.fixture
def kitchen(make: Any) -> Kitchen:
    """A triangle study of five people."""
    return make(assessors=5)


@pytest.fixture
def tasters(kitchen: Kitchen) -> list[Taster]:
    """Everybody at the first sitting."""

    def sit_down() -> list[tuple[str, str]]:
        return [(taster.name, taster.token) for taster in kitchen.serve(kitchen.sittings()[0])]

    return [Taster(kitchen, *one) for one in reached(kitchen.store, sit_down, "everybody at the first sitting")]


def rows(kitchen: Kitchen) -> list[Any]:
    """Every kept row."""
    with kitchen.store.read() as tx:
        return trials.all_answers(tx)


@pytest.mark.parametrize("method", METHODS)
def test_the_page_of_every_test_asks_and_shows_its_cups(make: Any, method: str) -> None:
    """Codes in the order of tasting, how many to pick, and for the duo-trio that the first is the reference."""
    kitchen = make(replace(PLAN, method=method, nameable=True, note="mint"), 5)
    here = kitchen.serve(kitchen.sittings()[0])[0].place()
    cups, pick = METHODS[method]
    assert (here.kind, len(here.cups), here.pick) == ("trial", cups, pick)
    assert len(set(here.cups)) == cups
    assert here.tell_reference == (method == "duo-trio")
    assert ("mint" in here.ask) == method.endswith("-alternative")
    assert (here.number, here.of) == (1, 2)


@pytest.mark.parametrize("retaste", [True, False])
def test_whether_one_may_taste_again_is_the_plans(make: Any, retaste: bool) -> None:
    """ISO 4120 7.2: allowed or not, but fixed for the study."""
    kitchen = make(replace(PLAN, retaste=retaste), 5)
    assert kitchen.serve(kitchen.sittings()[0])[0].place().may_go_back is retaste


def test_a_choice_is_kept_with_its_guess(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """One row, with the codes named and that it was a guess; the next set follows."""
    here = tasters[0].place()
    kept = tasters[0].choose(here, (here.cups[1],), guess=True, nonce="n" * 24)
    assert not kept.again
    (row,) = rows(kitchen)
    assert (row.set, row.choice, row.guess, row.nonce, row.at) == (here.trial, (here.cups[1],), True, "n" * 24, kept.at)
    after = tasters[0].place()
    assert (after.kind, after.number, after.marks_kept, after.saved_at) == ("trial", 2, 1, kept.at)


def test_the_same_nonce_twice_is_one_choice(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """A phone that never heard the answer may send again; a double tap makes one answer."""
    here = tasters[0].place()
    first = tasters[0].choose(here, (here.cups[0],), nonce="n" * 24)
    again = tasters[0].choose(here, (here.cups[0],), nonce="n" * 24)
    assert (again.again, again.at) == (True, first.at)
    assert len(rows(kitchen)) == 1


def test_a_nonce_cannot_carry_another_choice(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """A nonce names one choice, never a second one."""
    here = tasters[0].place()
    tasters[0].choose(here, (here.cups[0],), nonce="n" * 24)
    with pytest.raises(BadInput, match="another"):
        tasters[0].choose(here, (here.cups[1],), nonce="n" * 24)


def test_a_choice_is_final(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """ISO 4120 7.5: no changed answers, also on screens; the sentence says when it was kept."""
    here = tasters[0].place()
    kept = tasters[0].choose(here, (here.cups[0],))
    with pytest.raises(OutOfDate, match=f"Kept already at {kept.at[11:16]}"):
        tasters[0].choose(here, (here.cups[1],))
    assert len(rows(kitchen)) == 1


@pytest.mark.parametrize("picked", [(), ("100", "101"), ("xyz",), (7,), None, "739"])
def test_a_choice_that_answers_nothing_is_refused(kitchen: Kitchen, tasters: list[Taster], picked: Any) -> None:
    """What a browser sends is checked on the server."""
    here = tasters[0].place()
    with pytest.raises(BadInput):
        tasters[0].choose(here, picked)
    assert rows(kitchen) == []


def test_a_pair_is_two_different_cups(make: Any) -> None:
    """One code twice is no pair; the order of touching does not matter."""
    kitchen = make(replace(PLAN, method="tetrad"), 5)
    taster = kitchen.serve(kitchen.sittings()[0])[0]
    here = taster.place()
    for picked in ((here.cups[0],), (here.cups[0], here.cups[0]), here.cups[:3]):
        with pytest.raises(BadInput, match="2"):
            taster.choose(here, picked)
    taster.choose(here, (here.cups[3], here.cups[0]), nonce="n" * 24)
    assert taster.choose(here, (here.cups[0], here.cups[3]), nonce="n" * 24).again


def test_the_reference_cannot_be_chosen(make: Any) -> None:
    """In the duo-trio test the first cup is given."""
    kitchen = make(replace(PLAN, method="duo-trio"), 5)
    taster = kitchen.serve(kitchen.sittings()[0])[0]
    here = taster.place()
    with pytest.raises(BadInput, match="reference"):
        taster.choose(here, (here.cups[0],))


@pytest.mark.parametrize("guess", [None, 1, "yes"])
def test_a_guess_is_yes_or_no(kitchen: Kitchen, tasters: list[Taster], guess: Any) -> None:
    """Whether it was a guess is said, not left out."""
    here = tasters[0].place()
    with pytest.raises(BadInput, match="guess"):
        tasters[0].choose(here, (here.cups[0],), guess)


def test_another_assessors_set_is_refused(tasters: list[Taster]) -> None:
    """A token opens its own sets only."""
    theirs = tasters[1].place()
    tasters[0].place()
    with pytest.raises(OutOfDate):
        tasters[0].choose(theirs, (theirs.cups[0],))


def test_a_set_that_was_not_offered_takes_no_choice(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """The order of the sets cannot be skipped by posting ahead."""
    here = tasters[0].place()
    seat = joining.seat_of(kitchen.store, tasters[0].token)
    assert seat is not None
    with kitchen.store.read() as tx:
        ahead = trials.blind(tx, seat.sitting, seat.assessor)[-1]
    with pytest.raises(NotAllowed, match="turn"):
        trying.keep_choice(kitchen.store, tasters[0].token, ahead.id, (ahead.codes[0],), False, "n" * 24)
    assert here.trial != ahead.id


def test_the_rest_begins_with_the_choice(make: Any) -> None:
    """The next set is not offered before the rest is over, and its tray is out."""
    kitchen = make(replace(PLAN, rest_seconds=600), 5)
    taster = kitchen.serve(kitchen.sittings()[0])[0]
    here = taster.place()
    taster.choose(here, (here.cups[0],))
    resting = taster.place()
    assert (resting.kind, resting.trial, resting.cups, resting.number) == ("rest", None, (), 2)
    assert resting.ready_at is not None


def test_a_set_waits_for_its_tray(kitchen: Kitchen) -> None:
    """Nothing is offered before the kitchen has let it out."""
    sitting = kitchen.sittings()[0]
    watching.open_sitting(kitchen.store, kitchen.leader, sitting.id)
    taster = kitchen.seat(joining.issue_links(kitchen.store, kitchen.leader, sitting.id)[0])
    assert taster.place().kind == "waiting"


def test_a_page_tells_no_sample(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """Everything a phone may get, at every step: no box, no level, no text of the plan."""
    with kitchen.store.read() as tx:
        boxes = [box.id for box in trials.boxes(tx, kitchen.study)]
    seen = []
    for here in tasters[0].sets():
        seen.append(json.dumps(dataclasses.asdict(here)))
        tasters[0].choose(here, (here.cups[0],))
    seen.append(json.dumps(dataclasses.asdict(tasters[0].place())))
    for secret in (*CANARIES, *boxes, kitchen.study, "Garden", "L7"):
        assert not [page for page in seen if secret in page], secret


def test_the_assessors_path_needs_no_statistics() -> None:
    """Neither numpy nor pandas stands between an assessor and the next set."""
    code = "import sys, studyapp.services.tasting; print({'numpy', 'pandas'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_who_stops_leaves_the_rest_unanswered(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """Answers so far stay if wished; the record says why the others are missing."""
    here = tasters[0].place()
    tasters[0].choose(here, (here.cups[0],))
    assert tasting.leave(kitchen.store, tasters[0].token, True).kind == "stopped"
    assert [(row.choice is None, row.reason) for row in rows(kitchen)] == [(False, None), (True, "stopped")]


def test_answers_taken_out_stay_in_the_record_and_out_of_force(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """Nothing is removed: a later row takes an answer out."""
    here = tasters[0].place()
    tasters[0].choose(here, (here.cups[0],))
    tasting.leave(kitchen.store, tasters[0].token, False)
    with kitchen.store.read() as tx:
        assert trials.answer_of(tx, here.trial or "").choice is None
        assert [one for one in trials.judged(tx, kitchen.study) if one.picked is not None] == []
    assert len(rows(kitchen)) == 3
    assert check(kitchen.store.url).sound


def test_a_comment_comes_after_and_can_be_erased(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """Free text is kept apart from the answer."""
    here = tasters[0].place()
    tasters[0].choose(here, (here.cups[0],))
    tasting.send_note(kitchen.store, tasters[0].token, "grassy")
    with kitchen.store.read() as tx:
        assert [text for _at, _name, text in sittings.notes(tx, kitchen.study)] == ["grassy"]


def test_the_watch_page_counts_sets(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """Who is where, never what they chose."""
    here = tasters[0].place()
    tasters[0].choose(here, (here.cups[0],))
    tasters[1].place()
    seen = watching.progress(kitchen.store, kitchen.leader, kitchen.sittings()[0].id)
    assert (seen.saved, seen.of) == (1, 10)
    kinds = {seat.pseudonym: (seat.kind, seat.saved, seat.of) for seat in seen.seats}
    assert kinds[tasters[0].name] == ("trial", 1, 2)
    assert [len(tray.cups) for tray in seen.trays] == [15, 15]


def test_closing_needs_a_reason_for_open_sets(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """Open sets stay missing, with the reason, as a deviation."""
    sitting = kitchen.sittings()[0]
    with pytest.raises(BadInput, match="10 sets have no answer"):
        watching.close_sitting(kitchen.store, kitchen.leader, sitting.id, "")
    assert watching.close_sitting(kitchen.store, kitchen.leader, sitting.id, "fire drill") == 10
    assert {row.reason for row in rows(kitchen)} == {"fire drill"}
    (noted,) = watching.deviations(kitchen.store, kitchen.leader, kitchen.study)
    assert noted.sentence.startswith("10 sets of ")


def test_trays_show_the_cups_of_a_set_in_order(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """What the server of cups sees is what the assessor's page shows."""
    here = tasters[0].place()
    tray = preparing.trays(kitchen.store, kitchen.preparer, kitchen.sittings()[0].id)[0]
    assert tuple(cup.code for cup in tray.cups if cup.pseudonym == tasters[0].name) == here.cups


FORGERIES = {
    "another choice": ("trial", "UPDATE trial SET choice = '[\"100\"]'"),
    "a guess made certain": ("trial", "UPDATE trial SET guess = 1 - guess"),
    "an answer taken away": ("trial", "DELETE FROM trial"),
    "an answer added": (
        "trial",
        "INSERT INTO trial (set_id, guess, nonce, at, sha256) SELECT max(id), 0, 'x', 't', 'h' FROM trial_set",
    ),
    "cups that swap boxes": ("trial_set", "UPDATE trial_set SET samples = codes WHERE position = 1"),
    "another dose": ("trial_set", "UPDATE trial_set SET level = 5"),
    "a set taken away": ("trial_set", "DELETE FROM trial_set WHERE finished_at IS NULL"),
    "the blank swapped for the other": ("trial_sample", "UPDATE trial_sample SET plain = 1 - plain"),
    "a study of another kind": ("study", "UPDATE study SET kind = 'hours'"),
}


@pytest.mark.parametrize("what", FORGERIES)
def test_a_forgery_is_found_or_refused(kitchen: Kitchen, tasters: list[Taster], what: str) -> None:
    """Somebody with the file takes the guards away, changes a row and puts them back: `check` names the table."""
    table, change = FORGERIES[what]
    here = tasters[0].place()
    tasters[0].choose(here, key_of(kitchen, here)[1][0])
    assert check(kitchen.store.url).sound
    if change.startswith("UPDATE"):
        with pytest.raises(DatabaseError, match=r"append-only|sealed"), kitchen.store.write() as tx:
            tx.exec_driver_sql(change)
    with kitchen.store.write() as tx:
        guards = tx.exec_driver_sql("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").all()
        for name, _sql in guards:
            tx.exec_driver_sql(f"DROP TRIGGER {name}")
        tx.exec_driver_sql(change)
        for _name, sql in guards:
            tx.exec_driver_sql(sql)
    findings = check(kitchen.store.url).findings
    assert {finding.level for finding in findings if table in finding.sentence} == {"error"}


def test_taps_at_one_moment_make_one_answer(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """Eight sendings under four nonces at once: one is kept, its twin hears so, all others hear that it is final."""
    here = tasters[0].place()
    sent = [(here.cups[number % 3], str(number) * 24) for number in range(4)] * 2
    heard: list[Any] = [None] * len(sent)
    gate = threading.Barrier(len(sent))

    def tap(number: int) -> None:
        code, nonce = sent[number]
        gate.wait()
        try:
            heard[number] = tasters[0].choose(here, (code,), nonce=nonce).again
        except OutOfDate:
            heard[number] = "final"

    threads = [threading.Thread(target=tap, args=(number,)) for number in range(len(sent))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    (row,) = rows(kitchen)
    winners = {number for number, (_code, nonce) in enumerate(sent) if nonce == row.nonce}
    assert sorted(str(heard[number]) for number in winners) == ["False", "True"]
    assert {heard[number] for number in set(range(len(sent))) - winners} == {"final"}


def test_a_spilled_cup_leaves_its_set_without_an_answer(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """With the reason, once, and for good; the next set follows and counts."""
    here = tasters[0].place()
    for again in (False, True):
        kept = tasting.cannot_judge(kitchen.store, tasters[0].token, here.trial or "", "spilled", "n" * 24)
        assert kept.again is again
    (row,) = rows(kitchen)
    assert (row.choice, row.reason) == (None, "spilled")
    with pytest.raises(OutOfDate, match="final"):
        tasters[0].choose(here, (here.cups[0],))
    after = tasters[0].place()
    assert (after.number, after.marks_kept) == (2, 0)
    tasters[0].choose(after, (after.cups[0],), nonce="m" * 24)
    with pytest.raises(BadInput, match="under the name"):
        tasting.cannot_judge(kitchen.store, tasters[0].token, after.trial or "", "spilled", "m" * 24)
    assert check(kitchen.store.url).sound


def test_no_phone_keeps_a_sitting_of_sets_from_closing(kitchen: Kitchen, tasters: list[Taster]) -> None:
    """An answer sent under the number that the close once used for the set of a neighbour."""
    mine, theirs = tasters[0].place(), tasters[1].place()
    tasters[0].choose(mine, mine.cups[:1], nonce=f"missing:{theirs.trial}")
    left = watching.close_sitting(kitchen.store, kitchen.leader, kitchen.sittings()[0].id, "fire drill")
    assert left > 0
    assert check(kitchen.store.url).sound
