"""What an assessor does in a sitting. Nothing here ever reads which sample a code stands for."""

from __future__ import annotations

import math
import secrets
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from studyapp.errors import BadInput, NotAllowed, NotFound, OutOfDate
from studyapp.records import (
    MINUTES_A_PIECE,
    SCALE_HIGH,
    SCALE_LOW,
    SCALE_STEP,
    CupsPlan,
    Kept,
    Mark,
    Place,
    PlaceKind,
    Seat,
    SetsPlan,
    Sitting,
)
from studyapp.services import heard, spares, trying
from studyapp.services.access import new_id, study_or_refuse, token_hash
from studyapp.services.seating import check_nonce, grams_eaten, own_nonce, seat_or_refuse, sitting_of
from studyapp.services.standing import Standing, stamp, standing
from studyapp.store import Store, clock, events, servings, sittings, trials
from studyapp.store.servings import BlindServing
from studyapp.words import _, ngettext

LONGEST_NOTE, LONGEST_REASON = 1000, 200
# Nobody moves one mark this often or writes this much in a sitting; a phone gone wild, or a hand that wants to fill the
# disk, is stopped here. Out of common sense, no source.
MOST_MARKS_A_LINE, MOST_NOTES = 300, 50


# ---- where somebody stands -----------------------------------------------------------------------------------------
def place(store: Store, seat_token: str | None) -> Place:
    """Where this assessor stands now; the first look at a serving is noted.

    Raises:
        NotAllowed: the token is worthless.
    """
    with store.read() as tx:
        seat = seat_or_refuse(tx, seat_token)
        here, fresh = _place(tx, seat)
        here = _with_spare(tx, seat, here)
    return store.write_together(lambda tx: _offer(tx, seat_or_refuse(tx, seat_token))) if fresh else here


def here(store: Store, seat_token: str | None) -> tuple[PlaceKind, str]:
    """Where this assessor stands, as a kind and a word that changes with every step; offers nothing.

    Whoever asks is awake: the watch page reads from it which phone has fallen silent.

    Raises:
        NotAllowed: the token is worthless.
    """
    with store.read() as tx:
        seat = seat_or_refuse(tx, seat_token)
        found = _place(tx, seat)[0]
    heard.note(store, seat)
    return found.kind, found.at


def gone(seat: Seat, kind: PlaceKind) -> Place:
    """The page of a phone whose seat went elsewhere: who sat here, and nothing of the sitting."""
    return Place(kind, seat.pseudonym)


def _offer(tx: Any, seat: Seat) -> Place:
    """The page, with the note that its serving was offered: from now on the serving takes marks."""
    here, fresh = _place(tx, seat)
    if fresh and here.serving and (at := servings.start(tx, here.serving)):
        events.append(tx, "serving offered", {"serving": here.serving, "at": at}, sitting_of(tx, seat).study)
    if fresh and here.trial and (at := trials.start(tx, here.trial)):
        events.append(tx, "set offered", {"set": here.trial, "at": at}, sitting_of(tx, seat).study)
    return _with_spare(tx, seat, here)


def _with_spare(tx: Any, seat: Seat, here: Place) -> Place:
    """The page with the code that stands there now, and whether another piece can be had; a warm-up has none."""
    if here.kind != "serving" or not here.serving:
        return here
    sitting = sitting_of(tx, seat)
    code = spares.code_now(tx, sitting, here.serving, here.code or "")
    left = spares.free(tx, sitting, here.serving) is not None
    return replace(here, code=code, may_swap=left, swapped=code != here.code)


