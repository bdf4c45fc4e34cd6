"""The view of the weeks at a glance: each session in one row, what waits without a place, and whose turn."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CaseAtAGlance:
    """A case in one line: `who` is the operator, and under whom where that is somebody else."""

    order: int
    side: str
    reference: str
    tier: int
    who: str


@dataclass(frozen=True)
class SessionAtAGlance:
    """Minutes expected of minutes there are, the chance of overrun as a fraction, what is wrong, and cases past their
    date."""

    session: str
    theatre: str
    hours: str
    supervisors: tuple[str, ...]
    anaesthetist: bool
    expected: int
    minutes: int
    chance: float
    cases: tuple[CaseAtAGlance, ...]
    broken: tuple[str, ...]
    past: tuple[str, ...]
    asked: int

    @property
    def filled(self) -> int:
        """Share of the minutes, in percent, 100 at most."""
        return min(100, round(100 * self.expected / self.minutes))


@dataclass(frozen=True)
class CaseWithoutPlace:
    """A case without a place, how pressing it is, and the rules that bar it."""

    side: str
    reference: str
    tier: int
    pressing: str
    barred: tuple[str, ...]


@dataclass(frozen=True)
class TraineeShare:
    """What a trainee has on all of the lists: whole operations, and cases with named steps."""

    trainee: str
    stage: str
    whole: int
    steps: int


@dataclass(frozen=True)
class WeeksAtAGlance:
    """`weeks`: each by its title, and each of its days by title with its sessions."""

    weeks: dict[str, dict[str, list[SessionAtAGlance]]]
    waiting: tuple[CaseWithoutPlace, ...]
    shares: tuple[TraineeShare, ...]
    placed: int
