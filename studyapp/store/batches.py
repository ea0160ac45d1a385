"""Batches: the record as it stands, told whole by an event each time it is kept; what is read of them is only added."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, replace
from itertools import groupby
from typing import Any

import rfc8785
from sqlalchemy import Connection, Table, func, insert, select, update

from studyapp.batches import Batch, Curve, Draft, Log, Making, Phase, Reading
from studyapp.store import covers, events, pulls, schema
from studyapp.store.events import append, now

_BATCH = schema.batch
_PHASE = list(Phase.__dataclass_fields__)


# ---- the record ------------------------------------------------------------------------------------------------------
def add(tx: Connection, id_: str, draft: Draft, study: str | None, by: str) -> None:
    """Keep a new record, with the study it belongs to, if any."""
    cells = _cells(draft, 0)
    tx.execute(insert(_BATCH).values(id=id_, study_id=study, by=by, created_at=now(), **cells))
    covers.cover(tx, "batch added", "batch", {"id": id_}, study, by=by)
    keep(tx, id_, draft, study, by)


def keep(tx: Connection, id_: str, draft: Draft, study: str | None, by: str) -> None:
    """Let a record say something else from now on; what it said stays in the chain, and its phases in their table."""
    version = 1 + (tx.execute(select(_BATCH.c.phases).where(_BATCH.c.id == id_)).scalar() or 0)
    cells = _cells(draft, version)
    tx.execute(update(_BATCH).where(_BATCH.c.id == id_).values(**cells))
    for position, one in enumerate(draft.phases):
        row = {"batch_id": id_, "version": version, "position": position, **asdict(one)}
        tx.execute(insert(schema.phase).values(**row))
    if draft.phases:
        covers.cover(tx, "phases kept", "phase", {"batch_id": id_, "version": version}, study, by=by)
    append(tx, "batch kept", {"batch": id_, "by": by, **cells}, study)


def _cells(draft: Draft, version: int) -> dict[str, Any]:
    named = {name: getattr(draft, name) for name in ("label", "recipe", "machine", "lot", "mass_g", "started_at")}
    return {**named, "made": rfc8785.dumps(draft.made.document()).decode(), "phases": version}


def join(tx: Connection, batch: Batch, study: str, by: str) -> None:
    """Give a batch to a study; all that was written of it is told once more among the events of the study, with which
    it travels."""
    tx.execute(update(_BATCH).where(_BATCH.c.id == batch.id).values(study_id=study))
    covers.cover(tx, "batch joined", "batch", {"id": batch.id}, study, by=by)
    for table, number in _NUMBERED.items():
        query = select(table.c[number]).where(table.c.batch_id == batch.id).distinct().order_by(table.c[number])
        for value in tx.execute(query).scalars().all():
            covers.cover(tx, "batch joined", table.name, {"batch_id": batch.id, number: value}, study, by=by)
    cells = {name: value for name, value in _row(tx, batch.id).items() if name in covers.MOVING["batch"]}
    append(tx, "batch kept", {"batch": batch.id, "by": by, **cells}, study)


_NUMBERED = {
    schema.phase: "version",
    schema.machine_log: "number",
    schema.reading: "number",
    schema.flow_point: "curve",
}


def _row(tx: Connection, id_: str) -> dict[str, Any]:
    return dict(tx.execute(select(_BATCH).where(_BATCH.c.id == id_)).mappings().one())


def get(tx: Connection, id_: str) -> Batch | None:
    """One batch, None where there is none."""
    return next(iter(_found(tx, _BATCH.c.id == id_)), None)


def labels(tx: Connection) -> list[tuple[str, str]]:
    """Id and name of every batch."""
    return [(row.id, row.label) for row in tx.execute(select(_BATCH.c.id, _BATCH.c.label))]


def of_study(tx: Connection, study: str) -> tuple[Batch, ...]:
    """The batches of a study in the order in which they were made."""
    return tuple(_found(tx, _BATCH.c.study_id == study))


def everywhere(tx: Connection) -> tuple[Batch, ...]:
    """Every batch, the first one first."""
    return tuple(_found(tx, None))


def alike(tx: Connection, recipe: str, machine: str) -> tuple[Batch, ...]:
    """The batches of a recipe on a machine."""
    return tuple(_found(tx, (_BATCH.c.recipe == recipe) & (_BATCH.c.machine == machine)))


def _found(tx: Connection, which: Any) -> Iterable[Batch]:
    query = select(_BATCH, schema.staff.c.name).join(schema.staff, schema.staff.c.id == _BATCH.c.by)
    query = query.order_by(_BATCH.c.created_at, _BATCH.c.id)
    rows = tx.execute(query if which is None else query.where(which)).all()
    return [_batch(tx, dict(row._mapping)) for row in rows]


def _batch(tx: Connection, row: dict[str, Any]) -> Batch:
    p = schema.phase.c
    query = select(*(p[name] for name in _PHASE)).where(p.batch_id == row["id"], p.version == row["phases"])
    phases = tuple(Phase(*each) for each in tx.execute(query.order_by(p.position)))
    named = {name: row[name] for name in ("label", "recipe", "machine", "lot", "mass_g", "started_at")}
    draft = Draft(**named, made=Making.of(json.loads(row["made"])), phases=phases)
    notes = pulls.in_force(tx, row["study_id"]) if row["study_id"] else ()
    zeros = [one.actual_at for one in notes if one.kind == "zero" and one.hours == 0]  # of the only batch of a study
    zero = row["started_at"] or (zeros[-1] if zeros else None)
    return Batch(row["id"], draft, row["study_id"], row["created_at"], row["name"], zero)


# ---- what is added ---------------------------------------------------------------------------------------------------
def _next(tx: Connection, table: Table, number: str, batch: str) -> int:
    return 1 + int(tx.execute(select(func.max(table.c[number])).where(table.c.batch_id == batch)).scalar() or 0)


def add_log(tx: Connection, batch: Batch, log: Log, by: str) -> None:
    """Keep what a machine wrote; it stands for what was brought before."""
    number = _next(tx, schema.machine_log, "number", batch.id)
    points = json.dumps({**asdict(replace(log, columns=dict(log.columns))), "at": ""})
    tx.execute(insert(schema.machine_log).values(batch_id=batch.id, number=number, points=points, by=by, at=now()))
    covers.cover(tx, "log kept", "machine_log", {"batch_id": batch.id, "number": number}, batch.study, by=by)


def log(tx: Connection, batch: str) -> Log | None:
    """What was brought last of a batch's machine."""
    c = schema.machine_log.c
    row = tx.execute(select(c.points, c.at).where(c.batch_id == batch).order_by(c.number.desc()).limit(1)).first()
    if row is None:
        return None
    told = json.loads(row.points)
    columns = {name: tuple(values) for name, values in told.pop("columns").items()}
    return Log(tuple(told.pop("hours")), columns, **{**told, "at": row.at})


