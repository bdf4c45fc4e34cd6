"""The unit's own clock: the zone of its file is told from every other word, and every printed moment goes by it."""

from __future__ import annotations

import ast
import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from served import UNIT, staffed
from visits import CHEAP, Clock, Visit

from planner.desk.desk import Desk
from planner.documents.figures import day
from planner.errors import PlannerError
from planner.local_time import in_zone, local, wall
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit, read_unit
from planner.web.security.passwords import Passwords
from planner.web.server.app import make_app
from planner.web.server.settings import Settings

PLANNER = Path(__file__).parents[1] / "planner"
# Its moments by the clocks of three zones: UTC + 13 and UTC - 10 lie on two days; UTC + 0 in winter, + 1 in summer.
WINTER, SUMMER = "2026-11-02T10:30:00.000000Z", "2026-07-02T10:30:00.000000Z"


def test_a_moment_by_the_clock_of_its_zone() -> None:
    for zone, winter, summer in (
        ("Pacific/Auckland", "2026-11-02T23:30", "2026-07-02T22:30"),
        ("Pacific/Honolulu", "2026-11-02T00:30", "2026-07-02T00:30"),
        ("Europe/London", "2026-11-02T10:30", "2026-07-02T11:30"),
    ):
        with in_zone(ZoneInfo(zone)):
            assert (wall(WINTER), wall(SUMMER)) == (winter, summer)
    machine = datetime.datetime.fromisoformat(WINTER).astimezone()
    assert local(WINTER).utcoffset() == machine.utcoffset(), "without a zone, the machine's own"


@pytest.mark.parametrize(
    ("zone", "hint"),
    [
        ("europe/london", "Europe/London"),
        ("Europe/Londn", "Europe/London"),
        ("Londn", "Europe/London"),
        ("Berlin", "Europe/Berlin"),
        ("right/Europe/London", "Europe/London"),
        ("../Europe/London", "Europe/London"),
        ("+01:00", "an area and a city"),
        ("''", "an area and a city"),
    ],
)
def test_what_is_no_zone_is_refused_with_the_nearest(tmp_path: Path, rulebook: Rulebook, zone: str, hint: str) -> None:
    file = tmp_path / "unit.yaml"
    file.write_text(f"unit: Invented\nzone: {zone}\n", "utf-8")
    with pytest.raises(PlannerError) as caught:
        read_unit(file, rulebook)
    assert f"{file}:2" in str(caught.value) and "no time zone" in str(caught.value) and hint in str(caught.value)


def test_the_unit_of_the_demonstration_names_one(rulebook: Rulebook) -> None:
    zone = read_unit(UNIT, rulebook).clock
    assert zone is not None and Unit(unit="another").clock is None


def test_pages_go_by_the_unit_s_clock(tmp_path: Path, rulebook: Rulebook) -> None:
    # The first is a whole day ahead of the second, at any hour.
    days = {}
    for zone in ("Pacific/Kiritimati", "Pacific/Honolulu"):
        clock = Clock()
        clock.forward(days=3)
        store = staffed(f"sqlite:///{tmp_path / zone.partition('/')[2]}.db", clock)
        settings = Settings(secure_cookies=False, clock=clock)
        unit = Unit(unit="Invented", zone=zone)
        visit = Visit(make_app(Desk(store, rulebook, unit, clock=clock), settings, Passwords(CHEAP)))
        visit.sign_in("trainee-3")
        fields = {"token": visit.token(), "case": "A-104", "eye": "left", "patient": "", "planned_stage": ""}
        assert visit.post("/cases/new", data=fields).status_code == 303
        case = store.find_case("A-104", "left")
        assert case is not None
        recorded = datetime.date.fromisoformat(str(store.version(case.id).document["recorded_on"]))
        assert day(recorded) in visit.get("/cases").text, "what is stored in UTC is shown by the same clock"
        days[zone] = recorded
        store.close()
    assert days["Pacific/Kiritimati"] - days["Pacific/Honolulu"] == datetime.timedelta(days=1)


@pytest.mark.parametrize("module", sorted(PLANNER.rglob("*.py")), ids=lambda path: path.relative_to(PLANNER).as_posix())
def test_only_one_module_turns_moments_into_local_time(module: Path) -> None:
    if module.name == "local_time.py":
        return
    calls = [node for node in ast.walk(ast.parse(module.read_text("utf-8"))) if isinstance(node, ast.Call)]
    bare = {"astimezone", "now", "fromtimestamp"}
    named = [(call, call.func) for call in calls if isinstance(call.func, ast.Attribute)]
    found = [call.lineno for call, func in named if (func.attr in bare and not call.args) or func.attr == "today"]
    assert found == [], "without a zone that is the machine's clock"
