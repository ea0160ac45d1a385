"""Calling the leader: a wrong code, a missing piece, a note; what is shown, noted, and stands in the record."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from studyapp.components import needs, sitting_rows
from studyapp.errors import BadInput, OutOfDate
from studyapp.services import calling, heard, joining, preparing, tasting, trays, watching
from studyapp.services.checking import check
from studyapp.store import clock


def test_a_wrong_code_is_told_with_its_owner_and_stands_in_the_record(workshop: Any, hands: list[Any]) -> None:
    """Heron holds Lark's cup: whose it is, what is due, one call for two taps, and what was done about it."""
    store, leader, of = workshop.store, workshop.leader, workshop.sitting.id
    mine, theirs = hands[0].serving(), hands[1].serving()
    for _twice in range(2):
        calling.call(store, hands[0].token, mine.serving, "code", theirs.code)
    (call,) = calling.open_calls(store, leader, of)
    assert (call.name, call.code, call.own, call.owner, call.tray) == ("Heron", theirs.code, mine.code, "Lark", 1)
    (need,) = needs.needs((call,), watching.progress(store, leader, of))
    assert need.sentence == f"Heron holds {theirs.code}. That cup belongs to Lark, tray 1; {mine.code} is due."
    assert [code for code, _words in need.acts] == ["swapped", "tasted"]
    heron = watching.progress(store, leader, of).seats[0]
    assert heron.look
    assert sitting_rows.where(heron) == "holds a code that is not on the page"
    with pytest.raises(BadInput, match="not kept here"):
        calling.answer(store, leader, of, call.number, "spare")
    for _twice in range(2):
        calling.answer(store, leader, of, call.number, "swapped")
    assert calling.open_calls(store, leader, of) == ()
    (told,) = watching.deviations(store, leader, workshop.study)
    assert told.sentence == (
        f"Tasting 1: Heron held a cup {theirs.code} where {mine.code} was due. "
        "The cup was swapped before it was tasted."
    )
    assert (told.by, told.known) == ("Ada", "no results seen")
    assert check(store.url).sound


def test_a_missing_piece_is_wanted_in_the_kitchen_until_it_is_filled(workshop: Any, hand: Any) -> None:
    """A spare takes its place under a code of its own: the phone turns to it, marks begin anew, the kitchen's field
    knows the code as wanted, once, and the departure names the cup that was served."""
    store, cook, of = workshop.store, workshop.preparer, workshop.sitting.id
    here = hand.serving()
    boxes = {code: box for row in preparing.fill_rows(store, cook, of) for code, box in row.cups}
    mine = {code for row in preparing.spare_rows(store, cook, of) for code, box in row.cups if box == boxes[here.code]}
    assert here.may_swap
    hand.mark(here.serving, here.lines[0].id, 4.0)
    for _twice in range(2):
        assert calling.call(store, hand.token, here.serving, "piece", here.code)
    (spare,) = trays.kitchen(store, cook, of).wanted
    now = hand.place()
    assert spare in mine
    assert (now.code, now.serving, now.swapped) == (spare, here.serving, True)
    assert [line.value for line in now.lines] == [None] * len(now.lines)
    found = trays.check_code(store, cook, of, 1, spare)
    assert (found.says, found.name) == ("again", "Heron")
    assert trays.said(trays.check_code(store, cook, of, 1, spare)) == (
        f"{spare} is the spare that Heron has, seat 1.",
        f"It went in place of {here.code}.",
    )
    hand.mark(here.serving, here.lines[0].id, 5.0)
    (call,) = calling.open_calls(store, workshop.leader, of)
    (need,) = needs.needs((call,), watching.progress(store, workshop.leader, of))
    assert need.do.startswith(f"Do: bring Heron the spare {spare} and take {here.code} away.")
    calling.answer(store, workshop.leader, of, call.number, "spare")
    (told,) = watching.deviations(store, workshop.leader, workshop.study)
    assert told.sentence == f"Tasting 1: Heron had no piece at {here.code}. The spare {spare} took its place."
    assert check(store.url).sound


def test_who_cannot_judge_may_have_another_piece_while_there_is_one(workshop: Any, hand: Any) -> None:
    """The spares of that sample run out; then the serving may be left unjudged, which was always a free choice."""
    store, of = workshop.store, workshop.sitting.id
    here = hand.serving()
    while hand.place().may_swap:
        assert calling.call(store, hand.token, here.serving, "another", hand.place().code)
    with pytest.raises(BadInput, match="no other piece of it is left"):
        calling.call(store, hand.token, here.serving, "another", hand.place().code)
    last = hand.place().code
    tasting.cannot_judge(store, hand.token, here.serving, "mouth tired", "n" * 24)
    watching.close_sitting(store, workshop.leader, of, "late")
    (told,) = (
        one.sentence for one in watching.deviations(store, workshop.leader, workshop.study) if last in one.sentence
    )
    assert told == f"Tasting 1: Heron asked for another piece at {here.code}. The spare {last} took its place."


