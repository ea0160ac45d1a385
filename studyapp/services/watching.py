"""A sitting while it runs: who is where, never what they mark."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Deviation, Progress, Seated, Sitting, Staff, Study
from studyapp.services import calling, heard, leaving_out, trying
from studyapp.services.access import require, sitting_or_refuse, study_or_refuse
from studyapp.services.preparing import trays_of
from studyapp.services.seating import own_nonce
from studyapp.services.standing import Standing, moment, stamp, standing
from studyapp.store import Store, clock, events, openings, servings, sittings, studies, trials
from studyapp.store.servings import BlindServing
from studyapp.store.trials import BlindSet
from studyapp.words import _, ngettext

TASTING = ("serving", "warm_up", "trial")
LONG_MINUTES = 10
SILENT_MINUTES = 5  # an open page speaks every three seconds; out of common sense, no source
LONGEST_REASON = 200
NOT_TODAY = "not today"


def open_sitting(store: Store, by: Staff, sitting_id: str) -> None:
    """Let assessors begin."""
    _move(store, by, sitting_id, ("planned",), "open", _("Not done: this sitting was opened before."))


def pause(store: Store, by: Staff, sitting_id: str) -> None:
    """Hold everybody at the next step."""
    _move(store, by, sitting_id, ("open",), "paused", _("Not done: only an open sitting can be paused."))


def resume(store: Store, by: Staff, sitting_id: str) -> None:
    """Go on after a pause."""
    _move(store, by, sitting_id, ("paused",), "open", _("Not done: this sitting is not paused."))


def _move(store: Store, by: Staff, sitting_id: str, frm: tuple[str, ...], to: str, refusal: str) -> None:
    require(by, "leader")
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        if sitting.state == to:
            return
        if sitting.state not in frm:
            raise NotAllowed(refusal)
        timed: dict[str, Any] = {"at": events.now()}
        sittings.set_state(tx, sitting_id, to, timed["at"])
        if to == "open":
            leaving_out.close_lost(tx, sitting)
            timed["clock"] = clock.anchor()
        events.append(tx, f"sitting {to}", {"sitting": sitting_id, "by": by.id, **timed}, sitting.study)


def close_sitting(store: Store, by: Staff, sitting_id: str, reason: str = "") -> int:
    """End a sitting; servings nobody finished become missing, with the reason, those of who does not taste today
    without one. Returns how many.

    Raises:
        BadInput: servings are open and no reason is given.
    """
    require(by, "leader")
    reason = reason.strip()
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        if sitting.state == "closed":
            return 0
        left = servings.open_servings(tx, sitting_id)
        sets = trials.open_sets(tx, sitting_id)
        at = events.now()
        out = _of_absent(tx, sitting_id)
        _close_servings(tx, sitting, [one for one in left if one in out], NOT_TODAY, at)
        _close_sets(tx, sitting, [one for one in sets if one in out], NOT_TODAY)
        open_ = [one for one in left if one not in out], [one for one in sets if one not in out]
        if any(open_):
            _leave_missing(tx, by, sitting, *open_, reason, at)
        calling.put_down(tx, by, sitting)
        sittings.set_state(tx, sitting_id, "closed", at)
        sittings.end_codes(tx, sitting_id)
        body = {"sitting": sitting_id, "missing": len(left + sets), "by": by.id, "at": at}
        events.append(tx, "sitting closed", body, sitting.study)
    return len(left + sets)


def _leave_missing(
    tx: Any, by: Staff, sitting: Sitting, left: list[str], sets: list[str], reason: str, at: str
) -> None:
    """Marks stay; lines without a mark and sets without an answer become missing, and the record says why."""
    if not reason or len(reason) > LONGEST_REASON:
        refused = _sets_open(len(sets)) if sets else _servings_open(len(left))
        raise BadInput(refused.format(n=len(sets) or len(left), most=LONGEST_REASON))
    _close_servings(tx, sitting, left, reason, at)
    _close_sets(tx, sitting, sets, reason)
    told = _sets_missing(len(sets)) if sets else _servings_missing(len(left))
    sentence = told.format(n=len(sets) or len(left), label=sitting.label, reason=reason)
    studies.add_deviation(tx, sitting.study, sentence, known_now(tx, study_or_refuse(tx, sitting.study)), by.id)


def _of_absent(tx: Any, sitting_id: str) -> set[str]:
    """The servings and sets of who said "not today": nobody asks for a reason, and the leader need not type one."""
    out = {id_ for id_, here in sittings.presences(tx, sitting_id).items() if here.declined_at}
    return {each.id for assessor, own in _steps(tx, sitting_id).items() if assessor in out for each in own}


def _close_servings(tx: Any, sitting: Sitting, left: Sequence[str], reason: str, at: str) -> None:
    for serving in left:
        for line in servings.lines(tx, sitting.id, serving):
            if line.value is None:
                nonce = own_nonce("closed", serving, line.id)
                servings.add_score(tx, sitting.study, serving, line.id, None, reason, nonce)
        servings.finish(tx, serving, "missing", at)


def _close_sets(tx: Any, sitting: Sitting, sets: Sequence[str], reason: str) -> None:
    for each in sets:
        trying.leave_missing(tx, sitting, each, reason)


def _servings_open(count: int) -> str:
    return ngettext(
        "Not closed: {n} serving is open. Give the reason why it stays missing, in up to {most} letters.",
        "Not closed: {n} servings are open. Give the reason why they stay missing, in up to {most} letters.",
        count,
    )


def _sets_open(count: int) -> str:
    return ngettext(
        "Not closed: {n} set has no answer. Give the reason why it stays missing, in up to {most} letters.",
        "Not closed: {n} sets have no answer. Give the reason why they stay missing, in up to {most} letters.",
        count,
    )


def _servings_missing(count: int) -> str:
    return ngettext(
        "{n} serving of {label} stayed missing: {reason}", "{n} servings of {label} stayed missing: {reason}", count
    )


def _sets_missing(count: int) -> str:
    return ngettext(
        "{n} set of {label} stayed missing: {reason}", "{n} sets of {label} stayed missing: {reason}", count
    )


# ---- who is where --------------------------------------------------------------------------------------------------
def progress(store: Store, by: Staff, sitting_id: str) -> Progress:
    """A sitting at a glance, without a single mark."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        plan = study_or_refuse(tx, sitting.study).plan
        people_here = sorted(studies.seats(tx, sitting.study), key=lambda seat: seat[2])
        seen = _Seen(tx, store, sitting, plan.rest_seconds)
        # Who gets nothing in this sitting is not waited for.
        seats = tuple(_seated(seen, assessor, name) for _n, assessor, name in people_here if assessor in seen.cups)
        saved, of = sum(seat.saved for seat in seats), sum(seat.of for seat in seats if seat.kind != "left")
        noted = studies.deviation_count(tx, sitting.study)
        missing = sum(seat.missing for seat in seats)
        return Progress(sitting, seats, trays_of(tx, sitting_id), saved, of, noted, missing)


