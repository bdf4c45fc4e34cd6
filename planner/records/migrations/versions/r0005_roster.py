"""The unit's roster, entry by entry."""

from planner.records.migrations.tables import guard, make_entered, number, text, texts

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    make_entered(
        "roster_entries",
        *(*texts("kind", "key"), number("number"), text("document"), number("retired"), text("note")),
        unique=("kind", "key", "number"),
    )
    guard("roster_entries")
