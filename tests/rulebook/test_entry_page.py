"""The page of an entry says what the file says, names where it stands, and whether it is as it was locked."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from commands import in_process

from planner.rulebook.load import load, shipped
from planner.rulebook.lock import LOCK, lock_of, standing
from planner.rulebook.naming import pieces
from planner.shipped import rules_folder

ROOT = rules_folder().parent


def run(*words: object) -> str:
    """Run `planner rules WORDS`: what it said on either stream."""
    ran = in_process("rules", *words)
    return ran.out + ran.err


def ids_in(data: Any) -> Iterator[str]:
    if isinstance(data, dict):
        yield from [data["id"]] if isinstance(data.get("id"), str) else []
    for inner in data.values() if isinstance(data, dict) else data if isinstance(data, list) else ():
        yield from ids_in(inner)


def test_every_id_of_every_file_is_found_at_its_line() -> None:
    """Against PyYAML's reading of the files. A sitting, an era and an alert are read within their file or model."""
    known = {piece.name.rpartition(".")[2]: piece for piece in pieces(shipped())}
    without_page = {"looks", "eras", "alerts"}
    for path in rules_folder().rglob("*.yaml"):
        if path.name.endswith(".cases.yaml") or path.name == "rulebook.yaml":
            continue
        data = {key: value for key, value in yaml.safe_load(path.read_text()).items() if key not in without_page}
        for name in ids_in(data):
            assert name in known, f"{path}: {name}"
    for piece in pieces(shipped()):
        if piece.place or piece.spot.place:  # not a whole file, whose first line need not be its id
            file, _, line = piece.at.rpartition(":")
            assert f"id: {piece.entry.id}" in (ROOT / file).read_text().splitlines()[int(line) - 1], piece.title


def test_a_factors_page_says_all_that_the_file_says() -> None:
    (page,) = json.loads(run("show", "tense-white-lens", "--json"))["entries"]
    (written,) = [f for f in yaml.safe_load((ROOT / "rules/factors/lens.yaml").read_text())["factors"]
                  if f["id"] == "tense-white-lens"]  # fmt: skip
    assert set(written) - {"id", "label"} <= set(page["says"])
    text = re.sub(r"\s+", " ", run("show", "tense-white-lens"))
    said = [
        written["label"],
        written["harm"],
        written["because"],
        written["floor"]["because"],
        *written["misleads_when"],
    ]
    assert [words for words in said if words not in text] == []
    for rate in written["published_rates"]:
        assert rate["text"] in text and rate["basis"]["where"] in text and rate["basis"]["source"] in page["sources"]
    assert "cortex of the white lens is fluid under tension" in text, "the condition in words"
    assert page["cases"]["expected"]["holds"] == ["opacity: total-white, cortex: tense-fluid"]
    assert "option capsule-opening.decompress-then-two-stage" in page["named_by"], "what would change with it"
    assert page["lock"]["state"] == f"as locked in {shipped().header.version}"


def test_points_stand_with_their_odds_and_where_these_were_read() -> None:
    text = re.sub(r"\s+", " ", run("show", "white-lens"))
    assert "points: 3" in text and "odds ratio 2.99" in text
    assert "narendran-2009, brunescent or white lens, adjusted odds ratio" in text and "(seen)" in text


@pytest.mark.parametrize(
    "name,says",
    [
        ("capsule-dye.least-dye-under-ovd", "option capsule-dye.least-dye-under-ovd: "),
        ("least-dye-under-ovd", "option capsule-dye.least-dye-under-ovd: "),
        ("anterior_chamber_depth_mm", "finding anterior_chamber_depth_mm: "),
        ("wound-burn", "drill wound-burn: "),
        ("narendran-2009", "model narendran-2009"),
        ("tense-white-lense", "did you mean tense-white-lens"),
        ("qqqqqqq", "error: no entry 'qqqqqqq' in the rulebook"),
    ],
)
def test_other_entries_and_ids_that_are_none(name: str, says: str) -> None:
    assert says in run("show", name)


def test_whoever_looks_under_explain_finds_the_page_too() -> None:
    assert in_process("explain", "factor", "white-lens").out == run("show", "white-lens") != ""


def test_a_changed_lock_names_the_entry(rules: Path) -> None:
    file = rules / "factors" / "zonule-and-pupil.yaml"
    file.write_text(file.read_text().replace("less_than: 5.0}", "less_than: 5.5}", 1))
    assert "factors/zonule-and-pupil.yaml (factor small-pupil; one version" in run("lock", "--check", "--rules", rules)
    assert "lock: changed since" in run("show", "small-pupil", "--rules", rules)
    assert "lock: as locked in" in run("show", "weak-zonule", "--rules", rules)


def test_each_entry_has_its_own_hash_and_notes_change_none(rules: Path) -> None:
    before = lock_of(load(rules), rules).entries
    assert set(before) == {piece.title for piece in pieces(load(rules))}
    file = rules / "choices" / "capsule-dye.yaml"
    file.write_text("# a note\n" + file.read_text().replace("id: dye-under-air\n", "id: dye-under-air  # so\n"))
    assert lock_of(load(rules), rules).entries == before
    file.write_text(file.read_text().replace("Trypan blue under air", "Trypan blue below air", 1))
    after = lock_of(load(rules), rules).entries
    assert [name for name in before if before[name] != after[name]] == ["option capsule-dye.dye-under-air"]


@pytest.mark.long
def test_a_lock_from_before_entries_holds_good_and_is_renewed_once(rules: Path) -> None:
    path = rules / LOCK
    old = {key: value for key, value in json.loads(path.read_text()).items() if key != "entries"}
    path.write_text(json.dumps(old))
    assert standing(load(rules), rules) == []
    assert "as locked" in run("lock", "--check", "--rules", rules) and json.loads(path.read_text()) == old
    assert "locked" in run("lock", "--rules", rules)
    assert json.loads(path.read_text())["entries"] == lock_of(load(rules), rules).entries
