"""How much generated tests draw: always so much that a fault which is there often is found, more with `--long`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import pytest

_T = TypeVar("_T")
_long = False


def configure(long: bool) -> None:
    """Say once, before any test is collected, whether `--long` was asked for."""
    global _long
    _long = long


def draws(quick: _T, long: _T) -> _T:
    """What to draw, or how many of it: `quick`, with `--long` `long`."""
    return long if _long else quick


def seeds(count: int, always: int) -> list[Any]:
    """`count` seeds from 0 on as parameters, of which the first `always` are run whatever was asked for."""
    return [seed if seed < always else pytest.param(seed, marks=pytest.mark.long) for seed in range(count)]


def some_of(names: Sequence[str], *always: str) -> list[Any]:
    """Names as parameters, of which those in `always` are run whatever was asked for."""
    assert set(always) <= set(names), "a name that is not there is asked for"
    return [name if name in always else pytest.param(name, marks=pytest.mark.long) for name in names]


def one_in(step: int, given: Iterable[Any]) -> list[Any]:
    """Values of one parameter, of which the first and every `step`-th after it are run whatever was asked for."""
    return [pytest.param(each, marks=[pytest.mark.long] if n % step else []) for n, each in enumerate(given)]
