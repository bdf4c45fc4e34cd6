"""Which option of each choice the case gets, which could still be, and which is prepared."""

from __future__ import annotations

from planner.assess.assess import Assessor
from planner.assess.compiled import Values
from planner.case import Case
from planner.errors import PlannerError
from planner.plan.plan import Chosen, PlannedDevice, Rejected
from planner.rulebook.plan_shapes import Choice, Option
from planner.truth import Truth
from planner.wording import lower_first, sentence


class Picture:
    """A case's truths as its choices are decided: what wins or is open, and the lines that hold or may hold."""

    def __init__(self, assessor: Assessor, case: Case) -> None:
        self.assessor = assessor
        self.case = case
        made = assessor.compiled
        self.values: Values = case.values(assessor.rulebook.vocabulary)
        self.truths, _ = made.core(self.values)
        self.options = made.options(self.values, self.truths)
        self.lines = made.rest(self.values, self.truths, self.options)
        self.names = assessor.tracer.names

    def option(self, name: str) -> Truth:
        return self.options[self.assessor.compiled.option_place[name]]

    def line(self, name: str) -> Truth:
        return self.lines[self.assessor.compiled.rest_place[name]]

    def may_hold(self, name: str) -> bool:
        """Whether a line holds in at least one allowed completion."""
        truth = self.line(name)
        return self.assessor.may_hold(self.values, name) if truth is None else truth

    def as_planned(self, choices: dict[str, Chosen]) -> None:
        """Take what is prepared as planned, what is still possible as unknown, and everything else as not planned."""
        place = self.assessor.compiled.option_place
        options = list(self.options)
        for chosen in choices.values():
            options[place[f"option:{chosen.choice}.{chosen.option}"]] = True
            for other in chosen.rejected:
                options[place[f"option:{chosen.choice}.{other.option}"]] = None if other.possible else False
        self.lines = self.assessor.compiled.rest(self.values, self.truths, tuple(options))


def choose(picture: Picture) -> dict[str, Chosen]:
    """For each choice the prepared option; the possible winners are exactly those of the allowed completions."""
    return {choice.id: _chosen(picture, choice) for choice in picture.assessor.rulebook.choices.values()}


def possible_winners(picture: Picture, choice: Choice) -> list[Option]:
    """The options that win in at least one allowed completion."""

    def may_win(option: Option) -> bool:
        name = f"option:{choice.id}.{option.id}"
        truth = picture.option(name)
        return picture.assessor.may_hold(picture.values, name) if truth is None else truth

    return [option for option in choice.options if may_win(option)]


def prepared(picture: Picture, choice: Choice, winners: list[Option]) -> Option:
    """The more cautious of the possible winners that no line may hold against.

    `safer_when_unknown` comes first, then whichever outranks the other; an option against which a withhold may hold
    is prepared only when every possible winner has such a line.
    """
    stronger = picture.assessor.rulebook.outranking

    def outranked(option: Option) -> int:
        return sum(f"{choice.id}.{other.id}" in stronger[f"{choice.id}.{option.id}"] for other in winners)

    def rank(option: Option) -> tuple[bool, bool, int]:
        against = picture.assessor.rulebook.withheld.get(f"{choice.id}.{option.id}", [])
        doubtful = any(picture.may_hold(f"rule:{rule.id}") for rule in against)
        return doubtful, not option.safer_when_unknown, outranked(option)

    return min(winners, key=rank)


def _chosen(picture: Picture, choice: Choice) -> Chosen:
    winners = possible_winners(picture, choice)
    if not winners:
        raise PlannerError.one(
            f"no option of {choice.id} is left for this eye",
            "rulebook",
            "every one is withheld",
            "let one withhold name an option that then opens",
        )
    option = prepared(picture, choice, winners)
    provisional = len(winners) > 1
    rejected = []
    for other in choice.options:
        if other is option:
            continue
        possible = other in winners
        rejected.append(Rejected(other.id, other.label, possible, _reason(picture, choice, other, possible)))
    settled_by = _turns_on(picture, [f"{choice.id}.{winner.id}" for winner in winners]) if provisional else ()
    return Chosen(
        choice.id,
        choice.step,
        choice.question,
        option.id,
        option.label,
        provisional,
        option.prepared_as if provisional else None,
        tuple(option.do),
        tuple(option.watch),
        tuple(pause.words for pause in option.pause_if),
        option.why,
        option.basis.words,
        tuple(rejected),
        settled_by,
        option.opening_mm,
        option.seat,
        option.main_incision,
        option.side_ports,
        tuple(PlannedDevice(**dict(device)) for device in option.drawn),
    )


def _reason(picture: Picture, choice: Choice, option: Option, possible: bool) -> str:
    rulebook = picture.assessor.rulebook
    name = f"{choice.id}.{option.id}"
    for rule in rulebook.withheld.get(name, []):
        if picture.line(f"rule:{rule.id}"):
            return f"withheld: {rule.text}"
    needs = sentence(option.when, rulebook.vocabulary, picture.names)
    if possible:
        return f"possible until recorded: {', '.join(lower_first(f) for f in _turns_on(picture, [name])) or needs}"
    if picture.option(f"open:{name}"):
        return f"gives way to: {', '.join(lower_first(label) for label in _stronger(picture, choice, option))}"
    return f"needs {needs}"


def _stronger(picture: Picture, choice: Choice, option: Option) -> list[str]:
    """Labels of the open options that outrank this one, directly or through others."""
    over = {name.split(".")[1] for name in picture.assessor.rulebook.outranking[f"{choice.id}.{option.id}"]}
    return [o.label for o in choice.options if o.id in over and picture.option(f"open:{choice.id}.{o.id}") is not False]


def _turns_on(picture: Picture, names: list[str]) -> tuple[str, ...]:
    """Labels of the missing findings that leave it open whether these options win."""
    completions, rulebook = picture.assessor.completions, picture.assessor.rulebook
    places = set().union(*(completions.open_in(rulebook.wins[name], picture.values) for name in names))
    return tuple(rulebook.vocabulary.findings[place].label for place in sorted(places))
