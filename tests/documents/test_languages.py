"""The catalogues: every fixed phrase is translated in each, keeps its blanks, and prints; the rulebook's words stay.

A catalogue is renewed with `PLANNER_RENEW_WORDS=1 tests/run tests/documents/test_languages.py`, which adds new phrases
untranslated and drops those no longer said; the tests then name what is left to translate.
"""

from __future__ import annotations

import ast
import io
import os
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from planner.documents.card.sheet import render_card
from planner.documents.debrief.sheet import render_debrief
from planner.documents.json_form import plan_json
from planner.documents.plan.text import render_text
from planner.documents.printing.html import environment, render_html
from planner.errors import PlannerError
from planner.shipped import templates_folder
from planner.wording import language

from .conftest import PlanOf, read, squeezed

Phrase = str | tuple[str, str]
HEADERS = re.compile(r'"(Project|Report|POT|PO-|Last|Language-Team|MIME|Generated|Content-Transfer)')
SHEETS = ("plan", "card", "debrief", "papers", "brief", "week", "web")
PLANNER = Path(language.__file__).parents[1]
# What pages still say in English alone: so many texts. The number may only go down.
ENGLISH_ALONE = 648
OTHERS = [name for name in language.languages() if name != language.SOURCE]


def phrases() -> set[Phrase]:
    """Every fixed phrase that the program's modules and the templates of documents say."""
    said: set[Phrase] = set()
    for module in sorted(PLANNER.rglob("*.py")):
        tree = ast.parse(module.read_text("utf-8"))
        if module.name != "language.py" and speaks(tree):
            said.update(in_python(tree, module.relative_to(PLANNER).as_posix()))
    said.update(in_python(ast.parse(Path(language.__file__).read_text("utf-8")), "", only_literals=True))
    for sheet in SHEETS:
        for template in sorted((templates_folder() / sheet).glob("*.html")):
            found = environment().extract_translations(template.read_text("utf-8"))  # type: ignore[attr-defined]
            said.update(phrase_of(message) for _, _, message in found)
    return said


def speaks(tree: ast.AST) -> bool:
    """Whether a module takes `say` or `count` from the catalogue's module; others may have such names of their own."""
    return any(
        isinstance(node, ast.ImportFrom)
        and node.module == "planner.wording.language"
        and {"say", "count"} & {alias.name for alias in node.names}
        for node in ast.walk(tree)
    )


def phrase_of(message: str | tuple[str | None, ...]) -> Phrase:
    """What a template says; the blanks given along come as None."""
    texts = [message] if isinstance(message, str) else [text for text in message if text is not None]
    return texts[0] if len(texts) == 1 else (texts[0], texts[1])


def in_python(tree: ast.AST, module: str, only_literals: bool = False) -> Iterator[Phrase]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("say", "count"):
            given = node.args[: 2 if node.func.id == "count" else 1]
            literal = [each.value for each in given if isinstance(each, ast.Constant) and isinstance(each.value, str)]
            if len(literal) == len(given):
                yield literal[0] if len(literal) == 1 else (literal[0], literal[1])
            else:
                assert only_literals, f"{module}:{node.lineno}: a phrase must be written out, so that it can be found"


def catalogue(name: str) -> Catalog:
    with (templates_folder() / "words" / f"{name}.po").open("rb") as stream:
        return read_po(stream, locale=name.replace("-", "_"))


def test_there_is_a_language_besides_the_source() -> None:
    assert OTHERS


@pytest.mark.parametrize("name", OTHERS)
def test_every_phrase_said_is_translated_and_nothing_else_is(name: str) -> None:
    held, said = catalogue(name), phrases()
    if os.environ.get("PLANNER_RENEW_WORDS"):
        held = renewed(name, held, said)
    known = {message.id for message in held if message.id}
    assert known == said
    assert not [m.id for m in held if m.id and (m.fuzzy or not all(m.string if m.pluralizable else [m.string]))]


