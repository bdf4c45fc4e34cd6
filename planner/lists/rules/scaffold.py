"""A list rule begun in a checkout: its entry, a week that is to break it, and its row in README's table of rules.

Nothing is judged by it until it is written, and the tests fail until then.
"""

from __future__ import annotations

import json
import keyword
import re
from importlib import import_module
from pathlib import Path

from planner.errors import Fault, PlannerError
from planner.lists.rules.registry import RULES
from planner.shipped import PACKAGE

SUBJECTS = ("patient", "eyes", "people", "sessions")
NOT_YET = "Not judged yet"  # what a test refuses to find in the rules and in README
LONGEST = 90  # characters of a rule in words
_KEBAB = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
_JUDGE = '''

@rule({words})
def {name}(week: Week) -> Iterator[Broken]:
    """{not_yet}."""
    yield from ()
'''
_WEEK = """    {words}: Made(
        week([eye("A")]),
        lists("one: A late consultant"),
        "{id}",
    ),
"""


def begun(rule: str, words: str, subject: str, checkout: Path = PACKAGE.parent) -> dict[Path, str]:
    """The files of the checkout with the rule begun in them. Raises PlannerError, every fault, where it cannot be."""
    name = rule.replace("-", "_")
    module, registry = checkout / f"planner/lists/rules/{subject}.py", checkout / "planner/lists/rules/registry.py"
    weeks, readme = checkout / "tests/lists/test_checker.py", checkout / "README.md"
    if faults := [*_of_id(rule, name, subject), *_of_words(words)]:
        raise PlannerError(faults)
    if not all(path.is_file() for path in (module, registry, weeks, readme)):
        why = (
            "a rule is written into the program's own code, its tests and its README, which an installed package lacks"
        )
        raise PlannerError.one(
            "there is no checkout here", str(checkout), why, "call `planner` from a clone's own .venv"
        )
    quoted = json.dumps(words, ensure_ascii=False)
    row = f"| `{rule}` | {words[0].upper()}{words[1:]}. {NOT_YET}. |\n"
    return {
        module: module.read_text(encoding="utf-8") + _JUDGE.format(words=quoted, name=name, not_yet=NOT_YET),
        registry: _before(registry, r"^    \)\n\)", f"        {subject}.{name},\n"),
        weeks: _before(
            weeks, r"^}\n\n\n@pytest\.mark\.parametrize\(\"made\", STANDS", _WEEK.format(words=quoted, id=rule)
        ),
        readme: _before(readme, r"(?<=\|\n)\n(?=With `records` an eye operated on)", row),
    }


def _of_id(rule: str, name: str, subject: str) -> list[Fault]:
    if subject not in SUBJECTS:
        return [Fault("--about", f"there is no module {subject!r} of rules", hint=f"one of {', '.join(SUBJECTS)}")]
    if not _KEBAB.fullmatch(rule):
        return [
            Fault("ID", f"{rule!r} is no id of a rule", hint="small letters, digits and single dashes: strong-lenses")
        ]
    if rule in RULES.ids:
        return [Fault("ID", f"there is a rule {rule!r}: {RULES[rule].words}", hint="another id")]
    if keyword.iskeyword(name) or hasattr(import_module(f"planner.lists.rules.{subject}"), name):
        return [Fault("ID", f"{name} means something else in {subject}.py", "the id names the function", "another id")]
    return []


def _of_words(words: str) -> list[Fault]:
    if 0 < len(words) <= LONGEST and words.isprintable() and not set(words) & set('"\\|`.'):
        return []
    what = f"{words!r} cannot stand in a table and in a message"
    return [Fault("WORDS", what, hint=f"one sentence of {LONGEST} letters at most, without marks and full stop")]


def _before(path: Path, anchor: str, more: str) -> str:
    """The file's text with more before the one place that the anchor finds."""
    text = path.read_text(encoding="utf-8")
    places = list(re.finditer(anchor, text, re.MULTILINE))
    if len(places) != 1:
        why = f"its text was changed since this was made for it: {anchor!r} stands there {len(places)} times"
        raise PlannerError.one(
            "no place for the rule in this file", str(path), why, "enter it by hand, as its neighbours"
        )
    return text[: places[0].start()] + more + text[places[0].start() :]