def test_a_call_that_nobody_answered_stands_in_the_record_from_the_close_on(workshop: Any, hand: Any) -> None:
    here = hand.serving()
    calling.call(workshop.store, hand.token, here.serving, "piece", here.code)
    assert watching.deviations(workshop.store, workshop.leader, workshop.study) == ()
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill")
    told = [one.sentence for one in watching.deviations(workshop.store, workshop.leader, workshop.study)]
    assert any(one.startswith(f"Tasting 1: Heron had no piece at {here.code}.") for one in told)
    assert check(workshop.store.url).sound


def test_a_call_that_makes_no_sense_is_refused(workshop: Any, hand: Any) -> None:
    here = hand.serving()
    for what, code in (("code", here.code), ("piece", "000"), ("code", "12"), ("code", "abc"), ("fire", "123")):
        with pytest.raises(BadInput):
            calling.call(workshop.store, hand.token, here.serving, what, code)
    with pytest.raises(OutOfDate):
        calling.call(workshop.store, hand.token, "no serving", "code", "123")


def test_a_note_is_told_without_its_text(workshop: Any, hand: Any) -> None:
    """It may hint at a sample: the leader learns that there is one, and reads it after the key."""
    hand.serving()
    tasting.send_note(workshop.store, hand.token, "grainy")
    (call,) = calling.open_calls(workshop.store, workshop.leader, workshop.sitting.id)
    (need,) = needs.needs((call,), watching.progress(workshop.store, workshop.leader, workshop.sitting.id))
    assert (need.sentence, "grainy" in need.do) == ("Heron sent a note.", False)


def test_a_phone_that_falls_silent_while_it_should_speak(
    workshop: Any, hands: list[Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Six minutes without a word at the cup; who was never heard since the start is not called silent."""
    store, leader, of = workshop.store, workshop.leader, workshop.sitting.id
    for hand in hands[:2]:
        hand.serving()
    tasting.here(store, hands[0].token)
    assert not any(seat.silent for seat in watching.progress(store, leader, of).seats)
    real = clock.now
    monkeypatch.setattr(clock, "now", lambda: real() + timedelta(minutes=6, seconds=1))
    progress = watching.progress(store, leader, of)
    assert [seat.silent for seat in progress.seats[:2]] == [6, 0]
    assert sitting_rows.where(progress.seats[0]) == "phone silent for 6 min"
    (need,) = needs.needs((), progress)
    assert need.sentence == "Heron's phone has been silent for 6 min. 0 servings are saved."
    assert heard.last(store, of, "nobody") is None


def test_a_seat_that_went_to_another_phone_is_in_the_record(workshop: Any) -> None:
    for address in ("10.0.0.7", "10.0.0.8"):
        joining.join(workshop.store, workshop.links[0].code, address, None)
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill")
    told = watching.deviations(workshop.store, workshop.leader, workshop.study)[-1]
    assert told.sentence == "Tasting 1: the tasting of Heron went on to another phone."


def test_not_today_needs_no_reason_from_anybody(workshop: Any, hands: list[Any]) -> None:
    """Heron sits out, the others are through: the sitting closes without a typed reason, and nothing departs."""
    store, leader, of = workshop.store, workshop.leader, workshop.sitting.id
    tasting.sit_out(store, hands[0].token)
    for hand in hands[1:]:
        hand.taste_all()
    progress = watching.progress(store, leader, of)
    assert (progress.saved, progress.of) == (12, 12)
    assert sitting_rows.where(progress.seats[0]).startswith("not today, said so at ")
    assert watching.close_sitting(store, leader, of) == 3
    assert watching.deviations(store, leader, workshop.study) == ()
    with store.read() as tx:
        reasons = tx.exec_driver_sql("SELECT DISTINCT reason FROM score WHERE value IS NULL").scalars().all()
    assert reasons == ["not today"]
    assert check(store.url).sound


def test_what_was_never_served_is_not_counted(workshop: Any, hand: Any) -> None:
    """One serving judged, one open when the sitting closes, one never offered: 1 of 3 done, and three pieces served
    with the warm-up; at 4.5 g a piece."""
    hand.serving()
    here = hand.place()
    for line in here.lines:
        hand.mark(here.serving, line.id, 5.0)
    tasting.finish_serving(workshop.store, hand.token, here.serving)
    hand.place()
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill")
    done = hand.place()
    assert (done.kind, done.number, done.of) == ("done", 1, 3)
    assert done.grams_today == 3 * 4.5
