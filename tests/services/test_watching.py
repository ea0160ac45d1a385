"""The kitchen and the leader's table while a sitting runs."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, NotFound
from studyapp.kinds.hours import rule
from studyapp.kinds.hours.plan import HoursPlan, Pull
from studyapp.records import Attribute, Mark
from studyapp.services import planning, preparing, tasting, watching
from studyapp.services.checking import check
from studyapp.services.standing import standing
from studyapp.store.servings import BlindServing
from studyapp.store.sittings import Presence
from tests.conftest import CHECKS


@pytest.fixture
def second(workshop: Any) -> tuple[str, Any]:
    """A freshly sealed study with one planned sitting: no tray released, rests of four minutes."""
    id_ = planning.new_study(workshop.store, workshop.leader, "hours", "Second")
    plan = replace(workshop.plan, title="Second", rest_seconds=240)
    planning.keep_plan(workshop.store, workshop.leader, id_, plan)
    planning.seal(workshop.store, workshop.leader, id_, "Second")
    return id_, preparing.sittings(workshop.store, workshop.preparer, id_)[0]


# ---- the kitchen ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("open_", sorted(CHECKS))
def test_a_tray_with_an_open_check_stays_in_the_kitchen(workshop: Any, second: Any, open_: str) -> None:
    """Cleared as food, allergens shown, pieces sound, labels read: each of the four holds the tray."""
    with pytest.raises(BadInput, match=r"^Not released"):
        preparing.release_tray(workshop.store, workshop.preparer, second[1].id, 0, CHECKS - {open_}, "Cleo")
    assert preparing.trays(workshop.store, workshop.preparer, second[1].id)[0].released_at is None


@pytest.mark.parametrize(
    ("second_person", "says"),
    [("", "second person"), ("  ", "second person"), ("Ben", "Ben is you"), ("ben ", "ben is you")],
)
def test_a_second_person_reads_the_labels(workshop: Any, second: Any, second_person: str, says: str) -> None:
    """Nobody checks their own labels, and whoever tries is told so."""
    with pytest.raises(BadInput, match=says):
        preparing.release_tray(workshop.store, workshop.preparer, second[1].id, 0, CHECKS, second_person)


def test_a_tray_is_released_once(workshop: Any, second: Any) -> None:
    """A repeat changes nothing; a tray that is not there is refused; the leader does not release."""
    preparing.release_tray(workshop.store, workshop.preparer, second[1].id, 0, CHECKS, "Cleo")
    first = preparing.trays(workshop.store, workshop.preparer, second[1].id)[0].released_at
    preparing.release_tray(workshop.store, workshop.preparer, second[1].id, 0, CHECKS, "Dora")
    assert preparing.trays(workshop.store, workshop.preparer, second[1].id)[0].released_at == first
    with pytest.raises(BadInput, match="no tray 9"):
        preparing.release_tray(workshop.store, workshop.preparer, second[1].id, 9, CHECKS, "Cleo")
    with pytest.raises(NotAllowed):
        preparing.release_tray(workshop.store, workshop.leader, second[1].id, 1, CHECKS, "Cleo")
    with pytest.raises(NotFound):
        preparing.release_tray(workshop.store, workshop.preparer, "nowhere", 1, CHECKS, "Cleo")


def test_a_tray_waits_for_the_ones_before_it(workshop: Any, second: Any) -> None:
    """The warm-up leaves first, then one after the other: nobody can be handed a piece out of turn."""
    store, cook, sitting = workshop.store, workshop.preparer, second[1].id
    with pytest.raises(NotAllowed, match="warm-up tray is still in the kitchen"):
        preparing.release_tray(store, cook, sitting, 1, CHECKS, "Cleo")
    preparing.release_tray(store, cook, sitting, 0, CHECKS, "Cleo")
    with pytest.raises(NotAllowed, match="tray 1 is still in the kitchen"):
        preparing.release_tray(store, cook, sitting, 2, CHECKS, "Cleo")
    preparing.release_tray(store, cook, sitting, 1, CHECKS, "Cleo")
    assert [bool(tray.released_at) for tray in preparing.trays(store, cook, sitting)] == [True, True, False, False]


def test_who_serves_sees_codes_only(workshop: Any) -> None:
    """Trays carry no hour, no letter, no sample."""
    trays = preparing.trays(workshop.store, workshop.leader, workshop.sitting.id)
    text = json.dumps([dataclasses.asdict(tray) for tray in trays])
    assert not [word for word in ("17.25", "33.75", "61.5", "letter", "hours") if word in text]
    assert {len(tray.cups) for tray in trays} == {5}


def test_the_key_is_the_preparers_and_its_first_look_is_recorded_once(workshop: Any) -> None:
    """The leader is refused; looking twice is one event."""
    with pytest.raises(NotAllowed):
        preparing.fill_rows(workshop.store, workshop.leader, workshop.sitting.id)
    for _ in range(2):
        assert len(preparing.fill_rows(workshop.store, workshop.preparer, workshop.sitting.id)) == 20
    with workshop.store.read() as tx:
        assert tx.exec_driver_sql("SELECT count(*) FROM event WHERE kind = 'key seen'").scalar() == 1


def test_quantities_cover_every_cup_and_a_tenth_more(workshop: Any) -> None:
    """Five scored cups of each pull, five warm-up cups of one, spares rounded up, at 4.5 g a piece."""
    found = {
        q.holds: (q.cups, q.grams) for q in preparing.quantities(workshop.store, workshop.preparer, workshop.study)
    }
    assert found == {"17.25 h": (6, 27.0), "33.75 h": (11, 49.5), "61.5 h": (6, 27.0)}
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "the room was needed")
    late = preparing.quantities(workshop.store, workshop.preparer, workshop.study)
    assert {q.holds: q.cups for q in late} == {"17.25 h": 6, "33.75 h": 11, "61.5 h": 6}, (
        "a late fill sheet is not empty"
    )


# ---- steps, without a clock ----------------------------------------------------------------------------------------
def cup(position: int, started: str | None = None, finished: str | None = None) -> BlindServing:
    """A serving as its assessor may know it."""
    return BlindServing(f"s{position}", position, "123", position > 0, started, finished, None)


AGREED = Presence(agreed_at="2026-11-24T10:00:00Z")
NOON = datetime(2026, 11, 24, 12, tzinfo=UTC)


def test_the_rest_runs_from_the_finish_of_the_serving_before() -> None:
    """One second before its end it is still a rest; at its end the cup is there."""
    cups = [cup(1, "2026-11-24T11:50:00Z", "2026-11-24T11:57:00Z"), cup(2)]
    early = standing("open", cups, AGREED, {1, 2}, 181, NOON)
    assert (early.kind, early.ready_at) == ("rest", NOON + timedelta(seconds=1))
    assert standing("open", cups, AGREED, {1, 2}, 180, NOON).kind == "serving"


def test_a_serving_that_was_offered_is_not_taken_away_again() -> None:
    """A clock set back two hours in the middle of a cup does not send the assessor into a rest."""
    cups = [cup(1, "2026-11-24T11:50:00Z", "2026-11-24T13:57:00Z"), cup(2, "2026-11-24T14:02:00Z")]
    assert standing("open", cups, AGREED, {1, 2}, 180, NOON).kind == "serving"


@pytest.mark.parametrize(
    ("state", "present", "released", "kind"),
    [
        ("planned", Presence(), set(), "welcome"),
        ("planned", AGREED, set(), "waiting"),
        ("open", Presence(), {0, 1}, "welcome"),
        ("open", AGREED, set(), "waiting"),
        ("open", AGREED, {0}, "warm_up"),
        ("paused", AGREED, {0}, "paused"),
        ("closed", AGREED, {0}, "done"),
        ("closed", Presence(), {0}, "nothing"),
        ("open", Presence(declined_at="2026-11-24T10:00:00Z"), {0}, "left"),
        ("open", Presence(agreed_at="x", left_at="2026-11-24T10:00:00Z"), {0}, "stopped"),
    ],
)
def test_the_step_follows_from_the_record(state: Any, present: Presence, released: set[int], kind: str) -> None:
    """State of the sitting, what was said at the door, and the trays: nothing else."""
    assert standing(state, [cup(0), cup(1)], present, released, 240, NOON).kind == kind


def test_marks_wait_for_the_tray_and_for_the_rest(workshop: Any, second: Any) -> None:
    """On the real store: waiting, then warm-up, then a rest of four minutes with its end told."""
    from studyapp.services import joining

    watching.open_sitting(workshop.store, workshop.leader, second[1].id)
    link = joining.issue_links(workshop.store, workshop.leader, second[1].id)[0]
    token = joining.join(workshop.store, link.code, "10.0.0.7", None)
    assert tasting.agree(workshop.store, token).kind == "waiting"
    for position in range(4):
        preparing.release_tray(workshop.store, workshop.preparer, second[1].id, position, CHECKS, "Cleo")
    here = tasting.place(workshop.store, token)
    assert here.kind == "warm_up"
    after = tasting.finish_serving(workshop.store, token, here.serving)
    assert (after.kind, after.number, after.lines, after.code) == ("rest", 1, (), None)
    begin, end = (datetime.fromisoformat(text) for text in (after.now, after.ready_at))
    assert 238 <= (end - begin).total_seconds() <= 240


# ---- watching ------------------------------------------------------------------------------------------------------
def test_progress_tells_how_far_and_never_how(workshop: Any, hands: list[Any]) -> None:
    """Who is where, how many are saved; no mark and no sample."""
    hands[0].taste_all(lambda _place, _line: 7.3)
    hands[1].serving()
    found = watching.progress(workshop.store, workshop.leader, workshop.sitting.id)
    seats = {seat.pseudonym: (seat.kind, seat.saved, seat.of) for seat in found.seats}
    assert seats["Heron"] == ("done", 3, 3)
    assert seats["Lark"] == ("serving", 0, 3)
    assert seats["Wren"] == ("welcome", 0, 3)
    assert (found.saved, found.of) == (3, 15)
    text = json.dumps(dataclasses.asdict(found))
    assert not [word for word in ("7.3", "17.25", "33.75", "61.5") if word in text]


def test_who_waits_for_a_tray_is_pointed_out(workshop: Any, second: Any) -> None:
    """The leader is asked to look up when somebody sits before an empty place."""
    from studyapp.services import joining

    watching.open_sitting(workshop.store, workshop.leader, second[1].id)
    link = joining.issue_links(workshop.store, workshop.leader, second[1].id)[0]
    tasting.agree(workshop.store, joining.join(workshop.store, link.code, "10.0.0.7", None))
    heron, lark = watching.progress(workshop.store, workshop.leader, second[1].id).seats[:2]
    assert (heron.kind, heron.waits_for_tray, heron.look) == ("waiting", 0, True)
    assert (lark.kind, lark.look) == ("nothing", False)


def test_the_change_counter_moves_with_every_change(workshop: Any, hand: Any) -> None:
    """The watch page draws again only when something happened."""
    before = watching.change_counter(workshop.store)
    hand.place()
    assert watching.change_counter(workshop.store) == before
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 5.0)
    assert watching.change_counter(workshop.store) > before


def test_closing_with_open_servings_needs_a_reason_that_is_kept(workshop: Any, hand: Any) -> None:
    """What is missing is missing with its reason, and the report will say so."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 5.0)
    with pytest.raises(BadInput, match="15 servings"):
        watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, " ")
    assert watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill") == 15
    assert watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "") == 0
    with workshop.store.read() as tx:
        kept = tx.exec_driver_sql("SELECT value, reason FROM score ORDER BY id").all()
    assert kept == [(5.0, None)] + [(None, "fire drill")] * 44
    (noted,) = watching.deviations(workshop.store, workshop.leader, workshop.study)
    assert "fire drill" in noted.sentence
    assert noted.known == "no results seen"
    assert check(workshop.store.url).sound


