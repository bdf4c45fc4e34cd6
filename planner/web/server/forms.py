"""Typed forms: what a page sends is declared once, field by field, and read in one place.

    class Question(Form):
        text: Annotated[Text, up_to(200, "question: more than 200 characters")] = ""
        who: Annotated[dict[str, str], Prefixed("who.")] = {}

    @router.post("/questions")
    def ask(visitor: Preparing, form: Annotated[Question, Depends(Question.read)]) -> Response: ...

A field that was not sent has its default. What cannot be read or is too long is told in `wrong` and stands in `written`
as typed, so that a page can show it again. What no page of this server sends is a PlannerError.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable
from typing import Annotated, Any, Literal, Self, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    PrivateAttr,
    ValidationError,
    ValidationInfo,
)
from pydantic.fields import FieldInfo
from starlette.datastructures import FormData, UploadFile

from planner.errors import PlannerError
from planner.readings import read_day
from planner.records.rows import Seen
from planner.web.security.authorisation import Posted, PostedWithFile

LONGEST_NUMBER = 9  # digits
_CLOCK = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")


class Prefixed(str):
    """The field gathers what is sent under names that begin so: `who.` gives `{"hydro": "trainee"}` of `who.hydro`."""


def up_to(letters: int, why: str) -> AfterValidator:
    """A text of at most so many letters. A longer one is kept whole, and `why` is told as wrong."""

    def check(text: str, info: ValidationInfo) -> str:
        if len(text) > letters:
            _tell(info, why)
        return text

    return AfterValidator(check)


def cut(letters: int) -> AfterValidator:
    """A text of which so many letters are kept."""
    return AfterValidator(lambda text: text[:letters])


def _tell(info: ValidationInfo, why: str) -> None:
    assert isinstance(info.context, dict)
    info.context[info.field_name] = why


def _number(sent: Any) -> int | None:
    text = str(sent)
    return int(text) if text.isascii() and text.isdigit() and len(text) <= LONGEST_NUMBER else None


def _id(text: Any, info: ValidationInfo) -> int | None:
    number = _number(text)
    if number is None and text not in (None, ""):
        raise PlannerError.one(f"the form names no {info.field_name} that there can be", hint="load the page again")
    return number


def _version(text: Any) -> int:
    if (number := _number(text)) is None:
        raise PlannerError.one("the form does not say which version it was made from", hint="load the page again")
    return number


def _time_of_day(text: Any, info: ValidationInfo) -> datetime.time | None:
    if not (text := (text or "").strip()):
        return None
    if not _CLOCK.fullmatch(text):
        _tell(info, f"{text!r} is not a time of day; write it like 11:45.")
        return None
    return datetime.time.fromisoformat(text)


# Text without the blanks around it; a plain `str` is what was sent, to the letter.
Text = Annotated[str, AfterValidator(str.strip)]
# A box that is ticked sends `yes`.
Ticked = Annotated[bool, BeforeValidator(lambda sent: sent == "yes" or sent is True)]
# A whole number, None where none was sent.
Number = Annotated[int | None, BeforeValidator(_number)]
# A number by which the records know something, None where nothing was sent; anything else no page sends.
Id = Annotated[int | None, BeforeValidator(_id)]
# The version that a form was made from. It must be sent: give it `Field(validate_default=True)` and no other default.
VersionNumber = Annotated[int, BeforeValidator(_version)]
# YYYY-MM-DD; None for anything else, which `written` still holds.
Day = Annotated[datetime.date | None, BeforeValidator(lambda text: read_day(str(text or "").strip()))]
# HH:MM, None for none; anything else is wrong.
TimeOfDay = Annotated[datetime.time | None, BeforeValidator(_time_of_day)]


class Form(BaseModel):
    """What one page sends. `seen` is what was open when it was shown, where the form carries that."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)

    _posted: FormData = PrivateAttr(default_factory=FormData)
    _wrong: dict[str, str] = PrivateAttr(default_factory=dict)

    @classmethod
    def read(cls, form: Posted) -> Self:
        """The form of a request whose token was checked: a dependency. Raises PlannerError for what no page sends."""
        return cls.of(form)

    @classmethod
    def read_with_file(cls, form: PostedWithFile) -> Self:
        """As `read`, of a form that may hold one file, in a field of type `UploadFile | None`."""
        return cls.of(form)

    @classmethod
    def of(cls, form: FormData) -> Self:
        """The form as typed, by its fields. Raises PlannerError for what no page sends."""
        fields = {field.alias or name: field for name, field in cls.model_fields.items()}
        sent = {name: value for name, field in fields.items() if (value := _sent(form, name, field)) != ()}
        wrong: dict[str, str] = {}
        try:
            made = cls.model_validate(sent, context=wrong)
        except ValidationError:
            raise PlannerError.one("the form was changed on its way", hint="load the page again") from None
        made._posted, made._wrong = form, wrong
        return made

    @property
    def wrong(self) -> dict[str, str]:
        """Why a field was not taken, by its name."""
        return self._wrong

    @property
    def written(self) -> dict[str, str]:
        """Every field as it was typed, empty where nothing was, by its name in the form."""
        typed = {name: value.strip() for name, value in self._posted.items() if isinstance(value, str)}
        return dict.fromkeys(type(self).model_fields, "") | typed

    def sent_again(self, *but: str) -> list[tuple[str, str]]:
        """Names and values as they were sent, for hidden fields of a page that sends them once more."""
        return sent_again(self._posted, *but)


class SeenForm(Form):
    """A form that carries what was open when its page was shown: ids, none where nothing was open."""

    submission: Id = None
    approval: Id = None

    @property
    def seen(self) -> Seen:
        return Seen(self.submission, self.approval)


def refusals(form: Form, act: Callable[..., object], *given: object, **named: object) -> tuple[str, ...]:
    """Why what was sent is not taken, in sentences: the form's own faults, else those of `act`, called then."""
    if form.wrong:
        return tuple(form.wrong.values())
    try:
        act(*given, **named)
    except PlannerError as error:
        return tuple(map(str, error.faults))
    return ()


def sent_again(form: FormData, *but: str) -> list[tuple[str, str]]:
    """What a form sent, less its token and the fields named, to be sent once more."""
    return [
        (name, value) for name, value in form.multi_items() if isinstance(value, str) and name not in ("token", *but)
    ]


def _sent(form: FormData, name: str, field: FieldInfo) -> Any:
    """What a form holds for a field, () for nothing."""
    kind = get_origin(field.annotation)
    if start := next((part for part in field.metadata if isinstance(part, Prefixed)), None):
        every: Callable[[str], Any] = form.getlist if get_origin(get_args(field.annotation)[1]) is list else form.get
        return {key.removeprefix(start): every(key) for key in form if key.startswith(start)}
    if kind in (list, tuple, set, frozenset):
        return form.getlist(name)
    value = form.get(name, "" if field.is_required() else ())
    if kind is Literal and value not in get_args(field.annotation):
        return ()
    if isinstance(value, UploadFile) and field.annotation is str:
        return ()
    return value
