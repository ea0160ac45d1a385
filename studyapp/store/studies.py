"""Studies: plan, seal, samples, attributes, seats, key, decisions, signatures, deviations."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, func, insert, select, update

from studyapp.records import Attribute, Deviation, KeptStudy, Sample, Signature
from studyapp.store import canonical, covers, origins, schema
from studyapp.store.events import now


def _study(row: Any) -> KeptStudy:
    sealed = (row.seal, row.sealed_at, row.sealed_by_name)
    rest = (row.state, row.created_at, row.look, *sealed, bool(row.example), row.came)
    return KeptStudy(row.id, row.kind, json.loads(row.plan), *rest)


def _key(done: Any) -> int:
    """The number the database gave to the row just written."""
    return int(done.inserted_primary_key[0])


_CAME = (
    select(schema.event.c.study_id, func.min(schema.event.c.at).label("came"))
    .where(schema.event.c.kind == origins.BEGUN)
    .group_by(schema.event.c.study_id)
    .subquery()
)
_WITH_NAME = (
    select(schema.study, schema.staff.c.name.label("sealed_by_name"), _CAME.c.came)
    .outerjoin(schema.staff, schema.staff.c.id == schema.study.c.sealed_by)
    .outerjoin(_CAME, _CAME.c.study_id == schema.study.c.id)
)


def add(tx: Connection, id_: str, kind: str, plan: Mapping[str, Any], by: str, example: bool = False) -> str:
    """Keep a new draft with the document of its plan; returns the time."""
    at = now()
    tx.execute(
        insert(schema.study).values(
            id=id_,
            state="draft",
            look=0,
            plan=json.dumps(plan),
            created_at=at,
            created_by=by,
            example=example,
            kind=kind,
        )
    )
    return at


def get(tx: Connection, id_: str) -> KeptStudy | None:
    """One study."""
    row = tx.execute(_WITH_NAME.where(schema.study.c.id == id_)).first()
    return _study(row) if row else None


def all_studies(tx: Connection) -> tuple[KeptStudy, ...]:
    """Every study, newest first."""
    return tuple(
        _study(row) for row in tx.execute(_WITH_NAME.order_by(schema.study.c.created_at.desc(), schema.study.c.id))
    )


def newest_of(tx: Connection, kind: str) -> KeptStudy | None:
    """The newest study of a kind that is no example, if there is one."""
    mine = _WITH_NAME.where(schema.study.c.kind == kind, schema.study.c.example.is_(False))
    row = tx.execute(mine.order_by(schema.study.c.created_at.desc(), schema.study.c.id).limit(1)).first()
    return _study(row) if row else None


def keep_plan(tx: Connection, id_: str, plan: Mapping[str, Any]) -> None:
    """Replace the plan of a draft by another document."""
    tx.execute(update(schema.study).where(schema.study.c.id == id_).values(plan=json.dumps(plan)))


def seal(tx: Connection, id_: str, document: Mapping[str, Any], seal_: str, at: str, by: str, seed: str) -> None:
    """Close a plan for good, by the document that was sealed, and start the first look."""
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
def add_samples(tx: Connection, study: str, samples: Iterable[Sample]) -> None:
    """Keep what is tasted under codes."""
    for one in samples:
        tx.execute(insert(schema.sample).values(id=one.id, study_id=study, hours=one.level, letter=one.letter))
    covers.cover(tx, "samples named", "sample", {"study_id": study}, study)


def samples(tx: Connection, study: str) -> list[Sample]:
    """What is tasted under codes, by level."""
    c = schema.sample.c
    query = select(c.id, c.hours, c.letter).where(c.study_id == study).order_by(c.hours)
    return [Sample(*row) for row in tx.execute(query)]


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


# ---- decisions -----------------------------------------------------------------------------------------------------
def keep_decision(tx: Connection, study: str, look: int, document: Mapping[str, Any]) -> None:
    """Keep the verdict of a look as canonical JSON, once."""
    text = canonical.dumps(dict(document)).decode()
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
    c = schema.signature.c
    joined = schema.signature.join(schema.staff, schema.staff.c.id == c.by)
    query = select(schema.signature, schema.staff.c.name.label("account")).select_from(joined)
    query = query.where(c.study_id == study).order_by(c.id)
    if look is not None:
        query = query.where(schema.signature.c.look == look)
    return tuple(Signature(row.name, row.role, row.at, row.account, row.by) for row in tx.execute(query))


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
