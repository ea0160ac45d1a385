"""A sitting while it runs: who is where, never what they mark."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from studyapp.errors import BadInput, NotAllowed
from studyapp.records import Deviation, Progress, Seat, Seated, Sitting, Staff, Study
from studyapp.services.access import require, sitting_or_refuse, study_or_refuse
from studyapp.services.preparing import trays_of
from studyapp.services.tasting import _place
from studyapp.store import Store, events, servings, sittings, studies
from studyapp.words import _

LONG_MINUTES = 10


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
        sittings.set_state(tx, sitting_id, to)
        events.append(tx, f"sitting {to}", {"sitting": sitting_id, "by": by.id}, sitting.study)


def close_sitting(store: Store, by: Staff, sitting_id: str, reason: str = "") -> int:
    """End a sitting; servings nobody finished become missing, with the reason. Returns how many."""
    require(by, "leader")
    with store.write() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        if sitting.state == "closed":
            return 0
        left = servings.open_servings(tx, sitting_id)
        if left and not reason.strip():
            raise BadInput(
                _("Not closed: {n} servings are still open. Give the reason why they stay missing.").format(n=len(left))
            )
        for serving in left:
            for line in servings.lines(tx, sitting_id, serving):
                if line.value is None:
                    servings.add_score(
                        tx, sitting.study, serving, line.id, None, reason.strip(), f"closed:{serving}:{line.id}"
                    )
            servings.finish(tx, serving, "missing")
        sittings.set_state(tx, sitting_id, "closed")
        sittings.end_codes(tx, sitting_id)
        if left:
            study = study_or_refuse(tx, sitting.study)
            sentence = _("{n} servings of {label} stayed missing: {reason}").format(
                n=len(left), label=sitting.label, reason=reason.strip()
            )
            studies.add_deviation(tx, sitting.study, sentence, known_now(tx, study), by.id)
        events.append(tx, "sitting closed", {"sitting": sitting_id, "missing": len(left), "by": by.id}, sitting.study)
    return len(left)


# ---- who is where --------------------------------------------------------------------------------------------------
def progress(store: Store, by: Staff, sitting_id: str) -> Progress:
    """A sitting at a glance, without a single mark."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        sitting = sitting_or_refuse(tx, sitting_id)
        present = sittings.presences(tx, sitting_id)
        rows = servings.cups(tx, sitting_id)
        seats = tuple(
            _seated(
                tx, sitting, assessor, name, [row for row in rows if row.assessor_id == assessor], present.get(assessor)
            )
            for _number, assessor, name in sorted(studies.seats(tx, sitting.study), key=lambda seat: seat[2])
        )
        return Progress(
            sitting,
            seats,
            trays_of(tx, sitting_id),
            sum(s.saved for s in seats),
            sum(s.of for s in seats),
            studies.deviation_count(tx, sitting.study),
        )


def _seated(
    tx: Any, sitting: Sitting, assessor: str, name: str, cups: list[Any], present: sittings.Presence | None
) -> Seated:
    scored = [cup for cup in cups if cup.scored]
    saved = sum(cup.finished_at is not None for cup in scored)
    if present is None:
        return Seated(name, "nothing", saved, len(scored))
    here = _place(tx, Seat(assessor, name, sitting.id))
    current = next((cup for cup in cups if cup.finished_at is None), None)
    since = current.started_at if current is not None and here.kind in ("serving", "warm_up") else None
    waits = current.position if current is not None and here.kind == "waiting" and sitting.state == "open" else None
    return Seated(name, here.kind, saved, len(scored), since, here.ready_at, waits, waits is not None or _long(since))


def _long(since: str | None) -> bool:
    if since is None:
        return False
    begun = datetime.strptime(since, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    return (datetime.now(UTC) - begun).total_seconds() > 60 * LONG_MINUTES


def change_counter(store: Store) -> int:
    """A number that moves with every change, to draw again only when something happened."""
    with store.read() as tx:
        return events.count(tx)


# ---- deviations ----------------------------------------------------------------------------------------------------
def known_now(tx: Any, study: Study) -> str:
    """What was known when a deviation is noted."""
    if study.state in ("opened", "decided"):
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
        events.append(tx, "deviation", {"sha256": events.digest(sentence), "by": by.id}, study_id)


def deviations(store: Store, by: Staff, study_id: str) -> tuple[Deviation, ...]:
    """Departures from the plan, in order."""
    require(by, "leader", "preparer")
    with store.read() as tx:
        return studies.deviations(tx, study_id)


def notes(store: Store, by: Staff, study_id: str) -> tuple[tuple[str, str, str], ...]:
    """(time, pseudonym, text) that assessors sent; readable after the key is opened, since a note may hint at a sample."""
    require(by, "leader")
    with store.read() as tx:
        study = study_or_refuse(tx, study_id)
        if study.state not in ("opened", "decided"):
            raise NotAllowed(_("Not done: notes are read after the key is opened."))
        return tuple(studies_notes(tx, study_id))


def studies_notes(tx: Any, study_id: str) -> list[tuple[str, str, str]]:
    """Notes within a transaction."""
    return sittings.notes(tx, study_id)
