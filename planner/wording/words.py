"""Small words that every page shares: which eye, percentages, days, first letters."""

from __future__ import annotations

import datetime
import math
from textwrap import wrap


def eye_words(reference: str, eye: str) -> str:
    """One eye as it is told everywhere: `A-104, right eye`."""
    return f"{reference}, {eye} eye"


def side_of(eye: str) -> str:
    """Which eye, in capitals: `RIGHT EYE`."""
    return f"{eye.upper()} EYE"


def percent(fraction: float) -> str:
    """A probability with two figures at most: 0.0134 is `1.3 %`, 0.134 is `13 %`, 0.00567 is `0.57 %`."""
    return f"{percentage(fraction)} %"


def percentage(fraction: float) -> str:
    """The same without the sign."""
    value = 100 * fraction
    if 0 < value < 0.01:
        return "below 0.01"
    if 99.5 <= value < 100:
        return "above 99"
    # The rounded value decides the decimals, so that 9.96 prints 10 and never 10.0.
    rounded = float(f"{value:.2g}")
    decimals = max(0, 1 - math.floor(math.log10(rounded))) if rounded else 0
    return f"{rounded:.{decimals}f}"


def lower_first(text: str) -> str:
    """Lower the first letter unless the word is an abbreviation (`INR`, `LOCS`)."""
    return text[:1].lower() + text[1:] if len(text) < 2 or text[1].islower() or text.startswith("A ") else text


def day_words(day: datetime.date | str) -> str:
    """A date, or an ISO text of one, as people are told it: `2 November 2026`."""
    if isinstance(day, str):
        day = datetime.date.fromisoformat(day)
    return f"{day.day} {day:%B %Y}"


def with_stop(text: str) -> str:
    """The text with a full stop, unless it ends a sentence already."""
    return text if text.endswith((".", "?", "!")) else f"{text}."


def as_sentence(text: str) -> str:
    """The text with a capital first letter; an abbreviation stays as it is."""
    return text[:1].upper() + text[1:] if len(text) < 2 or not text[1].isupper() else text


def counted(number: int, of: str) -> str:
    """A number of things: `1 claim`, `3 claims`."""
    return f"{number} {of}{'' if number == 1 else 's'}"


def wrapped(text: str, start: str, width: int = 110) -> list[str]:
    """A text as lines of at most `width` letters, `start` before the first and two more spaces before the others."""
    after = " " * (len(start) + 2)
    return wrap(text, width, initial_indent=start, subsequent_indent=after, break_on_hyphens=False)
