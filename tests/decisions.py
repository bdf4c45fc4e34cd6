"""What the tests of consultants' and organisers' pages share: a case in the store, the words and forms of a page."""

from __future__ import annotations

import datetime
import html
import re
from pathlib import Path
from typing import Any

from visits import Visit

from planner.case_file import case_file
from planner.exchange.case_reader import ReadCase, read_cases
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

DEMO = Path(__file__).parents[1] / "demo_cases" / "cases"


def text_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def entered(store: Store, rulebook: Rulebook, name: str, by: str = "trainee-3", **headings: Any) -> int:
    """A demonstration case in the store, as the trainee left it, measured today, so that its dates never age."""
    [read] = read_cases(str(DEMO / f"{name}.yaml"), rulebook.vocabulary)
    assert isinstance(read, ReadCase)
    document = case_file(read.case) | headings
    for finding in rulebook.vocabulary.findings:
        if finding.dates and finding.id in document["findings"]:
            document["findings"][finding.id] = datetime.date.today().isoformat()
    return store.new_case(document, by).case_id


def form_of(visit: Visit, address: str, button: str) -> dict[str, str]:
    """The fields of the form with that button, as a browser without scripts would send them."""
    page = visit.get(address).text
    [form] = [form for form in re.findall(r"<form.*?</form>", page, re.S) if re.search(f">{button}", form)]
    fields = dict(re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', form))
    fields |= dict(re.findall(r'<input type="radio" name="([^"]+)" value="([^"]*)" checked', form))
    return fields | {
        name: html.unescape(text) for name, text in re.findall(r'<textarea[^>]* name="(\w+)"[^>]*>([^<]*)', form)
    }


def case_form_of(visit: Visit, address: str) -> dict[str, str]:
    """The hidden fields of a case's form."""
    form = visit.get(address).text.partition('id="case-form"')[2].partition("</section>")[0]
    return dict(re.findall(r'<input type="hidden" name="([^"]+)"[^>]* value="([^"]*)"', form))
