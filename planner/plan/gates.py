"""What would change the plan: for each option or line that is only possible, the findings that would bring it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from planner.assess.compiled import EyeTruths, Values
from planner.conditions import Condition, Test, compare, factors_in
from planner.harm import harm
from planner.plan.picture import EyeVariant, Picture
from planner.plan.plan import Gate
from planner.rulebook.plan_shapes import Choice, Option, Step
from planner.vocabulary import Finding, Ordered, Outside
from planner.wording.words import lower_first

# A factor is named in place of its signs where more than so many of them would bring the same.
FEWEST_SIGNS = 2


def gates_of(picture: Picture, choice: Choice, others: list[Option]) -> tuple[Gate, ...]:
    """For each other possible winner of a choice, what would have to be found; in the order of the options."""
    if picture.plain is None:
        return ()
    gates = []
    for option in others:
        name = f"option:{choice.id}.{option.id}"
        if picture.on_record(name) is True:
            gates.append(_once_clear(picture, choice, option))
            continue
        bringing = [variant for variant in picture.variants if variant.eye.truth(name) is True]
        if bringing:
            findings, asks = _asked(picture, bringing)
            named = _named(picture, bringing, option.when)
            seen = all(picture.is_seen_before(variant.place, choice.act) for variant in bringing)
            late = all(picture.is_accepted(variant.place) for variant in bringing)
            before = picture.rulebook.theatre.once_in_view if late else choice.before
            gates.append(Gate(findings, asks, named, False, option.id, option.label, tuple(option.do), before, seen))
        else:
            gates.append(_together(picture, choice, option, name))
    return tuple(gates)


def lines_if_found(picture: Picture, step: Step) -> tuple[Gate, ...]:
    """For each line of a step that does not hold on record, what one finding would bring it, all else plain."""
    if picture.plain is None:
        return ()
    gates = []
    for line in step.lines:
        name = f"line:{step.id}:{line.id}"
        if not line.do or picture.truth(name) is not None or picture.on_record(name) is not False:
            continue
        # What only makes up for an option that would no longer be the one is left out.
        both = zip(picture.variants, picture.variants_as_written, strict=True)
        bringing = [variant for variant, written in both if written.truth(name) and variant.eye.truth(name)]
        if bringing:
            findings, asks = _asked(picture, bringing)
            named = _named(picture, bringing, line.when)
            gates.append(Gate(findings, asks, named, False, None, "", tuple(line.do), None, True))
    return tuple(gates)


def worse_words(picture: Picture, finding: Finding) -> str:
    """What is worse of a finding than its plain value, as one would ask for it; nothing where no value is."""
    made = picture.assessor.compiled
    place = made.index[finding.id]
    plain = finding.plain_value
    if plain is None:
        return ""
    worse = [cell for cell in made.cells[place] if harm(finding, cell) > harm(finding, plain)]
    return words_of(picture, finding, worse) if worse else ""


def _asked(picture: Picture, variants: Iterable[EyeVariant]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """The findings, and each in words with the values that matter."""
    values: dict[int, list[Any]] = {}
    for variant in variants:
        values.setdefault(variant.place, []).append(variant.value)
    findings = picture.rulebook.vocabulary.findings
    ids = tuple(findings[place].id for place in values)
    return ids, tuple(words_of(picture, findings[place], at_values) for place, at_values in values.items())


def _named(picture: Picture, variants: Sequence[EyeVariant], when: Condition) -> tuple[str, ...]:
    """The same in fewer words: a factor that the condition names stands for the findings that bring it."""
    left = list(variants)
    named = []
    for factor in sorted(factors_in(when), key=lambda name: (-_signs(name, variants), name)):
        if _signs(factor, left) > FEWEST_SIGNS:
            named.append(lower_first(picture.rulebook.factors[factor].label))
            left = [variant for variant in left if not variant.eye.truth(f"factor:{factor}")]
    return (*named, *_asked(picture, left)[1])


def _signs(factor: str, variants: Sequence[EyeVariant]) -> int:
    """How many findings bring a factor."""
    return len({variant.place for variant in variants if variant.eye.truth(f"factor:{factor}")})


def words_of(picture: Picture, finding: Finding, values: list[Any]) -> str:
    """A finding at some of its values, as one would ask for it: `dilated pupil below 5 mm`, `phacodonesis`."""
    label = lower_first(finding.label)
    match finding.kind:
        case "yes-no":
            return label if True in values else f"{label}? no"
        case "set":
            named = dict.fromkeys(item for value in values for item in value)
            shown = " or ".join(finding.values[item] for item in finding.values if item in named)
            return f"{label}: {shown or 'none'}"
        case "number" | "count":
            return _limit(picture, finding, values)
    if isinstance(finding.worse, Ordered):
        # Values that nothing tells apart from the worst of these are as bad.
        cells = picture.assessor.compiled.cells[picture.assessor.compiled.index[finding.id]]
        rank, worst = finding.worse.rank, values[-1]
        values = [*values, *(v for v in rank if worst == cells[-1] and rank[v] >= rank[worst] and v not in values)]
    return f"{label}: {' or '.join(finding.shown(value) for value in values)}"


def _limit(picture: Picture, finding: Finding, values: list[float]) -> str:
    """A number by the limit that all these values pass, in the rulebook's own words for it."""
    label = lower_first(finding.label)
    if isinstance(finding.worse, Outside):
        low, high = finding.worse.outside
        sides = [(True, [v for v in values if v < low]), (False, [v for v in values if v > high])]
        passed = [_passed(picture, finding, side, below) for below, side in sides if side]
        return f"{label} {' or '.join(passed)}" if passed else f"{label} {finding.shown(min(values))}"
    below = finding.worse == "lower"
    nearest = _nearest(picture, finding, values, below)
    if nearest is not None and nearest.how == "more_than" and nearest.limit == 0 and min(finding.possible or (1,)) == 0:
        return f"any {label}"
    return f"{label} {_passed(picture, finding, values, below)}"


