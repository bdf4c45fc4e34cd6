"""What rests on each source, against the rule files as any YAML reader sees them."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml

from planner.cli import main
from planner.rulebook.citations import Resting, citations
from planner.rulebook.load import load
from planner.rulebook.rulebook import Rulebook
from planner.shipped import rules_folder


def mappings(data: Any) -> Iterator[dict[str, Any]]:
    if isinstance(data, dict):
        yield data
    for inner in data.values() if isinstance(data, dict) else data if isinstance(data, list) else ():
        yield from mappings(inner)


def written() -> list[dict[str, Any]]:
    """Every mapping of every rule file that stands for a citation, read without this program."""
    files = [path for path in rules_folder().rglob("*.yaml") if not path.name.endswith(".cases.yaml")]
    read = [yaml.safe_load(path.read_text(encoding="utf-8")) for path in files if path.name != "sources.yaml"]
    return [mapping for document in read for mapping in mappings(document) if isinstance(mapping.get("source"), str)]


def resting_on(found: list[Resting], name: str) -> Resting:
    return next(resting for resting in found if resting.source.id == name)


def test_every_citation_in_the_files_is_a_claim_once(rulebook: Rulebook) -> None:
    counted = {resting.source.id: len(resting.claims) for resting in citations(rulebook) if resting.claims}
    assert counted == Counter(mapping["source"] for mapping in written())


def test_what_rests_on_memory_is_what_the_files_call_so(rulebook: Rulebook) -> None:
    claims = [claim for resting in citations(rulebook) for claim in resting.claims]
    remembered = Counter((c.source, c.where) for c in claims if c.known == "from-memory" and c.part != "source")
    expected = Counter((m["source"], m["where"]) for m in written() if m.get("known") == "from-memory")
    assert remembered == expected
    assert expected, "nothing rests on memory any more: say so in the README and here"


def test_each_claim_points_to_the_line_that_makes_it(rulebook: Rulebook) -> None:
    for resting in citations(rulebook):
        for claim in resting.claims:
            name, line = claim.at.rsplit(":", 1)
            lines = (rules_folder().parent / name).read_text(encoding="utf-8").splitlines()
            # A basis in several lines starts at its first; the name of the source is at most a few below.
            assert any(claim.source in text for text in lines[int(line) - 1 : int(line) + 8]), claim


@pytest.mark.parametrize("name", ["eye-letter-2010", "grinton-2021", "lin-2021", "maubon-2021", "randleman-2007"])
def test_a_source_named_in_a_note_only_is_mentioned(rulebook: Rulebook, name: str) -> None:
    resting = resting_on(citations(rulebook), name)
    assert not resting.claims and resting.mentions and not resting.is_uncited


def test_claims_and_mentions_of_an_entry_are_told_apart(rules: Path) -> None:
    path = rules / "drills" / "capsule.yaml"
    note = "{basis: common-practice, note: 'as in sim-2024, and again sim-2024, but not in sim-2023'}"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("basis: common-practice", f"basis: {note}", 1), encoding="utf-8")
    before, after = (resting_on(citations(load(folder)), "sim-2024") for folder in (rules_folder(), rules))
    assert after.claims == before.claims
    (new,) = set(after.mentions) - set(before.mentions)
    assert new.kind == "drill" and new.part.endswith("basis.note")


def test_a_source_that_nothing_cites_is_named(rules: Path) -> None:
    path = rules / "sources.yaml"
    lone = "  - id: nobody-1999\n    citation: An invented work, like muhtaseb-2004.\n    known: seen\n"
    path.write_text(path.read_text(encoding="utf-8") + lone, encoding="utf-8")
    assert [resting.source.id for resting in citations(load(rules)) if resting.is_uncited] == ["nobody-1999"]


def test_the_command_says_the_same_in_words_and_as_json(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], rulebook: Rulebook
) -> None:
    def told(*arguments: str) -> str:
        monkeypatch.setattr("sys.argv", ["planner", "rules", "sources", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        assert not ended.value.code
        return capsys.readouterr().out

    data, words = json.loads(told("--json")), told()
    assert [source["id"] for source in data["sources"]] == list(rulebook.sources)
    assert data["uncited"] == []
    heads = ("What rests on each source", "What still rests on memory", "Sources that nothing cites")
    places = [words.index(head) for head in heads]
    assert places == sorted(places)
    remembered = words[places[1] : places[2]]
    assert data["from_memory"]
    assert all(f"{claim['at']}: {claim['kind']} {claim['entry']}" in remembered for claim in data["from_memory"])
    assert "grinton-2021, seen: nothing rests on it, " in words
