"""What every entry of the rulebook shares: strict shapes, strict numbers, and the basis of a claim."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, model_validator

from planner.conditions import Condition, parse

_NUMBER = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?")


def strict_number(raw: Any) -> Any:
    """Plain decimal notation only: 0123, 1e3, 12:30 and 2,5 are refused rather than guessed at."""
    if isinstance(raw, str) and not _NUMBER.fullmatch(raw):
        raise ValueError(f"{raw!r} is not a plain decimal number; write it like 2.5")
    return raw


def strict_yes_no(raw: Any) -> Any:
    if raw in ("yes", "no"):
        return raw == "yes"
    if isinstance(raw, bool):
        return raw
    raise ValueError(f"{raw!r} is neither yes nor no")


Number = Annotated[float, BeforeValidator(strict_number)]
Whole = Annotated[int, BeforeValidator(strict_number)]
YesNo = Annotated[bool, BeforeValidator(strict_yes_no)]
When = Annotated[Condition, BeforeValidator(parse)]
Day = datetime.date


@dataclass(frozen=True)
class Names:
    """Marks a key that holds the id of another entry, or a list of them: of what `kind`. Loading follows it."""

    kind: str


class Entry(BaseModel):
    """A piece of the rulebook: unknown keys are refused, nothing can be changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True)


class Basis(Entry):
    """Where a claim comes from: published (source, where in it, how known), common practice, or unit policy."""

    basis: Literal["published", "common-practice", "unit-policy"]
    source: Annotated[str | None, Names("source")] = None
    where: str | None = None
    known: Literal["seen", "from-memory"] | None = None
    approver: str | None = None
    note: str | None = None

    @model_validator(mode="before")
    @classmethod
    def _shorthand(cls, raw: Any) -> Any:
        return {"basis": raw} if isinstance(raw, str) else raw

    @model_validator(mode="after")
    def _complete(self) -> Basis:
        if self.basis == "published" and not (self.source and self.where and self.known):
            raise ValueError("a published basis needs source, where (the place in it) and known (seen or from-memory)")
        if self.basis != "published" and (self.source or self.where or self.known):
            raise ValueError(f"{self.basis} cites no source; remove source, where and known, or call it published")
        if self.basis == "unit-policy" and not self.approver:
            raise ValueError("unit-policy needs its approver (write 'not yet approved' while it is a draft)")
        return self

    @property
    def place(self) -> str:
        """The place in a published source and how it is known, e.g. `table 1 (seen)`."""
        return f"{self.where} ({(self.known or '').replace('-', ' ')})"

    @property
    def words(self) -> str:
        """The short form printed beside a claim, e.g. `published: source-key, table 1 (seen)`."""
        if self.basis == "published":
            return f"published: {self.source}, {self.place}"
        return f"unit policy: {self.approver}" if self.basis == "unit-policy" else "common practice"
