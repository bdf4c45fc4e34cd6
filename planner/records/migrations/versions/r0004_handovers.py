"""Cases handed from whoever had them to somebody else."""

from planner.records.migrations.tables import guard, make_entered, number, texts

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    refers = {"case_id": "cases.id"}
    make_entered("handovers", number("case_id"), *texts("to_whom", "why"), refers=refers, index=("case_id",))
    guard("handovers")
