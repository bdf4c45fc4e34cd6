"""The view of one session's list and brief: every cell as it prints."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Told:
    """What holds, and what nobody recorded; neither where each was asked and there is none."""

    holds: tuple[str, ...]
    not_recorded: tuple[str, ...]


@dataclass(frozen=True)
class BriefRow:
    """A case of the list, expected at `starts` for so many `minutes`, turnover among them. `kit` is what must be there
    beyond what every case takes; `pauses` has the step and why to stop in it."""

    order: int
    key: tuple[str, str]
    side: str
    reference: str
    patient: str
    tier: str
    approved: str
    starts: str
    minutes: int
    operator: str
    supervisor: str
    steps: str
    anaesthesia: str
    anaesthetist: str
    lens: str
    backup: str
    biometry: str
    allergies: Told
    infection: Told
    others: Told
    kit: tuple[str, ...]
    settle: tuple[str, ...]
    missing: tuple[str, ...]
    hard_because: tuple[str, ...]
    pauses: tuple[tuple[str, str], ...]
    mark: str


@dataclass(frozen=True)
class KitToPull:
    """An item to pull: for which cases of the list, and how it is there."""

    label: str
    count: int
    orders: str
    certain: bool
    here: str


@dataclass(frozen=True)
class SaidOfCases:
    """Something to say with the cases it is about: a drug not to be given, a drill that is likely."""

    label: str
    orders: str
    says: tuple[str, ...]


@dataclass(frozen=True)
class Remark:
    """What the checker says of the list, and what to do about it."""

    says: str
    do: str


@dataclass(frozen=True)
class ListMinutes:
    """Minutes expected of minutes there are, and the chance of overrun as a fraction of 1."""

    expected: float
    available: int
    chance_of_overrun: float


@dataclass(frozen=True)
class Brief:
    """`version` is what the sheets say of themselves; `rows_off` are cases that came off since the version before."""

    theatre: str
    anaesthetist: bool
    unit: str
    day: str
    weekday: str
    hours: str
    rows: tuple[BriefRow, ...]
    minutes: ListMinutes | None
    limit: float
    kit: tuple[KitToPull, ...]
    in_every_case: tuple[str, ...]
    drugs: tuple[SaidOfCases, ...]
    drills: tuple[SaidOfCases, ...]
    lookalikes: tuple[Remark, ...]
    broken: tuple[Remark, ...]
    asked: tuple[Remark, ...]
    people: tuple[str, ...]
    rows_off: tuple[str, ...]
    version: str
    deferral: tuple[str, ...]

    @property
    def hardest_first(self) -> list[BriefRow]:
        return sorted(self.rows, key=lambda row: (row.tier, len(row.pauses)), reverse=True)
