"""What an assessor does: marks are kept once, in order, and tell nothing of the samples."""

from __future__ import annotations

import dataclasses
import json
import math
import subprocess
import sys
from typing import Any

import pytest

from studyapp.errors import BadInput, NotAllowed, OutOfDate, StudyError
from studyapp.records import Mark
from studyapp.services import joining, panel, preparing, tasting, watching
from studyapp.services.checking import check
from studyapp.store import events, servings


def rows(workshop: Any) -> list[Any]:
    """Every score row, superseded ones included."""
    with workshop.store.read() as tx:
        return servings.all_scores(tx)


def test_a_mark_is_kept_with_its_nonce(workshop: Any, hand: Any) -> None:
    """The answer to a mark says when it was committed, and the store holds the row."""
    here = hand.serving()
    nonce = "n" * 24
    kept = tasting.keep_mark(workshop.store, hand.token, Mark(here.serving, here.lines[0].id, 6.3, nonce))
    assert not kept.again
    assert [(row.value, row.nonce, row.at) for row in rows(workshop)] == [(6.3, nonce, kept.at)]


def test_the_same_nonce_twice_is_one_mark(workshop: Any, hand: Any) -> None:
    """A phone that never heard the answer may send again; nothing is counted twice."""
    here = hand.serving()
    mark = Mark(here.serving, here.lines[0].id, 6.3, "n" * 24)
    first = tasting.keep_mark(workshop.store, hand.token, mark)
    again = tasting.keep_mark(workshop.store, hand.token, mark)
    assert again.again
    assert again.at == first.at
    assert len(rows(workshop)) == 1


def test_a_nonce_cannot_carry_another_mark(workshop: Any, hand: Any) -> None:
    """A nonce names one mark of one assessor, never a second one."""
    here = hand.serving()
    tasting.keep_mark(workshop.store, hand.token, Mark(here.serving, here.lines[0].id, 6.3, "n" * 24))
    with pytest.raises(BadInput, match="another"):
        tasting.keep_mark(workshop.store, hand.token, Mark(here.serving, here.lines[1].id, 1.0, "n" * 24))


def test_a_correction_supersedes_and_nothing_is_overwritten(workshop: Any, hand: Any) -> None:
    """Both rows stay; the ballot shows the newer one."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 6.3)
    hand.mark(here.serving, here.lines[0].id, 2.1)
    assert [row.value for row in rows(workshop)] == [6.3, 2.1]
    assert hand.place().lines[0].value == 2.1
    assert hand.place().marks_kept == 1


@pytest.mark.parametrize("value", [-0.1, 10.1, math.nan, math.inf, True, "5", None, [5.0]])
def test_a_value_off_the_line_is_refused(workshop: Any, hand: Any, value: Any) -> None:
    """What a browser sends is checked on the server."""
    here = hand.serving()
    with pytest.raises(BadInput):
        tasting.keep_mark(workshop.store, hand.token, Mark(here.serving, here.lines[0].id, value, "n" * 24))
    assert rows(workshop) == []


@pytest.mark.parametrize("nonce", ["", "short", "n" * 65, None, 7])
def test_a_mark_without_its_nonce_is_refused(workshop: Any, hand: Any, nonce: Any) -> None:
    """Without a nonce a retry could double."""
    here = hand.serving()
    with pytest.raises(BadInput):
        tasting.keep_mark(workshop.store, hand.token, Mark(here.serving, here.lines[0].id, 5.0, nonce))


def test_marks_lie_on_the_steps_of_the_line(workshop: Any, hand: Any) -> None:
    """The line records tenths."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 3.14159)
    assert rows(workshop)[0].value == 3.1


def test_a_line_of_another_ballot_is_refused(workshop: Any, hand: Any) -> None:
    """A line id that is not on this ballot stores nothing."""
    here = hand.serving()
    with pytest.raises(BadInput, match="not on this ballot"):
        hand.mark(here.serving, "0123456789abcdef", 5.0)


