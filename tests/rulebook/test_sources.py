"""What rests on each source, against the rule files as any YAML reader sees them."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from commands import in_process

from planner.rulebook.citations import SourceUse, citations
from planner.rulebook.load import load
from planner.rulebook.rulebook import Rulebook
from planner.shipped import rules_folder

# What no claim may rest on: videos and teaching channels, quizzes, blogs, and comments below them.
UNFIT = re.compile(
    r"video|youtu|vimeo|channel|podcast|webinar|livestream|\bquiz|question bank|blog|\bcomments?\b|forum|facebook"
    r"|instagram|twitter|tiktok|linkedin|reddit|telegram|substack|wikipedia|coach",
    re.IGNORECASE,
)
# Speech, and the talk of those who teach on a stage, which no printed line takes over.
TALK = re.compile(
    r"[\"“”„«»]|\b(?:I|we|my|our|us)\b|\b(?:don|can|won|isn|doesn)'t\b|\b(?:it|that|let|here)'s\b|\bpearls?\b|\btricks?\b"
    r"|\btips for\b|\bgolden rule|\bmantra\b|\bguru|\bguys\b|\bas they say\b|\bremember\b|\bmy friend",
    re.IGNORECASE,
)
# The words agreed for taking over are spoken, and a surgeon's question to himself is.
SPOKEN = {"take_over_words", "think"}


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


def texts(data: Any, key: str = "") -> Iterator[tuple[str, str]]:
    """Every text of a rule file with the key that it stands under."""
    if isinstance(data, dict):
        for name, inner in data.items():
            yield from texts(inner, str(name))
    elif isinstance(data, list):
        for inner in data:
            yield from texts(inner, key)
    elif isinstance(data, str):
        yield key, data


def resting_on(found: list[SourceUse], name: str) -> SourceUse:
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


def test_the_command_says_the_same_in_words_and_as_json(rulebook: Rulebook) -> None:
    def told(*arguments: str) -> str:
        ran = in_process("rules", "sources", *arguments)
        assert ran.code == 0
        return ran.out

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


@pytest.mark.parametrize(
    "text",
    [
        "Invented A. A dense lens, on his teaching channel.",
        "inventedcoach.com/2018/07/26",
        "youtube.com/watch, minute 4",
        "Reader's comment below an article of 2019.",
        "An invented society's weekly quiz, 2021.",
        "invented.com/blog/white-lens",
    ],
)
def test_what_no_claim_may_rest_on_is_recognised(text: str) -> None:
    assert UNFIT.search(text)


def test_no_source_is_a_video_a_teaching_channel_a_quiz_a_blog_or_a_comment(rulebook: Rulebook) -> None:
    told = {f"{s.id}: {s.citation} {s.read or ''} {s.locator or ''}" for s in rulebook.sources.values()}
    assert {text for text in told if UNFIT.search(text)} == set()
    assert len(told) > 150
    places = {mapping.get("where", "") for mapping in written()}
    assert {where for where in places if UNFIT.search(where)} == set()


@pytest.mark.parametrize("text", ["And remember: small bites.", 'He says "never chase it".', "We don't rush here."])
def test_teaching_talk_is_recognised(text: str) -> None:
    assert TALK.search(text)


def test_no_printed_line_quotes_teaching_talk() -> None:
    files = [path for path in rules_folder().rglob("*.yaml") if not path.name.endswith(".cases.yaml")]
    found, read = set(), 0
    for path in files:
        if path.name == "sources.yaml":
            continue
        for key, text in texts(yaml.safe_load(path.read_text(encoding="utf-8"))):
            read += 1
            # What is said aloud to a patient at the table stands after `says:`.
            if key not in SPOKEN and TALK.search(text.partition("says:")[0]):
                found.add(f"{path.name}, {key}: {text}")
    assert found == set()
    assert read > 3000
