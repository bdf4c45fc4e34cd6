"""What would change the plan: for each option or line that is only possible, the findings that would bring it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from planner.assess.compiled import Values
from planner.plan.picture import Picture, Turned
from planner.plan.plan import Gate
from planner.rulebook.plan_shapes import Choice, Line, Option, Step
from planner.vocabulary import Finding
from planner.wording import lower_first


def gates_of(picture: Picture, choice: Choice, others: list[Option]) -> tuple[Gate, ...]:
    """For each other possible winner of a choice, what would have to be found; in the order of the options."""
    if picture.plain is None:
        return ()
    place = picture.assessor.compiled.option_place
    gates = []
    for option in others:
        name = f"option:{choice.id}.{option.id}"
        first_act = choice.first_act or choice.step
        if picture.plain_options[place[name]] is True:
            gates.append(_once_clear(picture, choice, option))
            continue
        turned = [one for one in picture.turned if one.options[place[name]] is True]
        if turned:
            findings, asks = _asked(picture, turned)
            seen = all(picture.is_seen_before(one.place, first_act) for one in turned)
            late = all(picture.is_hidden(one.place) for one in turned)
            before = picture.assessor.rulebook.theatre.once_in_view if late else choice.before
            gates.append(Gate(findings, asks, False, option.id, option.label, tuple(option.do), before, seen))
        else:
            gates.append(_together(picture, choice, option, name))
    return tuple(gates)


def lines_if_found(picture: Picture, step: Step) -> tuple[tuple[Line, Gate], ...]:
    """The lines of a step that do not hold on record, each with what one finding would bring it, all else plain."""
    if picture.plain is None:
        return ()
    rest_place, found = picture.assessor.compiled.rest_place, []
    for line in step.lines:
        name = f"line:{step.id}:{line.id}"
        if not line.do or picture.line(name) is not None or picture.on_record(name) is not False:
            continue
        turned = [one for one, lines in picture.turned_lines if rest_place[name] in lines]
        if turned:
            findings, asks = _asked(picture, turned)
            found.append((line, Gate(findings, asks, False, None, "", tuple(line.do), None, True)))
    return tuple(found)


def _asked(picture: Picture, turned: Iterable[Turned]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The findings, and each in words with the values that matter."""
    values: dict[int, list[Any]] = {}
    for one in turned:
        values.setdefault(one.place, []).append(one.value)
    findings = picture.assessor.rulebook.vocabulary.findings
    ids = tuple(findings[place].id for place in values)
    return ids, tuple(words_of(picture, findings[place], found) for place, found in values.items())


def words_of(picture: Picture, finding: Finding, values: list[Any]) -> str:
    """A finding at some of its values, as one would ask for it: `dilated pupil below 5 mm`, `phacodonesis`."""
    label = lower_first(finding.label)
    match finding.kind:
        case "yes-no":
            return label if True in values else f"{label}: no"
        case "set":
            named = dict.fromkeys(item for value in values for item in value)
            shown = " or ".join(finding.values[item] for item in finding.values if item in named)
            return f"{label}: {shown or 'none'}"
        case "number" | "count":
            return _limit(picture, finding, values)
    return f"{label}: {' or '.join(finding.shown(value) for value in values)}"


def _limit(picture: Picture, finding: Finding, values: list[float]) -> str:
    """A number by the limit that all these values pass, in the rulebook's own words for it."""
    label, below = lower_first(finding.label), finding.worse == "lower"
    edge, step = (max(values) if below else min(values)), (finding.step or 1) * 1.01
    for test in picture.assessor.compiled.number_tests.get(finding.id, ()):
        if below and test.how == "less_than" and 0 < test.limit - edge <= step:
            return f"{label} below {finding.shown(test.limit)}"
        if not below and test.how == "more_than" and 0 < edge - test.limit <= step:
            least = finding.possible[0] if finding.possible else None
            return f"any {label}" if test.limit == least == 0 else f"{label} above {finding.shown(test.limit)}"
    return f"{label} {finding.shown(edge)} or {'less' if below else 'more'}"


def _once_clear(picture: Picture, choice: Choice, option: Option) -> Gate:
    """The option on record, where a more cautious one is written until what may bar it has been looked for."""
    first_act, won = choice.first_act or choice.step, f"option:{choice.id}.{option.id}"
    place = picture.assessor.compiled.option_place[won]
    barring = [one.place for one in picture.turned if one.options[place] is False]
    unseen = [where for where in barring if not picture.is_seen_before(where, first_act)]
    places = sorted(set(barring if option.strict else unseen or barring))
    findings = picture.assessor.rulebook.vocabulary.findings
    assert picture.plain is not None
    asks = tuple(words_of(picture, findings[where], [picture.plain[where]]) for where in places)
    ids = tuple(findings[where].id for where in places)
    return Gate(ids, asks, True, option.id, option.label, tuple(option.do), choice.before, False, once_clear=True)


def _together(picture: Picture, choice: Choice, option: Option, name: str) -> Gate:
    """What would have to be found together for an option that no single finding brings."""
    assessor = picture.assessor
    shown = assessor.completions.extreme(picture.values, assessor.objectives.holds(name), highest=True)
    assert picture.plain is not None and shown is not None
    places = _fewest(picture, shown.completion, picture.plain, name)
    findings = assessor.rulebook.vocabulary.findings
    asks = tuple(words_of(picture, findings[place], [value]) for place, value in places)
    ids = tuple(findings[place].id for place, _ in places)
    seen = all(picture.is_seen_before(place, choice.first_act or choice.step) for place, _ in places)
    return Gate(ids, asks, True, option.id, option.label, tuple(option.do), choice.before, seen)


def _fewest(picture: Picture, grave: Values, plain: Values, name: str) -> list[tuple[int, Any]]:
    """Few differences from the eye on record with which the option still wins."""
    assessor, made = picture.assessor, picture.assessor.compiled
    node = plain.copy()
    differing = [p for p in made.by_depth if picture.values[p] is None and grave[p] not in (None, plain[p])]
    for place in differing:
        node[place] = grave[place]
    for place in reversed(differing):
        kept, node[place] = node[place], plain[place]
        truths, _ = made.core(node)
        allowed = not any(truths[pair] for pair in assessor.completions.pair_places)
        if not allowed or made.options(node, truths)[made.option_place[name]] is not True:
            node[place] = kept
    return [(place, node[place]) for place in differing if node[place] != plain[place]]

