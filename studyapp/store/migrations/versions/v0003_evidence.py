"""Who opened a key together with whom, and what the stores before this one wrote about a study that was brought in.

A frozen copy: `studyapp.store.schema` moves on, this file never does.
"""

from __future__ import annotations

from alembic import op
from sqlalchemy import Column, ForeignKey, Integer, MetaData, String, Table, Text

revision = "0003"
down_revision = "0002"

metadata = MetaData(naming_convention={"fk": "fk_%(table_name)s_%(column_0_name)s"})
Table("study", metadata, Column("id", String(40), primary_key=True))
origin = Table(
    "origin",
    metadata,
    Column("study_id", String(40), ForeignKey("study.id"), primary_key=True),
    Column("keeper", Integer, primary_key=True, autoincrement=False),
    Column("seq", Integer, primary_key=True, autoincrement=False),
    Column("at", String(32), nullable=False),
    Column("kind", String(32), nullable=False),
    Column("of", String(40)),
    Column("body", Text, nullable=False),
    Column("prev", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
)


def upgrade() -> None:
    """Nothing is filled: older openings were made by one account, and older imports brought no events along."""
    op.add_column("opening", Column("second", String(40), nullable=True))
    metadata.create_all(op.get_bind(), tables=[origin])
    postgres = op.get_bind().dialect.name == "postgresql"
    if postgres:
        op.execute(
            "CREATE FUNCTION origin_stands() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'origin is append-only'; END $$"
        )
        op.execute(
            "CREATE TRIGGER origin_stands BEFORE UPDATE OR DELETE OR TRUNCATE ON origin "
            "EXECUTE FUNCTION origin_stands()"
        )
        return
    for act in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER origin_no_{act} BEFORE {act.upper()} ON origin "
            f"BEGIN SELECT RAISE(ABORT, 'origin is append-only'); END"
        )