def test_another_assessors_serving_is_refused(hands: list[Any]) -> None:
    """A token opens its own servings only."""
    mine, theirs = hands[0].serving(), hands[1].serving()
    with pytest.raises(OutOfDate):
        hands[0].mark(theirs.serving, mine.lines[0].id, 5.0)


def test_a_serving_that_was_not_offered_takes_no_mark(workshop: Any, hand: Any) -> None:
    """Neither agreement nor turn can be skipped by posting ahead."""
    here = hand.serving()
    seat = joining.seat_of(workshop.store, hand.token)
    with workshop.store.read() as tx:
        ahead = servings.blind(tx, seat.sitting, seat.assessor)[-1].id
    with pytest.raises(NotAllowed, match="turn"):
        hand.mark(ahead, here.lines[0].id, 5.0)


def test_a_worthless_token_does_nothing(workshop: Any) -> None:
    """Every act checks the token."""
    for act in (
        lambda: tasting.place(workshop.store, "guess"),
        lambda: tasting.agree(workshop.store, None),
        lambda: tasting.sit_out(workshop.store, "guess"),
        lambda: tasting.keep_mark(workshop.store, "guess", Mark("a", "b", 5.0, "n" * 24)),
        lambda: tasting.cannot_judge(workshop.store, "guess", "a", "broken", "n" * 24),
        lambda: tasting.finish_serving(workshop.store, "guess", "a"),
        lambda: tasting.leave(workshop.store, "guess", True),
        lambda: tasting.send_note(workshop.store, "guess", "hello"),
    ):
        with pytest.raises(NotAllowed, match="out of date"):
            act()