def test_steps_of_a_sitting_keep_their_order(workshop: Any, second: Any) -> None:
    """Planned, open, paused, open, closed; nothing skips."""
    id_ = second[1].id
    with pytest.raises(NotAllowed, match="paused"):
        watching.pause(workshop.store, workshop.leader, id_)
    with pytest.raises(NotAllowed, match="not paused"):
        watching.resume(workshop.store, workshop.leader, id_)
    watching.open_sitting(workshop.store, workshop.leader, id_)
    watching.open_sitting(workshop.store, workshop.leader, id_)
    watching.close_sitting(workshop.store, workshop.leader, id_, "nobody came")
    with pytest.raises(NotAllowed, match="opened before"):
        watching.open_sitting(workshop.store, workshop.leader, id_)


def test_a_deviation_says_what_was_known(workshop: Any, second: Any, hands: list[Any]) -> None:
    """Nothing served, no results seen, results not opened: the words of the report."""
    watching.note_deviation(workshop.store, workshop.preparer, second[0], "The oven was late.")
    assert [d.known for d in watching.deviations(workshop.store, workshop.leader, second[0])] == ["nothing served"]
    watching.note_deviation(workshop.store, workshop.leader, workshop.study, "Room warm, 26 °C.")
    for each in hands:
        each.taste_all()
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "")
    watching.note_deviation(workshop.store, workshop.leader, workshop.study, "Two labels were smudged.")
    found = watching.deviations(workshop.store, workshop.leader, workshop.study)
    assert [d.known for d in found] == ["no results seen", "results not opened"]
    for sentence in ("", "x" * 501):
        with pytest.raises(BadInput):
            watching.note_deviation(workshop.store, workshop.leader, workshop.study, sentence)


