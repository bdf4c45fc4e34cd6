"""Where the rulebook and the templates that come with the program lie."""

from pathlib import Path

from planner.errors import PlannerError

PACKAGE = Path(__file__).resolve().parent


def rules_folder() -> Path:
    """Return the folder of the shipped rulebook; PlannerError when this installation lacks it."""
    return _folder("rules")


def templates_folder() -> Path:
    """Return the folder of the shipped document templates; PlannerError when this installation lacks it."""
    return _folder("templates")


def _folder(name: str) -> Path:
    # A wheel carries both folders inside the package; in a checkout they stand beside it.
    for folder in (PACKAGE / name, PACKAGE.parent / name):
        if folder.is_dir():
            return folder
    raise PlannerError.one(
        f"the {name} folder is missing",
        where=str(PACKAGE),
        why="it comes with the program, inside the package or beside it",
        hint="install cataract-case-planner again",
    )