def _nearest(picture: Picture, finding: Finding, values: list[float], below: bool) -> Test | None:
    """The limit that all these values pass and that lies nearest to the mildest of them."""
    edge = max(values) if below else min(values)
    passed = [test for test in picture.assessor.compiled.number_tests.get(finding.id, ()) if compare(test, edge)]
    tests = [test for test in passed if test.how in (("less_than", "at_most") if below else ("more_than", "at_least"))]
    return (min if below else max)(tests, key=lambda test: (float(test.limit), test.how), default=None)


def _passed(picture: Picture, finding: Finding, values: list[float], below: bool) -> str:
    test = _nearest(picture, finding, values, below)
    if test is None:
        return f"{finding.shown(max(values) if below else min(values))} or {'less' if below else 'more'}"
    words = {"less_than": "below", "at_most": "at or below", "more_than": "above", "at_least": "at or above"}
    return f"{words[test.how]} {finding.shown(test.limit)}"


def _once_clear(picture: Picture, choice: Choice, option: Option) -> Gate:
    """The option on record, where a more cautious one is written until what may bar it has been looked for."""
    name = f"option:{choice.id}.{option.id}"
    barring = [variant.place for variant in picture.variants if variant.eye.truth(name) is False]
    looked_for = [where for where in barring if not picture.is_accepted(where)]
    unseen = [where for where in looked_for if not picture.is_seen_before(where, choice.act)]
    places = sorted(set(barring if option.strict else unseen or barring))
    findings = picture.rulebook.vocabulary.findings
    assert picture.plain is not None
    asks = tuple(_plainly(findings[where], picture.plain[where]) for where in places)
    ids = tuple(findings[where].id for where in places)
    return Gate(ids, asks, asks, True, option.id, option.label, tuple(option.do), choice.before, False, once_clear=True)


def _plainly(finding: Finding, value: Any) -> str:
    """A finding at its plain value, as one would say that nothing was found."""
    label = lower_first(finding.label)
    return f"{label} {finding.shown(value)}" if finding.kind == "number" else f"{label}: {finding.shown(value)}"


def _together(picture: Picture, choice: Choice, option: Option, name: str) -> Gate:
    """What would have to be found together for an option that no single finding brings."""
    assessor = picture.assessor
    shown = assessor.completions.extreme(picture.values, assessor.objectives.holds(name), highest=True)
    assert picture.plain is not None and shown is not None
    places = _fewest(picture, shown.completion, picture.plain, name)
    findings = assessor.rulebook.vocabulary.findings
    asks = tuple(words_of(picture, findings[place], [value]) for place, value in places)
    ids = tuple(findings[place].id for place, _ in places)
    seen = all(picture.is_seen_before(place, choice.act) for place, _ in places)
    return Gate(ids, asks, asks, True, option.id, option.label, tuple(option.do), choice.before, seen)


def _fewest(picture: Picture, grave: Values, plain: Values, name: str) -> list[tuple[int, Any]]:
    """Few differences from the eye on record with which the option still wins."""
    assessor, made = picture.assessor, picture.assessor.compiled
    node = plain.copy()
    differing = [p for p in made.by_depth if picture.values[p] is None and grave[p] not in (None, plain[p])]
    for place in differing:
        node[place] = grave[place]
    for place in reversed(differing):
        kept, node[place] = node[place], plain[place]
        eye = EyeTruths(made, node)
        allowed = not any(eye.core[pair] for pair in assessor.completions.pair_places)
        if not allowed or eye.truth(name) is not True:
            node[place] = kept
    return [(place, node[place]) for place in differing if node[place] != plain[place]]
