"""The page: self-contained, escaped, strict, and with the case and the side of the eye in it."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape
from html.parser import HTMLParser

import jinja2
import pytest
from fontTools.ttLib import TTFont

from planner.documents.printing.fonts import FACES, fonts_folder
from planner.documents.printing.html import environment, render_html
from planner.plan.plan import Plan

from .conftest import PlanOf, with_case

HOSTILE = [
    '<img src="http://127.0.0.1:9/x.png" onerror=alert(1)>',
    "</style><script>alert(1)</script>",
    "{{ p.title }} {% raw %} & < > \" '",
]
VOID = {"meta", "br", "link", "img"}


class _Page(HTMLParser):
    """Gathers tags and addresses, and checks that what is opened is closed in turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[str] = []
        self.addresses: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [value or "" for name, value in attrs if name in ("src", "href", "data", "xlink:href")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag, self.getpos()


def parsed(html: str) -> _Page:
    page = _Page()
    page.feed(html)
    page.close()
    return page


def test_page_is_well_formed_and_carries_all_it_needs(plan: Plan) -> None:
    html = render_html(plan)
    page = parsed(html)
    assert not page.open
    assert not page.addresses
    assert set(re.findall(r'url\("([a-z]+):', html)) == {"data"}
    assert "@import" not in html
    assert '<html lang="en-GB">' in html and 'name="viewport"' in html
    assert html.count(f"{plan.assessment.case.eye.upper()} EYE") >= 2
    other = {"right": "LEFT EYE", "left": "RIGHT EYE"}[plan.assessment.case.eye]
    assert other not in html


@pytest.mark.parametrize("text", HOSTILE)
def test_what_a_case_says_is_text_and_nothing_else(plan_of: PlanOf, text: str) -> None:
    plan = plan_of("routine")
    harmless = parsed(render_html(with_case(plan, reference="A-1")))
    hostile = with_case(plan, reference=text)
    hostile = replace(hostile, unit=text, lens=replace(hostile.lens, biometry_reference=text, material=text))
    page = parsed(render_html(hostile))
    assert page.tags == harmless.tags
    assert not page.addresses


def test_the_fonts_hold_every_character_that_is_printed(plan: Plan) -> None:
    held = set.intersection(*(set(TTFont(fonts_folder() / name).getBestCmap()) for _, _, name in FACES))
    body = unescape(re.sub(r"<[^>]*>", "", render_html(plan).split("<body>")[1]))
    assert {char for char in body if not char.isspace() and ord(char) not in held} == set()


def test_a_name_that_a_template_misspells_is_an_error(plan_of: PlanOf) -> None:
    with pytest.raises(jinja2.UndefinedError):
        environment().from_string("{{ p.no_such_thing }}").render(p={})