def staying_missing(store: Store, by: Staff, study_id: str) -> dict[int, int]:
    """Servings that stay missing in each sitting of a study, by its number: those that are, and all of who left."""
    with store.read() as tx:
        numbers = {one.id: one.number for one in sittings.of_study(tx, study_id)}
    every = {number: progress(store, by, id_).seats for id_, number in numbers.items()}
    return {
        number: sum(seat.missing + (seat.of - seat.saved if seat.kind == "left" else 0) for seat in seats)
        for number, seats in every.items()
    }


class _Seen:
    """What is asked once for all seats of a sitting."""

    def __init__(self, tx: Any, store: Store, sitting: Sitting, rest_seconds: int) -> None:
        self.sitting, self.rest_seconds = sitting, rest_seconds
        self.cups = _steps(tx, sitting.id)
        self.present = sittings.presences(tx, sitting.id)
        self.released = sittings.released(tx, sitting.id)
        self.called = {one.name: one.kind for one in calling.calls_now(tx, sitting) if one.kind != "note"}
        self.heard = {assessor: heard.last(store, sitting.id, assessor) for assessor in self.present}


def _steps(tx: Any, sitting_id: str) -> Mapping[str, Sequence[BlindServing | BlindSet]]:
    """What is served in a sitting, by assessor id: single servings, or sets of cups."""
    return {**servings.blind_by_assessor(tx, sitting_id), **trials.blind_by_assessor(tx, sitting_id)}


