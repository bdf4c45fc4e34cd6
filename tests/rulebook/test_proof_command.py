"""`planner rules prove`: what it prints, where, and how it ends."""

from __future__ import annotations

import builtins
import json
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from commands import in_process
from faulty_rules import Edit, broken

from planner.case import read_case
from planner.rulebook.prove import CLAIMS
from planner.rulebook.rulebook import Rulebook
from planner.strict_yaml import read

FAULT = Edit("factors/history.yaml", "injections, at_least: 1}", "injections, at_least: 1, at_most: 9}")
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(tmp_path: Path) -> Run:
    return partial(in_process, "rules", "prove", folder=tmp_path)


@pytest.mark.long
def test_the_shipped_rulebook_is_proved_with_ranges_what_is_not_claimed_and_the_time(run: Run) -> None:
    code, out, err = run()
    assert code == 0
    for claim in CLAIMS:
        assert f"\nproved    {claim}: " in out
    assert (
        out.index("\nOver\n")
        < out.index("\nNot claimed\n")
        < out.index(f"{len(CLAIMS)} of {len(CLAIMS)} claims proved")
    )
    assert out.endswith(" s\n")
    assert err == f"{len(CLAIMS)} of {len(CLAIMS)} claims examined\n"


@pytest.mark.long
def test_a_counter_example_is_printed_as_a_case_that_can_be_read(run: Run, tmp_path: Path, rulebook: Rulebook) -> None:
    code, out, err = run("--rules", broken(tmp_path, FAULT))
    assert code == 1
    assert "error: worse-points does not hold (a finding made worse never lowers the points)" in err
    assert "\nrefuted   worse-points: " in out
    lines = out[out.index("refuted   worse-points") :].splitlines()
    start = next(n for n, line in enumerate(lines) if line.strip().startswith("case:"))
    end = next(n for n, line in enumerate(lines) if line.strip() == "and then, all else the same")
    printed = "\n".join(line.removeprefix("      ") for line in lines[start:end])
    case = read_case(read(printed, "printed").data, rulebook.vocabulary)
    assert 1 <= case.findings["intravitreal_injections"] <= 9
    name, value = lines[end + 1].strip().split(": ")
    assert name == "intravitreal_injections" and float(value) > 9


@pytest.mark.long
def test_json_holds_the_same(run: Run, tmp_path: Path) -> None:
    code, out, _ = run("--rules", broken(tmp_path, FAULT), "--json")
    data = json.loads(out)
    assert code == 1 and data["proved"] is False and data["ranges"] and data["not_claimed"] and data["seconds"] > 0
    states = {claim["id"]: claim["state"] for claim in data["claims"]}
    assert list(states) == list(CLAIMS)
    [example] = next(claim for claim in data["claims"] if claim["id"] == "worse-points")["counter_examples"]
    assert example["case"]["findings"] and list(example["then"]) == ["intravitreal_injections"]


def test_without_the_solver_it_says_how_to_get_it(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name == "z3" or name.startswith("planner.rulebook.proof.")]:
        monkeypatch.delitem(sys.modules, name)
    imported = builtins.__import__

    def without(name: str, *rest: Any, **more: Any) -> Any:
        if name == "z3":
            raise ModuleNotFoundError("No module named 'z3'", name="z3")
        return imported(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", without)
    code, out, err = run()
    assert (code, out) == (1, "")
    assert err.startswith("error: the proof needs z3-solver (it is not installed here); try: ")
