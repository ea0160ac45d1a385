"""The tables. `score`, `trial` and `event` are append-only: triggers refuse change and removal (see migrations)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy import (
    Boolean,
    Column,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
    }
)


class Flag(Boolean):
    """Yes or no; any other number that a file holds is read as it stands.

    To SQLite 2 is no yes where a query asks for `scored = 1`. Read as a yes it would take a row out of a study while
    the cover of that row still fits.
    """

    cache_ok = True

    def result_processor(self, dialect: Dialect, _coltype: object) -> Callable[[Any], Any] | None:
        """Where the database has no type of its own, 0 and 1 are no and yes."""
        known = {0: False, 1: True}
        return None if dialect.supports_native_boolean else lambda value: known.get(value, value)


def _id() -> Column[str]:
    return Column("id", String(40), primary_key=True)


def _to(name: str, target: str, *, null: bool = False, primary: bool = False) -> Column[str]:
    return Column(name, String(40), ForeignKey(target), nullable=null, primary_key=primary)


def _at(name: str = "at", *, null: bool = False) -> Column[str]:
    return Column(name, String(32), nullable=null)


meta = Table("meta", metadata, Column("key", String(40), primary_key=True), Column("value", Text, nullable=False))

person = Table(
    "person",
    metadata,
    _id(),
    Column("name", Text),
    Column("contact", Text),
    _at("created_at"),
    _at("erased_at", null=True),
)
staff = Table(
    "staff",
    metadata,
    _id(),
    Column("name", Text, nullable=False, unique=True),
    Column("role", String(16), nullable=False),
    Column("secret", Text, nullable=False),
    _to("person_id", "person.id", null=True),
    _at("created_at"),
    _at("ended_at", null=True),
)
assessor = Table(
    "assessor",
    metadata,
    _id(),
    Column("pseudonym", Text, nullable=False, unique=True),
    Column("may_taste", Flag, nullable=False),
    _to("person_id", "person.id", null=True),
    _at("created_at"),
)
attempt = Table(
    "attempt",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("kind", String(16), nullable=False),
    Column("address", String(64), nullable=False),
    Column("at", Float, nullable=False),
)

study = Table(
    "study",
    metadata,
    _id(),
    Column("state", String(16), nullable=False),
    Column("look", Integer, nullable=False),
    Column("plan", Text, nullable=False),
    Column("seal", String(64)),
    _at("sealed_at", null=True),
    _to("sealed_by", "staff.id", null=True),
    Column("key_seed", Text),
    _at("created_at"),
    _to("created_by", "staff.id", null=True),
    Column("example", Flag, nullable=False),
    Column("kind", String(8), nullable=False, server_default="hours"),
)
sample = Table(
    "sample",
    metadata,
    _id(),
    _to("study_id", "study.id"),
    Column("hours", Float, nullable=False),  # the level of a sample; named when hours were the only level there was
    Column("letter", String(4), nullable=False),
    UniqueConstraint("study_id", "hours"),
)
attribute = Table(
    "attribute",
    metadata,
    _id(),
    _to("study_id", "study.id"),
    Column("position", Integer, nullable=False),
    Column("name", Text, nullable=False),
    Column("definition", Text, nullable=False),
    Column("low_word", Text, nullable=False),
    Column("high_word", Text, nullable=False),
    Column("decides", Flag, nullable=False),
    UniqueConstraint("study_id", "position"),
)
seat = Table(
    "seat",
    metadata,
    _to("study_id", "study.id", primary=True),
    _to("assessor_id", "assessor.id", primary=True),
    Column("number", Integer, nullable=False),
)
pull_note = Table(
    "pull_note",
    metadata,
    Column("id", Integer, primary_key=True),
    _to("study_id", "study.id"),
    Column("hours", Float, nullable=False),
    Column("actual_at", String(32), nullable=False),
    Column("mass_g", Float),
    _to("by", "staff.id"),
    _at(),
    Column("kind", String(16)),  # taken (so are notes without a kind), lost, zero, undone, zero undone
    Column("reason", String(32)),
    Column("sitting", Integer),  # the number of the one in which it was lost; none for all of them
    Column("temperature_c", Float),
    Column("words", Text),
)
photo = Table(
    "photo",
    metadata,
    _id(),
    _to("study_id", "study.id"),
    Column("hours", Float, nullable=False),
    Column("content", LargeBinary),
    Column("kind", String(16), nullable=False),
    Column("sha256", String(64), nullable=False),
    _to("by", "staff.id"),
    _at(),
    _at("erased_at", null=True),
)
key_view = Table(
    "key_view", metadata, _to("study_id", "study.id", primary=True), _to("staff_id", "staff.id", primary=True), _at()
)
opening = Table(
    "opening",
    metadata,
    _to("study_id", "study.id", primary=True),
    Column("look", Integer, primary_key=True),
    _to("by", "staff.id"),
    Column("name", Text, nullable=False),
    _at(),
    Column("second", String(40)),  # the account that opened it together with `by`; none where it was opened alone
)
decision = Table(
    "decision",
    metadata,
    _to("study_id", "study.id", primary=True),
    Column("look", Integer, primary_key=True),
    Column("document", Text, nullable=False),
    _at(),
)
signature = Table(
    "signature",
    metadata,
    Column("id", Integer, primary_key=True),
    _to("study_id", "study.id"),
    Column("look", Integer, nullable=False),
    Column("name", Text, nullable=False),
    Column("role", Text, nullable=False),
    _to("by", "staff.id"),
    _at(),
)
deviation = Table(
    "deviation",
    metadata,
    Column("id", Integer, primary_key=True),
    _to("study_id", "study.id"),
    Column("sentence", Text, nullable=False),
    Column("known", String(32), nullable=False),
    _to("by", "staff.id"),
    _at(),
)

sitting = Table(
    "sitting",
    metadata,
    _id(),
    _to("study_id", "study.id"),
    Column("number", Integer, nullable=False),
    Column("look", Integer, nullable=False),
    Column("label", Text, nullable=False),
    Column("state", String(16), nullable=False),
    _at("starts_at", null=True),
    _at("opened_at", null=True),
    _at("closed_at", null=True),
    UniqueConstraint("study_id", "number"),
)
join_code = Table(
    "join_code",
    metadata,
    Column("hash", String(64), primary_key=True),
    _to("sitting_id", "sitting.id"),
    _to("assessor_id", "assessor.id"),
    _at("created_at"),
    _at("ended_at", null=True),
)
token = Table(
    "token",
    metadata,
    Column("hash", String(64), primary_key=True),
    Column("kind", String(8), nullable=False),
    _to("staff_id", "staff.id", null=True),
    _to("assessor_id", "assessor.id", null=True),
    _to("sitting_id", "sitting.id", null=True),
    _at("created_at"),
    _at("ended_at", null=True),
)
presence = Table(
    "presence",
    metadata,
    _to("sitting_id", "sitting.id", primary=True),
    _to("assessor_id", "assessor.id", primary=True),
    _at("agreed_at", null=True),
    _at("declined_at", null=True),
    _at("left_at", null=True),
    Column("kept", Flag),
)
tray = Table(
    "tray",
    metadata,
    _to("sitting_id", "sitting.id", primary=True),
    Column("position", Integer, primary_key=True),
    _at("released_at"),
    _to("released_by", "staff.id"),
    Column("second_person", Text, nullable=False),
    Column("checks", Text, nullable=False),
)
serving = Table(
    "serving",
    metadata,
    _id(),
    _to("sitting_id", "sitting.id"),
    _to("assessor_id", "assessor.id"),
    Column("position", Integer, nullable=False),
    Column("code", String(3), nullable=False),
    _to("sample_id", "sample.id"),
    Column("replicate", Integer, nullable=False),
    Column("scored", Flag, nullable=False),
    _at("started_at", null=True),
    _at("finished_at", null=True),
    Column("outcome", String(16)),
    UniqueConstraint("sitting_id", "code"),
    UniqueConstraint("sitting_id", "assessor_id", "position"),
)
score = Table(
    "score",
    metadata,
    Column("id", Integer, primary_key=True),
    _to("serving_id", "serving.id"),
    _to("attribute_id", "attribute.id"),
    Column("value", Float),
    Column("reason", Text),
    Column("nonce", String(80), nullable=False, unique=True),
    _at(),
    Column("sha256", String(64), nullable=False),
    Column("source", String(8)),  # paper: typed from a ballot by two people; none: a phone, or the server itself
)
trial_sample = Table(
    "trial_sample",
    metadata,
    _id(),
    _to("study_id", "study.id"),
    Column("letter", String(4), nullable=False),
    Column("name", Text, nullable=False),
    Column("plain", Flag, nullable=False),
    Column("level", Float),
    UniqueConstraint("study_id", "letter"),
)
# `codes` and `samples` are JSON lists in the order of tasting, apart, so that what an assessor's page asks for never
# reads a sample. A set is closed by its first `trial` row; a later row takes the answer out of force.
trial_set = Table(
    "trial_set",
    metadata,
    _id(),
    _to("sitting_id", "sitting.id"),
    _to("assessor_id", "assessor.id"),
    Column("position", Integer, nullable=False),
    Column("level", Float),
    Column("codes", Text, nullable=False),
    Column("samples", Text, nullable=False),
    _at("started_at", null=True),
    _at("finished_at", null=True),
    Column("outcome", String(16)),
    UniqueConstraint("sitting_id", "assessor_id", "position"),
)
trial = Table(
    "trial",
    metadata,
    Column("id", Integer, primary_key=True),
    _to("set_id", "trial_set.id"),
    Column("choice", Text),
    Column("guess", Flag, nullable=False),
    Column("reason", Text),
    Column("nonce", String(80), nullable=False, unique=True),
    _at(),
    Column("sha256", String(64), nullable=False),
    Column("source", String(8)),  # as of a score
)
note = Table(
    "note",
    metadata,
    _id(),
    _to("sitting_id", "sitting.id"),
    _to("assessor_id", "assessor.id"),
    Column("text", Text),
    Column("salt", String(64)),
    Column("sha256", String(64), nullable=False),
    _at(),
    _at("erased_at", null=True),
)
event = Table(
    "event",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=False),
    _at(),
    Column("kind", String(32), nullable=False),
    Column("study_id", String(40)),
    Column("body", Text, nullable=False),
    Column("prev", String(64), nullable=False, unique=True),
    Column("hash", String(64), nullable=False, unique=True),
)

# Events of the stores that kept a study before this one: `keeper` 0 is the first of them, `of` the study of the event.
origin = Table(
    "origin",
    metadata,
    _to("study_id", "study.id", primary=True),
    Column("keeper", Integer, primary_key=True, autoincrement=False),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    _at(),
    Column("kind", String(32), nullable=False),
    Column("of", String(40)),
    Column("body", Text, nullable=False),
    Column("prev", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
)

# ---- batches and instruments ---------------------------------------------------------------------------------------
batch = Table(
    "batch",
    metadata,
    _id(),
    _to("study_id", "study.id", null=True),
    Column("label", Text, nullable=False),
    Column("recipe", Text, nullable=False),
    Column("machine", Text, nullable=False),
    Column("lot", Text, nullable=False),
    Column("mass_g", Float),
    _at("started_at", null=True),
    Column("made", Text, nullable=False),  # a document of `studyapp.batches.Making`
    Column("phases", Integer, nullable=False),  # the version of its phases that stands
    _to("by", "staff.id"),
    _at("created_at"),
)
# What is kept again gets the next version or number; nothing that was kept is changed.
phase = Table(
    "phase",
    metadata,
    _to("batch_id", "batch.id", primary=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("from_hours", Float),
    Column("to_hours", Float),
    Column("temperature_c", Float),
    Column("speed_rpm", Float),
    Column("air_m3_h", Float),  # of the first version; nothing writes it
    Column("real_from_hours", Float),
    Column("real_to_hours", Float),
    Column("real_temperature_c", Float),
    Column("real_speed_rpm", Float),
    Column("air", Text, nullable=False),
    Column("extraction", Text, nullable=False),
    Column("recirculation", Text, nullable=False),
    Column("words", Text, nullable=False),
)
machine_log = Table(
    "machine_log",
    metadata,
    _to("batch_id", "batch.id", primary=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("points", Text, nullable=False),  # a document of `studyapp.batches.Log`
    _to("by", "staff.id"),
    _at(),
)
reading = Table(
    "reading",
    metadata,
    _to("batch_id", "batch.id", primary=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(16), nullable=False),  # read, undone
    Column("hours", Float, nullable=False),
    Column("quantity", String(40), nullable=False),
    Column("value", Float, nullable=False),
    Column("unit", String(16), nullable=False),
    Column("instrument", Text, nullable=False),
    Column("method", Text, nullable=False),
    Column("portion", Integer, nullable=False),
    Column("asked", Flag, nullable=False),
    _to("by", "staff.id"),
    _at(),
)
flow_point = Table(
    "flow_point",
    metadata,
    _to("batch_id", "batch.id", primary=True),
    Column("curve", Integer, primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(16), nullable=False),  # read, undone
    Column("hours", Float, nullable=False),
    Column("portion", Integer, nullable=False),
    Column("branch", String(8), nullable=False),  # up, hold, down
    Column("instrument", Text, nullable=False),
    Column("method", Text, nullable=False),
    Column("shear_rate_1_s", Float, nullable=False),
    Column("stress_pa", Float, nullable=False),
    Column("asked", Flag, nullable=False),
    _to("by", "staff.id"),
    _at(),
)

# What a page asks for must cost the same with ten or ten thousand studies in the store.
for _columns in (
    (score.c.serving_id, score.c.attribute_id),
    (serving.c.assessor_id, serving.c.finished_at),
    (trial.c.set_id,),
    (trial_set.c.assessor_id, trial_set.c.finished_at),
    (event.c.study_id, event.c.seq),
    (event.c.kind,),
    (note.c.assessor_id,),
    (note.c.sitting_id,),
    (token.c.sitting_id,),
    (token.c.staff_id,),
    (join_code.c.sitting_id,),
    (attempt.c.kind, attempt.c.at),
    (assessor.c.person_id,),
    (sitting.c.state,),
    (deviation.c.study_id,),
    (signature.c.study_id,),
    (pull_note.c.study_id,),
    (photo.c.study_id,),
    (batch.c.study_id,),
    (batch.c.recipe, batch.c.machine),
):
    Index(None, *_columns)

# A forced choice is final: the database itself takes one answer a set.
Index(
    "uq_trial_answer",
    trial.c.set_id,
    unique=True,
    sqlite_where=trial.c.choice.is_not(None),
    postgresql_where=trial.c.choice.is_not(None),
)