def _place(tx: Any, seat: Seat) -> tuple[Place, bool]:
    """The page of an assessor, and whether it offers a serving for the first time."""
    sitting = sitting_of(tx, seat)
    plan = study_or_refuse(tx, sitting.study).plan
    if isinstance(plan, SetsPlan):
        return trying.page(tx, seat, sitting, plan)
    cups = servings.blind(tx, seat.sitting, seat.assessor)
    present = sittings.presence(tx, seat.sitting, seat.assessor) or sittings.Presence()
    released = sittings.released(tx, seat.sitting)
    here = standing(sitting.state, cups, present, released, plan.rest_seconds, clock.now())
    offered = here.cup if here.kind in ("serving", "warm_up") else None
    lines = servings.lines(tx, seat.sitting, offered.id) if offered and offered.scored else ()
    page = Place(
        here.kind,
        number=_number(here, cups),
        serving=offered.id if offered else None,
        code=offered.code if offered else None,
        lines=lines,
        ready_at=stamp(here.ready_at) if here.ready_at else None,
        **_texts(seat, sitting, plan, cups),
        **_counts(tx, seat, plan),
    )
    return page, bool(offered and offered.started_at is None)


def _number(here: Standing[BlindServing], cups: list[BlindServing]) -> int:
    """Which serving this is, or how many are behind when there is no next one."""
    if here.cup is not None and here.kind not in ("welcome", "nothing", "done"):
        return here.cup.position
    return sum(cup.outcome == "judged" for cup in cups)


def _texts(seat: Seat, sitting: Sitting, plan: CupsPlan, cups: list[BlindServing]) -> dict[str, Any]:
    """What stands on every page of a sitting."""
    return {
        "pseudonym": seat.pseudonym,
        "sitting_label": sitting.label,
        "of": sum(cup.scored for cup in cups),
        "rest_seconds": plan.rest_seconds,
        "now": events.now(),
        "contains": plan.contains,
        "traces": plan.traces,
        "swallow": plan.swallow,
        "routine": plan.routine,
        "minutes": math.ceil(len(cups) * (MINUTES_A_PIECE + plan.rest_seconds / 60)),
        "line_count": len(plan.attributes),
    }


def _counts(tx: Any, seat: Seat, plan: CupsPlan) -> dict[str, Any]:
    """What is kept of this assessor, and how much was eaten."""
    kept, saved_at = servings.marks_kept(tx, seat.sitting, seat.assessor)
    return {"saved_at": saved_at, "marks_kept": kept, **grams_eaten(tx, seat.assessor, plan.piece_g)}


# ---- at the door ---------------------------------------------------------------------------------------------------
def agree(store: Store, seat_token: str | None) -> Place:
    """ "I have read this, start": read what is served, fit to taste, willing."""
    return _door(store, seat_token, "agreed", lambda at: {"agreed_at": at, "declined_at": None})


def sit_out(store: Store, seat_token: str | None) -> Place:
    """ "Not today"; nobody asks why."""
    return _door(store, seat_token, "sat out", lambda at: {"declined_at": at})


def _door(store: Store, seat_token: str | None, what: str, said: Callable[[str], dict[str, Any]]) -> Place:
    with store.write() as tx:
        seat = seat_or_refuse(tx, seat_token)
        sitting = sitting_of(tx, seat)
        present = sittings.presence(tx, seat.sitting, seat.assessor)
        said_before = present and (present.agreed_at or (what == "sat out" and present.declined_at))
        if sitting.state != "closed" and not said_before:
            at = events.now()
            sittings.keep_presence(tx, seat.sitting, seat.assessor, **said(at))
            events.append(tx, what, {"sitting": seat.sitting, "assessor": seat.assessor, "at": at}, sitting.study)
        return _offer(tx, seat)


# ---- marks ---------------------------------------------------------------------------------------------------------
def keep_mark(store: Store, seat_token: str | None, mark: Mark) -> Kept:
    """Keep one mark; the same nonce twice is one mark.

    Raises:
        BadInput: the value is not on the line, or the line is not on the ballot.
        NotAllowed: the token is worthless, the sitting is not open, or the line was marked too often.
        OutOfDate: the serving is finished or not this assessor's.
    """
    return store.write_together(marking(seat_token, mark))


