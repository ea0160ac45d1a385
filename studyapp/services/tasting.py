"""What an assessor does in a sitting. Nothing here ever reads which sample a code stands for."""

from __future__ import annotations

import math
import secrets
from datetime import UTC, datetime, timedelta
from typing import Any

from studyapp.errors import BadInput, NotAllowed, OutOfDate
from studyapp.records import SCALE_HIGH, SCALE_LOW, SCALE_STEP, Kept, Mark, Place, Plan, Seat, Sitting
from studyapp.services.access import new_id, token_hash
from studyapp.store import Store, events, people, servings, sittings, studies
from studyapp.store.servings import BlindServing
from studyapp.words import _

LONGEST_NOTE = 1000
MINUTES_A_SERVING = 2


def _seat(tx: Any, seat_token: str | None) -> Seat:
    found = people.seat_of_token(tx, token_hash(seat_token)) if seat_token else None
    if found is None:
        raise NotAllowed(_("Not done: this page is out of date. Open your link again; your marks are kept."))
    return Seat(*found)


def _moment(text: str) -> datetime:
    return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)


def _stamp(moment: datetime) -> str:
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


# ---- where somebody stands -----------------------------------------------------------------------------------------
def place(store: Store, seat_token: str | None) -> Place:
    """Where this assessor stands now; the first look at a serving is noted."""
    with store.read() as tx:
        seat = _seat(tx, seat_token)
        here = _place(tx, seat)
        fresh = here.serving if here.kind in ("serving", "warm_up") and not _started(tx, seat, here.serving) else None
    if fresh:
        with store.write() as tx:
            servings.start(tx, fresh)
            events.append(tx, "serving offered", {"serving": fresh})
    return here


def _started(tx: Any, seat: Seat, serving: str | None) -> bool:
    found = servings.blind_of(tx, serving or "", seat.sitting, seat.assessor)
    return found is not None and found.started_at is not None


def _place(tx: Any, seat: Seat) -> Place:
    sitting = sittings.get(tx, seat.sitting)
    study = studies.get(tx, sitting.study) if sitting else None
    if sitting is None or study is None:
        return Place("nothing", seat.pseudonym)
    return _standing(tx, seat, sitting, study.plan)


def _standing(tx: Any, seat: Seat, sitting: Sitting, plan: Plan) -> Place:
    """The step of the sitting, from what the store holds and nothing else."""
    cups = servings.blind(tx, seat.sitting, seat.assessor)
    scored = [cup for cup in cups if cup.scored]
    present = sittings.presence(tx, seat.sitting, seat.assessor) or sittings.Presence()
    base = _base(tx, seat, sitting, plan, cups)
    rest = next((cup for cup in cups if cup.finished_at is None), None)
    if present.left_at:
        return _of(base, kind="stopped")
    if present.declined_at:
        return _of(base, kind="left")
    if rest is None and cups:
        return _of(base, kind="done", number=len(scored))
    if sitting.state == "closed":
        return _of(
            base, kind="done" if present.agreed_at else "nothing", number=sum(c.finished_at is not None for c in scored)
        )
    if not present.agreed_at:
        return _of(base, kind="welcome")
    if sitting.state == "paused":
        return _of(base, kind="paused")
    if rest is None or sitting.state != "open":
        return _of(base, kind="waiting")
    return _at_cup(tx, base, seat, plan, cups, rest)


def _at_cup(
    tx: Any, base: dict[str, Any], seat: Seat, plan: Plan, cups: list[BlindServing], cup: BlindServing
) -> Place:
    """Rest, wait for the tray, or taste."""
    number = cup.position
    before = [c for c in cups if c.position < cup.position and c.finished_at]
    if before and plan.rest_seconds > 0:
        ready = _moment(before[-1].finished_at or events.now()) + timedelta(seconds=plan.rest_seconds)
        if ready > datetime.now(UTC):
            return _of(base, kind="rest", number=number, ready_at=_stamp(ready))
    if cup.position not in sittings.released(tx, seat.sitting):
        return _of(base, kind="waiting", number=number)
    if not cup.scored:
        return _of(base, kind="warm_up", serving=cup.id, code=cup.code)
    lines = servings.lines(tx, seat.sitting, cup.id)
    return _of(base, kind="serving", serving=cup.id, code=cup.code, number=number, lines=lines)


def _of(base: dict[str, Any], **more: Any) -> Place:
    return Place(**{**base, **more})


