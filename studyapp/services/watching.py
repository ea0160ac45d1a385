"""A sitting while it runs: who is where, never what they mark."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Deviation, Progress, Seated, Sitting, Staff, Study
from studyapp.services import leaving_out, trying
from studyapp.services.access import require, sitting_or_refuse, study_or_refuse
from studyapp.services.preparing import trays_of
from studyapp.services.seating import own_nonce
from studyapp.services.standing import moment, stamp, standing
from studyapp.store import Store, clock, events, openings, servings, sittings, studies, trials
from studyapp.store.servings import BlindServing
from studyapp.store.trials import BlindSet
from studyapp.words import _, ngettext

LONG_MINUTES = 10
LONGEST_REASON = 200


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
    """End a sitting; servings nobody finished become missing, with the reason. Returns how many.

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
        if left or sets:
            _leave_missing(tx, by, sitting, left, sets, reason, at)
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
    for serving in left:
        for line in servings.lines(tx, sitting.id, serving):
            if line.value is None:
                nonce = own_nonce("closed", serving, line.id)
                servings.add_score(tx, sitting.study, serving, line.id, None, reason, nonce)
        servings.finish(tx, serving, "missing", at)
    for each in sets:
        trying.leave_missing(tx, sitting, each, reason)
    told = _sets_missing(len(sets)) if sets else _servings_missing(len(left))
    sentence = told.format(n=len(sets) or len(left), label=sitting.label, reason=reason)
    studies.add_deviation(tx, sitting.study, sentence, known_now(tx, study_or_refuse(tx, sitting.study)), by.id)


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
        cups = _steps(tx, sitting_id)
        present = sittings.presences(tx, sitting_id)
        released = sittings.released(tx, sitting_id)
        seats = tuple(
            _seated(sitting, name, cups[assessor], present.get(assessor), released, plan.rest_seconds)
            for _number, assessor, name in people_here
            if assessor in cups  # who gets nothing in this sitting is not waited for
        )
        saved, of = sum(seat.saved for seat in seats), sum(seat.of for seat in seats)
        noted, missing = studies.deviation_count(tx, sitting.study), sum(seat.missing for seat in seats)
        return Progress(sitting, seats, trays_of(tx, sitting_id), saved, of, noted, missing)


def _steps(tx: Any, sitting_id: str) -> Mapping[str, Sequence[BlindServing | BlindSet]]:
    """What is served in a sitting, by assessor id: single servings, or sets of cups."""
    return {**servings.blind_by_assessor(tx, sitting_id), **trials.blind_by_assessor(tx, sitting_id)}


def _seated(
    sitting: Sitting,
    name: str,
    cups: Sequence[BlindServing | BlindSet],
    present: sittings.Presence | None,
    released: Collection[int],
    rest_seconds: int,
) -> Seated:
    """One row: `look` asks the leader to look up, because somebody waits for a tray or takes very long."""
    scored = [cup for cup in cups if cup.scored]
    saved = sum(cup.finished_at is not None for cup in scored)
    missing = sum(cup.outcome == "missing" for cup in scored)
    if present is None:
        return Seated(name, "nothing", saved, len(scored), missing=missing)
    at = clock.now()
    here = standing(sitting.state, cups, present, released, rest_seconds, at)
    tastes = here.cup is not None and here.kind in ("serving", "warm_up", "trial")
    since = here.cup.started_at if here.cup and tastes else None
    waits = here.cup.position if here.cup and here.kind == "waiting" and sitting.state == "open" else None
    ready = stamp(here.ready_at) if here.ready_at else None
    slow = since is not None and (at - moment(since)).total_seconds() > 60 * LONG_MINUTES
    return Seated(name, here.kind, saved, len(scored), since, ready, waits, waits is not None or slow, missing)


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
        raise BadInput(_("Fix the deviation: write 1 to 500 letters: what, when, which tray."))
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
