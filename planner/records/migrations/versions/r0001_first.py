"""The first tables of the store."""

import sqlalchemy as sa
from alembic import op

from planner.records.migrations.guards import guard

revision = "0001"
down_revision = None
GUARDED = (
    *("people", "cases", "case_versions", "snapshots", "submissions", "questions", "answers", "approvals"),
    *("allocations", "outcomes", "notices", "endings", "trail"),
)


def upgrade() -> None:
    op.create_table(
        "cases",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("reference", sa.Text(), nullable=False),
        sa.Column("eye", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("reference", "eye"),
    )
    op.create_table(
        "endings",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kept_in", sa.Text(), nullable=False),
        sa.Column("row", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("kept_in", "row"),
    )
    op.create_table(
        "failed_sign_ins",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_failed_sign_ins_key"), "failed_sign_ins", ["key"], unique=False)
    op.create_table(
        "passwords",
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("code"),
    )
    op.create_table(
        "people",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("trainee_id", sa.Text(), nullable=True),
        sa.Column("active", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("code", "number"),
    )
    op.create_table(
        "sessions",
        sa.Column("token_sha256", sa.Text(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.Column("started_at", sa.Text(), nullable=False),
        sa.Column("seen_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("token_sha256"),
    )
    op.create_index(op.f("ix_sessions_person"), "sessions", ["person"], unique=False)
    op.create_table(
        "trail",
        sa.Column("sequence", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("kept_in", sa.Text(), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=True),
        sa.Column("before", sa.Text(), nullable=True),
        sa.Column("after", sa.Text(), nullable=True),
        sa.Column("previous", sa.Text(), nullable=False),
        sa.Column("hash", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("sequence"),
    )
    op.create_index(op.f("ix_trail_case_id"), "trail", ["case_id"], unique=False)
    op.create_table(
        "case_versions",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("changed", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("case_id", "number"),
    )
    op.create_table(
        "notices",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("for_whom", sa.Text(), nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_notices_for_whom"), "notices", ["for_whom"], unique=False)
    op.create_table(
        "outcomes",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("operated_by", sa.Text(), nullable=False),
        sa.Column("supervised_by", sa.Text(), nullable=True),
        sa.Column("steps", sa.Text(), nullable=False),
        sa.Column("complications", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("corrects", sa.Integer(), autoincrement=False, nullable=True),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.ForeignKeyConstraint(
            ["corrects"],
            ["outcomes.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_outcomes_case_id"), "outcomes", ["case_id"], unique=False)
    op.create_table(
        "questions",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_questions_case_id"), "questions", ["case_id"], unique=False)
    op.create_table(
        "snapshots",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rulebook_id", sa.Text(), nullable=False),
        sa.Column("rulebook_version", sa.Text(), nullable=False),
        sa.Column("rulebook_sha256", sa.Text(), nullable=False),
        sa.Column("engine_version", sa.Text(), nullable=False),
        sa.Column("tier_least", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tier_working", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tier_most", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mode", sa.Text(), nullable=True),
        sa.Column("mode_by", sa.Text(), nullable=True),
        sa.Column("stage", sa.Text(), nullable=True),
        sa.Column("assessment", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_snapshots_case_id"), "snapshots", ["case_id"], unique=False)
    op.create_table(
        "answers",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("question_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["question_id"],
            ["questions.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_answers_question_id"), "answers", ["question_id"], unique=False)
    op.create_table(
        "approvals",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("snapshot_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tier_by_rulebook", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("tier_approved", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("mode_by_rulebook", sa.Text(), nullable=True),
        sa.Column("mode_approved", sa.Text(), nullable=True),
        sa.Column("step_changes", sa.Text(), nullable=False),
        sa.Column("conditions", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("own_case", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.ForeignKeyConstraint(
            ["snapshot_id"],
            ["snapshots.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_approvals_case_id"), "approvals", ["case_id"], unique=False)
    op.create_table(
        "submissions",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("version", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("snapshot_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.ForeignKeyConstraint(
            ["snapshot_id"],
            ["snapshots.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_submissions_case_id"), "submissions", ["case_id"], unique=False)
    op.create_table(
        "allocations",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("approval_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("theatre", sa.Text(), nullable=False),
        sa.Column("place", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("trainee", sa.Text(), nullable=True),
        sa.Column("supervisor", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["approval_id"],
            ["approvals.id"],
        ),
        sa.ForeignKeyConstraint(
            ["case_id"],
            ["cases.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_allocations_case_id"), "allocations", ["case_id"], unique=False)
    op.create_index(op.f("ix_allocations_day"), "allocations", ["day"], unique=False)
    for table in GUARDED:
        guard(table)