def marking(seat_token: str | None, mark: Mark) -> Callable[[Any], Kept]:
    """What keeps one mark within a transaction. Raises BadInput as `keep_mark`; the rest when it is done."""
    value = _on_the_line(mark.value)
    check_nonce(mark.nonce)

    def keep(tx: Any) -> Kept:
        found = servings.marking(tx, token_hash(seat_token or ""), mark.serving, mark.line, mark.nonce)
        if found is None:
            seat_or_refuse(tx, seat_token)
            raise NotFound(_("Not done: this sitting is not kept here. Ask for a new link."))
        if found.sent_at is not None:
            if (found.sent_serving, found.sent_line) != (mark.serving, mark.line):
                raise BadInput(_("Not done: this mark was sent under the name of another. Mark the line again."))
            return Kept(found.sent_at, again=True)
        _refuse_shut(found.cup is not None, found.state, found.started_at, found.finished_at)
        _check_line(found)
        return Kept(servings.add_score(tx, found.study, mark.serving, mark.line, value, None, mark.nonce))

    return keep


def _check_line(found: servings.Marking) -> None:
    """The line is on the ballot of this sitting and can take one more mark."""
    if found.line is None:
        raise BadInput(_("Not done: that line is not on this ballot. Open your link again; your marks are kept."))
    if found.marks >= MOST_MARKS_A_LINE:
        sentence = _("Not done: this line was marked {n} times, which is the most. The last mark that was kept stands.")
        raise NotAllowed(sentence.format(n=MOST_MARKS_A_LINE))


