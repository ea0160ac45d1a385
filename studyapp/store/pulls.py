"""Notes on pulls: what was really taken and when, what was lost, and what was taken back; none is ever changed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, insert, select

from studyapp.records import PullNote
from studyapp.store import covers, events, schema
from studyapp.store.events import now

NOTED = "pull noted"


def add(
    tx: Connection, study: str, kind: str, hours: float, actual_at: str, by: str, nonce: str = "", **more: Any
) -> None:
    """Keep one note; `more` holds mass_g, temperature_c, words, reason and sitting. The `nonce` of a phone goes into
    the event."""
    told = {"nonce": nonce} if nonce else {}
    note = insert(schema.pull_note)
    done = tx.execute(note.values(study_id=study, kind=kind, hours=hours, actual_at=actual_at, by=by, at=now(), **more))
    number = int((done.inserted_primary_key or (0,))[0])
    covers.cover(tx, NOTED, "pull_note", {"id": number}, study, by=by, **told)


def is_kept(tx: Connection, study: str, nonce: str) -> bool:
    """Whether a note that a phone sent under this nonce is kept."""
    return any(one.body.get("nonce") == nonce for one in events.of_kinds(tx, study, NOTED))


def of_study(tx: Connection, study: str) -> tuple[PullNote, ...]:
    """Every note in order."""
    note = schema.pull_note.c
    query = (
        select(
            note.kind,
            note.hours,
            note.actual_at,
            note.at,
            schema.staff.c.name,
            note.mass_g,
            note.temperature_c,
            note.words,
            note.reason,
            note.sitting,
        )
        .join(schema.staff, schema.staff.c.id == note.by)
        .where(note.study_id == study)
        .order_by(note.id)
    )
    return tuple(_note(*row) for row in tx.execute(query))


def _note(kind: str | None, *rest: Any) -> PullNote:
    return PullNote(kind or "taken", *rest)


def in_force(tx: Connection, study: str) -> tuple[PullNote, ...]:
    """The notes that stand: of each pull what was said of it last, unless it was undone; losses sitting by sitting, and
    a loss that was replaced beside the pull that took its place."""
    standing: list[PullNote] = []
    for note in of_study(tx, study):
        of_zero = note.kind in ("zero", "zero undone")
        same = [one for one in standing if one.hours == note.hours and (one.kind == "zero") == of_zero]
        if note.kind.endswith("undone"):
            standing = [one for one in standing if one not in same[-1:]]
            continue
        told_anew = [one for one in same if one.kind == note.kind != "lost"]
        standing = [one for one in standing if one not in told_anew] + [note]
    return tuple(standing)


def losses(notes: Sequence[PullNote]) -> tuple[PullNote, ...]:
    """The losses that no later pull has replaced."""
    replaced = {one.hours: number for number, one in enumerate(notes) if one.kind == "replaced"}
    return tuple(one for n, one in enumerate(notes) if one.kind == "lost" and n > replaced.get(one.hours, -1))


def lost(tx: Connection, study: str, sitting: int) -> dict[float, str]:
    """The levels that are lost in a sitting, each with its reason."""
    notes = losses(in_force(tx, study))
    return {one.hours: one.reason or "" for one in notes if one.sitting in (None, sitting)}
