"""Which session a place is in, locks, and lists as they were published."""

from alembic import op

from planner.records.migrations.tables import guard, make_entered, number, text, texts

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.add_column("allocations", text("session", empty=True))
    make_entered("locks", number("case_id"), text("why"), refers={"case_id": "cases.id"}, index=("case_id",))
    make_entered(
        "list_versions",
        *(*texts("day", "session"), number("number"), *texts("document", "note")),
        unique=("day", "session", "number"),
        index=("day",),
    )
    for table in ("locks", "list_versions"):
        guard(table)
