"""The fixed phrases of documents in the reader's language: English is the source, a catalogue a language the rest.

The rulebook's own words stay in the rulebook's language; only what a document says of itself is looked up here.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO

from babel.messages.mofile import write_mo
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
    spoken_phrase = gettext(phrase)
    return spoken_phrase % values if values else spoken_phrase


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
    return _catalogue(spoken()).gettext(phrase)


def ngettext(one: str, many: str, count: int) -> str:
    """The form of a phrase for a count."""
    return _catalogue(spoken()).ngettext(one, many, count)


@cache
def _catalogue(language: str) -> NullTranslations:
    if language == SOURCE:
        return NullTranslations()
    compiled = BytesIO()
    with (templates_folder() / "words" / f"{language}.po").open("rb") as stream:
        write_mo(compiled, read_po(stream, locale=language.replace("-", "_")))
    compiled.seek(0)
    return GNUTranslations(compiled)
