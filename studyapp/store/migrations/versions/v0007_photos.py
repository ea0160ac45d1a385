"""Photos of pulls, which can be erased; what the chain keeps of one is its hash.

A frozen copy: `studyapp.store.schema` moves on, this file never does.
"""

from __future__ import annotations

from alembic import op
from sqlalchemy import Column, Float, ForeignKey, Index, LargeBinary, MetaData, String, Table

revision = "0007"
down_revision = "0006"

metadata = MetaData(
    naming_convention={"ix": "ix_%(table_name)s_%(column_0_N_name)s", "fk": "fk_%(table_name)s_%(column_0_name)s"}
)
Table("study", metadata, Column("id", String(40), primary_key=True))
Table("staff", metadata, Column("id", String(40), primary_key=True))
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


def upgrade() -> None:
    """A table of its own, empty: earlier versions took no photos."""
    metadata.create_all(op.get_bind(), tables=[photo])
