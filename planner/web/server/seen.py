"""What a form was made from: the submission and the approval that were open when its page was shown."""

from __future__ import annotations

from starlette.datastructures import FormData

from planner.errors import PlannerError
from planner.records.rows import Seen

LONGEST_NUMBER = 9


def seen_in(form: FormData) -> Seen:
    """The ids that the form carries; empty where nothing was open. Raises PlannerError for what is no id."""
    return Seen(_number(form, "submission"), _number(form, "approval"))


def _number(form: FormData, name: str) -> int | None:
    text = str(form.get(name, ""))
    if not text:
        return None
    if not text.isascii() or not text.isdigit() or len(text) > LONGEST_NUMBER:
        raise PlannerError.one(f"the form names no {name} that there can be", hint="load the page again")
    return int(text)
