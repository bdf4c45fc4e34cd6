"""What a page's form says, read by its shape: each page names the fields of its form once, with their kinds.

A field that was not sent has its default, and what the shape does not name is passed over. Reading refuses nothing: a
page says in its own words what is missing or wrong, and shows again what was typed.
"""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict
from starlette.datastructures import FormData

LONGEST_NUMBER = 9  # digits; no id and no version has more


def _number(sent: Any) -> int | None:
    text = str(sent)
    return int(text) if text.isascii() and text.isdigit() and len(text) <= LONGEST_NUMBER else None


Text = Annotated[str, BeforeValidator(lambda sent: str(sent).strip())]
Number = Annotated[int | None, BeforeValidator(_number)]  # None where no whole number was sent
Ticked = Annotated[bool, BeforeValidator(lambda sent: sent == "yes")]


class Form(BaseModel):
    """The fields of one form; a field named `str` is taken as it was sent, `Text` without blanks at its ends."""

    model_config = ConfigDict(frozen=True)

    @classmethod
    def of(cls, sent: FormData) -> Self:
        return cls.model_validate({name: sent[name] for name in cls.model_fields if isinstance(sent.get(name), str)})
