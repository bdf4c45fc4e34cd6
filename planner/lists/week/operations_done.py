"""Whole operations that each trainee has behind them: by what happened, or until that is entered, as published."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Mapping

from planner.lists.roster.shapes import Roster
from planner.records.store import Store


def whole_so_far(store: Store, roster: Roster, ids: Mapping[str, str], before: datetime.date) -> Counter[str]:
    """By trainee of the sessions file, on days before that one and from their own `counts_from` on.

    `ids` gives the trainee of the sessions file for a code in the records. An operation of which somebody else took a
    step is no whole one. A list published before its rows said who did the whole counts for nothing.
    """
    since = {learner.id: learner.counts_from or datetime.date.min for learner in roster.trainees}
    done: Counter[str] = Counter()
    outcomes = store.outcomes_in_force()
    for outcome in outcomes.values():
        trainee = ids.get(outcome.operated_by, outcome.operated_by)
        alone = all(step.who in ("", "trainee") for step in outcome.steps)
        if trainee in since and since[trainee] <= outcome.day < before and alone:
            done[trainee] += 1
    for version in store.published_before(before).values():
        for row in version.document.get("rows", ()):
            trainee = row.get("trainee")
            if trainee in since and row.get("whole") and version.day >= since[trainee]:
                case = store.find_case(row["case"], row["eye"])
                done[trainee] += case is None or case.id not in outcomes
    return done