def _base(tx: Any, seat: Seat, sitting: Sitting, plan: Plan, cups: list[BlindServing]) -> dict[str, Any]:
    kept, saved_at = servings.marks_kept(tx, seat.sitting, seat.assessor)
    today = events.now()[:10] + "T00:00:00Z"
    week = _stamp(datetime.now(UTC) - timedelta(days=7))
    scored = sum(cup.scored for cup in cups)
    return {
        "pseudonym": seat.pseudonym,
        "sitting_label": sitting.label,
        "of": scored,
        "rest_seconds": plan.rest_seconds,
        "now": events.now(),
        "saved_at": saved_at,
        "contains": plan.contains,
        "traces": plan.traces,
        "swallow": plan.swallow,
        "routine": plan.routine,
        "minutes": math.ceil(len(cups) * (MINUTES_A_SERVING + plan.rest_seconds / 60)),
        "line_count": len(plan.attributes),
        "marks_kept": kept,
        "grams_today": servings.finished_since(tx, seat.assessor, today) * plan.piece_g,
        "grams_week": servings.finished_since(tx, seat.assessor, week) * plan.piece_g,
    }


# ---- at the door ---------------------------------------------------------------------------------------------------
def agree(store: Store, seat_token: str | None) -> Place:
    """ "I have read this, start": read what is served, fit to taste, willing."""
    return _door(store, seat_token, "agreed", agreed_at=events.now(), declined_at=None)


def sit_out(store: Store, seat_token: str | None) -> Place:
    """ "Not today"; nobody asks why."""
    return _door(store, seat_token, "sat out", declined_at=events.now())


def _door(store: Store, seat_token: str | None, what: str, **values: Any) -> Place:
    with store.write() as tx:
        seat = _seat(tx, seat_token)
        sitting = sittings.get(tx, seat.sitting)
        present = sittings.presence(tx, seat.sitting, seat.assessor)
        if sitting is not None and not (present and present.agreed_at):
            sittings.keep_presence(tx, seat.sitting, seat.assessor, **values)
            events.append(tx, what, {"sitting": seat.sitting, "assessor": seat.assessor}, sitting.study)
        return _place(tx, seat)


# ---- marks ---------------------------------------------------------------------------------------------------------
def keep_mark(store: Store, seat_token: str | None, mark: Mark) -> Kept:
    """Keep one mark; the same nonce twice is one mark.

    Raises:
        BadInput: the value is not on the line, or the line is not on the ballot.
        NotAllowed: the token is worthless or the sitting is not open.
        OutOfDate: the serving is finished or not this assessor's.
    """
    value = _on_the_line(mark.value)
    _check_nonce(mark.nonce)
    with store.write() as tx:
        seat = _seat(tx, seat_token)
        kept = servings.score_by_nonce(tx, mark.nonce)
        if kept is not None:
            if (kept.serving, kept.attribute) != (mark.serving, mark.line):
                raise BadInput(_("Not done: this mark was sent under the name of another. Mark the line again."))
            return Kept(kept.at, again=True)
        study = _open_serving(tx, seat, mark.serving)
        if not servings.line_belongs(tx, seat.sitting, mark.line):
            raise BadInput(_("Not done: that line is not on this ballot. Open your link again; your marks are kept."))
        return Kept(servings.add_score(tx, study, mark.serving, mark.line, value, None, mark.nonce))


