"""The one error that reaches the reader, and the faults it carries."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Fault:
    """One thing found wrong, worded so that the reader can put it right.

    `where` is a place the reader can go to (file and line, row, option); `what` is wrong there;
    `why` it is refused; `hint` is what to try. `place` is where that stands in the data that was read, and `beside` the
    place of what it does not agree with.
    """

    where: str
    what: str
    why: str = ""
    hint: str = ""
    place: tuple[str | int, ...] = field(default=(), compare=False)
    beside: tuple[str | int, ...] = field(default=(), compare=False)

    @property
    def says(self) -> str:
        """The fault in one line, without where it is."""
        reason = f" ({self.why})" if self.why else ""
        remedy = f"; try: {self.hint}" if self.hint else ""
        return f"{self.what}{reason}{remedy}"

    def __str__(self) -> str:
        return f"{self.where}: {self.says}" if self.where else self.says


class PlannerError(Exception):
    """Raised for anything the reader can put right; `str()` gives one line for each of its `faults`."""

    def __init__(self, faults: list[Fault]) -> None:
        super().__init__(faults)
        self.faults = faults

    @classmethod
    def one(cls, what: str, where: str = "", why: str = "", hint: str = "") -> "PlannerError":
        """Return the error that carries this single fault."""
        return cls([Fault(where, what, why, hint)])

    def __str__(self) -> str:
        return "\n".join(str(fault) for fault in self.faults)


def did_you_mean(name: object, known: Iterable[str], otherwise: str = "", most: int = 1, cutoff: float = 0.6) -> str:
    """What to try instead of a name that is not known: the nearest there are, or else `otherwise`."""
    near = difflib.get_close_matches(str(name), list(known), most, cutoff)
    return f"did you mean {' or '.join(near)}?" if near else otherwise
