"""What the records know of a patient besides the cases being listed: an eye operated on, or listed elsewhere."""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from planner.case import Case
from planner.lists.week.instance import Fellow, Instance, Key, ListCase, Lists
from planner.lists.week.one_patient import contradictions
from planner.records.rows import CaseNow
from planner.records.store import Store
from planner.wording.words import day_words, eye_words

AT_A_TIME = 500  # versions asked for in one query
SETTLED_BY = "settled by whoever prepared them"


@dataclass(frozen=True)
class _KnownEye:
    eye: str
    in_words: str
    day: datetime.date
    operated: bool


class Fellows:
    """Reads them from one store; keeps which patient each version names, which never changes."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self._patients: dict[int, str | None] = {}

    def with_other_eyes(
        self,
        instance: Instance,
        lists: Lists,
        on: datetime.date,
        elsewhere: Iterable[CaseNow],
        read: Mapping[Key, Case],
    ) -> Instance:
        """The instance whose cases know the patient's other eye and what contradicts them. `read` are the same cases. A
        review is due by now before a case gets its place; once it has one, it is asked for until the day has come."""
        known = self._known(instance, on, elsewhere)
        days = {placing.case: instance.sessions[placing.session].day for placing in lists.placings}
        cases = {key: _with_fellow(case, known, days.get(key, on) <= on) for key, case in instance.cases.items()}
        for one in contradictions(read.values()):
            reason = f"{one.says} ({SETTLED_BY})"
            for case in (one.first, one.second):
                cases[case.reference, case.eye] = _to_settle(cases[case.reference, case.eye], reason)
        return replace(instance, cases=cases)

    def _known(self, instance: Instance, on: datetime.date, elsewhere: Iterable[CaseNow]) -> dict[str, list[_KnownEye]]:
        """By patient: eyes operated on, and those whose place is before today or in no session."""
        known: dict[str, list[_KnownEye]] = defaultdict(list)
        operated = [one for one in self.store.operated() if (one.reference, one.eye) not in instance.cases]
        new = [one.version for one in operated if one.version not in self._patients]
        for start in range(0, len(new), AT_A_TIME):
            self._patients |= self.store.patients(new[start : start + AT_A_TIME])
        for one in operated:
            if (patient := self._patients[one.version]) is not None:
                known[patient].append(
                    _KnownEye(one.eye, f"{eye_words(one.reference, one.eye)}, operated", one.day, True)
                )
        since = on - datetime.timedelta(days=instance.days_between_eyes)
        past = self.store.lists(since, on - datetime.timedelta(days=1)) if since < on else ()
        done = {(one.reference, one.eye) for one in operated}
        for now in (*past, *elsewhere):
            patient, key = now.version.document.get("patient"), (now.case.reference, now.case.eye)
            if patient and now.allocation is not None and key not in done and key not in instance.cases:
                words = f"{now.case.in_words}, listed"
                known[patient].append(_KnownEye(now.case.eye, words, now.allocation.day, False))
        return known


def _with_fellow(case: ListCase, known: Mapping[str, list[_KnownEye]], due: bool) -> ListCase:
    eyes = known.get(case.patient or "", [])
    for again in (one for one in eyes if one.eye == case.eye):
        case = _to_settle(
            case, f"the same eye of {case.patient} is {again.in_words} on {day_words(again.day)} ({SETTLED_BY})"
        )
    fellows = [one for one in eyes if one.eye != case.eye]
    if not fellows:
        return case if case.fellow is None else replace(case, fellow=replace(case.fellow, review_due=due))
    last = max(fellows, key=lambda one: (one.operated, one.day))
    return replace(case, fellow=Fellow(last.in_words, last.day, last.operated and due))


def _to_settle(case: ListCase, reason: str) -> ListCase:
    return replace(case, unsettled=(*case.unsettled, reason))
