"""What is put before a consultant, the assessments kept as they were shown, and the questions that go to and fro."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Row, Select, select

from planner import __version__
from planner.errors import PlannerError
from planner.records import schema
from planner.records.case_versions import concerned_in, require_current, version_in
from planner.records.deciding import require_as_seen
from planner.records.repository import Repository, checked_text
from planner.records.roles import DECIDERS, READERS
from planner.records.rows import NOTHING_OPEN, Answer, Document, Question, Seen, Snapshot, Submission
from planner.records.trail import canonical
from planner.records.transaction import ReadTransaction, Transaction, entity
from planner.wording.words import eye_words

_BRIEF = [column for column in schema.snapshots.columns if column.name != "assessment"]


class Snapshots(Repository):
    def keep_snapshot(self, case_id: int, version: int, assessment: Document, by: str) -> Snapshot:
        """Keep once an assessment as `assess --json` gives it, or a plan with it, of a version. Raises PlannerError."""
        inner = assessment.get("assessment", assessment)
        planned = assessment.get("supervision") or {}
        try:
            rulebook, tier = inner["rulebook"], inner["tier"]
            values: dict[str, Any] = {
                "case_id": case_id,
                "version": version,
                **{f"rulebook_{name}": str(rulebook[name]) for name in ("id", "version", "sha256")},
                "engine_version": __version__,
                **{f"tier_{name}": int(tier[name]) for name in ("least", "working", "most")},
                "mode": planned.get("mode"),
                "mode_by": planned.get("by"),
                "stage": planned.get("stage"),
                "assessment": canonical(assessment),
            }
        except (KeyError, TypeError, ValueError) as error:
            raise PlannerError.one("is not an assessment to keep", "snapshot", f"{error!r}") from None
        table = schema.snapshots
        with self._changing(by, *READERS) as change:
            case = change.case(case_id)
            version_in(change, case_id, version)
            if (str(inner.get("case")), inner.get("eye")) != (case.reference, case.eye):
                what = f"is of {eye_words(inner.get('case'), inner.get('eye'))}, not of {case.in_words}"
                raise PlannerError.one(what, "snapshot")
            same = select(_BRIEF[0]).where(*(table.c[name] == value for name, value in values.items()))
            kept = change.connection.scalar(same.order_by(table.c.id).limit(1))
            if kept is None:
                kept = change.insert(table, "assessment kept", **values)["id"]
        return self.snapshot(kept)

    def snapshot(self, snapshot_id: int) -> Snapshot:
        """A snapshot with its assessment. Raises PlannerError where there is none."""
        with self._reading() as reading:
            return entity(Snapshot, reading.one_of(schema.snapshots, snapshot_id, "assessment"))


class Submissions(Repository):
    def submit(
        self, case_id: int, version: int, snapshot_id: int, by: str, note: str = "", *, seen: Seen = NOTHING_OPEN
    ) -> Submission:
        """Put the current version, as assessed in a snapshot, before a consultant.

        `seen` names an earlier submission, which then ends, and an approval. An organiser may ask so for an approved
        case: for the stage of another operator. Raises DecidedMeanwhile where others are open, PlannerError when the
        case has changed, or the snapshot is of another version.
        """
        note = checked_text(note, "note")
        with self._changing(by, *READERS, signed=True) as change:
            require_as_seen(change, case_id, seen)
            require_current(change, case_id, version)
            organises = change.known_person(by, "by").role == "organiser"
            if organises and not change.open_rows(schema.approvals, case_id):
                what = "a case that no consultant has approved is submitted by whoever prepares it"
                raise PlannerError.one(what, hint="ask them")
            require_snapshot(change, snapshot_id, case_id, version)
            for row in change.open_rows(schema.submissions, case_id):
                change.end(schema.submissions, row, "superseded", f"submitted again by {by}", "submission ended")
            values = {"case_id": case_id, "version": version, "snapshot_id": snapshot_id, "note": note}
            return change.enter(Submission, schema.submissions, "submitted", **values)

    def submissions(self, case_id: int) -> tuple[Submission, ...]:
        """Every submission of a case, the first one first."""
        return self._of_case(Submission, schema.submissions, case_id)

    def send_back(self, case_id: int, version: int, text: str, by: str, *, seen: Seen) -> Question:
        """Send the submission `seen` back with a question. Raises DecidedMeanwhile; PlannerError where none waits."""
        text = checked_text(text, "question", required=True)
        with self._changing(by, *DECIDERS, signed=True) as change:
            require_as_seen(change, case_id, seen)
            require_current(change, case_id, version)
            waiting = change.open_row(schema.submissions, case_id)
            if waiting is None:
                raise PlannerError.one("the case does not wait for approval", hint="ask instead, or withdraw")
            change.end(schema.submissions, waiting, "sent-back", text, "sent back")
            question = _ask(change, case_id, version, text)
            case = change.case(case_id).in_words
            says = f"{case}, was sent back by {by}: {text}"
            if change.open_rows(schema.approvals, case_id):
                says = f"{case}: what was asked was refused by {by}: {text}. It stays approved."
            change.notify((waiting.by, *concerned_in(change, case_id)), says, case_id)
            return question

    def ask(self, case_id: int, text: str, by: str) -> Question:
        """Ask about a case, which stays where it is; whoever prepared it hears of it."""
        text = checked_text(text, "question", required=True)
        with self._changing(by, signed=True) as change:
            question = _ask(change, case_id, version_in(change, case_id).number, text)
            says = f"{change.case(case_id).in_words}: {by} asks: {text}"
            change.notify(concerned_in(change, case_id), says, case_id)
            return question

    def answer(self, question_id: int, text: str, by: str) -> Answer:
        """Answer a question; whoever asked hears of it."""
        text = checked_text(text, "answer", required=True)
        with self._changing(by, signed=True) as change:
            question = change.one_of(schema.questions, question_id, "question")
            about = question.case_id
            given = change.enter(Answer, schema.answers, "answered", about=about, question_id=question_id, text=text)
            says = f"{change.case(question.case_id).in_words}: {by} answers: {text}"
            change.notify((question.by,), says, question.case_id)
            return given

    def questions(self, case_id: int) -> tuple[Question, ...]:
        """Every question about a case with its answers, the first one first."""
        questions, answers = schema.questions, schema.answers
        with self._reading() as reading:
            asked = reading.rows(select(questions).where(questions.c.case_id == case_id).order_by(questions.c.id))
            of_these = answers.c.question_id.in_([row.id for row in asked])
            given = reading.rows(select(answers).where(of_these).order_by(answers.c.id))
        return tuple(
            Question(**row._mapping, answers=tuple(entity(Answer, one) for one in given if one.question_id == row.id))
            for row in asked
        )


def _ask(change: Transaction, case_id: int, version: int, text: str) -> Question:
    return change.enter(Question, schema.questions, "asked", case_id=case_id, version=version, text=text)


def require_snapshot(reading: ReadTransaction, snapshot_id: int, case_id: int, version: int) -> Row[Any]:
    """The snapshot, which must be of this version of this case. Raises PlannerError."""
    row = reading.one_of(schema.snapshots, snapshot_id, "assessment")
    if (row.case_id, row.version) != (case_id, version):
        raise PlannerError.one("the assessment is of another version of the case", hint="assess the current version")
    return row


def brief_snapshots(ids: Sequence[int] | Any) -> Select[Any]:
    """The selection of these snapshots without their assessments."""
    return select(*_BRIEF).where(schema.snapshots.c.id.in_(ids))
