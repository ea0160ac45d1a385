"""All rows of one study, table by table, out of a store and into another. Names of people who taste stay at home."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, insert, select
from sqlalchemy.exc import IntegrityError

from studyapp.errors import BadInput
from studyapp.store import covers, events, schema
from studyapp.store.row_hashes import row_hash
from studyapp.words import _

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Part:
    """One table of a package: how its rows hang on the study, and which columns do not travel."""

    table: Table
    through: str  # the column that names the study, a sitting, a serving or a batch of it
    leave: frozenset[str] = frozenset()


_NUMBER = frozenset({"id"})  # given anew by each database
PARTS = (
    Part(schema.study, "id", frozenset({"key_seed", "created_by"})),
    Part(schema.sample, "study_id"),
    Part(schema.attribute, "study_id"),
    Part(schema.seat, "study_id"),
    Part(schema.pull_note, "study_id", _NUMBER),
    Part(schema.opening, "study_id"),
    Part(schema.decision, "study_id"),
    Part(schema.signature, "study_id", _NUMBER),
    Part(schema.deviation, "study_id", _NUMBER),
    Part(schema.key_view, "study_id"),
    Part(schema.sitting, "study_id"),
    Part(schema.tray, "sitting_id"),
    Part(schema.presence, "sitting_id"),
    Part(schema.serving, "sitting_id"),
    Part(schema.score, "serving_id", _NUMBER),
    Part(schema.trial_sample, "study_id"),
    Part(schema.trial_set, "sitting_id"),
    Part(schema.trial, "set_id", _NUMBER),
    Part(schema.batch, "study_id"),
    Part(schema.phase, "batch_id", _NUMBER),
    Part(schema.reading, "batch_id", _NUMBER),
    Part(schema.flow_point, "batch_id", _NUMBER),
)
# Rows that never get company later are covered in one go; the others one by one.
_WHOLE = {
    "sample": "study_id",
    "attribute": "study_id",
    "seat": "study_id",
    "serving": "sitting_id",
    "trial_sample": "study_id",
    "trial_set": "sitting_id",
}


@dataclass(frozen=True, slots=True)
class Field:
    """A column as a file names it: `kind` in the words of Table Schema."""

    name: str
    kind: str
    required: bool


def fields() -> dict[str, tuple[Field, ...]]:
    """The columns of every table of a package."""
    found = {part.table.name: tuple(_field(column) for column in columns(part)) for part in PARTS}
    who, member = schema.assessor.c, schema.staff.c
    found["assessor"] = tuple(_field(column) for column in (who.id, who.pseudonym, who.may_taste))
    found["staff"] = tuple(_field(column) for column in (member.id, member.name, member.role))
    return found


def _field(column: Any) -> Field:
    kinds = {bool: "boolean", int: "integer", float: "number", str: "string"}
    return Field(column.name, kinds[column.type.python_type], not column.nullable)


def columns(part: Part) -> list[Any]:
    """The columns that travel."""
    return [column for column in part.table.columns if column.name not in part.leave]


def take(tx: Connection, study: str) -> dict[str, list[Row]]:
    """Every row of a study by table, oldest first; then the assessors and the staff that they name."""
    found: dict[str, list[Row]] = {}
    for part in PARTS:
        query = select(*columns(part)).where(part.table.c[part.through].in_(_owners(part, study)))
        rows = tx.execute(query.order_by(*part.table.primary_key.columns))
        found[part.table.name] = [dict(row._mapping) for row in rows]
    seated = [row["assessor_id"] for row in found["seat"]]
    who = schema.assessor.c
    people = tx.execute(select(who.id, who.pseudonym, who.may_taste).where(who.id.in_(seated)).order_by(who.id))
    found["assessor"] = [dict(row._mapping) for row in people]
    member = schema.staff.c
    staff = tx.execute(
        select(member.id, member.name, member.role).where(member.id.in_(_named(found))).order_by(member.id)
    )
    found["staff"] = [dict(row._mapping) for row in staff]
    return found


def _owners(part: Part, study: str) -> Any:
    """The ids that `through` may have for this study."""
    if part.through in ("id", "study_id"):
        return [study]
    owners: dict[str, Any] = {
        "sitting_id": select(schema.sitting.c.id).where(schema.sitting.c.study_id == study),
        "batch_id": select(schema.batch.c.id).where(schema.batch.c.study_id == study),
        "serving_id": select(schema.serving.c.id)
        .join(schema.sitting, schema.sitting.c.id == schema.serving.c.sitting_id)
        .where(schema.sitting.c.study_id == study),
        "set_id": select(schema.trial_set.c.id)
        .join(schema.sitting, schema.sitting.c.id == schema.trial_set.c.sitting_id)
        .where(schema.sitting.c.study_id == study),
    }
    return owners[part.through]


def _named(found: Mapping[str, Sequence[Row]]) -> set[str]:
    """Members of staff that rows name."""
    names = {"by", "sealed_by", "released_by", "staff_id"}
    return {row[name] for rows in found.values() for row in rows for name in names & set(row) if row[name]}


# ---- into another store ----------------------------------------------------------------------------------------------
def known(tx: Connection, study: str) -> bool:
    """Whether a study is kept here already."""
    return tx.execute(select(schema.study.c.id).where(schema.study.c.id == study)).first() is not None


def row_fits(table: str, row: Row) -> bool:
    """Whether a score or a trial is the one its hash was made of."""
    return bool(row_hash(table, row) == row["sha256"])


def put(tx: Connection, found: Mapping[str, Sequence[Row]]) -> None:
    """Keep every row of a study that is not here yet, and cover all of it by the chain of this store.

    Raises:
        BadInput: the tables do not fit together.
    """
    try:
        _put(tx, found)
    except IntegrityError as error:
        raise BadInput(_("Not done: the tables of this study do not fit together. Take it out again.")) from error


def _put(tx: Connection, found: Mapping[str, Sequence[Row]]) -> None:
    study: Row = found["study"][0]
    events.append(tx, "import begun", {name: events.digest(list(rows)) for name, rows in found.items()}, study["id"])
    _put_people(tx, found)
    seed = {"key_seed": secrets.token_hex(16)} if study["seal"] else {}
    tx.execute(insert(schema.study), [{**study, **seed}])
    if study["seal"]:
        body = {"seal": study["seal"], "by": study["sealed_by"], "sealed_at": study["sealed_at"], "kind": study["kind"]}
        events.append(tx, "sealed", body, study["id"])
    for part in PARTS[1:]:
        rows = list(found[part.table.name])
        for row in rows:
            key = tx.execute(insert(part.table), row).inserted_primary_key
            _cover_one(tx, part.table, key, row, study["id"])
        _cover_whole(tx, part.table, rows, study["id"])


def _put_people(tx: Connection, found: Mapping[str, Sequence[Row]]) -> None:
    """Pseudonyms and members as they were named elsewhere; such a member cannot sign in here."""
    at = events.now()
    for name, table, unique in (("assessor", schema.assessor, "pseudonym"), ("staff", schema.staff, "name")):
        for row in found[name]:
            if tx.execute(select(table.c.id).where(table.c.id == row["id"])).first():
                continue
            taken = tx.execute(select(table.c.id).where(table.c[unique] == row[unique])).first()
            values = {**row, "created_at": at, unique: f"{row[unique]} ({row['id'][:6]})" if taken else row[unique]}
            tx.execute(insert(table), [{**values, **({"secret": "", "ended_at": at} if name == "staff" else {})}])


def _cover_one(tx: Connection, table: Table, key: Any, row: Row, study: str) -> None:
    if table in (schema.score, schema.trial):
        events.append(tx, table.name, {table.name: int(key[0]), "sha256": row["sha256"]}, study)
    elif table.name in covers.COVERED and table.name not in _WHOLE:
        where = dict(zip((column.name for column in table.primary_key.columns), key, strict=True))
        covers.cover(tx, "imported", table.name, where, study)


def _cover_whole(tx: Connection, table: Table, rows: Sequence[Row], study: str) -> None:
    if table.name in _WHOLE:
        owner = _WHOLE[table.name]
        for value in dict.fromkeys(row[owner] for row in rows):
            covers.cover(tx, "imported", table.name, {owner: value}, study)
