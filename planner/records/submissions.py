"""Putting a case before a consultant, and the questions that go to and fro about it."""

from __future__ import annotations

from typing import Any

from sqlalchemy import Row, select

from planner.errors import PlannerError
from planner.records import schema
from planner.records.case_versions import case_in, concerned_in, require_current, version_in
from planner.records.deciding import require_as_seen
from planner.records.repository import (
    Repository,
    checked_text,
    end,
    ending_of,
    known_person,
    notify,
    one_of,
    open_rows,
    with_endings,
)
from planner.records.rows import NOTHING_OPEN, READERS, Answer, Question, Seen, Submission


class Submissions(Repository):
    def submit(
        self, case_id: int, version: int, snapshot_id: int, by: str, note: str = "", *, seen: Seen = NOTHING_OPEN
    ) -> Submission:
        """Put the current version, as assessed in a snapshot, before a consultant.

        `seen` names an earlier submission, which then ends, and an approval that stands or has lapsed. An organiser may
        ask so for an approved case: for the stage of another operator than it was approved for. Raises
        DecidedMeanwhile where others are open, PlannerError when the case has changed, or the snapshot is of another
        version.
        """
        note = checked_text(note, "note")
        with self._changing(by, *READERS) as change:
            self._as_person(by)
            require_as_seen(change.connection, case_id, seen)
            require_current(change.connection, case_id, version)
            organises = known_person(change.connection, by, "by").role == "organiser"
            if organises and not open_rows(change.connection, schema.approvals, case_id):
                what = "a case that no consultant has approved is submitted by whoever prepares it"
                raise PlannerError.one(what, hint="ask them")
            require_snapshot(change.connection, snapshot_id, case_id, version)
            for row in open_rows(change.connection, schema.submissions, case_id):
                end(change, schema.submissions, row, "superseded", f"submitted again by {by}", "submission ended")
            values = {"case_id": case_id, "version": version, "snapshot_id": snapshot_id, "note": note}
            row_id = change.insert(schema.submissions, "submitted", values, case_id)["id"]
            return Submission(row_id, case_id, version, snapshot_id, note, change.at, by)

    def submissions(self, case_id: int) -> tuple[Submission, ...]:
        """Every submission of a case, the first one first."""
        query = with_endings(schema.submissions, schema.submissions.c.case_id == case_id)
        with self._database.reading() as connection:
            return tuple(submission_of(row) for row in connection.execute(query))

    def send_back(self, case_id: int, version: int, text: str, by: str, *, seen: Seen) -> Question:
        """Send a submitted case back with a question. `seen` says which submission.

        Raises DecidedMeanwhile where somebody else was quicker, PlannerError when none waits.
        """
        text = checked_text(text, "question", required=True)
        with self._changing(by, "consultant") as change:
            self._as_person(by)
            require_as_seen(change.connection, case_id, seen)
            require_current(change.connection, case_id, version)
            waiting = next(iter(open_rows(change.connection, schema.submissions, case_id)), None)
            if waiting is None:
                raise PlannerError.one("the case does not wait for approval", hint="ask instead, or withdraw")
            end(change, schema.submissions, waiting, "sent-back", text, "sent back")
            question = self._asked(change, case_id, version, text)
            case = case_in(change.connection, case_id)
            told = f"{case.in_words}, was sent back by {by}: {text}"
            if open_rows(change.connection, schema.approvals, case_id):
                told = f"{case.in_words}: what was asked was refused by {by}: {text}. It stays approved."
            notify(change, (waiting.by, *concerned_in(change.connection, case_id)), told, case_id)
            return question

    def ask(self, case_id: int, text: str, by: str) -> Question:
        """Ask about a case, which stays where it is; whoever prepared it hears of it."""
        text = checked_text(text, "question", required=True)
        with self._changing(by) as change:
            self._as_person(by)
            question = self._asked(change, case_id, version_in(change.connection, case_id).number, text)
            case = case_in(change.connection, case_id)
            concerned = concerned_in(change.connection, case_id)
            notify(change, concerned, f"{case.in_words}: {by} asks: {text}", case_id)
            return question

    def answer(self, question_id: int, text: str, by: str) -> Answer:
        """Answer a question; whoever asked hears of it."""
        text = checked_text(text, "answer", required=True)
        with self._changing(by) as change:
            self._as_person(by)
            question = one_of(change.connection, schema.questions, question_id, "question")
            values = {"question_id": question_id, "text": text}
            row_id = change.insert(schema.answers, "answered", values, question.case_id)["id"]
            case = case_in(change.connection, question.case_id)
            notify(change, (question.by,), f"{case.in_words}: {by} answers: {text}", case.id)
            return Answer(row_id, text, change.at, by)

    def questions(self, case_id: int) -> tuple[Question, ...]:
        """Every question about a case with its answers, the first one first."""
        questions, answers = schema.questions, schema.answers
        with self._database.reading() as connection:
            asked = connection.execute(
                select(questions).where(questions.c.case_id == case_id).order_by(questions.c.id)
            ).all()
            told = connection.execute(
                select(answers).where(answers.c.question_id.in_([row.id for row in asked])).order_by(answers.c.id)
            ).all()
        return tuple(
            Question(
                **row._mapping,
                answers=tuple(Answer(a.id, a.text, a.at, a.by) for a in told if a.question_id == row.id),
            )
            for row in asked
        )

    def _asked(self, change: Any, case_id: int, version: int, text: str) -> Question:
        values = {"case_id": case_id, "version": version, "text": text}
        row_id = change.insert(schema.questions, "asked", values, case_id)["id"]
        return Question(row_id, case_id, version, text, change.at, change.by)


def submission_of(row: Row[Any]) -> Submission:
    return Submission(
        row.id, row.case_id, row.version, row.snapshot_id, row.note, row.at, row.by, ending_of(row)
    )  # fmt: skip


def require_snapshot(connection: Any, snapshot_id: int, case_id: int, version: int) -> Row[Any]:
    """The snapshot, which must be of this version of this case. Raises PlannerError."""
    row = one_of(connection, schema.snapshots, snapshot_id, "assessment")
    if (row.case_id, row.version) != (case_id, version):
        raise PlannerError.one(
            "the assessment is of another version of the case", hint="assess the current version"
        )  # fmt: skip
    return row
