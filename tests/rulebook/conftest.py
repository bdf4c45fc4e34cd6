"""A copy of the shipped rules, for tests to break."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pytest

from planner import strict_yaml
from planner.shipped import rules_folder


@pytest.fixture(scope="package", autouse=True)
def each_text_parsed_once() -> Iterator[None]:
    """Copies of the rules differ in a file or two of over forty; what was parsed before is not parsed again."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(strict_yaml, "read", lru_cache(maxsize=200)(strict_yaml.read))
        yield


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    return Path(shutil.copytree(rules_folder(), tmp_path / "rules"))
