"""Cases and their versions: each save is a new version, and ends what rested on the one before."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import func, select

from planner.errors import PlannerError
from planner.records import schema
from planner.records.changes import CHANGEABLE, FIXED, Conflict, changed, differences, flat, names_changed
from planner.records.deciding import require_nothing_unseen
from planner.records.identifiers import document_faults
from planner.records.owning import owners_in, require_editor
from planner.records.repository import Repository, raise_for
from planner.records.roles import PREPARERS
from planner.records.rows import NOTHING_OPEN, CaseVersion, Document, Seen, StoredCase
from planner.records.trail import canonical
from planner.records.transaction import ReadTransaction, Transaction, entity
from planner.wording.words import eye_words


class Cases(Repository):
    def new_case(self, document: Document, by: str) -> CaseVersion:
        """Enter a case from a case file's mapping. Raises PlannerError where its reference and eye are taken."""
        document = _plain(document)
        if isinstance(document.get("case"), str):
            document["case"] = " ".join(document["case"].split())
        raise_for(_unfit(document) + document_faults(document))
        with self._changing(by, *PREPARERS, signed=True) as change:
            reference, eye = str(document["case"]), document["eye"]
            table = schema.cases
            # One that differs in capitals only would be taken for the other on a list read aloud.
            alike = select(table.c.reference).where(func.lower(table.c.reference) == reference.lower())
            if (taken := change.connection.scalar(alike.where(table.c.eye == eye))) is not None:
                why = "an eye is prepared once; its changes are versions"
                raise PlannerError.one(f"{eye_words(taken, eye)}, is here already", why=why, hint="open that case")
            case = change.enter(StoredCase, schema.cases, "case entered", reference=reference, eye=eye)
            clean = changed({"case": reference, "eye": eye}, flat(document))
            return _new_version(change, case.id, 1, clean, tuple(flat(clean)), None)

    def save_case(
        self, case_id: int, based_on: int, changes: Mapping[str, Any], by: str, *, seen: Seen = NOTHING_OPEN
    ) -> CaseVersion:
        """Make a version with these changes to version `based_on`; None takes a heading or finding away.

        Raises Conflict when somebody else saved meanwhile. What changes nothing, or was already saved so, makes no
        version; one's own earlier save, sent again with more, is no conflict. An approval or a submission of the
        version before ends, if it is the one `seen` (else DecidedMeanwhile). Raises NotTheirs for another's case.
        """
        changes = _plain(changes)
        if unknown := [name for name in changes if name in (*FIXED, "findings")]:
            why = "reference and eye stay what they are, and findings go by their own names"
            raise PlannerError.one(f"{', '.join(unknown)} cannot be changed", why=why)
        with self._changing(by, *PREPARERS) as change:
            case = change.case(case_id)
            require_editor(change, case_id)
            current = version_in(change, case_id)
            base = current if based_on == current.number else version_in(change, case_id, based_on)
            document = changed(base.document, changes)
            raise_for(document_faults(document))
            if base.number != current.number:
                if flat(document) == flat(current.document):
                    return current
                if not _repeated(change, base, current, document):
                    raise Conflict(case.reference, base, current, differences(base, current, changes))
            names = names_changed(current.document, document)
            if not names:
                return current
            require_nothing_unseen(change, case_id, seen)
            saved = _new_version(change, case_id, current.number + 1, document, names, current)
            _end_what_rested_on(change, case, current, names)
            return saved

    def case(self, case_id: int) -> StoredCase:
        """Raises PlannerError where there is none."""
        with self._reading() as reading:
            return reading.case(case_id)

    def find_case(self, reference: str, eye: str) -> StoredCase | None:
        table = schema.cases
        cases = self._all(StoredCase, select(table).where(table.c.reference == reference, table.c.eye == eye))
        return cases[0] if cases else None

    def version(self, case_id: int, number: int | None = None) -> CaseVersion:
        """A version of a case, the last without a number. Raises PlannerError where there is none."""
        with self._reading() as reading:
            return version_in(reading, case_id, number)

    def versions(self, case_id: int) -> tuple[CaseVersion, ...]:
        """Every version, the first one first."""
        table = schema.case_versions
        query = select(table).where(table.c.case_id == case_id).order_by(table.c.number)
        return self._all(CaseVersion, query)


