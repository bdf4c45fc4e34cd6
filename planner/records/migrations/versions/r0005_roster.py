"""The unit's roster, entry by entry."""

import sqlalchemy as sa
from alembic import op

from planner.records.migrations.guards import guard

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.create_table(
        "roster_entries",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("document", sa.Text(), nullable=False),
        sa.Column("retired", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("kind", "key", "number"),
    )
    guard("roster_entries")
