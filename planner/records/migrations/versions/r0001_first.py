"""The first tables of the store."""

from planner.records.migrations.tables import guard, make, make_entered, number, text, texts

revision = "0001"
down_revision = None
GUARDED = (
    *("people", "cases", "case_versions", "snapshots", "submissions", "questions", "answers", "approvals"),
    *("allocations", "outcomes", "notices", "endings", "trail"),
)
CASE = {"case_id": "cases.id"}
SNAPSHOT = {"snapshot_id": "snapshots.id"}


def upgrade() -> None:
    make_entered("cases", *texts("reference", "eye"), unique=("reference", "eye"))
    make_entered("endings", text("kept_in"), number("row"), *texts("kind", "why"), unique=("kept_in", "row"))
    make("failed_sign_ins", number("id"), *texts("key", "at"), key="id", index=("key",))
    make("passwords", *texts("code", "hash", "at"), key="code")
    make_entered(
        "people",
        *(text("code"), number("number"), *texts("name", "role"), text("trainee_id", empty=True), number("active")),
        unique=("code", "number"),
    )
    make(
        "sessions",
        *texts("token_sha256", "person", "secret", "started_at", "seen_at"),
        key="token_sha256",
        index=("person",),
    )
    make(
        "trail",
        *(number("sequence"), *texts("at", "who", "what", "kept_in", "row"), number("case_id", empty=True)),
        *(text("before", empty=True), text("after", empty=True), *texts("previous", "hash")),
        key="sequence",
        index=("case_id",),
    )
    make_entered(
        "case_versions",
        *(number("case_id"), number("number"), *texts("document", "changed")),
        refers=CASE,
        unique=("case_id", "number"),
    )
    make_entered(
        "notices", text("for_whom"), number("case_id", empty=True), text("text"), refers=CASE, index=("for_whom",)
    )
    make_entered(
        "outcomes",
        *(number("case_id"), *texts("day", "operated_by"), text("supervised_by", empty=True)),
        *(*texts("steps", "complications", "note"), number("corrects", empty=True)),
        refers=CASE | {"corrects": "outcomes.id"},
        index=("case_id",),
    )
    make_entered("questions", number("case_id"), number("version"), text("text"), refers=CASE, index=("case_id",))
    make_entered(
        "snapshots",
        *(number("case_id"), number("version")),
        *texts("rulebook_id", "rulebook_version", "rulebook_sha256", "engine_version"),
        *(number("tier_least"), number("tier_working"), number("tier_most")),
        *(text("mode", empty=True), text("mode_by", empty=True), text("stage", empty=True), text("assessment")),
        refers=CASE,
        index=("case_id",),
    )
    make_entered(
        "answers", number("question_id"), text("text"), refers={"question_id": "questions.id"}, index=("question_id",)
    )
    make_entered(
        "approvals",
        *(number("case_id"), number("version"), number("snapshot_id")),
        *(number("tier_by_rulebook"), number("tier_approved")),
        *(text("mode_by_rulebook", empty=True), text("mode_approved", empty=True)),
        *(*texts("step_changes", "conditions", "reason"), number("own_case")),
        refers=CASE | SNAPSHOT,
        index=("case_id",),
    )
    make_entered(
        "submissions",
        *(number("case_id"), number("version"), number("snapshot_id"), text("note")),
        refers=CASE | SNAPSHOT,
        index=("case_id",),
    )
    make_entered(
        "allocations",
        *(number("case_id"), number("approval_id"), *texts("day", "theatre"), number("place")),
        *(text("trainee", empty=True), text("supervisor")),
        refers={"approval_id": "approvals.id"} | CASE,
        index=("case_id", "day"),
    )
    for table in GUARDED:
        guard(table)