def add_reading(tx: Connection, batch: Batch, one: Reading, by: str) -> None:
    """Keep one value of one portion."""
    number = _next(tx, schema.reading, "number", batch.id)
    row = {**asdict(one), "batch_id": batch.id, "number": number, "by": by, "at": now()}
    tx.execute(insert(schema.reading).values(**row))
    covers.cover(tx, "reading kept", "reading", {"batch_id": batch.id, "number": number}, batch.study, by=by)


def add_curve(tx: Connection, batch: Batch, one: Curve, by: str) -> None:
    """Keep one branch of a flow curve."""
    number = _next(tx, schema.flow_point, "curve", batch.id)
    told = {name: value for name, value in asdict(one).items() if name != "points"}
    fixed: Mapping[str, Any] = {**told, "batch_id": batch.id, "curve": number, "by": by, "at": now()}
    for position, (rate, stress) in enumerate(one.points):
        point = {"position": position, "shear_rate_1_s": rate, "stress_pa": stress}
        tx.execute(insert(schema.flow_point).values(**fixed, **point))
    covers.cover(tx, "curve kept", "flow_point", {"batch_id": batch.id, "curve": number}, batch.study, by=by)


def kept_before(tx: Connection, study: str, look: int, opened_at: str) -> dict[tuple[str, str], int]:
    """The last number of reading and flow_point in each batch, by (table, batch), that the chain tells before the key
    of a look was opened; by their times where a study was brought from elsewhere, whose chain tells of no opening."""
    told: dict[tuple[str, str], int] = {}
    for event in events.of_kinds(tx, study, "reading kept", "curve kept", "batch joined", "key opened"):
        where: Any = event.body.get("where", {})
        name = str(event.body.get("table"))
        if event.kind == "key opened" and where.get("look") == look:
            return told
        if name in ("reading", "flow_point"):
            told[name, where["batch_id"]] = where.get("number", where.get("curve"))
    for table, number in ((schema.reading, "number"), (schema.flow_point, "curve")):
        query = select(table.c.batch_id, func.max(table.c[number])).join(_BATCH, _BATCH.c.id == table.c.batch_id)
        query = query.where(_BATCH.c.study_id == study, table.c.at <= opened_at).group_by(table.c.batch_id)
        told |= {(table.name, batch): last for batch, last in tx.execute(query)}
    return told


def readings(tx: Connection, batch: str, last: int | None = None) -> tuple[Reading, ...]:
    """The readings that stand: of each portion of a pull what was kept last by each method, unless it was undone; up to
    the one with the number `last`, if it is given."""
    c = schema.reading.c
    names = [c[name] for name in Reading.__dataclass_fields__ if name != "by"]
    query = select(*names, schema.staff.c.name).join(schema.staff, schema.staff.c.id == c.by)
    standing: dict[tuple[Any, ...], Reading] = {}
    query = query if last is None else query.where(c.number <= last)
    for row in tx.execute(query.where(c.batch_id == batch).order_by(c.number)):
        *cells, at, by = row
        one = replace(Reading(*cells), by=by, at=at)
        standing[one.hours, one.quantity, one.portion, one.instrument, one.method] = one
    return tuple(one for one in standing.values() if one.kind == "read")


def curves(tx: Connection, batch: str, last: int | None = None) -> tuple[Curve, ...]:
    """The branches of flow curves that stand, in the same way."""
    c = schema.flow_point.c
    query = select(schema.flow_point, schema.staff.c.name).join(schema.staff, schema.staff.c.id == c.by)
    query = query if last is None else query.where(c.curve <= last)
    rows = tx.execute(query.where(c.batch_id == batch).order_by(c.curve, c.position)).all()
    standing: dict[tuple[Any, ...], Curve] = {}
    for _number, points in groupby(rows, key=lambda row: row.curve):
        kept = list(points)
        told = {name: getattr(kept[0], name) for name in Curve.__dataclass_fields__ if name not in ("points", "by")}
        one = Curve(**told, points=tuple((row.shear_rate_1_s, row.stress_pa) for row in kept), by=kept[0].name)
        standing[one.hours, one.portion, one.branch, one.instrument, one.method] = one
    return tuple(one for one in standing.values() if one.kind == "read")
