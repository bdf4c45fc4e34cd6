"""Why something is so, kept as data: rule, findings, numbers. A reason is put into words only when it is printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from planner.wording.words import counted, lower_first, percent

State = Literal["holds", "does-not-hold", "unknown", "not-applicable"]


@dataclass(frozen=True)
class TierReason:
    """What demands a tier: a factor's floor, a band, or an interaction that lifts it by so many tiers.

    `rule` is the factor's or interaction's id and `label` its words; `number` the points, or the probability (0 to 1)
    of a consultant at the published baseline. Without `certain` it may hold, or the points are at most so many.
    """

    by: Literal["floor", "points", "probability", "interaction"]
    tier: int
    rule: str = ""
    label: str = ""
    number: float = 0
    certain: bool = True

    @property
    def words(self) -> str:
        """The reason with its numbers, their limits being beside them."""
        if self.by == "probability":
            chance = percent(self.number)
            return f"a consultant's probability of {chance} at the published baseline: the band of tier {self.tier}"
        return self.short

    @property
    def short(self) -> str:
        """The reason without a percentage, for pages that have no room for what limits one."""
        match self.by:
            case "probability":
                return f"a consultant's probability: the band of tier {self.tier}"
            case "points":
                points = counted(int(self.number), "point")
                if self.certain:
                    return f"{points}: the band of tier {self.tier}"
                return f"up to {points}: the band of tier {self.tier}"
            case "floor":
                words = f"{self.label}: demands tier {self.tier}"
            case "interaction":
                words = f"{self.label}: {counted(self.tier, 'tier')} up"
        return words if self.certain else f"{words} (not recorded, may hold)"


@dataclass(frozen=True)
class FactorReason:
    """Why a factor is in its state: the rulebook's words filled in where it holds, else the findings that decide it.

    `findings` are labels: of what is not recorded, of the one that is not asked, or of what is recorded, with its
    value; `needs` words the factor's condition.
    """

    state: State
    text: str = ""
    findings: tuple[str, ...] = ()
    needs: str = ""

    @property
    def words(self) -> str:
        listed = ", ".join(self.findings)
        match self.state:
            case "holds":
                return self.text
            case "unknown":
                return f"not recorded: {listed}"
            case "not-applicable":
                return f"{listed} is not asked in this eye"
            case _:
                return f"{listed}; it needs {self.needs}"


@dataclass(frozen=True)
class SettleReason:
    """Why the case must settle first; `certain` is false when the reason is that something is not recorded.

    `text` is the rulebook's; for what is not recorded `heading` is the rulebook's word for that, `findings` labels.
    """

    id: str
    settle_by: str
    certain: bool
    text: str = ""
    heading: str = ""
    findings: tuple[str, ...] = ()

    @property
    def because(self) -> str:
        if not self.findings:
            return self.text
        names = ", ".join(map(lower_first, self.findings))
        why = f" ({self.text})" if self.text and self.text.casefold() != names.casefold() else ""
        return f"{self.heading}: {names}{why}"

    @property
    def settled_by(self) -> str:
        """Who or what settles it."""
        return self.settle_by


@dataclass(frozen=True)
class MissingKit(SettleReason):
    """An item that the unit lacks, by its label, wanted in `every_case` or for what `findings` names."""

    every_case: bool = False

    @property
    def because(self) -> str:
        wanted = ", ".join(map(lower_first, wanted_for(self.every_case, self.findings)))
        return f"this unit lacks {lower_first(self.text)} (for: {wanted})"

    @property
    def settled_by(self) -> str:
        return "borrow it, move the case, or postpone"


def wanted_for(every_case: bool, options: tuple[str, ...]) -> tuple[str, ...]:
    """What an item of kit is wanted for, in words."""
    return ("every case", *options) if every_case else options


@dataclass(frozen=True)
class UnaskedFinding:
    """A finding that was recorded though nothing asks for it, and raises the tier."""

    label: str
    shown: str
    least: int
    working: int

    @property
    def words(self) -> str:
        raised = f"raises the tier from {self.least} to {self.working}"
        return f"{self.label} {self.shown}: recorded though nothing asks for it here, and {raised}"


@dataclass(frozen=True)
class SupervisionReason:
    """What decides how close the supervisor is.

    The table (`tier` and the stage's label), the operator's own probability (`most`, at or above `limit`), an override
    in the rulebook's words, or an approval: by whom, and the mode that the rulebook has.
    """

    by: Literal["table", "probability", "override", "approval"]
    text: str = ""
    tier: int = 0
    most: float = 0
    limit: float = 0
    approved_by: str = ""

    @property
    def words(self) -> str:
        match self.by:
            case "table":
                return f"tier {self.tier}, {self.text}"
            case "probability":
                most, limit = percent(self.most), percent(self.limit)
                return f"this operator's own probability may reach {most}, at or above {limit}"
            case "override":
                return self.text
            case _:
                return f"approved by {self.approved_by}; by the rulebook {self.text}"
