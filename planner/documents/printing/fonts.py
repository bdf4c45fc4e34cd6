"""The shipped fonts: their files, and the rules by which a page names them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from planner.shipped import templates_folder

# Text is set in the narrow cut, the large display words in the wide one.
FACES = (
    ("Plan Text", 400, "IBMPlexSansCondensed-Regular.woff2"),
    ("Plan Text", 700, "IBMPlexSansCondensed-Bold.woff2"),
    ("Plan Display", 700, "IBMPlexSans-Bold.woff2"),
)


def fonts_folder() -> Path:
    """Where the shipped fonts lie."""
    return templates_folder() / "base" / "fonts"


def font_faces(address: Callable[[Path], str]) -> str:
    """`@font-face` rules for `FACES`, each file at the address that `address` gives for it."""
    return "".join(
        f'@font-face {{ font-family: "{family}"; font-weight: {weight}; '
        f'src: url("{address(fonts_folder() / name)}") format("woff2"); }}\n'
        for family, weight, name in FACES
    )
