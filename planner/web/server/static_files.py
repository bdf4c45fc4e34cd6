"""Styles, scripts and letters: the only answers that a browser may keep."""

from __future__ import annotations

import os
from pathlib import Path

from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

# Asked again each time, and answered in a line when nothing changed: a page never stands on an older script.
ASKED_AGAIN = "no-cache"
# Letters never change, and a page that has them at once does not move when they come.
A_MONTH = "public, max-age=2592000"


class CachedStaticFiles(StaticFiles):
    """The files of `directory`, each with `kept` as its Cache-Control."""

    def __init__(self, directory: Path, kept: str) -> None:
        super().__init__(directory=directory)
        self.kept = kept

    def file_response(
        self, full_path: str | os.PathLike[str], stat_result: os.stat_result, scope: Scope, status_code: int = 200
    ) -> Response:
        response = super().file_response(full_path, stat_result, scope, status_code)
        response.headers["Cache-Control"] = self.kept
        return response
