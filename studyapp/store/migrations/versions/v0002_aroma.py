"""Aroma studies: what kind a study is, the boxes and sets of forced-choice trials, and an answer a set.

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
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    text,
)

revision = "0002"
down_revision = "0001"

# Columns of rows that stand once they are written.
FIXED = {
    "study": "kind",
    "trial_sample": "study_id, letter, name, plain, level",
    "trial_set": "sitting_id, assessor_id, position, level, codes, samples",
}

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
    }
)
for _known in ("study", "sitting", "assessor"):  # made by the first migration, named here for the foreign keys
    Table(_known, metadata, Column("id", String(40), primary_key=True))


def _to(name: str, target: str) -> Column[str]:
    return Column(name, String(40), ForeignKey(target), nullable=False)


trial_sample = Table(
    "trial_sample",
    metadata,
    Column("id", String(40), primary_key=True),
    _to("study_id", "study.id"),
    Column("letter", String(4), nullable=False),
    Column("name", Text, nullable=False),
    Column("plain", Boolean, nullable=False),
    Column("level", Float),
    UniqueConstraint("study_id", "letter"),
)
trial_set = Table(
    "trial_set",
    metadata,
    Column("id", String(40), primary_key=True),
    _to("sitting_id", "sitting.id"),
    _to("assessor_id", "assessor.id"),
    Column("position", Integer, nullable=False),
    Column("level", Float),
    Column("codes", Text, nullable=False),
    Column("samples", Text, nullable=False),
    Column("started_at", String(32)),
    Column("finished_at", String(32)),
    Column("outcome", String(16)),
    UniqueConstraint("sitting_id", "assessor_id", "position"),
)
trial = Table(
    "trial",
    metadata,
    Column("id", Integer, primary_key=True),
    _to("set_id", "trial_set.id"),
    Column("choice", Text),
    Column("guess", Boolean, nullable=False),
    Column("reason", Text),
    Column("nonce", String(80), nullable=False, unique=True),
    Column("at", String(32), nullable=False),
    Column("sha256", String(64), nullable=False),
)
Index(None, trial.c.set_id)
Index(None, trial_set.c.assessor_id, trial_set.c.finished_at)
_ANSWERED = trial.c.choice.is_not(None)
Index("uq_trial_answer", trial.c.set_id, unique=True, sqlite_where=_ANSWERED, postgresql_where=_ANSWERED)


def upgrade() -> None:
    """Nothing ever wrote to the first `trial` table, so a new one takes its place."""
    if op.get_bind().execute(text("SELECT count(*) FROM trial")).scalar():
        raise RuntimeError("the table trial holds rows that no version of the app wrote")
    op.add_column("study", Column("kind", String(8), nullable=False, server_default="hours"))
    op.drop_table("trial")
    metadata.create_all(op.get_bind(), tables=[trial_sample, trial_set, trial])
    postgres = op.get_bind().dialect.name == "postgresql"
    (_guard_postgres if postgres else _guard_sqlite)()


def _guard_sqlite() -> None:
    """An answer stands, and so does what was served."""
    for act in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER trial_no_{act} BEFORE {act.upper()} ON trial "
            f"BEGIN SELECT RAISE(ABORT, 'trial is append-only'); END"
        )
    for table, columns in FIXED.items():
        name = "study_kind_fixed" if table == "study" else f"{table}_fixed"
        op.execute(
            f"CREATE TRIGGER {name} BEFORE UPDATE OF {columns} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is sealed'); END"
        )


def _guard_postgres() -> None:
    """The same; the functions for `trial` and `study` are there since the first migration."""
    op.execute(
        "CREATE TRIGGER trial_stands BEFORE UPDATE OR DELETE OR TRUNCATE ON trial EXECUTE FUNCTION trial_stands()"
    )
    for table, columns in FIXED.items():
        name = "study_kind_fixed" if table == "study" else f"{table}_fixed"
        if table != "study":
            op.execute(
                f"CREATE FUNCTION {table}_stands() RETURNS trigger LANGUAGE plpgsql AS "
                f"$$ BEGIN RAISE EXCEPTION '{table} is sealed'; END $$"
            )
        op.execute(
            f"CREATE TRIGGER {name} BEFORE UPDATE OF {columns} ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_stands()"
        )
