"""A sessions file and a file of lists: each fault told with its line, and what was written read back."""

from __future__ import annotations

from pathlib import Path

import pytest
from lists.small_weeks import eye, lists, week

from planner.errors import PlannerError
from planner.lists.roster.shapes import read_roster
from planner.lists.week.lists_file import read_lists, written
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, UnitTrainee

UNIT = Unit(unit="Invented", trainees=[UnitTrainee(id="t", whole_operations=10, cleared_for_whole_operations=True)])
SESSIONS = """\
trainees:
  - {id: t, leave: [2026-12-08]}
supervisors:
  - {id: c, grade: consultant, can: [scrubbed, on-site]}
sessions:
  - {id: one, day: 2026-12-01, starts: 08:30, theatre: A, minutes: 240, anaesthetist: no, supervisors: [c]}
  - {id: two, day: 2026-12-01, starts: 13:00, theatre: A, minutes: 240, anaesthetist: no, supervisors: [c]}
limits:
  overrun_chance: 0.05
"""
LAST_SUPERVISOR = "  - {id: c, grade: consultant, can: [scrubbed, on-site]}"
TRAINER = "\n  - {id: t, grade: trainer, can: [scrubbed]}"
LAST = "minutes: 240, anaesthetist: no, supervisors: [c]}\nlimits"
HOOK = LAST.replace("[c]", "[c], kit: {iris-hook: {sets: 1}}")
OWN_MINUTES = "operating_minutes: {junior: {mean: 30, sd: 9, cases: 80}}"
BROKEN = {
    "a trainee the unit has not": ("{id: t, leave", "{id: x, leave", 2, "no trainee 'x' in Invented"),
    "a grade that is none": ("grade: consultant", "grade: nurse", 4, "trainer, consultant"),
    "a supervisor twice": (LAST_SUPERVISOR, LAST_SUPERVISOR + TRAINER, 5, "'t' stands twice"),
    "a session twice": ("{id: two", "{id: one", 7, "'one' stands twice"),
    "one theatre, two sessions": ("starts: 13:00", "starts: 12:29", 7, "two is in A while one still runs there"),
    "one theatre in other letters": ("theatre: A, minutes: 240, anaesthetist: no, supervisors: [c]}\nlim",
                                     "theatre: a, minutes: 240, anaesthetist: no, supervisors: [c]}\nlim", 7,
                                     "'a' is 'A', as one has it, in other letters"),
    "no days at all": ("overrun_chance: 0.05", "days_between_eyes: -1", 9, "at least 0"),
    "a time that is none": ("starts: 13:00", "starts: 1 pm", 7, "write it like 08:30"),
    "an endless session": (LAST, LAST.replace("240", "2400"), 7, "at most 720"),
    "nobody by that code": ("supervisors: [c]}\nlimits", "supervisors: [d]}\nlimits", 7, "no supervisor 'd'"),
    "kit that is none": (LAST, HOOK, 7, "did you mean iris-hooks?"),
    "a chance in per cent": ("overrun_chance: 0.05", "overrun_chance: 5", 9, "below 1"),
    "a key misspelt": ("overrun_chance: 0.05", "overrun_chanse: 0.05", 9, "unknown key"),
    "an operator who is none": ("overrun_chance: 0.05", OWN_MINUTES, 9, "no operator 'junior'"),
    "no case at all in a session": (LAST, LAST.replace("[c]", "[c], most_cases: 0"), 7, "at least 1"),
    "a limit below none": (LAST, LAST.replace("[c]", "[c], recovery_places: -1"), 7, "at least 0"),
    "an urgency that is none": ("overrun_chance: 0.05", "within_days: {elective: 90}", 9, "routine"),
    "a lead time of what is not ordered": ("overrun_chance: 0.05", "lead_days: {drops: 2}", 9, "lens"),
    "late without a reason": (
        "limits:", "late_accepted: [{case: A-1, eye: left}]\nlimits:", 8, "because",
    ),
    "a day that is none": ("leave: [2026-12-08]", "leave: [2026-12-32]", 2, "YYYY-MM-DD"),
}  # fmt: skip


def read(folder: Path, rulebook: Rulebook, text: str = SESSIONS):
    path = folder / "sessions.yaml"
    path.write_text(text, encoding="utf-8")
    return read_roster(path, UNIT, rulebook)


def test_it_is_read(tmp_path: Path, rulebook: Rulebook) -> None:
    roster = read(tmp_path, rulebook)
    assert [session.id for session in roster.sessions] == ["one", "two"]
    assert not roster.sessions[0].meets(roster.sessions[1])
    assert roster.limits.overrun_chance == 0.05 and roster.limits.turnover_minutes is None
    assert roster.sessions[0].in_words == "one (Tue 1 December 2026 08:30, A)"


@pytest.mark.parametrize(("old", "new", "line", "words"), BROKEN.values(), ids=BROKEN)
def test_what_is_wrong_is_told_with_its_line(
    tmp_path: Path, rulebook: Rulebook, old: str, new: str, line: int, words: str
) -> None:
    assert old in SESSIONS
    with pytest.raises(PlannerError) as caught:
        read(tmp_path, rulebook, SESSIONS.replace(old, new, 1))
    faults = caught.value.faults
    assert [fault.where.rsplit(":", 1)[1] for fault in faults] == [str(line)], str(caught.value)
    assert words in str(faults[0])


def test_every_fault_is_told_at_once(tmp_path: Path, rulebook: Rulebook) -> None:
    text = SESSIONS.replace("id: t,", "id: x,").replace("[c]}", "[d]}")
    with pytest.raises(PlannerError) as caught:
        read(tmp_path, rulebook, text)
    assert len(caught.value.faults) == 3


INSTANCE = week([eye("A"), eye("B")])
LISTS = """\
both_eyes_agreed: [P-1]
lists:
  - session: one
    cases:
      - {case: A, eye: right, trainee: late, supervisor: trainer}
      - {case: B, eye: right, supervisor: consultant}
"""
BROKEN_LISTS = {
    "no such session": ("session: one", "session: ones", 3, "did you mean one?"),
    "no such case": ("case: A", "case: AA", 5, "no case 'AA'"),
    "the other eye": ("{case: B, eye: right", "{case: B, eye: left", 6, "the case read is of the right eye"),
    "no such trainee": ("trainee: late", "trainee: lat", 5, "did you mean late?"),
    "no supervisor": (", supervisor: consultant", "", 6, "`lists.1.cases.2.supervisor` is missing"),
}


def read_text(folder: Path, text: str):
    path = folder / "lists.yaml"
    path.write_text(text, encoding="utf-8")
    return read_lists(path, INSTANCE)


@pytest.mark.parametrize(("old", "new", "line", "words"), BROKEN_LISTS.values(), ids=BROKEN_LISTS)
def test_lists_that_name_what_is_not_there(tmp_path: Path, old: str, new: str, line: int, words: str) -> None:
    assert old in LISTS
    with pytest.raises(PlannerError) as caught:
        read_text(tmp_path, LISTS.replace(old, new, 1))
    (fault,) = caught.value.faults
    assert fault.where.endswith(f":{line}") and words in str(fault), str(fault)


def test_a_second_list_for_a_session(tmp_path: Path) -> None:
    second = LISTS + "  - session: one\n    cases: []\n"
    with pytest.raises(PlannerError, match=r":7: a second list for 'one' \(first at .*:3\)"):
        read_text(tmp_path, second)


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    made = lists("one: A late trainer", "one: B - consultant", both_eyes_agreed=frozenset({"P-1"}))
    assert read_text(tmp_path, written(made)) == made == read_text(tmp_path, LISTS)
