"""Whatever people do, in whatever order: the trail holds, and nothing that ended comes back."""

from __future__ import annotations

import datetime
import shutil
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from invented_unit import DAY, document, plan
from seeds import draws

from planner.errors import PlannerError
from planner.records.rows import Seen
from planner.records.store import Store

PEOPLE = st.sampled_from(["trainee-3", "trainee-5", "consultant-1", "consultant-2", "organiser-1", "admin-1"])
ACTS = st.sampled_from(
    [
        *("new", "save", "assess", "submit", "send back", "answer", "approve", "approve", "withdraw", "lapse"),
        *("hand over", "allocate", "unallocate", "outcome", "see", "deactivate", "activate"),
    ]
)
STEPS = st.lists(st.tuples(ACTS, PEOPLE, st.integers(0, 3), st.integers(1, 4)), min_size=5, max_size=25)


def do(store: Store, act: str, by: str, which: int, number: int) -> None:
    if act == "new":
        store.new_case(document(f"A-{which}"), by)
        return
    if act in ("deactivate", "activate"):
        store.change_person(f"trainee-{3 if which else 5}", by, active=act == "activate")
        return
    if act == "see":
        store.see_notice(number, by)
        return
    case = store.find_case(f"A-{which}", "right")
    if case is None:
        return
    version = store.version(case.id).number
    snapshot = store.case_now(case.id).snapshot
    held = snapshot.id if snapshot else number
    # Now and then from a page that is older than what was decided.
    seen = store.case_now(case.id).seen if number % 4 else Seen(number, None)
    match act:
        case "hand over":
            now = store.case_now(case.id)
            store.hand_over(case.id, now.owner, "trainee-5" if now.owner == "trainee-3" else "trainee-3", by)
        case "save":
            store.save_case(case.id, number, {"iop_mmhg": number}, by, seen=seen)
        case "assess":
            store.keep_snapshot(case.id, version, plan(f"A-{which}", tier=number), by)
        case "submit":
            store.submit(case.id, version, held, by, seen=seen)
        case "send back":
            store.send_back(case.id, version, "why?", by, seen=seen)
        case "answer":
            store.answer(number, "so", by)
        case "approve":
            store.approve(case.id, version, held, by, number, "scrubbed", reason="so", seen=seen)
        case "withdraw":
            store.withdraw(number, "so", by)
        case "lapse":
            store.lapse(number, "so", by)
        case "allocate":
            store.allocate(case.id, DAY + datetime.timedelta(which), "2", number, "consultant-1", by)
        case "unallocate":
            store.unallocate(number, "so", by)
        case "outcome":
            store.record_outcome(case.id, DAY, "consultant-1", by)


# Without shrinking: on a disk that flushes every step, the failure itself says enough.
@settings(
    max_examples=draws(4, 30),
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(steps=STEPS)
def test_what_holds_after_every_step(
    steps: list[tuple[str, str, int, int]], staffed_file: Path, tmp_path: Path
) -> None:
    path = tmp_path / "planner.db"
    for old in tmp_path.glob("planner.db*"):
        old.unlink()
    shutil.copyfile(staffed_file, path)
    store = Store.open(str(path))
    # From a case that can go on a list, so that few steps reach far.
    for act in ("new", "assess", "submit", "approve"):
        do(store, act, "consultant-1" if act == "approve" else "trainee-3", 0, 2)
    head = store.verify().head
    ended: set[tuple[str, int]] = set()
    for act, by, which, number in steps:
        before = store.trail()
        try:
            do(store, act, by, which, number)
        except PlannerError:
            assert store.trail() == before, "what is refused leaves nothing"
        head = store.verify(head).head
        for now in store.cases(operated=True):
            case = now.case.id
            things = {
                "approval": store.approvals(case),
                "submission": store.submissions(case),
                "allocation": store.allocations(case),
            }
            for kind, rows in things.items():
                standing = [row for row in rows if row.ended is None]
                assert len(standing) <= 1
                assert not {(kind, row.id) for row in standing} & ended, "what ended never comes back"
                ended |= {(kind, row.id) for row in rows if row.ended is not None}
            assert now.approval is None or now.approval.version == now.version.number
            assert now.submission is None or now.submission.version == now.version.number
            assert all(row.by.startswith("consultant-") for row in things["approval"])
            entered = {version.by for version in store.versions(case)}
            assert all(by in now.owners or by.startswith("consultant-") for by in entered)
            numbers = [version.number for version in store.versions(case)]
            assert numbers == list(range(1, len(numbers) + 1))
    store.close()
