"""Which option of each choice is written, which others are still possible, and what would have to be found for them.

The option on record is written where everything unknown that would change it can still be looked for in theatre
before the choice's first irreversible act, or is hidden and accepted so; otherwise the more cautious of what cannot be
told apart there. An option that gives a block, a drug, a dye or an implant gives way to the most cautious such option
that is possible at all.
"""

from __future__ import annotations

from planner.assess.assess import Assessor
from planner.assess.compiled import EyeTruths, Values
from planner.errors import PlannerError
from planner.plan.gates import gates_of
from planner.plan.picture import Picture
from planner.plan.plan import OtherOption, PlannedChoice
from planner.rulebook.plan_shapes import Choice, Option
from planner.wording.conditions import sentence
from planner.wording.words import lower_first


def choose(picture: Picture) -> dict[str, PlannedChoice]:
    """For each choice the written option; the possible winners are exactly those of the allowed completions."""
    return {choice.id: _chosen(picture, choice) for choice in picture.rulebook.choices.values()}


def possible_winners(picture: Picture, choice: Choice) -> list[Option]:
    """The options that win in at least one allowed completion."""
    return _winners(picture.assessor, choice, picture.known)


def _winners(assessor: Assessor, choice: Choice, eye: EyeTruths) -> list[Option]:
    def may_win(option: Option) -> bool:
        name = f"option:{choice.id}.{option.id}"
        truth = eye.truth(name)
        return assessor.may_hold(eye.values, name) if truth is None else truth

    return [option for option in choice.options if may_win(option)]


def cautious(assessor: Assessor, choice: Choice, values: Values, winners: list[Option]) -> Option:
    """Of the possible winners one that no line may hold against, `safer_when_unknown` first, then by what outranks."""
    stronger = assessor.rulebook.outranking

    def outranked(option: Option) -> int:
        return sum(f"{choice.id}.{other.id}" in stronger[f"{choice.id}.{option.id}"] for other in winners)

    def rank(option: Option) -> tuple[bool, bool, int]:
        doubtful = _may_be_withheld(assessor, choice, values, option)
        return doubtful, not option.safer_when_unknown, outranked(option)

    return min(winners, key=rank)


def _may_be_withheld(assessor: Assessor, choice: Choice, values: Values, option: Option) -> bool:
    against = assessor.rulebook.withheld.get(f"{choice.id}.{option.id}", [])
    return any(assessor.may_hold(values, f"rule:{rule.id}") for rule in against)


def written(picture: Picture, choice: Choice, winners: list[Option]) -> Option:
    """The option that the plan is written with, among all that are possible."""
    assessor = picture.assessor
    if len(winners) == 1 or picture.plain is None:
        return cautious(assessor, choice, picture.values, winners)
    made = assessor.compiled
    reached = frozenset().union(*(made.depends[f"option:{name}"] for name in choice.names))
    open_ones = {place for place in reached if picture.values[place] is None and picture.plain[place] is not None}
    looked_for = (place for place in open_ones if not picture.is_accepted(place))
    unseen = frozenset(place for place in looked_for if not picture.is_seen_before(place, choice.act))
    node = assessor.completions.plain(picture.values, unseen) if unseen else picture.plain
    if node is None:
        return cautious(assessor, choice, picture.values, winners)
    left = _winners(assessor, choice, EyeTruths(made, node))
    option = left[0] if len(left) == 1 else cautious(assessor, choice, node, left)
    if not option.strict:
        return option
    strict = [other for other in winners if other.strict]
    # Where every strict one may meet a withhold, one of all the possible winners does not.
    free = [other for other in strict if not _may_be_withheld(assessor, choice, picture.values, other)]
    return cautious(assessor, choice, picture.values, strict if free else winners)


def _chosen(picture: Picture, choice: Choice) -> PlannedChoice:
    winners = possible_winners(picture, choice)
    if not winners:
        hint = "let one withhold name an option that then opens"
        raise PlannerError.one(
            f"no option of {choice.id} is left for this eye", "rulebook", "every one is withheld", hint
        )
    option = written(picture, choice, winners)
    provisional = len(winners) > 1
    is_on_record = picture.plain is not None and picture.on_record(f"option:{choice.id}.{option.id}") is True
    rejected = tuple(
        OtherOption(other.id, other.label, other in winners, _reason(picture, choice, other, other in winners))
        for other in choice.options
        if other is not option
    )
    settled_by = _turns_on(picture, [f"{choice.id}.{winner.id}" for winner in winners]) if provisional else ()
    return PlannedChoice(
        choice.id, choice.step, choice.question, option.id, option.label, provisional,
        option.prepared_as if provisional and not is_on_record else None,
        gates_of(picture, choice, [other for other in winners if other is not option]), option,
        rejected, settled_by,
    )  # fmt: skip


def _reason(picture: Picture, choice: Choice, option: Option, possible: bool) -> str:
    rulebook = picture.rulebook
    name = f"{choice.id}.{option.id}"
    withheld = [rule.text for rule in rulebook.withheld.get(name, []) if picture.truth(f"rule:{rule.id}")]
    if withheld:
        return f"withheld: {'; '.join(withheld)}"
    needs = sentence(option.when, rulebook.vocabulary, picture.names)
    if possible:
        return f"possible until recorded: {', '.join(lower_first(f) for f in _turns_on(picture, [name])) or needs}"
    if not picture.truth(f"open:{name}"):
        return f"needs {needs}"
    over = (other for other in rulebook.outranking[name] if picture.truth(f"open:{other}") is not False)
    return f"gives way to: {', '.join(lower_first(rulebook.options[other].label) for other in over)}"


def _turns_on(picture: Picture, names: list[str]) -> tuple[str, ...]:
    """Labels of the missing findings that leave it open whether these options win."""
    completions, rulebook = picture.assessor.completions, picture.rulebook
    places = set().union(*(completions.open_in(rulebook.wins[name], picture.values) for name in names))
    return tuple(rulebook.vocabulary.findings[place].label for place in sorted(places))
