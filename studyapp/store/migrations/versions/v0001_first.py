"""The first tables, and the triggers that keep score and event append-only."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

APPEND_ONLY = ("score", "event")


def upgrade() -> None:
    """Create everything."""
    _tables()
    for table in APPEND_ONLY:
        _append_only(table)


def _append_only(table: str) -> None:
    """Refuse change and removal: a correction is a new row."""
    if op.get_bind().dialect.name == "postgresql":
        op.execute(
            f"CREATE FUNCTION {table}_stands() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{table} is append-only'; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {table}_stands BEFORE UPDATE OR DELETE ON {table} EXECUTE FUNCTION {table}_stands()"
        )
        return
    for act in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{act.lower()} BEFORE {act} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


def _tables() -> None:
    """Every table as of the first version."""
    op.create_table(
        "attempt",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("address", sa.String(length=64), nullable=False),
        sa.Column("at", sa.Float(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "event",
        sa.Column("seq", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("kind", sa.String(length=32), nullable=False),
        sa.Column("study_id", sa.String(length=40), nullable=True),
        sa.Column("body", sa.Text(), nullable=False),
        sa.Column("prev", sa.String(length=64), nullable=False),
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("seq"),
        sa.UniqueConstraint("hash", name=op.f("uq_event_hash")),
        sa.UniqueConstraint("prev", name=op.f("uq_event_prev")),
    )
    op.create_table(
        "meta",
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
    )
    op.create_table(
        "person",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("name", sa.Text(), nullable=True),
        sa.Column("contact", sa.Text(), nullable=True),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.Column("erased_at", sa.String(length=32), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "assessor",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("pseudonym", sa.Text(), nullable=False),
        sa.Column("may_taste", sa.Boolean(), nullable=False),
        sa.Column("person_id", sa.String(length=40), nullable=True),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_assessor_person_id")),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("pseudonym", name=op.f("uq_assessor_pseudonym")),
    )
    op.create_table(
        "staff",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.String(length=16), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("person_id", sa.String(length=40), nullable=True),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.Column("ended_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["person_id"], ["person.id"], name=op.f("fk_staff_person_id")),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name", name=op.f("uq_staff_name")),
    )
    op.create_table(
        "study",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("look", sa.Integer(), nullable=False),
        sa.Column("plan", sa.Text(), nullable=False),
        sa.Column("seal", sa.String(length=64), nullable=True),
        sa.Column("sealed_at", sa.String(length=32), nullable=True),
        sa.Column("sealed_by", sa.String(length=40), nullable=True),
        sa.Column("key_seed", sa.Text(), nullable=True),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.Column("created_by", sa.String(length=40), nullable=True),
        sa.Column("example", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["created_by"], ["staff.id"], name=op.f("fk_study_created_by")),
        sa.ForeignKeyConstraint(["sealed_by"], ["staff.id"], name=op.f("fk_study_sealed_by")),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "attribute",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("definition", sa.Text(), nullable=False),
        sa.Column("low_word", sa.Text(), nullable=False),
        sa.Column("high_word", sa.Text(), nullable=False),
        sa.Column("decides", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_attribute_study_id")),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("study_id", "position", name=op.f("uq_attribute_study_id_position")),
    )
    op.create_table(
        "decision",
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("look", sa.Integer(), nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_decision_study_id")),
        sa.PrimaryKeyConstraint("study_id", "look"),
    )
    op.create_table(
        "deviation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("sentence", sa.Text(), nullable=False),
        sa.Column("known", sa.String(length=32), nullable=False),
        sa.Column("by", sa.String(length=40), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["staff.id"], name=op.f("fk_deviation_by")),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_deviation_study_id")),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "key_view",
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("staff_id", sa.String(length=40), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_key_view_staff_id")),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_key_view_study_id")),
        sa.PrimaryKeyConstraint("study_id", "staff_id"),
    )
    op.create_table(
        "opening",
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("look", sa.Integer(), nullable=False),
        sa.Column("by", sa.String(length=40), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["staff.id"], name=op.f("fk_opening_by")),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_opening_study_id")),
        sa.PrimaryKeyConstraint("study_id", "look"),
    )
    op.create_table(
        "pull_note",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("hours", sa.Float(), nullable=False),
        sa.Column("actual_at", sa.String(length=32), nullable=False),
        sa.Column("mass_g", sa.Float(), nullable=True),
        sa.Column("by", sa.String(length=40), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["staff.id"], name=op.f("fk_pull_note_by")),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_pull_note_study_id")),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "sample",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("hours", sa.Float(), nullable=False),
        sa.Column("letter", sa.String(length=4), nullable=False),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_sample_study_id")),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("study_id", "hours", name=op.f("uq_sample_study_id_hours")),
    )
    op.create_table(
        "seat",
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("assessor_id", sa.String(length=40), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["assessor_id"], ["assessor.id"], name=op.f("fk_seat_assessor_id")),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_seat_study_id")),
        sa.PrimaryKeyConstraint("study_id", "assessor_id"),
    )
    op.create_table(
        "signature",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("look", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("by", sa.String(length=40), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.ForeignKeyConstraint(["by"], ["staff.id"], name=op.f("fk_signature_by")),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_signature_study_id")),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "sitting",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("study_id", sa.String(length=40), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("look", sa.Integer(), nullable=False),
        sa.Column("label", sa.Text(), nullable=False),
        sa.Column("state", sa.String(length=16), nullable=False),
        sa.Column("starts_at", sa.String(length=32), nullable=True),
        sa.Column("opened_at", sa.String(length=32), nullable=True),
        sa.Column("closed_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["study_id"], ["study.id"], name=op.f("fk_sitting_study_id")),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("study_id", "number", name=op.f("uq_sitting_study_id_number")),
    )
    op.create_table(
        "join_code",
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("sitting_id", sa.String(length=40), nullable=False),
        sa.Column("assessor_id", sa.String(length=40), nullable=False),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.Column("ended_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["assessor_id"], ["assessor.id"], name=op.f("fk_join_code_assessor_id")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_join_code_sitting_id")),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_table(
        "note",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("sitting_id", sa.String(length=40), nullable=False),
        sa.Column("assessor_id", sa.String(length=40), nullable=False),
        sa.Column("text", sa.Text(), nullable=True),
        sa.Column("salt", sa.String(length=64), nullable=True),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("erased_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["assessor_id"], ["assessor.id"], name=op.f("fk_note_assessor_id")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_note_sitting_id")),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "presence",
        sa.Column("sitting_id", sa.String(length=40), nullable=False),
        sa.Column("assessor_id", sa.String(length=40), nullable=False),
        sa.Column("agreed_at", sa.String(length=32), nullable=True),
        sa.Column("declined_at", sa.String(length=32), nullable=True),
        sa.Column("left_at", sa.String(length=32), nullable=True),
        sa.Column("kept", sa.Boolean(), nullable=True),
        sa.ForeignKeyConstraint(["assessor_id"], ["assessor.id"], name=op.f("fk_presence_assessor_id")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_presence_sitting_id")),
        sa.PrimaryKeyConstraint("sitting_id", "assessor_id"),
    )
    op.create_table(
        "serving",
        sa.Column("id", sa.String(length=40), nullable=False),
        sa.Column("sitting_id", sa.String(length=40), nullable=False),
        sa.Column("assessor_id", sa.String(length=40), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=3), nullable=False),
        sa.Column("sample_id", sa.String(length=40), nullable=False),
        sa.Column("replicate", sa.Integer(), nullable=False),
        sa.Column("scored", sa.Boolean(), nullable=False),
        sa.Column("started_at", sa.String(length=32), nullable=True),
        sa.Column("finished_at", sa.String(length=32), nullable=True),
        sa.Column("outcome", sa.String(length=16), nullable=True),
        sa.ForeignKeyConstraint(["assessor_id"], ["assessor.id"], name=op.f("fk_serving_assessor_id")),
        sa.ForeignKeyConstraint(["sample_id"], ["sample.id"], name=op.f("fk_serving_sample_id")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_serving_sitting_id")),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint(
            "sitting_id", "assessor_id", "position", name=op.f("uq_serving_sitting_id_assessor_id_position")
        ),
        sa.UniqueConstraint("sitting_id", "code", name=op.f("uq_serving_sitting_id_code")),
    )
    op.create_table(
        "token",
        sa.Column("hash", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.String(length=8), nullable=False),
        sa.Column("staff_id", sa.String(length=40), nullable=True),
        sa.Column("assessor_id", sa.String(length=40), nullable=True),
        sa.Column("sitting_id", sa.String(length=40), nullable=True),
        sa.Column("created_at", sa.String(length=32), nullable=False),
        sa.Column("ended_at", sa.String(length=32), nullable=True),
        sa.ForeignKeyConstraint(["assessor_id"], ["assessor.id"], name=op.f("fk_token_assessor_id")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_token_sitting_id")),
        sa.ForeignKeyConstraint(["staff_id"], ["staff.id"], name=op.f("fk_token_staff_id")),
        sa.PrimaryKeyConstraint("hash"),
    )
    op.create_table(
        "tray",
        sa.Column("sitting_id", sa.String(length=40), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("released_at", sa.String(length=32), nullable=False),
        sa.Column("released_by", sa.String(length=40), nullable=False),
        sa.Column("second_person", sa.Text(), nullable=False),
        sa.Column("checks", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["released_by"], ["staff.id"], name=op.f("fk_tray_released_by")),
        sa.ForeignKeyConstraint(["sitting_id"], ["sitting.id"], name=op.f("fk_tray_sitting_id")),
        sa.PrimaryKeyConstraint("sitting_id", "position"),
    )
    op.create_table(
        "score",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serving_id", sa.String(length=40), nullable=False),
        sa.Column("attribute_id", sa.String(length=40), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=True),
        sa.Column("nonce", sa.String(length=80), nullable=False),
        sa.Column("at", sa.String(length=32), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["attribute_id"], ["attribute.id"], name=op.f("fk_score_attribute_id")),
        sa.ForeignKeyConstraint(["serving_id"], ["serving.id"], name=op.f("fk_score_serving_id")),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("nonce", name=op.f("uq_score_nonce")),
    )
