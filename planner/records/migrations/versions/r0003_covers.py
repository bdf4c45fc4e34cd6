"""What an approval covers; those entered before it was asked cover only what they name."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.add_column("approvals", sa.Column("covers", sa.Text(), nullable=True))
    op.add_column("approvals", sa.Column("operator_conditions", sa.Text(), nullable=True))
