"""How a case stands, in words: its state, when it was saved, how an approval ended, who does what."""

from __future__ import annotations

from planner.documents.figures import moment
from planner.local_time import local, wall
from planner.records.rows import ApprovalStanding, CaseNow, State
from planner.wording.language import say


def state_in_words(now: CaseNow, standing: ApprovalStanding | None) -> str:
    """A case's state in words; an approval that no longer stands is not called one."""
    if standing is not None and standing.state != "stands":
        return say("Approval lapsed")
    words: dict[State, str] = {
        "draft": say("Draft"),
        "sent-back": say("Question to answer"),
        "submitted": say("Waits for approval"),
        "approved": say("Approved"),
        "listed": say("Approved, on a list"),
        "operated": say("Operated"),
    }
    return words[now.state]


def rests_on_it(now: CaseNow) -> str:
    """What a change ends that a consultant has, or has been given, to decide on; empty for a case still in hand."""
    words: dict[State, str] = {
        "submitted": say("It waits for approval. Saving a change takes it back, to be submitted again."),
        "approved": say("It is approved. Saving a change withdraws that approval, and tells whoever gave it."),
        "listed": say(
            "It is approved and on a list. Saving a change withdraws the approval, and tells whoever gave it."
        ),
        "operated": say("It has been operated on."),
    }
    return words.get(now.state, "")


def ending_words(kind: str) -> str:
    """How an approval ended."""
    words = {"withdrawn": say("withdrawn"), "lapsed": say("lapsed"), "superseded": say("superseded")}
    return words.get(kind, kind)


def role_words(role: str) -> str:
    """Somebody's role, or whose hands a step is in."""
    words = {
        "trainee": say("trainee"),
        "consultant": say("consultant"),
        "organiser": say("organiser"),
        "administrator": say("administrator"),
        "supervisor": say("supervisor"),
    }
    return words.get(role, role)


def clock_time(at: str) -> str:
    """The time of a stored moment by the unit's clock, `10:32`."""
    return f"{local(at):%H:%M}"


def day_and_time(at: str) -> str:
    """`2 November 2026, 10:32` by the unit's clock."""
    return moment(wall(at))
