"""The record of a batch and what was read of its pulls; photos of pulls; where a score or an answer came from.

The tables of batches of the first version had no door, so no version of the app wrote into them; they are made anew.
A frozen copy: `studyapp.store.schema` moves on, this file never does.
"""

from __future__ import annotations

from alembic import op
from sqlalchemy import (
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    text,
)

revision = "0005"
down_revision = "0004"

metadata = MetaData(
    naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s", "fk": "fk_%(table_name)s_%(column_0_name)s"}
)
for _name in ("study", "staff"):
    Table(_name, metadata, Column("id", String(40), primary_key=True))
batch = Table(
    "batch",
    metadata,
    Column("id", String(40), primary_key=True),
    Column("study_id", String(40), ForeignKey("study.id")),
    Column("label", Text, nullable=False),
    Column("recipe", Text, nullable=False),
    Column("machine", Text, nullable=False),
    Column("lot", Text, nullable=False),
    Column("mass_g", Float),
    Column("started_at", String(32)),
    Column("made", Text, nullable=False),
    Column("phases", Integer, nullable=False),
    Column("by", String(40), ForeignKey("staff.id"), nullable=False),
    Column("created_at", String(32), nullable=False),
)
phase = Table(
    "phase",
    metadata,
    Column("batch_id", String(40), ForeignKey("batch.id"), primary_key=True),
    Column("version", Integer, primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    *(
        Column(name, Float)
        for name in (
            "from_hours",
            "to_hours",
            "temperature_c",
            "speed_rpm",
            "air_m3_h",
            "real_from_hours",
            "real_to_hours",
            "real_temperature_c",
            "real_speed_rpm",
        )
    ),
    *(Column(name, Text, nullable=False) for name in ("air", "extraction", "recirculation", "words")),
)
machine_log = Table(
    "machine_log",
    metadata,
    Column("batch_id", String(40), ForeignKey("batch.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("points", Text, nullable=False),
    Column("by", String(40), ForeignKey("staff.id"), nullable=False),
    Column("at", String(32), nullable=False),
)
reading = Table(
    "reading",
    metadata,
    Column("batch_id", String(40), ForeignKey("batch.id"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(16), nullable=False),
    Column("hours", Float, nullable=False),
    Column("quantity", String(40), nullable=False),
    Column("value", Float, nullable=False),
    Column("unit", String(16), nullable=False),
    Column("instrument", Text, nullable=False),
    Column("method", Text, nullable=False),
    Column("portion", Integer, nullable=False),
    Column("asked", Boolean, nullable=False),
    Column("by", String(40), ForeignKey("staff.id"), nullable=False),
    Column("at", String(32), nullable=False),
)
flow_point = Table(
    "flow_point",
    metadata,
    Column("batch_id", String(40), ForeignKey("batch.id"), primary_key=True),
    Column("curve", Integer, primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(16), nullable=False),
    Column("hours", Float, nullable=False),
    Column("portion", Integer, nullable=False),
    Column("branch", String(8), nullable=False),
    Column("instrument", Text, nullable=False),
    Column("method", Text, nullable=False),
    Column("shear_rate_1_s", Float, nullable=False),
    Column("stress_pa", Float, nullable=False),
    Column("asked", Boolean, nullable=False),
    Column("by", String(40), ForeignKey("staff.id"), nullable=False),
    Column("at", String(32), nullable=False),
)
photo = Table(
    "photo",
    metadata,
    Column("id", String(40), primary_key=True),
    Column("study_id", String(40), ForeignKey("study.id"), nullable=False),
    Column("hours", Float, nullable=False),
    Column("content", LargeBinary),
    Column("kind", String(16), nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("by", String(40), ForeignKey("staff.id"), nullable=False),
    Column("at", String(32), nullable=False),
    Column("erased_at", String(32)),
)
Index(None, photo.c.study_id)
Index(None, batch.c.study_id)
Index(None, batch.c.recipe, batch.c.machine)


def upgrade() -> None:
    """Make the four tables of batches anew, those for what machines write and for photos, which are empty; of older
    scores and answers no source is filled in, since no ballot was ever typed."""
    tx = op.get_bind()
    for name in ("flow_point", "reading", "phase", "batch"):
        if tx.execute(text(f"SELECT count(*) FROM {name}")).scalar():
            raise RuntimeError(f"{name} holds rows, and no version of the app wrote any")
        op.drop_table(name)
    metadata.create_all(tx, tables=[batch, phase, machine_log, reading, flow_point, photo])
    for name in ("score", "trial"):
        op.add_column(name, Column("source", String(8)))
