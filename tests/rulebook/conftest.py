"""A copy of the shipped rules, for tests to break."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from planner.shipped import rules_folder


@pytest.fixture
def rules(tmp_path: Path) -> Path:
    return Path(shutil.copytree(rules_folder(), tmp_path / "rules"))