def version_in(reading: ReadTransaction, case_id: int, number: int | None = None) -> CaseVersion:
    table = schema.case_versions
    query = select(table).where(table.c.case_id == case_id).order_by(table.c.number.desc()).limit(1)
    row = reading.connection.execute(query if number is None else query.where(table.c.number == number)).first()
    if row is None:
        raise PlannerError.one(f"case {case_id} has no version {number or 1}")
    return entity(CaseVersion, row)


def require_current(reading: ReadTransaction, case_id: int, version: int) -> CaseVersion:
    """The current version, which must be this one. Raises PlannerError."""
    current = version_in(reading, case_id)
    if current.number != version:
        why = f"version {current.number} by {current.by} follows {version}"
        raise PlannerError.one("the case has changed meanwhile", why=why, hint="look at it again")
    return current


def authors_of(reading: ReadTransaction, case_id: int) -> tuple[str, ...]:
    """Everybody who saved a version, the last one first."""
    table = schema.case_versions
    query = select(table.c.by).where(table.c.case_id == case_id).group_by(table.c.by)
    return tuple(reading.connection.scalars(query.order_by(func.max(table.c.number).desc())))


def concerned_in(reading: ReadTransaction, case_id: int) -> tuple[str, str]:
    """Who must hear of what is decided about a case: whoever saved it last, and whoever has it."""
    return authors_of(reading, case_id)[0], owners_in(reading, [case_id])[case_id][-1]


def on_list_in(reading: ReadTransaction, case_id: int) -> list[str | None]:
    """Whoever is on the list for a case, and whoever put it there."""
    places = reading.open_rows(schema.allocations, case_id)
    return [person for place in places for person in (place.trainee, place.supervisor, place.by)]


def _repeated(change: Transaction, base: CaseVersion, current: CaseVersion, document: Document) -> bool:
    """Whether all that was saved since `base` is the same person's, and stands so in `document` too.

    That is what a browser sends that never heard its last save answered, and whose person went on typing.
    """
    table = schema.case_versions
    since = select(table.c.by).where(table.c.case_id == base.case_id, table.c.number > base.number).distinct()
    mine, theirs = flat(document), flat(current.document)
    names = names_changed(base.document, current.document)
    return list(change.connection.scalars(since)) == [change.by] and all(
        mine.get(name) == theirs.get(name) for name in names
    )


def _new_version(
    change: Transaction,
    case_id: int,
    number: int,
    document: Document,
    names: tuple[str, ...],
    before: CaseVersion | None,
) -> CaseVersion:
    what = "case changed" if before else "first version entered"
    replaced = None if before is None else {name: flat(before.document).get(name) for name in names}
    return change.enter(
        CaseVersion, schema.case_versions, what, before=replaced, case_id=case_id, number=number,
        document=canonical(document), changed=canonical(list(names)),
    )  # fmt: skip


def _end_what_rested_on(change: Transaction, case: StoredCase, before: CaseVersion, names: tuple[str, ...]) -> None:
    why = f"{', '.join(names)} changed by {change.by}: version {before.number + 1}"
    said, owner = case.in_words, owners_in(change, [case.id])[case.id][-1]
    for row in change.open_rows(schema.approvals, case.id):
        change.end(schema.approvals, row, "withdrawn", why, "approval withdrawn by a change")
        people = (before.by, owner, row.by, *on_list_in(change, case.id))
        change.notify(people, f"{said}: the approval by {row.by} is withdrawn. {why}.", case.id)
    for row in change.open_rows(schema.submissions, case.id):
        change.end(schema.submissions, row, "superseded", why, "submission ended by a change")
        change.notify((row.by, owner), f"{said}: it waits no longer; submit it again. {why}.", case.id)


def _unfit(document: Document) -> list[Any]:
    try:
        case, eye = document["case"], document["eye"]
    except KeyError as missing:
        return PlannerError.one(f"`{missing.args[0]}` is missing", "case").faults
    if not isinstance(case, str | int) or eye not in ("right", "left"):
        return PlannerError.one("needs a reference and an eye, right or left", "case").faults
    if unknown := [name for name in document if name not in (*FIXED, *CHANGEABLE, "findings")]:
        return PlannerError.one(f"unknown heading {', '.join(map(str, unknown))}", "case").faults
    return []


def _plain(document: Mapping[str, Any]) -> dict[str, Any]:
    """The same as JSON gives it back, so that what is compared later is what was kept. Raises PlannerError."""
    try:
        plain: dict[str, Any] = json.loads(canonical(dict(document)))
    except (TypeError, ValueError):
        raise PlannerError.one("holds something that is not plain text, number or list", "case") from None
    return plain
