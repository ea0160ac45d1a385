"""Where a score or an answer came from: typed from a ballot on paper, or not.

A frozen copy: `studyapp.store.schema` moves on, this file never does.
"""

from __future__ import annotations

from alembic import op
from sqlalchemy import Column, String

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Of older rows nothing is filled in: no ballot was ever typed."""
    for table in ("score", "trial"):
        op.add_column(table, Column("source", String(8)))
