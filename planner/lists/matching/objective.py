"""What lists are worth by the unit's wishes. Rules come first: a wish never buys a broken one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any

from planner.lists.matching.insertion import Assignment
from planner.lists.roster.shapes import Wishes
from planner.lists.week.instance import Instance, Key, Lists, Placing
from planner.lists.week.week import Week

# How many times over the wishes about waiting count a case.
_TIMES = {"urgent": 4, "soon": 3, None: 2, "routine": 1}
HARD = 3  # the tier from which eyes count as hard


def of_placing(instance: Instance, placing: Placing) -> dict[str, float]:
    """What a placing is worth whatever else stands on the lists, in the points of each wish it touches."""
    wishes, week = instance.wishes, Week(instance, Lists(()))
    asked = week.supervision(placing)
    days = instance.sessions[placing.session].day - instance.first_day
    times = _TIMES[week.case(placing).urgency]
    worth = {
        "placed": wishes.placed,
        "urgency": wishes.urgency * (times - 1),
        "waiting": -wishes.waiting * times * days.days,
    }
    if placing.case in instance.past_their_date:
        left = instance.last_session_day - instance.sessions[placing.session].day
        worth["past_its_date"] = wishes.past_its_date * (1 + (times - 1) / 10) * (left.days + 1)
    if placing.trainee is not None:
        learner = instance.trainees[placing.trainee]
        if not asked.whole:
            worth["named_steps"] = wishes.named_steps
        elif instance.wanted[placing.trainee] is None:
            worth["whole_operation"] = wishes.whole_operation
        else:
            worth["whole_operation"] = beyond_need(wishes)
        taken = learner.needs.intersection(asked.steps)
        if learner.steps_cleared is not None:
            taken &= learner.steps_cleared
        worth["needed_step"] = wishes.needed_step * len(taken)
        if asked.whole and learner.shown_tier is not None and week.case(placing).tier == learner.shown_tier + 1:
            worth["just_beyond"] = wishes.just_beyond
    if asked.by == "trainer" and week.supervisor(placing).grade == "consultant":
        worth["closer_than_needed"] = -wishes.closer_than_needed
    was = instance.as_published.get(placing.case)
    if was is not None and was.session == placing.session:
        same = (was.trainee, was.supervisor) == (placing.trainee, placing.supervisor)
        worth["few_changes"] = wishes.few_changes if same else wishes.few_changes / 2
    return {wish: points for wish, points in worth.items() if points}


def worth_of(instance: Instance, placing: Placing) -> float:
    """The same in all."""
    return sum(of_placing(instance, placing).values())


def beyond_need(wishes: Wishes) -> float:
    """What a whole operation counts for one who has as many as they still needed."""
    return min(wishes.named_steps, wishes.whole_operation)


def needed(wishes: Wishes) -> dict[str, float]:
    """What a whole operation counts beside, by wish, for one who still lacks some of their target."""
    return {"still_needed": wishes.whole_operation - beyond_need(wishes), "toward_target": wishes.toward_target}


def is_whole(instance: Instance, key: Key, trainee: str | None) -> bool:
    """Whether this trainee would do the whole of this operation."""
    return trainee is not None and instance.cases[key].with_stage[instance.trainees[trainee].stage].whole


class Tally:
    """What placings come to by the wishes that look at several at once: shares, targets, hard eyes on one list."""

    def __init__(self, instance: Instance, placings: Iterable[Placing] = ()) -> None:
        self.instance = instance
        # By trainee, and of these whole operations; then hard eyes by session.
        self.had: Counter[str | None] = Counter()
        self.whole: Counter[str | None] = Counter()
        self.hard: Counter[str] = Counter()
        self._shares: dict[str | None, float] = {}
        for placing in placings:
            self.take(placing)

    def take(self, placing: Placing, times: Any = 1) -> None:
        """Count a placing; `times` may be a variable of a model, which the counts are then written in."""
        self.had[placing.trainee] += times
        if is_whole(self.instance, placing.case, placing.trainee):
            self.whole[placing.trainee] += times
        if self.instance.cases[placing.case].tier >= HARD:
            self.hard[placing.session] += times
        self._shares = {}

    def points(self) -> dict[str, float]:
        wishes, trainees, wanted = self.instance.wishes, self.instance.trainees, self.instance.wanted
        towards = sum(min(self.whole[name], wanted[name] or 0) for name in trainees)
        return {
            "fair_share": self._uneven([self.had[name] for name in trainees]),
            **{wish: points * towards for wish, points in needed(wishes).items()},
            "hard_together": -wishes.hard_together * sum(max(0, hard - 1) for hard in self.hard.values()),
        }

    def with_one_more(self, key: Key, option: Assignment) -> dict[str, float]:
        """What one more placing adds, by wish, where it adds anything."""
        return self.of_trainee(key, option.trainee) | self.of_session(key, option.session)

    def of_trainee(self, key: Key, trainee: str | None) -> dict[str, float]:
        """What of that hangs on who operates."""
        worth = {"fair_share": self._shares_with_one_more()[trainee]}
        wanted = self.instance.wanted[trainee] if trainee else None
        if self.whole[trainee] < (wanted or 0) and is_whole(self.instance, key, trainee):
            worth |= needed(self.instance.wishes)
        return {wish: points for wish, points in worth.items() if points}

    def of_session(self, key: Key, session: str) -> dict[str, float]:
        """What of that hangs on the session's list."""
        weight = self.instance.wishes.hard_together
        together = weight and self.hard[session] and self.instance.cases[key].tier >= HARD
        return {"hard_together": -weight} if together else {}

    def _shares_with_one_more(self) -> dict[str | None, float]:
        if not self._shares:
            counts = [self.had[name] for name in self.instance.trainees]
            now = self._uneven(counts)
            self._shares = {None: 0.0}
            for n, name in enumerate(self.instance.trainees):
                more = self._uneven([*counts[:n], counts[n] + 1, *counts[n + 1 :]])
                self._shares[name] = round(more - now, 6)
        return self._shares

    def _uneven(self, counts: list[int]) -> float:
        """The wish's weight for each case of a trainee beyond the mean of all trainees, taken away."""
        mean = sum(counts) / len(counts) if counts else 0
        return -self.instance.wishes.fair_share * sum(max(0.0, count - mean) for count in counts)


def of_lists(instance: Instance, lists: Lists) -> float:
    """What lists are worth altogether."""
    alone = sum(worth_of(instance, placing) for placing in lists.placings)
    return alone + sum(Tally(instance, lists.placings).points().values())


def ranked(
    instance: Instance, others: Lists, key: Key, options: Iterable[Assignment]
) -> list[tuple[float, Assignment, dict[str, float]]]:
    """Options of a case by what each adds to other lists, in all and by wish, most first and equals as they come."""
    tally, ranking = Tally(instance, others.placings), []
    for option in options:
        worth = of_placing(instance, option.placing(key))
        worth |= tally.with_one_more(key, option)
        ranking.append((round(sum(worth.values()), 6), option, worth))
    return sorted(ranking, key=lambda each: -each[0])