def _seated(seen: _Seen, assessor: str, name: str) -> Seated:
    """One row: `look` asks the leader to look up: somebody waits for a tray, calls, takes very long or is not heard."""
    cups, present = seen.cups.get(assessor, []), seen.present.get(assessor)
    scored = [cup for cup in cups if cup.scored]
    saved = sum(cup.finished_at is not None for cup in scored)
    missing = sum(cup.outcome == "missing" for cup in scored)
    if present is None:
        return Seated(name, "nothing", saved, len(scored), missing=missing)
    at = clock.now()
    here = standing(seen.sitting.state, cups, present, seen.released, seen.rest_seconds, at)
    waits = here.cup.position if here.cup and here.kind == "waiting" and seen.sitting.state == "open" else None
    ready = stamp(here.ready_at) if here.ready_at else None
    since = _since(here, cups, present, seen.rest_seconds)
    slow = here.kind in TASTING and since is not None and _minutes(since, at) >= LONG_MINUTES
    silent = _silent(here.kind, seen.heard.get(assessor), at)
    called = seen.called.get(name, "")
    needed = waits is not None or slow or bool(silent or called)
    return Seated(name, here.kind, saved, len(scored), since, ready, waits, needed, missing, silent, called)


def _since(here: Standing[Any], cups: Sequence[Any], present: sittings.Presence, rest_seconds: int) -> str | None:
    """When the present step began, as far as the record tells."""
    if here.kind in TASTING and here.cup is not None:
        return here.cup.started_at  # type: ignore[no-any-return]
    if here.kind in ("stopped", "left"):
        return present.left_at or present.declined_at
    finished = [cup.finished_at for cup in cups if cup.finished_at]
    if here.kind == "done":
        return max(finished, default=None)
    if here.kind == "waiting":
        rested = stamp(moment(max(finished)) + timedelta(seconds=rest_seconds)) if finished else ""
        return max(rested, present.agreed_at or "") or None
    return None


def _silent(kind: str, last: datetime | None, at: datetime) -> int:
    """Whole minutes without a word of a phone that should speak; 0 while that is not long, or not known."""
    if last is None or kind not in (*TASTING, "waiting"):
        return 0
    passed = int((at - last).total_seconds() // 60)
    return passed if passed >= SILENT_MINUTES else 0


def _minutes(since: str, at: datetime) -> float:
    return (at - moment(since)).total_seconds() / 60


def change_counter(store: Store) -> int:
    """A number that moves with every change, to draw again only when something happened."""
    with store.read() as tx:
        return events.count(tx)


# ---- deviations ----------------------------------------------------------------------------------------------------
def known_now(tx: Any, study: Study[Any]) -> str:
    """What was known when a deviation is noted."""
    if openings.of_study(tx, study.id):  # a later look is sealed again, and the results of the first are known
        return "results seen"
    if any(sitting.state != "planned" for sitting in sittings.of_study(tx, study.id)):
        closed = all(sitting.state == "closed" for sitting in sittings.of_study(tx, study.id))
        return "results not opened" if closed else "no results seen"
    return "nothing served"


def note_deviation(store: Store, by: Staff, study_id: str, sentence: str) -> None:
    """Keep a departure from the plan, with what was known then; the report prints it."""
    require(by, "leader", "preparer")
    sentence = sentence.strip()
    if not sentence or len(sentence) > 500:
        raise BadInput(_("Fix the departure: write 1 to 500 letters: what, when, which tray."))
    with store.write() as tx:
        study = study_or_refuse(tx, study_id)
        studies.add_deviation(tx, study_id, sentence, known_now(tx, study), by.id)


def deviations(store: Store, by: Staff, study_id: str) -> tuple[Deviation, ...]:
    """Departures from the plan, in order."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return studies.deviations(tx, study_id)


def notes(store: Store, by: Staff, study_id: str) -> tuple[tuple[str, str, str], ...]:
    """(time, pseudonym, text) that assessors sent; read after the key is opened, since a note may hint at a sample."""
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id)
        if study.state not in ("opened", "decided"):
            raise NotAllowed(_("Not done: notes are read after the key is opened."))
        return tuple(sittings.notes(tx, study_id))
