"""Two people decide at once, from pages made at one moment: one decision is kept, and the other is told of it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from typing import Any

import pytest
from invented_unit import DAY, approved, prepared
from seeds import draws

from planner.errors import PlannerError
from planner.records.deciding import DecidedMeanwhile
from planner.records.list_versions import PublishedMeanwhile
from planner.records.rows import CaseNow
from planner.records.store import Store

ROUNDS = draws(2, 25)
Act = Callable[[Store, CaseNow], Any]


def _approve(by: str) -> Act:
    def act(store: Store, now: CaseNow) -> Any:
        assert now.snapshot is not None
        return store.approve(now.case.id, 1, now.snapshot.id, by, 2, "in-theatre", seen=now.seen)

    return act


def _submit(store: Store, now: CaseNow) -> Any:
    assert now.snapshot is not None
    return store.submit(now.case.id, 1, now.snapshot.id, "trainee-3", "again", seen=now.seen)


def _send_back(store: Store, now: CaseNow) -> Any:
    return store.send_back(now.case.id, 1, "how wide is the pupil?", "consultant-2", seen=now.seen)


def _edit(store: Store, now: CaseNow) -> Any:
    return store.save_case(now.case.id, 1, {"inr": 2}, "trainee-3", seen=now.seen)


def _withdraw(store: Store, now: CaseNow) -> Any:
    return store.withdraw(now.approval.id if now.approval else 0, "to be seen again", "consultant-2")


FIRST, SECOND = _approve("consultant-1"), _approve("consultant-2")
# What is raced, whether an approval stands when it begins, and the state that each of the winners leaves.
RACES: dict[str, tuple[bool, list[tuple[Act, str]]]] = {
    "approve|approve": (False, [(FIRST, "approved"), (SECOND, "approved")]),
    "approve|send back": (False, [(FIRST, "approved"), (_send_back, "sent-back")]),
    "approve|edit": (False, [(FIRST, "approved"), (_edit, "draft")]),
    "approve|submit": (False, [(FIRST, "approved"), (_submit, "submitted")]),
    "send back|submit": (False, [(_send_back, "sent-back"), (_submit, "submitted")]),
    "submit|submit": (False, [(_submit, "submitted"), (_submit, "submitted")]),
    "approve again|withdraw": (True, [(FIRST, "approved"), (_withdraw, "draft")]),
    "approve again|approve again": (True, [(FIRST, "approved"), (SECOND, "approved")]),
    "withdraw|withdraw": (True, [(_withdraw, "draft"), (_withdraw, "draft")]),
}  # fmt: skip


def at_once(acts: list[Callable[[], Any]]) -> list[Any]:
    """What each of the acts gave or raised, all begun at one moment."""
    gate = threading.Barrier(len(acts))

    def one(act: Callable[[], Any]) -> Any:
        gate.wait(30)
        try:
            return act()
        except PlannerError as error:
            return error

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(one, acts))


@pytest.mark.parametrize("race", RACES)
def test_of_two_decisions_at_once_one_is_kept(raced: Store, race: str) -> None:
    stands, acts = RACES[race]
    for number in range(ROUNDS):
        version, snapshot = prepared(raced, f"A-{number}")
        case = version.case_id
        if stands:
            approved(raced, version, snapshot)
        else:
            raced.submit(case, 1, snapshot.id, "trainee-3")
        now = raced.case_now(case)
        # Whoever is named first begins first in half of the rounds.
        order = acts if number % 2 else acts[::-1]
        got = at_once([partial(act, raced, now) for act, _ in order])
        lost = [one for one in got if isinstance(one, PlannerError)]
        assert len(lost) == 1, got
        assert isinstance(lost[0], DecidedMeanwhile) and lost[0].acts, lost
        [after] = [state for one, (_, state) in zip(got, order, strict=True) if one is not lost[0]]
        assert raced.case_now(case).state == after
        rows = (*raced.approvals(case), *raced.submissions(case))
        assert sum(row.ended is None for row in rows) == (after in ("approved", "submitted"))
    raced.verify()


def test_of_three_publishings_at_once_one_is_a_version(raced: Store) -> None:
    for number in range(ROUNDS):
        people = ("organiser-1", "consultant-1", "consultant-2")
        same = partial(raced.publish, DAY, f"tue-{number}", {"rows": []}, after=0)
        got = at_once([partial(same, by) for by in people])
        assert sum(isinstance(one, PublishedMeanwhile) for one in got) == 2, got
        assert len(raced.list_versions(DAY, f"tue-{number}")) == 1


def test_of_two_handings_over_at_once_one_is_kept(raced: Store) -> None:
    for number in range(ROUNDS):
        case = prepared(raced, f"A-{number}")[0].case_id
        people = ("trainee-5", "consultant-1")
        got = at_once([partial(raced.hand_over, case, "trainee-3", to, "trainee-3") for to in people])
        assert sum(isinstance(one, PlannerError) for one in got) == 1, got
        assert len(raced.handovers(case)) == 1
