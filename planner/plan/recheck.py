"""What is asked again at the table, and what of it is worse than the plan was written for."""

from __future__ import annotations

from planner.assess.assessment import Assessment
from planner.assess.trace import fill
from planner.plan.gates import worse_words
from planner.plan.picture import Picture
from planner.wording.words import lower_first

ASKED_IN_A_LINE = 6


def recheck_lines(picture: Picture) -> tuple[tuple[str, str], ...]:
    """The rulebook's lines that may hold of this eye: what is asked, and what is worse than planned."""
    vocabulary = picture.assessor.rulebook.vocabulary
    return tuple(
        (fill(line.ask, picture.case, vocabulary), fill(line.worse_than, picture.case, vocabulary))
        for place, line in enumerate(picture.assessor.rulebook.theatre.recheck)
        if picture.on_record(f"recheck:{place}") is not False
    )


def not_recorded(picture: Picture, assessment: Assessment) -> tuple[tuple[str, str], ...]:
    """What is not recorded and can still be asked or looked for in theatre, a line for each sitting.

    It stops at whatever is worse than the plain value that the plan was written with, the most decisive first.
    """
    vocabulary, theatre = picture.assessor.rulebook.vocabulary, picture.assessor.rulebook.theatre
    lines = []
    for look in assessment.looks:
        seen = [vocabulary.by_id[name] for name in look.findings if vocabulary.by_id[name].seen_at is not None]
        worse = [words for finding in seen if (words := worse_words(picture, finding))]
        more = len(worse) - ASKED_IN_A_LINE
        if more > 1:
            worse = [*worse[:ASKED_IN_A_LINE], theatre.recheck_more.replace("{number}", str(more))]
        if worse:
            lines.append((f"{theatre.recheck_not_recorded}: {lower_first(look.label)}", ", ".join(worse)))
    return tuple(lines)
