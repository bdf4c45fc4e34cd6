"""What a sheet says where it cannot say all: as much as fits, what matters most first."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import TypeVar

T = TypeVar("T")


def as_many_as_fit(
    items: Iterable[T], fits: Callable[[frozenset[T]], bool], chosen: frozenset[T] = frozenset()
) -> frozenset[T]:
    """Those chosen already, and of the items, the most important first, each that still fits beside them."""
    for item in items:
        if fits(chosen | {item}):
            chosen |= {item}
    return chosen
