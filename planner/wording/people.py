"""Who operates and under whom, said from data: the one place that words it, for paper, page, text and calendar."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Team:
    """A supervisor and the trainee with them, None for none.

    `mode` is how close the supervisor is, `whole` whether the trainee does the whole operation or named steps of the
    supervisor's, `stage` the trainee's. `uncovered` says how this is not what was approved, empty where it is.
    """

    supervisor: str
    trainee: str | None
    mode: str = ""
    whole: bool = True
    stage: str = ""
    uncovered: str = ""

    @property
    def staged(self) -> str:
        """`trainee-2 (early)`."""
        return f"{self.trainee} ({self.stage})"


def mode_words(mode: str) -> str:
    """How close a supervisor is, by its name in the rulebook: `in theatre`."""
    modes = {
        "on-site": "on site",
        "in-theatre": "in theatre",
        "scrubbed": "scrubbed",
        "consultant-operates": "consultant operates",
        "consultant-only": "consultant only",
    }
    return modes[mode]


def supervised_by(mode: str, grade: str) -> str:
    """How close the supervisor is, and of which grade: `in theatre, trainer`."""
    return f"{mode_words(mode)}, {grade}"


def names(trainee: str | None, supervisor: str) -> str:
    """Both by name: `trainee-2, trainer-1`."""
    return f"{trainee or 'no trainee'}, {supervisor}"


def under(trainee: str | None, supervisor: str) -> str:
    """`trainee-2, under trainer-1`."""
    return f"{trainee or 'no trainee'}, under {supervisor}"


def operates(team: Team, as_in_files: bool = False) -> str:
    """`trainee-2 operates, trainer-1 in theatre`, or who else does; `as_in_files` with stage and mode as files have
    them."""
    if team.trainee is None:
        return f"{team.supervisor} operates"
    trainee, mode = (team.staged, team.mode) if as_in_files else (team.trainee, mode_words(team.mode))
    if team.whole:
        return f"{trainee} operates, {team.supervisor} {mode}"
    return f"{team.supervisor} operates, {trainee} takes named steps"


def in_a_line(team: Team) -> str:
    """`trainee-2; trainer-1 scrubbed`, for where a case has one line."""
    if team.uncovered:
        return "not approved as placed"
    if team.trainee is None:
        return team.supervisor
    if team.whole:
        return f"{team.trainee}; {team.supervisor} {mode_words(team.mode)}"
    return f"{team.supervisor}, with {team.trainee}"


def without_steps(team: Team) -> str:
    """`trainee-2, trainer-1 scrubbed`, for a calendar, which tells nobody's steps."""
    if team.uncovered:
        return "not approved as placed"
    return f"{team.trainee}, {team.supervisor} {mode_words(team.mode)}" if team.trainee else team.supervisor


def operator_and_other(team: Team) -> tuple[str, str]:
    """Who operates, and apart from that who else is there, for two cells of a page."""
    if team.uncovered:
        return "Not approved as placed", f"{names(team.trainee, team.supervisor)}: {team.uncovered}"
    if team.trainee is None:
        return team.supervisor, "no trainee"
    if team.whole:
        return team.trainee, f"{team.supervisor}, {mode_words(team.mode)}"
    return team.supervisor, f"{team.trainee} takes named steps"


def operator_and_supervisor(team: Team) -> tuple[str, str]:
    """The same as it hangs in theatre, with the trainee's stage; of a pair not approved so it names nobody."""
    if team.uncovered:
        return "not approved as placed", team.uncovered
    if team.trainee is None:
        return team.supervisor, "consultant operates"
    if team.whole:
        return team.staged, f"{team.supervisor}, {mode_words(team.mode)}"
    return team.supervisor, f"operates; {team.staged} takes steps"