def _on_the_line(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadInput(_("Not done: a mark is a number on the line."))
    if not SCALE_LOW <= value <= SCALE_HIGH:
        raise BadInput(_("Not done: a mark lies between {low} and {high}.").format(low=SCALE_LOW, high=SCALE_HIGH))
    return round(round(value / SCALE_STEP) * SCALE_STEP, 6)


def _open_serving(tx: Any, seat: Seat, serving: str) -> str:
    """The study of a serving that may take marks now: offered, so its tray is out and the rest was kept."""
    cup, sitting = servings.blind_of(tx, serving, seat.sitting, seat.assessor), sitting_of(tx, seat)
    started, finished = (cup.started_at, cup.finished_at) if cup else (None, None)
    _refuse_shut(cup is not None, sitting.state, started, finished)
    return sitting.study


def _refuse_shut(mine: bool, state: str, started_at: str | None, finished_at: str | None) -> None:
    """Raise unless a serving of this assessor is open in an open sitting."""
    if not mine or finished_at is not None:
        raise OutOfDate(_("Not done: this serving is closed. Open your link again; your marks are kept."))
    if state == "closed":
        raise NotAllowed(_("Not done: this tasting is over. Your marks so far are kept."))
    if started_at is None:
        raise NotAllowed(_("Not done: this serving has not its turn yet."))


def cannot_judge(store: Store, seat_token: str | None, serving: str, reason: str, nonce: str) -> Kept:
    """Every line of a serving becomes missing, with the reason; the serving is finished. So is a set of cups."""
    check_nonce(nonce)
    reason = str(reason or "").strip()
    if not reason or len(reason) > LONGEST_REASON:
        raise BadInput(_("Fix the reason: write 1 to {n} letters.").format(n=LONGEST_REASON))
    with store.write() as tx:
        seat = seat_or_refuse(tx, seat_token)
        if trials.blind_of(tx, serving, seat.sitting, seat.assessor) is not None:
            return trying.set_aside(tx, seat, serving, reason, nonce)
        first = servings.score_by_nonce(tx, own_nonce("cannot judge", serving, nonce, 0))
        if first is not None:
            return Kept(first.at, again=True)
        study = _open_serving(tx, seat, serving)
        at = events.now()
        for number, line in enumerate(servings.lines(tx, seat.sitting, serving)):
            own = own_nonce("cannot judge", serving, nonce, number)
            at = servings.add_score(tx, study, serving, line.id, None, reason, own)
        servings.finish(tx, serving, "missing", at)
        events.append(tx, "serving missing", {"serving": serving, "at": at}, study)
        return Kept(at)


def finish_serving(store: Store, seat_token: str | None, serving: str) -> Place:
    """Leave a serving for the next step; a repeat changes nothing.

    Raises:
        BadInput: lines without a mark, by name.
        OutOfDate: the serving is not this assessor's.
    """

    def finish(tx: Any) -> Place:
        seat = seat_or_refuse(tx, seat_token)
        cup = servings.blind_of(tx, serving, seat.sitting, seat.assessor)
        if cup is None:
            raise OutOfDate(_("Not done: this page is out of date. Open your link again; your marks are kept."))
        if cup.finished_at is None:
            _finish(tx, seat, cup)
        return _offer(tx, seat)

    return store.write_together(finish)


def _finish(tx: Any, seat: Seat, cup: BlindServing) -> None:
    study = _open_serving(tx, seat, cup.id)
    lines = servings.lines(tx, seat.sitting, cup.id) if cup.scored else ()
    unmarked = [line.name for line in lines if line.value is None]
    if unmarked:
        sentence = ngettext(
            "One line has no mark yet: {names}.", "{count} lines have no mark yet: {names}.", len(unmarked)
        ).format(count=len(unmarked), names=", ".join(unmarked))
        raise BadInput(sentence)
    at = events.now()
    servings.finish(tx, cup.id, "judged" if cup.scored else "warm-up", at)
    events.append(tx, "serving finished", {"serving": cup.id, "at": at}, study)


# ---- leaving -------------------------------------------------------------------------------------------------------
def leave(store: Store, seat_token: str | None, keep_marks: bool) -> Place:
    """ "I want to stop": the rest becomes missing; marks so far stay, or are taken out by superseding them."""
    with store.write() as tx:
        seat = seat_or_refuse(tx, seat_token)
        sitting = sitting_of(tx, seat)
        present = sittings.presence(tx, seat.sitting, seat.assessor)
        if sitting.state != "closed" and not (present and present.left_at):
            at = events.now()
            for cup in servings.blind(tx, seat.sitting, seat.assessor):
                _give_up(tx, sitting, cup, keep_marks, at)
            trying.give_up(tx, sitting, seat, keep_marks)
            sittings.keep_presence(tx, seat.sitting, seat.assessor, left_at=at, kept=keep_marks)
            body = {"sitting": seat.sitting, "assessor": seat.assessor, "kept": keep_marks, "at": at}
            events.append(tx, "left", body, sitting.study)
        return _offer(tx, seat)


def _give_up(tx: Any, sitting: Sitting, cup: BlindServing, keep_marks: bool, at: str) -> None:
    """Missing scores on the lines of a serving that hold no mark, or on all of them if the marks go too."""
    if cup.scored and (cup.finished_at is None or not keep_marks):
        reason = "stopped" if keep_marks else "taken out by the assessor"
        for line in servings.lines(tx, sitting.id, cup.id):
            if line.value is None or not keep_marks:
                nonce = own_nonce("left", cup.id, line.id)
                servings.add_score(tx, sitting.study, cup.id, line.id, None, reason, nonce)
    servings.finish(tx, cup.id, "missing", at)


def send_note(store: Store, seat_token: str | None, text: str) -> None:
    """Keep a free text; it can be erased later, the chain holds a salted hash.

    Raises:
        BadInput: there is no text, or too much of it.
        NotAllowed: this seat sent as many notes as a sitting takes.
    """
    text = str(text or "").strip()
    if not text or len(text) > LONGEST_NOTE:
        raise BadInput(_("Fix the note: write 1 to {n} letters.").format(n=LONGEST_NOTE))
    with store.write() as tx:
        seat = seat_or_refuse(tx, seat_token)
        if sittings.note_count(tx, seat.sitting, seat.assessor) >= MOST_NOTES:
            sentence = _(
                "Not done: {n} notes are the most of one sitting. They are kept; tell the panel leader the rest."
            )
            raise NotAllowed(sentence.format(n=MOST_NOTES))
        sittings.add_note(tx, new_id(), sitting_of(tx, seat), seat.assessor, text, secrets.token_hex(16))
