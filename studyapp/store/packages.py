"""All rows of one study, table by table, out of a store and into another. Names of people who taste stay at home."""

from __future__ import annotations

import json
import secrets
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Table, insert, select
from sqlalchemy.exc import IntegrityError

from studyapp.errors import BadInput
from studyapp.store import covers, events, older, origins, schema, scope
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
    Part(schema.phase, "batch_id"),
    Part(schema.machine_log, "batch_id"),
    Part(schema.reading, "batch_id"),
    Part(schema.flow_point, "batch_id"),
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


# Columns that came since the first packages were written; a package of then has none of them, and they stay empty.
LATER = {
    "opening": frozenset({"second"}),
    "pull_note": frozenset({"kind", "reason", "sitting", "temperature_c", "words"}),
    "score": frozenset({"source"}),
    "trial": frozenset({"source"}),
    # Tables of the first version that nothing was ever written into.
    "batch": frozenset({"lot", "made", "phases", "by"}),
    "phase": frozenset(column.name for column in schema.phase.columns) - {"batch_id", "from_hours", "to_hours"},
    "reading": frozenset({"number", "kind", "instrument", "portion", "asked"}),
    "flow_point": frozenset(column.name for column in schema.flow_point.columns) - {"batch_id", "hours"},
}
# What an import vouches for by a digest of its own, since how far it went was told elsewhere; early imports did not
# name the columns: they mean these, which their tables had until then. Never changed.
TRAVELS: dict[str, tuple[str, ...]] = {
    "study": ("id", "state", "look", "plan", "seal", "sealed_at", "sealed_by", "created_at", "example", "kind"),
    "sitting": ("id", "study_id", "number", "look", "label", "state", "starts_at", "opened_at", "closed_at"),
    "serving": (
        *("id", "sitting_id", "assessor_id", "position", "code", "sample_id", "replicate", "scored"),
        *("started_at", "finished_at", "outcome"),
    ),
    "trial_set": (
        *("id", "sitting_id", "assessor_id", "position", "level", "codes", "samples"),
        *("started_at", "finished_at", "outcome"),
    ),
    "presence": ("sitting_id", "assessor_id", "agreed_at", "declined_at", "left_at", "kept"),
    "batch": (
        *("id", "study_id", "label", "recipe", "machine", "lot", "mass_g", "started_at", "made", "phases", "by"),
        "created_at",
    ),
}
FIRST_FORMAT, SECOND_FORMAT, FORMAT = 1, 2, 3  # see the page on packages in DEVELOPERS.md
_SINCE = {"event": SECOND_FORMAT, "origin": SECOND_FORMAT, "machine_log": FORMAT}
EVENT = [column for column in schema.origin.columns if column.name not in ("study_id", "keeper")]
ORIGIN = [schema.origin.c.keeper, *EVENT]


def fields(version: int = FORMAT) -> dict[str, tuple[Field, ...]]:
    """The columns of every table of a package of a format."""
    found = {part.table.name: tuple(_field(column) for column in columns(part)) for part in PARTS}
    who, member = schema.assessor.c, schema.staff.c
    found["assessor"] = tuple(_field(column) for column in (who.id, who.pseudonym, who.may_taste))
    found["staff"] = tuple(_field(column) for column in (member.id, member.name, member.role))
    found["event"] = tuple(_field(column) for column in EVENT)
    found["origin"] = tuple(_field(column) for column in ORIGIN)
    return {name: told for name, told in found.items() if _SINCE.get(name, FIRST_FORMAT) <= version}


def _field(column: Any) -> Field:
    kinds = {bool: "boolean", int: "integer", float: "number", str: "string"}
    return Field(column.name, kinds[column.type.python_type], not column.nullable)


def columns(part: Part) -> list[Any]:
    """The columns that travel."""
    return [column for column in part.table.columns if column.name not in part.leave]


