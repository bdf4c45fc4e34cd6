"""Cases handed from whoever had them to somebody else."""

import sqlalchemy as sa
from alembic import op

from planner.records.migrations.guards import guard

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.create_table(
        "handovers",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("case_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("to_whom", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["case_id"], ["cases.id"]),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_handovers_case_id"), "handovers", ["case_id"], unique=False)
    guard("handovers")
