"""The store's tables. Each comment is what the export's README says of the column.

Whole numbers and text only, dates and JSON as text: so a row has one canonical form in every database, and its hash
means the same in each. Rows of `KEPT` are inserted and never changed; triggers refuse anything else.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import Column, ForeignKey, Integer, MetaData, Table, Text, UniqueConstraint

metadata = MetaData()


def _number(name: str, comment: str, *more: Any, empty: bool = False, **options: Any) -> Column[Any]:
    return Column(name, Integer, *more, comment=comment, nullable=empty, autoincrement=False, **options)


def _text(name: str, comment: str, *more: Any, empty: bool = False, **options: Any) -> Column[Any]:
    return Column(name, Text, *more, comment=comment, nullable=empty, **options)


def _id() -> Column[Any]:
    return _number("id", "number of the row, counted from 1", primary_key=True)


def _case() -> Column[Any]:
    return _number("case_id", "row of the case in cases", ForeignKey("cases.id"), index=True)


def _version() -> Column[Any]:
    return _number("version", "number of the case's version")


def _entered() -> tuple[Column[Any], Column[Any]]:
    return _text("at", "when it was entered, UTC"), _text("by", "code of the person who entered it")


KEPT: list[Table] = []


def _kept(name: str, comment: str, *columns: Any, later: tuple[Column[Any], ...] = ()) -> Table:
    """A table whose rows are inserted and never changed; `later` are columns added to it afterwards."""
    table = Table(name, metadata, _id(), *columns, *_entered(), *later, comment=comment)
    KEPT.append(table)
    return table


people = _kept(
    "people",
    "Members of staff, a row for each change.",
    _text("code", "role code, the same in each row about one person"),
    _number("number", "1 for the first row about the person, one more for each change; the highest holds"),
    _text("name", "the member of staff's name, as it prints on an approval"),
    _text("role", "trainee, consultant, organiser or administrator"),
    _text("trainee_id", "the trainee's id in the unit's file", empty=True),
    _number("active", "1 while the person may sign in and enter things, else 0"),
    UniqueConstraint("code", "number"),
)
cases = _kept(
    "cases",
    "Cases: one eye each. What was found is in case_versions.",
    _text("reference", "the unit's own reference"),
    _text("eye", "right or left"),
    UniqueConstraint("reference", "eye"),
)
case_versions = _kept(
    "case_versions",
    "Every version of every case, whole.",
    _number("case_id", "row of the case in cases", ForeignKey("cases.id")),
    _number("number", "1 for the first version, one more for each change; the highest holds"),
    _text("document", "the case as a case file: JSON of its headings and findings"),
    _text("changed", "JSON list of the headings and findings that this version changed"),
    UniqueConstraint("case_id", "number"),
)
handovers = _kept(
    "handovers",
    "Cases handed from whoever had them to somebody else; a case never handed over is its author's.",
    _case(),
    _text("to_whom", "code of the person who has the case from then on"),
    _text("why", "why it was handed over"),
)
snapshots = _kept(
    "snapshots",
    "Assessments as they were shown.",
    _case(),
    _version(),
    _text("rulebook_id", "the rulebook's id"),
    _text("rulebook_version", "the rulebook's version"),
    _text("rulebook_sha256", "hash of the rulebook's content"),
    _text("engine_version", "version of the program that assessed"),
    _number("tier_least", "lowest tier that the missing findings allow"),
    _number("tier_working", "the tier to work by: the cautious end"),
    _number("tier_most", "highest tier that the missing findings allow"),
    _text("mode", "how close the supervision must be, for the stage", empty=True),
    _text("mode_by", "who supervises: trainer or consultant", empty=True),
    _text("stage", "the trainee stage it was planned for", empty=True),
    _text("assessment", "JSON of the assessment, or of the plan with the assessment in it"),
)
submissions = _kept(
    "submissions",
    "Versions put before a consultant.",
    _case(),
    _version(),
    _number("snapshot_id", "row of the assessment in snapshots", ForeignKey("snapshots.id")),
    _text("note", "what the person who submitted wrote beside it"),
)
questions = _kept(
    "questions",
    "Questions about a case; one that sent it back stands beside the submission's ending.",
    _case(),
    _version(),
    _text("text", "the question"),
)
answers = _kept(
    "answers",
    "Answers to questions.",
    _number("question_id", "row of the question in questions", ForeignKey("questions.id"), index=True),
    _text("text", "the answer"),
)
approvals = _kept(
    "approvals",
    "Consultants' approvals; `by` approved. One as-named holds for the stage in its snapshot alone.",
    _case(),
    _version(),
    _number("snapshot_id", "row of the assessment in snapshots", ForeignKey("snapshots.id")),
    _number("tier_by_rulebook", "the tier that the rulebook gave"),
    _number("tier_approved", "the tier that the consultant approved"),
    _text("mode_by_rulebook", "the supervision that the rulebook gave", empty=True),
    _text("mode_approved", "the supervision that the consultant approved", empty=True),
    _text("step_changes", "JSON list of steps given to somebody other than planned: step, who, note"),
    _text("conditions", "conditions of the approval"),
    _text("reason", "why tier, supervision or steps differ from the rulebook's"),
    _number("own_case", "1 where the consultant prepared or submitted the case too, else 0"),
    later=(
        _text(
            "covers", "table: this eye's tier, whoever operates; as-named (or empty): what it names alone", empty=True
        ),
        _text("operator_conditions", "conditions on who operates or supervises; only ever as-named", empty=True),
    ),
)
allocations = _kept(
    "allocations",
    "Places on lists.",
    _case(),
    _number("approval_id", "row of the approval it rests on, in approvals", ForeignKey("approvals.id")),
    _text("day", "day of the list", index=True),
    _text("theatre", "the theatre"),
    _number("place", "order on the list, from 1"),
    _text("trainee", "code of the trainee", empty=True),
    _text("supervisor", "code of the supervisor"),
    later=(_text("session", "id of the session in the unit's sessions file, where one was in use", empty=True),),
)
locks = _kept(
    "locks",
    "Cases that keep their session and their people until unlocked.",
    _case(),
    _text("why", "why the case keeps its session and its people"),
)
list_versions = _kept(
    "list_versions",
    "Lists as they were published.",
    _text("day", "day of the list", index=True),
    _text("session", "id of the session in the unit's sessions file"),
    _number("number", "1 for the first version published, one more for each that follows"),
    _text("document", "JSON of the list as it was published: its rows, what the checker said, its numbers"),
    _text("note", "what whoever published it wrote beside it; where a rule is broken, why it stands all the same"),
    UniqueConstraint("day", "session", "number"),
)
outcomes = _kept(
    "outcomes",
    "What happened in theatre.",
    _case(),
    _text("day", "day of the operation"),
    _text("operated_by", "code of the operator"),
    _text("supervised_by", "code of the supervisor", empty=True),
    _text("steps", "JSON list of who took which step: step, who, note"),
    _text("complications", "JSON list of complications; [] says that there were none"),
    _text("note", "what was noted beside it"),
    _number("corrects", "row of the earlier outcome that this one replaces", ForeignKey("outcomes.id"), empty=True),
)
roster_entries = _kept(
    "roster_entries",
    "The unit's roster, every version of every entry: people, sessions, leave, kit in the room, limits.",
    _text("kind", "what it is: trainee, supervisor, session, patient, limits or wishes"),
    _text("key", "code of the person, id of the session, pseudonym of the patient; empty for limits and wishes"),
    _number("number", "1 for the first version, one more for each change; the highest holds"),
    _text("document", "JSON of the entry as a sessions file has it"),
    _number("retired", "1 where the entry is no longer in the roster, else 0"),
    _text("note", "what whoever entered it wrote beside it"),
    UniqueConstraint("kind", "key", "number"),
)
notices = _kept(
    "notices",
    "Things that a person must hear of.",
    _text("for_whom", "code of the person it is for", index=True),
    _number("case_id", "row of the case in cases", ForeignKey("cases.id"), empty=True),
    _text("text", "what it says"),
)
endings = _kept(
    "endings",
    "How submissions, approvals, allocations, locks and notices ended; without a row here they stand.",
    _text("kept_in", "table of what ended: submissions, approvals, allocations, locks or notices"),
    _number("row", "id of what ended there"),
    _text("kind", "withdrawn, lapsed, superseded, sent-back, approved, moved or seen"),
    _text("why", "why it ended, in the words of who or what ended it"),
    UniqueConstraint("kept_in", "row"),
)
trail = Table(
    "trail",
    metadata,
    _number("sequence", "counted from 1 without a gap", primary_key=True),
    _text("at", "when, UTC"),
    _text("who", "code of the person, or of the part of the program that acted"),
    _text("what", "what was done"),
    _text("kept_in", "table of the row it is about"),
    _text("row", "id of that row"),
    _number("case_id", "row of the case in cases, where it is about one", empty=True, index=True),
    _text("before", "JSON of the row that held until then", empty=True),
    _text("after", "JSON of the row as it was written; long JSON inside it as its SHA-256", empty=True),
    _text("previous", "hash of the entry before; 64 zeros for the first"),
    _text("hash", "SHA-256 of this entry's other columns as a JSON list in this order"),
    comment="Who did what, when, each entry chained to the one before by its hash.",
)
# These change in place. Of a password the trail keeps a hash of the hash; sessions and attempts are of the hour only.
passwords = Table(
    "passwords",
    metadata,
    _text("code", "code of the person", primary_key=True),
    _text("hash", "argon2id hash of the password"),
    _text("at", "when it was set, UTC"),
)
sessions = Table(
    "sessions",
    metadata,
    _text("token_sha256", "SHA-256 of the token in the cookie", primary_key=True),
    _text("person", "code of the person", index=True),
    _text("secret", "secret of the session's forms"),
    _text("started_at", "when it started, UTC"),
    _text("seen_at", "when it was last used, UTC"),
)
failed_sign_ins = Table(
    "failed_sign_ins",
    metadata,
    _number("id", "number of the row", primary_key=True),
    _text("key", "account or address that it counts against", index=True),
    _text("at", "when, UTC"),
)
PROTECTED: tuple[Table, ...] = (*KEPT, trail)
# Columns that rows entered before them know nothing of: empty, they are left out of a row as the trail holds it.
ADDED_LATER = frozenset({("allocations", "session"), ("approvals", "covers"), ("approvals", "operator_conditions")})
# Long JSON that the trail holds the SHA-256 of instead.
HASHED_IN_TRAIL = frozenset({("snapshots", "assessment")})
# Columns that hold JSON: nested in the JSON files, as text in the CSV.
JSON_COLUMNS = frozenset({"document", "changed", "assessment", "step_changes", "steps", "complications"})
