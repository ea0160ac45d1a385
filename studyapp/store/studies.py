"""Studies: plan, seal, samples, attributes, seats, key, decisions, signatures, deviations."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import Any

import rfc8785
from sqlalchemy import Connection, func, insert, select, update

from studyapp.records import (
    AromaPlan,
    AromaStudy,
    Attribute,
    Botanical,
    Deviation,
    Habits,
    HoursStudy,
    Plan,
    Pull,
    Signature,
    Staff,
)
from studyapp.store import covers, schema
from studyapp.store.events import now

FIRST_RULE = 1  # the version of the stop rule behind seals and signed verdicts that name none


def plan_document(plan: Plan | AromaPlan) -> dict[str, Any]:
    """The plan as plain JSON values."""
    return json.loads(json.dumps(asdict(plan)))  # type: ignore[no-any-return]


def plan_from(document: Mapping[str, Any]) -> Plan:
    """The plan that `plan_document` wrote, now or when each pull still carried its planned time."""
    values = dict(document)
    pulls = [dict(pull) for pull in values.get("pulls", ())]
    started = _start_from([(pull["hours"], pull.pop("planned_at", None)) for pull in pulls])
    habits = dict(values.get("habits", {}))
    if "days" in habits:
        habits["days"] = tuple(habits["days"])
    values["pulls"] = tuple(Pull(**pull) for pull in pulls)
    values["attributes"] = tuple(Attribute(**line) for line in values.get("attributes", ()))
    values["assessors"] = tuple(values.get("assessors", ()))
    values["habits"] = Habits(**habits)
    return Plan(**{"starts_at": started, **values})


def _start_from(times: Sequence[tuple[float, str | None]]) -> str | None:
    """Hour zero as it follows from the planned times of pulls, or None."""
    for hours, planned_at in times:
        if planned_at:
            return (datetime.fromisoformat(planned_at) - timedelta(hours=hours)).isoformat(timespec="minutes")
    return None


def aroma_plan_from(document: Mapping[str, Any]) -> AromaPlan:
    """The same for an aroma plan."""
    values = dict(document)
    values["botanical"] = Botanical(**values.get("botanical", {}))
    for name in ("doses", "batches", "assessors"):
        values[name] = tuple(values.get(name, ()))
    return AromaPlan(**values)


def _study(row: Any) -> HoursStudy | AromaStudy:
    document = json.loads(row.plan)
    rest = (row.state, row.created_at, row.look, row.seal, row.sealed_at, row.sealed_by_name, bool(row.example))
    if row.kind == "aroma":
        return AromaStudy(row.id, aroma_plan_from(document), *rest, kind="aroma")
    version = document.pop("rule_version", FIRST_RULE)
    return HoursStudy(row.id, plan_from(document), *rest, rule_version=version if row.seal else None)


def _key(done: Any) -> int:
    """The number the database gave to the row just written."""
    return int(done.inserted_primary_key[0])


_WITH_NAME = select(schema.study, schema.staff.c.name.label("sealed_by_name")).outerjoin(
    schema.staff, schema.staff.c.id == schema.study.c.sealed_by
)


def add(tx: Connection, id_: str, plan: Plan | AromaPlan, by: str, example: bool = False) -> None:
    """Keep a new draft."""
    tx.execute(
        insert(schema.study).values(
            id=id_,
            state="draft",
            look=0,
            plan=json.dumps(plan_document(plan)),
            created_at=now(),
            created_by=by,
            example=example,
            kind="aroma" if isinstance(plan, AromaPlan) else "hours",
        )
    )


def get(tx: Connection, id_: str) -> HoursStudy | AromaStudy | None:
    """One study."""
    row = tx.execute(_WITH_NAME.where(schema.study.c.id == id_)).first()
    return _study(row) if row else None


def all_studies(tx: Connection) -> tuple[HoursStudy | AromaStudy, ...]:
    """Every study, newest first."""
    return tuple(
        _study(row) for row in tx.execute(_WITH_NAME.order_by(schema.study.c.created_at.desc(), schema.study.c.id))
    )


def keep_plan(tx: Connection, id_: str, plan: Plan | AromaPlan) -> None:
    """Replace the plan of a draft."""
    tx.execute(update(schema.study).where(schema.study.c.id == id_).values(plan=json.dumps(plan_document(plan))))


def sealed_document(plan: Plan | AromaPlan, named: Mapping[str, int]) -> dict[str, Any]:
    """What a seal closes: the plan, and what it names beside, such as the version of the rule."""
    return {**plan_document(plan), **named}


def seal(tx: Connection, id_: str, document: Mapping[str, Any], seal_: str, at: str, by: str, seed: str) -> None:
    """Close a plan, as `sealed_document` wrote it, for good and start the first look."""
    values = {"plan": json.dumps(document), "seal": seal_, "sealed_at": at, "sealed_by": by, "key_seed": seed}
    tx.execute(update(schema.study).where(schema.study.c.id == id_).values(state="sealed", look=1, **values))


def set_state(tx: Connection, id_: str, state: str, look: int | None = None) -> None:
    """Move a study on."""
    values: dict[str, Any] = {"state": state}
    if look is not None:
        values["look"] = look
    tx.execute(update(schema.study).where(schema.study.c.id == id_).values(**values))


def key_seed(tx: Connection, id_: str) -> str:
    """The secret seed of codes and orders."""
    return str(tx.execute(select(schema.study.c.key_seed).where(schema.study.c.id == id_)).scalar_one())


# ---- what a seal makes ---------------------------------------------------------------------------------------------
def add_samples(tx: Connection, study: str, samples: list[tuple[str, float, str]]) -> None:
    """(id, hours, letter) of every pull."""
    tx.execute(
        insert(schema.sample), [{"id": i, "study_id": study, "hours": h, "letter": letter} for i, h, letter in samples]
    )
    covers.cover(tx, "samples named", "sample", {"study_id": study}, study)


def samples(tx: Connection, study: str) -> list[tuple[str, float, str]]:
    """(id, hours, letter) of every pull, shortest first."""
    query = select(schema.sample).where(schema.sample.c.study_id == study).order_by(schema.sample.c.hours)
    return [(row.id, row.hours, row.letter) for row in tx.execute(query)]


def add_attributes(tx: Connection, study: str, lines: list[tuple[str, Attribute]]) -> None:
    """(id, attribute) in the order of the ballot."""
    tx.execute(
        insert(schema.attribute),
        [
            {
                "id": i,
                "study_id": study,
                "position": n,
                "name": a.name,
                "definition": a.definition,
                "low_word": a.low_word,
                "high_word": a.high_word,
                "decides": a.decides,
            }
            for n, (i, a) in enumerate(lines)
        ],
    )
    covers.cover(tx, "ballot written", "attribute", {"study_id": study}, study)


def add_seats(tx: Connection, study: str, assessors: tuple[str, ...]) -> None:
    """Who tastes, by seat number."""
    tx.execute(
        insert(schema.seat), [{"study_id": study, "assessor_id": a, "number": n + 1} for n, a in enumerate(assessors)]
    )
    covers.cover(tx, "seats given", "seat", {"study_id": study}, study)


def seats(tx: Connection, study: str) -> list[tuple[int, str, str]]:
    """(number, assessor id, pseudonym) in order."""
    query = (
        select(schema.seat.c.number, schema.seat.c.assessor_id, schema.assessor.c.pseudonym)
        .join(schema.assessor, schema.assessor.c.id == schema.seat.c.assessor_id)
        .where(schema.seat.c.study_id == study)
        .order_by(schema.seat.c.number)
    )
    return [(row.number, row.assessor_id, row.pseudonym) for row in tx.execute(query)]


# ---- the key -------------------------------------------------------------------------------------------------------
def note_key_view(tx: Connection, study: str, staff: str) -> bool:
    """Keep that a member has seen the key; False when it was known."""
    known = tx.execute(
        select(schema.key_view.c.at).where(schema.key_view.c.study_id == study, schema.key_view.c.staff_id == staff)
    ).first()
    if known:
        return False
    tx.execute(insert(schema.key_view).values(study_id=study, staff_id=staff, at=now()))
    covers.cover(tx, "key seen", "key_view", {"study_id": study, "staff_id": staff}, study, by=staff)
    return True


def knows_samples(tx: Connection, study: str, member: Staff) -> bool:
    """Whether a member has seen the key, or the scores by sample, which every leader may read once a key is open."""
    if member.role == "leader" and openings(tx, study):
        return True
    query = select(schema.key_view.c.at).where(
        schema.key_view.c.study_id == study, schema.key_view.c.staff_id == member.id
    )
    return tx.execute(query).first() is not None


def add_opening(tx: Connection, study: str, look: int, by: str, name: str) -> None:
    """Keep who opened the key of a look."""
    tx.execute(insert(schema.opening).values(study_id=study, look=look, by=by, name=name, at=now()))
    covers.cover(tx, "key opened", "opening", {"study_id": study, "look": look}, study, look=look, by=by)


def openings(tx: Connection, study: str) -> list[tuple[int, str, str]]:
    """(look, name, time) of every opening."""
    query = select(schema.opening).where(schema.opening.c.study_id == study).order_by(schema.opening.c.look)
    return [(row.look, row.name, row.at) for row in tx.execute(query)]


def last_opened(tx: Connection, most: int, example: bool) -> list[tuple[str, int]]:
    """(id, last opened look) of the studies of conching hours whose key was opened last, the newest first."""
    query = (
        select(schema.opening.c.study_id, func.max(schema.opening.c.look))
        .join(schema.study, schema.study.c.id == schema.opening.c.study_id)
        .where(schema.study.c.kind == "hours", schema.study.c.example.is_(example))
        .group_by(schema.opening.c.study_id)
        .order_by(func.max(schema.opening.c.at).desc(), schema.opening.c.study_id)
        .limit(most)
    )
    return [(row[0], row[1]) for row in tx.execute(query)]


# ---- decisions -----------------------------------------------------------------------------------------------------
def keep_decision(tx: Connection, study: str, look: int, document: Mapping[str, Any]) -> None:
    """Keep the verdict of a look as canonical JSON, once."""
    text = rfc8785.dumps(dict(document)).decode()
    tx.execute(insert(schema.decision).values(study_id=study, look=look, document=text, at=now()))
    covers.cover(tx, "verdict kept", "decision", {"study_id": study, "look": look}, study, look=look)


def decision_document(tx: Connection, study: str, look: int) -> dict[str, Any] | None:
    """The verdict kept for a look."""
    query = select(schema.decision.c.document).where(
        schema.decision.c.study_id == study, schema.decision.c.look == look
    )
    found = tx.execute(query).scalar()
    return json.loads(found) if found else None


def add_signature(tx: Connection, study: str, look: int, name: str, role: str, by: str) -> None:
    """Keep a signature."""
    done = tx.execute(insert(schema.signature).values(study_id=study, look=look, name=name, role=role, by=by, at=now()))
    covers.cover(tx, "signed", "signature", {"id": _key(done)}, study, look=look, by=by)


def signatures(tx: Connection, study: str, look: int | None = None) -> tuple[Signature, ...]:
    """Signatures in order, of all looks or of one."""
    query = select(schema.signature).where(schema.signature.c.study_id == study).order_by(schema.signature.c.id)
    if look is not None:
        query = query.where(schema.signature.c.look == look)
    return tuple(Signature(row.name, row.role, row.at) for row in tx.execute(query))


def add_deviation(tx: Connection, study: str, sentence: str, known: str, by: str) -> None:
    """Keep a departure from the plan."""
    done = tx.execute(insert(schema.deviation).values(study_id=study, sentence=sentence, known=known, by=by, at=now()))
    covers.cover(tx, "deviation", "deviation", {"id": _key(done)}, study, known=known, by=by)


def deviations(tx: Connection, study: str) -> tuple[Deviation, ...]:
    """Departures in order."""
    query = (
        select(schema.deviation, schema.staff.c.name)
        .join(schema.staff, schema.staff.c.id == schema.deviation.c.by)
        .where(schema.deviation.c.study_id == study)
        .order_by(schema.deviation.c.id)
    )
    return tuple(Deviation(row.at, row.name, row.sentence, row.known) for row in tx.execute(query))


def deviation_count(tx: Connection, study: str) -> int:
    """How many departures were noted."""
    query = select(func.count()).select_from(schema.deviation).where(schema.deviation.c.study_id == study)
    return int(tx.execute(query).scalar_one())


def add_pull_note(tx: Connection, study: str, hours: float, actual_at: str, mass_g: float | None, by: str) -> None:
    """Keep when a pull was really taken."""
    done = tx.execute(
        insert(schema.pull_note).values(
            study_id=study, hours=hours, actual_at=actual_at, mass_g=mass_g, by=by, at=now()
        )
    )
    covers.cover(tx, "pull noted", "pull_note", {"id": _key(done)}, study, by=by)


def pull_notes(tx: Connection, study: str) -> dict[float, tuple[str, float | None]]:
    """The last note of each pull: actual time and mass."""
    query = select(schema.pull_note).where(schema.pull_note.c.study_id == study).order_by(schema.pull_note.c.id)
    return {row.hours: (row.actual_at, row.mass_g) for row in tx.execute(query)}