def _on_the_line(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadInput(_("Not done: a mark is a number on the line."))
    if not SCALE_LOW <= value <= SCALE_HIGH:
        raise BadInput(_("Not done: a mark lies between {low} and {high}.").format(low=SCALE_LOW, high=SCALE_HIGH))
    return round(round(value / SCALE_STEP) * SCALE_STEP, 6)


def _check_nonce(nonce: Any) -> None:
    if not isinstance(nonce, str) or not 16 <= len(nonce) <= 64:
        raise BadInput(_("Not done: the mark came without its number. Mark the line again."))


def _open_serving(tx: Any, seat: Seat, serving: str) -> str:
    """The study of a serving that may take marks now."""
    cup = servings.blind_of(tx, serving, seat.sitting, seat.assessor)
    sitting = sittings.get(tx, seat.sitting)
    if cup is None or sitting is None or cup.finished_at is not None:
        raise OutOfDate(_("Not done: this serving is closed. Open your link again; your marks are kept."))
    if sitting.state == "closed":
        raise NotAllowed(_("Not done: this tasting is over. Your marks so far are kept."))
    present = sittings.presence(tx, seat.sitting, seat.assessor)
    if present is None or not present.agreed_at or present.left_at:
        raise NotAllowed(_("Not done: read the first page and start, then mark."))
    current = next(c for c in servings.blind(tx, seat.sitting, seat.assessor) if c.finished_at is None)
    if current.id != serving or cup.position not in sittings.released(tx, seat.sitting):
        raise NotAllowed(_("Not done: this serving has not its turn yet."))
    return sitting.study


def cannot_judge(store: Store, seat_token: str | None, serving: str, reason: str, nonce: str) -> Kept:
    """Every line of a serving becomes missing, with the reason; the serving is finished."""
    _check_nonce(nonce)
    reason = str(reason).strip()[:200]
    if not reason:
        raise BadInput(_("Fix the reason: choose one or write a few words."))
    with store.write() as tx:
        seat = _seat(tx, seat_token)
        first = servings.score_by_nonce(tx, f"{nonce}:0")
        if first is not None:
            return Kept(first.at, again=True)
        study = _open_serving(tx, seat, serving)
        at = events.now()
        for number, line in enumerate(servings.lines(tx, seat.sitting, serving)):
            at = servings.add_score(tx, study, serving, line.id, None, reason, f"{nonce}:{number}")
        servings.finish(tx, serving, "missing")
        events.append(tx, "serving missing", {"serving": serving}, study)
        return Kept(at)


def finish_serving(store: Store, seat_token: str | None, serving: str) -> Place:
    """Leave a serving for the next step; a repeat changes nothing.

    Raises:
        BadInput: lines without a mark, by name.
    """
    with store.write() as tx:
        seat = _seat(tx, seat_token)
        cup = servings.blind_of(tx, serving, seat.sitting, seat.assessor)
        if cup is None:
            raise OutOfDate(_("Not done: this page is out of date. Open your link again; your marks are kept."))
        if cup.finished_at is None:
            study = _open_serving(tx, seat, serving)
            missing = (
                [line.name for line in servings.lines(tx, seat.sitting, serving) if line.value is None]
                if cup.scored
                else []
            )
            if missing:
                raise BadInput(_("These lines have no mark yet: {names}.").format(names=", ".join(missing)))
            servings.finish(tx, serving, "judged" if cup.scored else "warm-up")
            events.append(tx, "serving finished", {"serving": serving}, study)
        return _place(tx, seat)


# ---- leaving -------------------------------------------------------------------------------------------------------
def leave(store: Store, seat_token: str | None, keep_marks: bool) -> Place:
    """ "I want to stop": the rest becomes missing; marks so far stay, or are taken out by superseding them."""
    with store.write() as tx:
        seat = _seat(tx, seat_token)
        sitting = sittings.get(tx, seat.sitting)
        present = sittings.presence(tx, seat.sitting, seat.assessor)
        if sitting is None or (present and present.left_at):
            return _place(tx, seat)
        for cup in servings.blind(tx, seat.sitting, seat.assessor):
            if cup.scored and (cup.finished_at is None or not keep_marks):
                _take_out(tx, sitting, cup.id, "taken out by the assessor" if not keep_marks else "stopped", keep_marks)
            servings.finish(tx, cup.id, "missing")
        sittings.keep_presence(tx, seat.sitting, seat.assessor, left_at=events.now(), kept=keep_marks)
        events.append(
            tx, "left", {"sitting": seat.sitting, "assessor": seat.assessor, "kept": keep_marks}, sitting.study
        )
        return _place(tx, seat)


def _take_out(tx: Any, sitting: Sitting, serving: str, reason: str, keep_marks: bool) -> None:
    """Missing scores on the lines of a serving; kept marks of an unfinished serving stay kept."""
    for line in servings.lines(tx, sitting.id, serving):
        if line.value is None or not keep_marks:
            servings.add_score(tx, sitting.study, serving, line.id, None, reason, f"left:{secrets.token_hex(12)}")


def send_note(store: Store, seat_token: str | None, text: str) -> None:
    """Keep a free text; it can be erased later, the chain holds a salted hash."""
    text = str(text).strip()
    if not text or len(text) > LONGEST_NOTE:
        raise BadInput(_("Fix the note: write 1 to {n} letters.").format(n=LONGEST_NOTE))
    salt = secrets.token_hex(16)
    sha = events.digest({"salt": salt, "text": text})
    with store.write() as tx:
        seat = _seat(tx, seat_token)
        sitting = sittings.get(tx, seat.sitting)
        sittings.add_note(tx, new_id(), seat.sitting, seat.assessor, text, salt, sha)
        events.append(tx, "note", {"sitting": seat.sitting, "sha256": sha}, sitting.study if sitting else None)
