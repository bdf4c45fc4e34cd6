"""Seeds of generated tests: the first run always, the rest with `tests/run --long`."""

from __future__ import annotations

from typing import Any

import pytest


def seeds(count: int, always: int) -> list[Any]:
    """`count` seeds from 0 on, of which the first `always` are run whatever was asked for."""
    return [seed if seed < always else pytest.param(seed, marks=pytest.mark.long) for seed in range(count)]
