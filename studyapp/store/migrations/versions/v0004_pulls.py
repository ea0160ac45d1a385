"""What became of a pull: taken, lost, taken back, and when hour zero was.

A frozen copy: `studyapp.store.schema` moves on, this file never does.
"""

from __future__ import annotations

from alembic import op
from sqlalchemy import Column, Float, Integer, String, Text

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Older notes say when a pull was taken, so of them nothing is filled in."""
    for column in (
        Column("kind", String(16)),
        Column("reason", String(32)),
        Column("sitting", Integer),
        Column("temperature_c", Float),
        Column("words", Text),
    ):
        op.add_column("pull_note", column)
