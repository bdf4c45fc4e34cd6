"""What an approval covers; those entered before it was asked cover only what they name."""

from alembic import op

from planner.records.migrations.tables import text

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    for name in ("covers", "operator_conditions"):
        op.add_column("approvals", text(name, empty=True))