def test_finishing_names_the_lines_without_a_mark(hand: Any, workshop: Any) -> None:
    """A gap is named before the serving is left."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[0].id, 5.0)
    with pytest.raises(BadInput, match="Bitterness, Astringency"):
        tasting.finish_serving(workshop.store, hand.token, here.serving)


def test_finishing_twice_moves_once(hand: Any, workshop: Any) -> None:
    """A double tap on the button leads to one next serving."""
    here = hand.serving()
    for line in here.lines:
        hand.mark(here.serving, line.id, 5.0)
    first = tasting.finish_serving(workshop.store, hand.token, here.serving)
    again = tasting.finish_serving(workshop.store, hand.token, here.serving)
    assert first.number == again.number == here.number + 1


def test_a_finished_serving_cannot_be_changed(hand: Any, workshop: Any) -> None:
    """There is no way back to an earlier cup."""
    here = hand.serving()
    for line in here.lines:
        hand.mark(here.serving, line.id, 5.0)
    tasting.finish_serving(workshop.store, hand.token, here.serving)
    with pytest.raises(OutOfDate, match="closed"):
        hand.mark(here.serving, here.lines[0].id, 1.0)


def test_who_cannot_judge_leaves_missing_scores_with_the_reason(hand: Any, workshop: Any) -> None:
    """Missing is never zero, and the serving counts as served."""
    here = hand.serving()
    first = tasting.cannot_judge(workshop.store, hand.token, here.serving, "the piece was broken", "n" * 24)
    again = tasting.cannot_judge(workshop.store, hand.token, here.serving, "the piece was broken", "n" * 24)
    assert again.again
    assert first.at == again.at
    assert [(row.value, row.reason) for row in rows(workshop)] == [(None, "the piece was broken")] * 3
    assert hand.place().number == here.number + 1


def test_the_whole_sitting_leads_to_done(hand: Any) -> None:
    """Every planned serving is offered once, then the page says so."""
    assert hand.taste_all() == 9
    here = hand.place()
    assert (here.kind, here.number, here.of, here.marks_kept) == ("done", 3, 3, 9)
    assert here.grams_today == 4 * 4.5


def test_a_reload_resumes_at_the_same_serving(hand: Any, workshop: Any) -> None:
    """A dead battery or a second phone with the same link changes nothing."""
    here = hand.serving()
    hand.mark(here.serving, here.lines[1].id, 7.0)
    other = joining.join(workshop.store, workshop.links[0].code, "10.0.0.8", None)
    again = tasting.place(workshop.store, other)
    assert (again.serving, again.code, again.number) == (here.serving, here.code, here.number)
    assert [line.value for line in again.lines] == [None, 7.0, None]


def test_sitting_out_needs_no_reason_and_can_be_taken_back(hand: Any, workshop: Any) -> None:
    """Not today is an answer; so is a later yes."""
    assert tasting.sit_out(workshop.store, hand.token).kind == "left"
    with workshop.store.read() as tx:
        before = events.count(tx)
    assert tasting.sit_out(workshop.store, hand.token).kind == "left"
    with workshop.store.read() as tx:
        assert events.count(tx) == before, "said once"
    assert tasting.agree(workshop.store, hand.token).kind == "warm_up"


@pytest.mark.parametrize("keep", [True, False])
def test_leaving_keeps_the_marks_or_takes_them_out(hand: Any, workshop: Any, keep: bool) -> None:
    """Stopping is always possible; taken-out marks are superseded by missing ones."""
    here = hand.serving()
    for line in here.lines:
        hand.mark(here.serving, line.id, 5.0)
    tasting.finish_serving(workshop.store, hand.token, here.serving)
    assert tasting.leave(workshop.store, hand.token, keep).kind == "stopped"
    assert tasting.place(workshop.store, hand.token).marks_kept == (3 if keep else 0)
    assert len([row for row in rows(workshop) if row.value == 5.0]) == 3
    assert check(workshop.store.url).sound


def test_a_paused_sitting_holds_the_next_step(hand: Any, workshop: Any) -> None:
    """The leader can hold everybody; marks of the cup in hand are still kept."""
    here = hand.serving()
    watching.pause(workshop.store, workshop.leader, workshop.sitting.id)
    assert hand.place().kind == "paused"
    hand.mark(here.serving, here.lines[0].id, 5.0)
    watching.resume(workshop.store, workshop.leader, workshop.sitting.id)
    assert hand.place().kind == "serving"


def test_a_closed_sitting_takes_no_more_marks(hand: Any, workshop: Any) -> None:
    """After the close the record of the sitting stands."""
    here = hand.serving()
    watching.close_sitting(workshop.store, workshop.leader, workshop.sitting.id, "fire drill")
    with pytest.raises(StudyError):
        hand.mark(here.serving, here.lines[0].id, 5.0)
    assert hand.place().kind == "done"


def test_nothing_of_the_samples_reaches_the_page(hand: Any, workshop: Any) -> None:
    """Title, recipe, hours, letters and sample ids stay with the leader, on every step."""
    with workshop.store.read() as tx:
        secret = [str(value) for row in tx.exec_driver_sql("SELECT id FROM sample").all() for value in row]
    secret += ["Quittentorte", "Zirbelnuss", "Pfauenfeder", "Drehmaschine", "Nullpunkt", "17.25", "33.75", "61.5"]
    seen = [json.dumps(dataclasses.asdict(hand.place()))]
    here = hand.serving()
    while here.kind == "serving":
        seen.append(json.dumps(dataclasses.asdict(here)))
        for line in here.lines:
            hand.mark(here.serving, line.id, 5.0)
        here = tasting.finish_serving(workshop.store, hand.token, here.serving)
    seen.append(json.dumps(dataclasses.asdict(hand.place())))
    assert len(seen) == 5
    assert [word for word in secret if any(word in page for page in seen)] == []


def test_a_note_can_be_erased_and_the_record_stays_sound(hand: Any, workshop: Any) -> None:
    """Free text is personal: it goes with the person, and the chain still verifies."""
    tasting.send_note(workshop.store, hand.token, "  my nose is blocked  ")
    with workshop.store.read() as tx:
        assert tx.exec_driver_sql("SELECT text FROM note").scalar() == "my nose is blocked"
    assert check(workshop.store.url).sound
    seat = joining.seat_of(workshop.store, hand.token)
    panel.erase_person(workshop.store, workshop.leader, seat.assessor)
    with workshop.store.read() as tx:
        assert tx.exec_driver_sql("SELECT text, salt FROM note").one() == (None, None)
    assert check(workshop.store.url).sound


def test_a_note_has_a_length(hand: Any, workshop: Any) -> None:
    """Nothing and a novel are both refused."""
    for text in ("", "   ", "x" * 1001):
        with pytest.raises(BadInput, match="note"):
            tasting.send_note(workshop.store, hand.token, text)


def test_the_path_of_an_assessor_imports_no_heavy_library() -> None:
    """Neither numpy nor pandas stands between a cold start and the first cup."""
    code = (
        "import sys; from studyapp.services import joining, tasting; from studyapp.store import open_store;"
        "print([name for name in ('numpy', 'pandas', 'scipy', 'streamlit') if name in sys.modules])"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


def test_trays_gate_the_servings(workshop: Any, hand: Any) -> None:
    """Released trays are what the preparer sees as gone."""
    trays = preparing.trays(workshop.store, workshop.preparer, workshop.sitting.id)
    assert [tray.position for tray in trays] == [0, 1, 2, 3]
    assert all(tray.released_by == "Ben" for tray in trays)
    assert hand.serving().kind == "serving"


def test_no_phone_can_take_the_number_of_a_row_that_the_server_makes(hand: Any, workshop: Any) -> None:
    """A phone knows its serving, its lines and its own numbers; whatever it has sent before, the next act is kept."""
    here = hand.serving()
    guesses = [f"closed:{here.serving}:{line.id}" for line in here.lines] + [f"{'n' * 24}:0"]
    for nonce in guesses:
        tasting.keep_mark(workshop.store, hand.token, Mark(here.serving, here.lines[0].id, 5.0, nonce))
    assert not tasting.cannot_judge(workshop.store, hand.token, here.serving, "broken", "n" * 24).again
    assert hand.place().number == here.number + 1
    made = [row.nonce for row in rows(workshop) if row.reason == "broken"]
    assert len(made) == 3
    for nonce in made:
        with pytest.raises(BadInput, match="number"):
            tasting.keep_mark(workshop.store, hand.token, Mark(hand.place().serving, here.lines[0].id, 5.0, nonce))


def test_the_same_number_at_two_servings_sets_both_aside(hand: Any, workshop: Any) -> None:
    """A number names an act at one serving; at the next one it is no repeat."""
    for _ in range(2):
        here = hand.serving()
        assert not tasting.cannot_judge(workshop.store, hand.token, here.serving, "broken", "n" * 24).again
    assert len(rows(workshop)) == 6


def test_a_line_takes_its_most_marks_and_keeps_the_last(
    hand: Any, workshop: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A phone that never stops fills no disk: a sentence, the last mark stands, and the serving can be finished."""
    assert tasting.MOST_MARKS_A_LINE == 300
    monkeypatch.setattr(tasting, "MOST_MARKS_A_LINE", 3)
    here = hand.serving()
    for value in (1.0, 2.0, 3.0):
        last = Mark(here.serving, here.lines[0].id, value, f"number-{value}-of-three")
        tasting.keep_mark(workshop.store, hand.token, last)
    with pytest.raises(NotAllowed, match="3 times"):
        hand.mark(here.serving, here.lines[0].id, 4.0)
    assert tasting.keep_mark(workshop.store, hand.token, last).again
    for line in here.lines[1:]:
        hand.mark(here.serving, line.id, 5.0)
    assert tasting.finish_serving(workshop.store, hand.token, here.serving).number == here.number + 1
    assert [row.value for row in rows(workshop)] == [1.0, 2.0, 3.0, 5.0, 5.0]


def test_a_seat_sends_its_most_notes_and_no_more(hand: Any, workshop: Any) -> None:
    """Everybody else can still send theirs."""
    for number in range(tasting.MOST_NOTES):
        tasting.send_note(workshop.store, hand.token, f"note {number}")
    with pytest.raises(NotAllowed, match="50 notes"):
        tasting.send_note(workshop.store, hand.token, "one more")
    other = joining.join(workshop.store, workshop.links[1].code, "10.0.0.8", None)
    tasting.send_note(workshop.store, other, "grainy")
    assert check(workshop.store.url).sound