def test_notes_are_read_after_the_key(workshop: Any, hand: Any) -> None:
    """A note may hint at a sample, so the leader waits."""
    tasting.send_note(workshop.store, hand.token, "number two was grainy")
    with pytest.raises(NotAllowed, match="after the key"):
        watching.notes(workshop.store, workshop.leader, workshop.study)


def test_a_plan_with_a_fault_names_its_field() -> None:
    """Every problem points at what to mend; cautions do not block."""
    plan = HoursPlan(
        "x",
        question="q",
        pulls=(Pull(0), Pull(8), Pull(8)),
        attributes=(Attribute("Acidity", margin=0.0), Attribute("acidity", decides=False)),
        control=8.0,
        looks=5,
        assessors=("a", "b"),
        contains="",
    )
    blocking = {problem.where for problem in rule.problems(plan) if problem.blocks}
    assert blocking == {"pulls", "control", "attributes", "looks", "assessors", "contains"}
    fine = replace(
        plan, pulls=(Pull(0), Pull(8), Pull(24)), attributes=(Attribute("Acidity"),), control=None, looks=2,
        assessors=tuple("abcde"), contains="cocoa",
    )  # fmt: skip
    assert [problem.blocks for problem in rule.problems(fine)] == [False]


def test_no_phone_keeps_a_sitting_from_closing(workshop: Any, hand: Any) -> None:
    """Marks sent under every number that the close once used for itself."""
    here = hand.serving()
    for line in here.lines:
        nonce = f"closed:{here.serving}:{line.id}"
        tasting.keep_mark(workshop.store, hand.token, Mark(here.serving, here.lines[0].id, 5.0, nonce))
    assert watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill") == 15
    assert check(workshop.store.url).sound