def take(tx: Connection, study: str) -> dict[str, list[Row]]:
    """Every row of a study by table, oldest first; then the assessors and the staff that they name, the events, and
    those of earlier keepers."""
    found: dict[str, list[Row]] = {}
    for part in PARTS:
        query = select(*columns(part)).where(part.table.c[part.through].in_(scope.owners(part.through, study)))
        rows = tx.execute(query.order_by(*part.table.primary_key.columns))
        found[part.table.name] = [dict(row._mapping) for row in rows]
    seated = [row["assessor_id"] for row in found["seat"]]
    who = schema.assessor.c
    people = tx.execute(select(who.id, who.pseudonym, who.may_taste).where(who.id.in_(seated)).order_by(who.id))
    found["assessor"] = [dict(row._mapping) for row in people]
    own, before = _events(tx, study)
    member = schema.staff.c
    named = _named(found) | _named_in([*own, *before])
    staff = tx.execute(select(member.id, member.name, member.role).where(member.id.in_(named)).order_by(member.id))
    found["staff"] = [dict(row._mapping) for row in staff]
    own = sorted([*own, *_of_people(tx, named, seated)], key=lambda row: row["seq"]) if own else own
    return found | {"event": own or _last(before), "origin": before if own else _earlier(before)}


def record(tx: Connection, study: str) -> dict[str, Any]:
    """Where the record stood: the head of the store, as it was when the events that travel were written."""
    came = events.of_kinds(tx, study, origins.BEGUN)
    told = came[-1].body.get("record") if came and _untouched(tx, study) else None
    if isinstance(told, dict):
        return told
    count, head = events.head(tx)
    return {"head": head, "head_events": count}


# ---- the events that travel ------------------------------------------------------------------------------------------
_OF_IMPORT = frozenset({origins.BEGUN, "sealed", "imported", "score", "trial"})


def _untouched(tx: Connection, study: str) -> bool:
    """Whether a study was brought in with its events and nothing was done with it since."""
    c = schema.event.c
    kinds = set(tx.execute(select(c.kind).where(c.study_id == study).distinct()).scalars())
    return origins.BEGUN in kinds and kinds <= _OF_IMPORT and bool(origins.rows(tx, study))


def _events(tx: Connection, study: str) -> tuple[list[Row], list[Row]]:
    """The events of this store on a study, none where it only passed through; and those of earlier keepers."""
    before = origins.rows(tx, study)
    if before and _untouched(tx, study):
        return [], before
    c = schema.event.c
    return _as_rows(tx, select(schema.event).where(c.study_id == study).order_by(c.seq)), before


def _as_rows(tx: Connection, query: Any) -> list[Row]:
    names = ("seq", "at", "kind", "study_id", "body", "prev", "hash")
    return [
        {("of" if name == "study_id" else name): row[name] for name in names} for row in tx.execute(query).mappings()
    ]


_CAME = ("staff added", "assessor added", "staff brought in", "assessor brought in")


def _of_people(tx: Connection, staff: set[str], assessors: Sequence[str]) -> list[Row]:
    """How those who are named came into the store, which proves their names."""
    found = _as_rows(tx, select(schema.event).where(schema.event.c.kind.in_(_CAME)))
    wanted = {"staff": staff, "assessor": set(assessors)}
    return [row for row in found if any(json.loads(row["body"]).get(who) in ids for who, ids in wanted.items())]


def _named_in(rows: Sequence[Row]) -> set[str]:
    """Members of staff that events name."""
    bodies = [json.loads(row["body"]) for row in rows]
    return {body[name] for body in bodies for name in ("by", "staff") if isinstance(body.get(name), str)}


def _last(before: Sequence[Row]) -> list[Row]:
    """The events of the last keeper."""
    last = max((row["keeper"] for row in before), default=-1)
    return [{name: row[name] for name in row if name != "keeper"} for row in before if row["keeper"] == last]


def _earlier(before: Sequence[Row]) -> list[Row]:
    last = max((row["keeper"] for row in before), default=-1)
    return [row for row in before if row["keeper"] < last]


def _handed_on(found: Mapping[str, Sequence[Row]]) -> list[Row]:
    """All events of a package as those of earlier keepers; the one that wrote it is the last of them."""
    before = list(found.get("origin", ()))
    last = 1 + max((row["keeper"] for row in before), default=-1)
    return [*before, *({"keeper": last, **row} for row in found.get("event", ()))]


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


def put(tx: Connection, found: Mapping[str, Sequence[Row]], told: Mapping[str, Any] | None = None) -> None:
    """Keep every row of a study that is not here yet, and cover all of it by the chain of this store; `told` is what
    the store before it said of the record.

    Raises:
        BadInput: the tables do not fit together.
    """
    try:
        _put(tx, found, told or {})
    except IntegrityError as error:
        raise BadInput(_("Not done: the tables of this study do not fit together. Take it out again.")) from error


