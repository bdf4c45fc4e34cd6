"""Each fault can be planted, so that `tests/run --planted` shows something of the code as it is."""

from __future__ import annotations

from planted.__main__ import ROOT, NotPlantedError, planted
from planted.faults import FAULTS, Fault


def fault_of(fault: Fault) -> str:
    try:
        path, right, wrong = planted(ROOT, fault)
    except NotPlantedError as error:
        return str(error)
    compile(wrong, str(path), "exec")
    return "" if right != wrong else f"{fault.name}: changes nothing"


def test_each_fault_can_be_planted() -> None:
    assert [said for fault in FAULTS if (said := fault_of(fault))] == []


def test_each_is_looked_for_in_tests_that_there_are() -> None:
    assert [(fault.name, seen) for fault in FAULTS for seen in fault.seen_by if not (ROOT / seen).exists()] == []


def test_every_package_has_one() -> None:
    packages = {path.name for path in (ROOT / "planner").iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert packages - {fault.package.split("/")[1].removesuffix(".py") for fault in FAULTS} == set()
