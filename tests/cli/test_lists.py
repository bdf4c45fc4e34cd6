"""`planner lists` as the organiser types it, on the demonstration's pool."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from commands import Ran, in_process

DEMO = Path(__file__).parents[2] / "demo_cases"
GIVEN = ["--unit", str(DEMO / "unit.yaml"), "--with", str(DEMO / "lists" / "sessions.yaml")]
POOL = ["--cases", str(DEMO / "lists" / "pool.csv")]
WEEK = DEMO / "lists" / "first-week.yaml"


def run(*arguments: str) -> Ran:
    return in_process("lists", *arguments)


def test_lists_that_stand() -> None:
    ran = run("check", str(WEEK), *POOL, *GIVEN)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("These lists keep every rule.\n")
    assert "tue-1-a (Tue 1 December 2026 08:30, theatre 1)" in ran.out and "nderitu-ursell-2019" in ran.out


def test_lists_that_do_not(tmp_path: Path) -> None:
    week = tmp_path / "week.yaml"
    week.write_text(WEEK.read_text(encoding="utf-8").replace("trainee: trainee-2, ", "trainee: fellow-1, "))
    ran = run("check", str(week), *POOL, *GIVEN)
    assert (ran.code, ran.err) == (1, "")
    assert ran.out.startswith("These lists may not stand: 1 rule broken, in 1 place.\n")
    assert "fellow-1 is in tue-1-b at the same time" in ran.out
    told = run("check", str(week), *POOL, *GIVEN, "--json")
    assert told.code == 1
    data = json.loads(told.out)
    assert data["stands"] is False and {broken["rule"] for broken in data["broken"]} == {"trainee-is-free"}
    assert {session["session"] for session in data["sessions"]} == {"tue-1-a", "tue-1-b"}
    assert all(0 <= session["chance_of_overrun"] <= 1 for session in data["sessions"])


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["check", "absent.yaml", *POOL, *GIVEN], "absent.yaml"),
        (["check", str(WEEK), "--cases", "absent.csv", *GIVEN], "absent.csv"),
        (["check", str(WEEK), "--cases", str(DEMO / "list.csv"), *GIVEN], "235 is outside the possible range"),
        (["check", str(WEEK), "--cases", str(DEMO / "cases" / "routine.yaml"), *GIVEN], "no case 'L-403'"),
        (["check", str(WEEK), *POOL, *GIVEN[:2], "--with", str(DEMO / "unit.yaml")], "sessions"),
    ],
)
def test_what_cannot_be_read_is_one_error(arguments: list[str], words: str) -> None:
    assert words in run(*arguments).error


def test_a_folder_of_cases(tmp_path: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    assert "holds no case" in run("check", str(WEEK), "--cases", str(empty), *GIVEN).error
    (tmp_path / "pool.csv").write_bytes((DEMO / "lists" / "pool.csv").read_bytes())
    assert run("check", str(WEEK), "--cases", str(tmp_path), *GIVEN).code == 0


def test_simulating() -> None:
    ran = run("simulate", str(WEEK), *POOL, *GIVEN, "--runs", "500")
    assert (ran.code, ran.err) == (0, "")
    assert "500 runs. Operating times" in ran.out and "tue-1-b" in ran.out
    told = json.loads(run("simulate", str(WEEK), *POOL, *GIVEN, "--runs", "500", "--json").out)
    assert told["runs"] == 500 and len(told["sessions"]) == 2
    assert all(abs(one["chance"] - one["worked_out"]) < 0.05 for one in told["sessions"])


@pytest.mark.long
def test_matching(tmp_path: Path) -> None:
    made = tmp_path / "made.yaml"
    ran = run("match", *POOL, *GIVEN, "-o", str(made))
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("44 of 48 cases placed;") and "No place for L-410, right eye" in ran.out
    assert "consultant-2 operates (a trainee was refused)" in ran.out
    assert run("check", str(made), *POOL, *GIVEN).code == 0


def test_keeping(tmp_path: Path) -> None:
    head, *rows = (DEMO / "lists" / "pool.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    kept = re.findall(r"case: (L-\d+)", WEEK.read_text(encoding="utf-8"))
    few, made = tmp_path / "few.csv", tmp_path / "made.yaml"
    few.write_text(
        head + "".join(row for row in rows if row.split(",")[0] in {*kept, "L-401", "L-402", "L-403"}), "utf-8"
    )
    told = json.loads(run("match", "--cases", str(few), *GIVEN, "--keep", str(WEEK), "-o", str(made), "--json").out)
    assert told["verdict"]["stands"] is True
    stayed = {(row["case"], row["session"]) for row in told["placings"] if row["reason"] is None}
    assert len(stayed) == 10 and ("L-414", "tue-1-a") in stayed and len(told["placings"]) > 10
    assert run("check", str(made), "--cases", str(few), *GIVEN).code == 0


def test_looking_for_the_best(tmp_path: Path) -> None:
    rows = (DEMO / "lists" / "pool.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    few, made = tmp_path / "few.csv", tmp_path / "made.yaml"
    few.write_text("".join(rows[:7]), encoding="utf-8")
    told = run("match", "--cases", str(few), *GIVEN, "--best", "--effort", "5", "-o", str(made), "--json")
    data = json.loads(told.out)
    assert told.code == 0 and "points so far, none worth more than" in told.err
    assert data["verdict"]["stands"] is True and len(data["placings"]) == 6
    assert data["worth"] <= data["worth_at_most"]
    assert run("check", str(made), "--cases", str(few), *GIVEN).code == 0
    said = run("match", "--cases", str(few), *GIVEN, "--best", "--effort", "0.1").out
    assert "\nProved: no" in said or "\nNone are worth more than" in said or "too little effort" in said


@pytest.mark.long
def test_an_interrupt_keeps_the_best_so_far(tmp_path: Path) -> None:
    made = tmp_path / "made.yaml"
    command = [sys.executable, "-m", "planner", "lists", "match", *POOL, *GIVEN, "--best", "--effort", "600"]
    with subprocess.Popen(
        [*command, "-o", str(made)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as search:
        assert search.stderr is not None
        assert any("points so far" in line for line in search.stderr), "it starts"
        search.send_signal(signal.SIGINT)
        out, err = search.communicate(timeout=120)
    assert search.returncode == 0, err
    assert "cases placed; worth" in out and "Traceback" not in err
    assert run("check", str(made), *POOL, *GIVEN).code == 0


def test_what_is_kept_must_stand(tmp_path: Path) -> None:
    week = tmp_path / "week.yaml"
    week.write_text(WEEK.read_text(encoding="utf-8").replace("trainee: trainee-2, ", "trainee: fellow-1, "))
    assert "fellow-1 is in tue-1-b at the same time" in run("match", *POOL, *GIVEN, "--keep", str(week)).error


def test_wrong_usage() -> None:
    assert run("check").code == 2


def test_why_a_case_is_where_it_is() -> None:
    placed = run("why", str(WEEK), "L-414", *POOL, *GIVEN)
    assert placed.code == 0
    assert placed.out.startswith("L-414, left eye: number 3 in tue-1-a") and "still needed +6.0" in " ".join(
        placed.out.split()
    )
    without = run("why", str(WEEK), "L-410", *POOL, *GIVEN).out
    assert "Barred everywhere by these rules together" in without and "Any one of these places it:" in without
    free = run("why", str(WEEK), "L-447", *POOL, *GIVEN).out
    assert free.startswith("L-447, left eye is on no list, and has a place.") and "keep every rule" in free
    assert "did you mean" in run("why", str(WEEK), "L-41", *POOL, *GIVEN).error


@pytest.mark.long
def test_what_a_limit_buys() -> None:
    ran = run("simulate", str(WEEK), *POOL, *GIVEN, "--runs", "500", "--limit", "0.05", "--limit", "0.4", "--json")
    tight, loose = json.loads(ran.out)["limits"]
    assert (tight["limit"], loose["limit"]) == (0.05, 0.4) and tight["ends_late"] < loose["ends_late"]


def test_the_units_own_log() -> None:
    ran = run("minutes", str(DEMO / "lists" / "minutes.csv"))
    assert ran.code == 0 and "operating_minutes:\n" in ran.out
    data = json.loads(run("minutes", str(DEMO / "lists" / "minutes.csv"), "--json").out)
    late = next(one for one in data["operators"] if one["operator"] == "late")
    assert late["published"] == {"mean": 24, "sd": 10} and f"late: {{mean: {late['mean']:.2f}, " in ran.out


def test_one_dirty_row_of_a_log_is_set_aside_and_the_others_count(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    clean = (DEMO / "lists" / "minutes.csv").read_text("utf-8")
    Path("log.csv").write_text(clean + "late,24 min,9\nearly,28,10\n", "utf-8")
    ran = run("minutes", "log.csv", "--json")
    assert ran.code == 1 and "1 of 329 rows set aside, in log.set-aside.csv" in ran.error
    assert "log.csv row 329, column minutes: '24 min' is no number of minutes" in ran.error
    early = next(one for one in json.loads(ran.out)["operators"] if one["operator"] == "early")
    was = json.loads(run("minutes", str(DEMO / "lists" / "minutes.csv"), "--json").out)["operators"]
    assert early["cases"] == next(one for one in was if one["operator"] == "early")["cases"] + 1
    assert Path("log.set-aside.csv").read_text("utf-8").splitlines()[1].endswith(",late,24 min,9")


def test_what_the_log_says_can_stand_in_the_sessions_file(tmp_path: Path) -> None:
    said = run("minutes", str(DEMO / "lists" / "minutes.csv")).out.split("limits:\n")[1]
    sessions = tmp_path / "sessions.yaml"
    text = (DEMO / "lists" / "sessions.yaml").read_text("utf-8")
    sessions.write_text(text.replace("limits:\n", f"limits:\n{said}"), "utf-8")
    ran = run("check", str(WEEK), *POOL, *GIVEN[:2], "--with", str(sessions))
    assert ran.code == 0 and "from the unit's own log:" in ran.out


def test_who_could_come_for_a_place_that_falls_free() -> None:
    ran = run("standby", str(WEEK), "tue-1-a", "--off", "L-404", *POOL, *GIVEN)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("Standby for tue-1-a (Tue 1 December 2026 08:30, theatre 1), without L-404\n")
    # Needed by the day after, and its patient can come at short notice.
    order = [ran.out.index(said) for said in ("   1  L-410, right eye", "L-448, left eye", "nobody has asked")]
    assert order == sorted(order)
    assert "L-420, right eye: not kept: consent to surgery is recorded" in ran.out and "L-433" not in ran.out
    told = json.loads(run("standby", str(WEEK), "tue-1-a", "--off", "L-404", *POOL, *GIVEN, "--json").out)
    assert [one["case"] for one in told["ready"]] == ["L-410", "L-448", "L-406"]
    assert "L-404" not in {one["case"] for one in (*told["ready"], *told["to_ask"])}
    assert "no session 'tue-9'" in run("standby", str(WEEK), "tue-9", *POOL, *GIVEN).error
    assert "no case 'L-405' in tue-1-a" in run("standby", str(WEEK), "tue-1-a", "--off", "L-405", *POOL, *GIVEN).error


def test_what_must_be_ordered_and_by_when() -> None:
    ran = run("orders", str(WEEK), *POOL, *GIVEN, "--on", "2026-11-20")
    assert (ran.code, ran.err) == (0, "")
    assert "Order by Tue 17 November 2026 (too late to order: look on the shelf)" in ran.out
    assert "Order by Tue 24 November 2026\n  Tue 1 December 2026 tue-1-a   lens: 20.50 D, hydrophobic" in ran.out
    table = run("orders", str(WEEK), *POOL, *GIVEN, "--csv").out.splitlines()
    assert table[0].startswith("order_by,day,session") and sum(",lens," in row for row in table) == 10


def test_a_late_place_stands_once_it_is_accepted(tmp_path: Path) -> None:
    week, sessions = tmp_path / "week.yaml", tmp_path / "sessions.yaml"
    line = "{case: L-410, eye: right, trainee: trainee-4, supervisor: consultant-2}"
    week.write_text(f"lists:\n  - session: thu-1-a\n    cases:\n      - {line}\n")
    plain = (DEMO / "lists" / "sessions.yaml").read_text(encoding="utf-8")
    accepted = "late_accepted: [{case: %s, eye: right, because: the patient asked}]\n"
    for text, code, err in (
        (plain, 1, ""),
        (plain + accepted % "L-410", 0, ""),
        (plain + accepted % "L-411", 1, "late_accepted names L-411, right eye, which is not among these cases\n"),
    ):
        sessions.write_text(text, encoding="utf-8")
        ran = run("check", str(week), *POOL, *GIVEN[:2], "--with", str(sessions))
        assert (ran.code, ran.err) == (code, err)
        said = " ".join(ran.out.split())
        assert ("needed by 2 December 2026, and 3 December 2026 is later" in said) is (code == 1)
        assert "1 day past its date on 3 December 2026 (needed by 2 December 2026)" in said
        assert ("Accepted: the patient asked." in said) is (code == 0)


@pytest.mark.long
def test_past_its_date_on_the_day_of_planning() -> None:
    # Planned on Friday, two eyes needed by Wednesday come first on the next list that has their kit, and are marked.
    ran = run("match", *POOL, *GIVEN, "--on", "2026-12-04")
    assert ran.code == 0 and "Past their date" in ran.out
    assert "past its date on 8 December 2026 (needed by 2 December 2026)" in " ".join(ran.out.split())
    data = json.loads(run("match", *POOL, *GIVEN, "--on", "2026-12-04", "--json").out)
    assert {one["case"][:5] for one in data["verdict"]["breaches"]} == {"L-410", "L-412", "L-431"}