def _put(tx: Connection, found: Mapping[str, Sequence[Row]], told: Mapping[str, Any]) -> None:
    study: Row = found["study"][0]
    before = _handed_on(found)
    names = {part.table.name: [each.name for each in columns(part)] for part in PARTS if part.table.name in TRAVELS}
    digests = {name: digest_of(found.get(name, ()), of) for name, of in names.items()} | {"columns": names}
    kept = {"head": told["head"], "head_events": told["head_events"]} if told else None
    events.append(tx, origins.BEGUN, {**digests, "origins": events.digest(before), "record": kept}, study["id"])
    _put_people(tx, found)
    seed = secrets.token_hex(16) if study["seal"] else None
    tx.execute(insert(schema.study), [{**study, "key_seed": seed}])
    origins.add(tx, study["id"], before)
    if seed:
        body = {"seal": study["seal"], "by": study["sealed_by"], "sealed_at": study["sealed_at"], "kind": study["kind"]}
        events.append(tx, "sealed", {**body, "seed": events.salted(study["id"], seed)}, study["id"])
    for part in PARTS[1:]:
        rows = list(found.get(part.table.name, ()))
        for row in rows:
            key = tx.execute(insert(part.table), row).inserted_primary_key
            _cover_one(tx, part.table, key, row, study["id"])
        _cover_whole(tx, part.table, rows, study["id"])


def digest_of(rows: Sequence[Row], names: Sequence[str]) -> str:
    """The SHA-256 of these columns of rows; a column that a row lacks is empty."""
    return events.digest([{name: row.get(name) for name in names} for row in rows])


def _put_people(tx: Connection, found: Mapping[str, Sequence[Row]]) -> None:
    """Pseudonyms and members as they were named elsewhere; such a member cannot sign in here."""
    at = events.now()
    for name, table, unique in (("assessor", schema.assessor, "pseudonym"), ("staff", schema.staff, "name")):
        for row in found[name]:
            if tx.execute(select(table.c.id).where(table.c.id == row["id"])).first():
                continue
            taken = tx.execute(select(table.c.id).where(table.c[unique] == row[unique])).first()
            called = f"{row[unique]} ({row['id'][:6]})" if taken else row[unique]
            values = {**row, "created_at": at, unique: called}
            tx.execute(insert(table), [{**values, **({"secret": "", "ended_at": at} if name == "staff" else {})}])
            more = {"role": row["role"]} if name == "staff" else {"may": row["may_taste"]}
            body = {name: row["id"], unique: events.salted(row["id"], called), "at": at, **more}
            events.append(tx, f"{name} brought in", body)


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


# ---- laid out to be checked ------------------------------------------------------------------------------------------
@contextmanager
def laid_out(found: Mapping[str, Sequence[Row]]) -> Iterator[Connection]:
    """The rows of a package in an empty store that nobody can name, under the numbers that its events give them.

    Raises:
        BadInput: the tables do not fit together.
    """
    told = [(row["kind"], json.loads(row["body"])) for row in found["event"]]
    with closing(older.blank()) as store, store.read() as tx:
        try:
            for name, table, more in (
                ("assessor", schema.assessor, {"created_at": ""}),
                ("staff", schema.staff, {"created_at": "", "secret": ""}),
            ):
                for row in found[name]:
                    tx.execute(insert(table).values(**row, **more))
            for part in PARTS:
                for row in _numbered(part, found.get(part.table.name, ()), told):
                    tx.execute(insert(part.table).values(**row))
            origins.add(tx, str(found["study"][0]["id"]), found["origin"])
        except IntegrityError as error:
            raise BadInput(_("Not done: the tables of this study do not fit together. Take it out again.")) from error
        yield tx


def _numbered(part: Part, rows: Sequence[Row], told: Sequence[tuple[str, Any]]) -> Iterator[Row]:
    """Rows are in the order of their numbers, and the events name each of these."""
    name = part.table.name
    if "id" not in part.leave or name == "study":
        yield from rows
        return
    known = {body[name] for kind, body in told if kind == name and name in body}
    known |= {body["where"]["id"] for _, body in told if body.get("table") == name and "id" in body["where"]}
    numbers = sorted(known)
    numbers += range(max(numbers, default=0) + 1, max(numbers, default=0) + 1 + len(rows))
    for number, row in zip(numbers, rows, strict=False):
        yield {"id": number, **row}
