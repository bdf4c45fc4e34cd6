"""The fixed phrases of documents in the reader's language: English is the source, a catalogue a language the rest.

The rulebook's own words stay in the rulebook's language; only what a document says of itself is looked up here.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import c2py

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from planner.errors import PlannerError
from planner.shipped import templates_folder

SOURCE = "en-GB"

_spoken: ContextVar[str] = ContextVar("spoken", default=SOURCE)


def languages() -> tuple[str, ...]:
    """The languages that documents can be had in, the source first."""
    return (SOURCE, *sorted(path.stem for path in (templates_folder() / "words").glob("*.po")))


def known(language: str) -> str:
    """The language itself. Raises PlannerError for one not shipped."""
    if language not in languages():
        raise PlannerError.one(f"no catalogue for {language!r}", "language", hint=f"one of {', '.join(languages())}")
    return language


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Everything printed within is in that language (a tag: `en-GB`). Raises PlannerError for one not shipped."""
    known(language)
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)


def spoken() -> str:
    """The language in force."""
    return _spoken.get()


def say(phrase: str, **values: object) -> str:
    """A fixed phrase in the language in force, `%(name)s` in it replaced by the values."""
    told = gettext(phrase)
    return told % values if values else told


def count(one: str, many: str, number: int) -> str:
    """A phrase for a count, `%(num)s` in it replaced by the number."""
    return ngettext(one, many, number) % {"num": number}


def side_of(eye: str) -> str:
    """Which eye, in capitals."""
    return say("RIGHT EYE") if eye == "right" else say("LEFT EYE")


def locale() -> str:
    """The language in force by the name that Babel knows it by."""
    return spoken().replace("-", "_")


def gettext(phrase: str) -> str:
    """The phrase's translation, itself in the source language."""
    told = _translated(phrase)
    return told if isinstance(told, str) and told else phrase


def ngettext(one: str, many: str, count: int) -> str:
    """The form of a phrase for a count."""
    told = _translated(one)
    if isinstance(told, list | tuple):
        return told[c2py(_catalogue(spoken()).plural_expr)(count)]
    return one if count == 1 else many


def _translated(phrase: str) -> str | list[str] | tuple[str, ...] | None:
    if spoken() == SOURCE:
        return None
    message = _catalogue(spoken()).get(phrase)
    return None if message is None or message.fuzzy else message.string


@cache
def _catalogue(language: str) -> Catalog:
    with (templates_folder() / "words" / f"{language}.po").open("rb") as stream:
        return read_po(stream, locale=language.replace("-", "_"))
