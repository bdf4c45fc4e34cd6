"""Which session a place is in, locks, and lists as they were published."""

import sqlalchemy as sa
from alembic import op

from planner.records.migrations.guards import guard

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.add_column("allocations", sa.Column("session", sa.Text(), nullable=True))
    op.create_table(
        "locks",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["case_id"], ["cases.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_locks_case_id"), "locks", ["case_id"], unique=False)
    op.create_table(
        "list_versions",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("day", sa.Text(), nullable=False),
        sa.Column("session", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("day", "session", "number"),
    )
    op.create_index(op.f("ix_list_versions_day"), "list_versions", ["day"], unique=False)
    for table in ("locks", "list_versions"):
        guard(table)