def renewed(name: str, held: Catalog, said: set[Phrase]) -> Catalog:
    made = Catalog(locale=name.replace("-", "_"), header_comment=held.header_comment, fuzzy=False)
    for phrase in sorted(said, key=str):
        old = held.get(phrase if isinstance(phrase, str) else phrase[0])
        made.add(phrase, string=old.string if old and old.id == phrase else None)
    written = io.BytesIO()
    write_po(written, made, width=120)
    # Of the header only what reading needs; whom to write to is not known, and when it was made changes nothing.
    lines = written.getvalue().decode().splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith('"') or not HEADERS.match(line)]
    (templates_folder() / "words" / f"{name}.po").write_text("".join(kept), "utf-8")
    return catalogue(name)


def blanks(text: str) -> list[str]:
    return sorted(re.findall(r"%\((\w+)\)s", text))


@pytest.mark.parametrize("name", OTHERS)
def test_every_translation_keeps_the_blanks(name: str) -> None:
    for message in catalogue(name):
        if message.id and not message.pluralizable:
            assert blanks(message.string) == blanks(message.id), message.id
        elif message.id:
            for form in message.string:
                assert set(blanks(form)) <= set(blanks(message.id[1])), message.id


@pytest.mark.parametrize("name", OTHERS)
def test_in_another_language_headings_are_translated_and_rules_as_written(plan_of: PlanOf, name: str) -> None:
    plan = plan_of("tense-white")
    ours = render_text(plan)
    with language.speaking(name):
        theirs, page = render_text(plan), render_html(plan)
        sheets = [squeezed(each.extract_text()) for each in read(render_card(plan)).pages]
        sheets += [squeezed(each.extract_text()) for each in read(render_debrief(plan)).pages]
    held = catalogue(name)
    for phrase in ("The risk, in whose hands", "In the room", "Cautions", "Drugs"):
        told = held.get(phrase).string
        assert told != phrase and told.upper() in theirs and told in page
        assert phrase.upper() not in theirs and phrase in ours.replace(phrase.upper(), phrase)
    assert squeezed(held.get("RIGHT EYE").string) in sheets[0]
    for step in plan.steps:
        assert step.label in theirs
    assert f'lang="{name}"' in page
    assert render_text(plan) == ours, "the language does not outlive the call"


@pytest.mark.parametrize("name", OTHERS)
def test_reasons_are_said_in_the_language_in_force_and_data_in_the_source(plan_of: PlanOf, name: str) -> None:
    plan = plan_of("phacomorphic-attack")
    tier, supervision = plan.assessment.tier.decided_by, plan.supervision.because
    source, ours = plan_json(plan), [reason.words for reason in (*tier, *supervision)]
    with language.speaking(name):
        theirs, printed = [reason.words for reason in (*tier, *supervision)], squeezed(render_text(plan))
        assert plan_json(plan) == source
    assert {reason.by for reason in tier} >= {"floor", "points", "interaction"}
    for one, other in zip(ours, theirs, strict=True):
        assert one != other and squeezed(other[1:]) in printed and squeezed(one[1:]) not in printed
    assert "demands tier" not in printed and source["assessment"]["tier"]["decided_by"] == ours[: len(tier)]


def test_a_language_that_is_not_shipped_is_refused() -> None:
    with pytest.raises(PlannerError, match="no catalogue for 'xx'") as caught, language.speaking("xx"):
        pass
    assert language.SOURCE in str(caught.value)


def english_alone(template: str) -> list[str]:
    """The texts of a page that stand in its template outside the catalogue."""
    text = re.sub(r"{#.*?#}|{%-? *trans\b.*?endtrans.*?%}", "\0", template, flags=re.S)
    text = re.sub(r"{{.*?}}|{%.*?%}|<[^<>]*>|&\w+;", "\0", re.sub(r'="[^"]*"', "", text), flags=re.S)
    return [part for part in (piece.strip() for piece in text.split("\0")) if re.search(r"[A-Za-z]{2}", part)]


def test_what_pages_say_in_english_alone_grows_less() -> None:
    assert english_alone('<p title="x">One {{ _("two") }}{% if a %}three{% endif %}</p>') == ["One", "three"]
    assert english_alone("{% trans a=b %}<b>four</b> {{ a }}{% endtrans %}, {# five #}{{ six }}: 7") == []
    pages = sorted((templates_folder() / "web").glob("*.html"))
    found = [(page.name, text) for page in pages for text in english_alone(page.read_text("utf-8"))]
    assert len(found) <= ENGLISH_ALONE, f"{len(found)}: say it through the catalogue, such as {found[:5]}"
