"""The condition language: its readers agree with each other and with SQL; what it refuses; how it is put into words.

The outside reference is SQLite: each condition is written once more as an SQL expression over a row whose NULLs are
the findings not recorded.
"""

from __future__ import annotations

import datetime
import itertools
import sqlite3
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from seeds import draws

from planner import conditions
from planner.assess.code_writer import FunctionWriter
from planner.conditions import (
    ALWAYS,
    All,
    Any_,
    Condition,
    ConditionError,
    FactorHolds,
    Not,
    NumberOf,
    OptionWins,
    bind,
    compare,
    evaluate,
    parse,
)
from planner.conditions import Test as Comparison
from planner.rulebook.load import shipped
from planner.truth import Truth
from planner.vocabulary import Finding
from planner.wording.conditions import sentence

VOCABULARY = shipped().vocabulary
# One of each kind, three of them asked only when another says so.
USED = (
    "age_years",
    "sex",
    "phacodonesis",
    "anticoagulant",
    "inr",
    "inr_date",
    "opacity",
    "cortex",
    "intravitreal_injections",
    "fundus_view",
    "posterior_segment_ultrasound",
)
FINDINGS = {name: VOCABULARY.by_id[name] for name in USED}
ASKED = {name: finding.asked_when for name, finding in FINDINGS.items() if finding.asked_when is not None}
Row = dict[str, Any]


def test_some_of_the_findings_used_are_asked_only_at_times() -> None:
    assert len(ASKED) >= 3


# -- random conditions and rows ---------------------------------------------------------------------------------------


def values(finding: Finding) -> st.SearchStrategy[Any]:
    """Few values, so that limits are met exactly as often as they are passed."""
    match finding.kind:
        case "yes-no":
            return st.booleans()
        case "choice":
            return st.sampled_from(sorted(finding.values))
        case "set":
            return st.frozensets(st.sampled_from(sorted(finding.values)))
        case "date":
            return st.sampled_from([datetime.date(2026, 11, day) for day in (1, 2, 3)])
    assert finding.possible is not None
    low = finding.possible[0]
    return st.sampled_from([low + 1, low + 2, low + 3])


def comparisons_of(finding: Finding) -> st.SearchStrategy[Comparison]:
    def test(how: str, limit: st.SearchStrategy[Any]) -> st.SearchStrategy[Comparison]:
        return st.builds(Comparison, st.just(finding.id), st.just(how), limit)

    some = st.frozensets(values(finding), min_size=1, max_size=2) if finding.kind != "set" else st.nothing()
    match finding.kind:
        case "yes-no" | "choice":
            own = [test("is", values(finding)), test("is_one_of", some)]
        case "set":
            own = [test("includes", st.frozensets(st.sampled_from(sorted(finding.values)), min_size=1))]
        case _:
            own = [test(how, values(finding)) for how in conditions.NUMBER_TESTS]
    return st.one_of(*own, test("recorded", st.booleans()))


def combined(inner: st.SearchStrategy[Condition]) -> st.SearchStrategy[Condition]:
    parts = st.lists(inner, min_size=1, max_size=3).map(tuple)
    numbered = parts.flatmap(lambda some: st.builds(NumberOf, st.just(some), st.integers(1, len(some))))
    return st.one_of(st.builds(All, parts), st.builds(Any_, parts), st.builds(Not, inner), numbered)


TREES = st.recursive(
    st.one_of(*(comparisons_of(finding) for finding in FINDINGS.values()), st.just(ALWAYS)), combined, max_leaves=8
)
ROWS = st.fixed_dictionaries({name: st.none() | values(finding) for name, finding in FINDINGS.items()})


# -- three readers ----------------------------------------------------------------------------------------------------


def by_evaluation(condition: Condition, row: Row) -> Truth:
    def tested(test: Comparison) -> Truth:
        value = row[test.finding]
        asked = by_evaluation(ASKED[test.finding], row) if test.finding in ASKED else True
        if test.how == "recorded":
            return value is not None if test.limit else value is None and asked is not False
        if value is None:
            return False if asked is False else None
        return compare(test, value)

    def named(part: FactorHolds | OptionWins) -> Truth:
        raise AssertionError(part)

    return evaluate(condition, tested, named)


def by_compiling(condition: Condition, row: Row) -> Truth:
    source = FunctionWriter({name: place for place, name in enumerate(USED)}, {}, ASKED)
    function = source.compiled("one", "v", source.expression(condition))
    truth: Truth = function([row[name] for name in USED])
    return truth


def by_sql(condition: Condition, row: Row) -> Truth:
    with sqlite3.connect(":memory:") as database:
        columns = ", ".join(USED)
        database.execute(f"create table eye ({columns})")
        stored = [None if row[name] is None else as_sql(FINDINGS[name], row[name]) for name in USED]
        database.execute(f"insert into eye values ({', '.join('?' * len(USED))})", stored)
        (found,) = database.execute(f"select {in_sql(condition)} from eye").fetchone()
    return None if found is None else bool(found)


def as_sql(finding: Finding, value: Any) -> Any:
    """A value as a column holds it: a set as bits."""
    if isinstance(value, frozenset):
        return sum(1 << place for place, name in enumerate(finding.values) if name in value)
    return value.isoformat() if isinstance(value, datetime.date) else value


def in_sql(condition: Condition) -> str:
    """The condition as an SQL expression, written by its meaning and not by the program's own code."""
    match condition:
        case Comparison(name, "recorded", limit):
            blank = f"{name} is null"
            if name in ASKED:
                blank = f"({blank} and ({in_sql(ASKED[name])}) is not false)"
            return f"({name} is not null)" if limit else f"({blank})"
        case Comparison(name, how, limit):
            compared = comparison(FINDINGS[name], how, limit)
            if name not in ASKED:
                return compared
            return f"(case when {name} is null and ({in_sql(ASKED[name])}) is false then 0 else {compared} end)"
        case All(parts):
            return f"({' and '.join(in_sql(part) for part in parts) or '1'})"
        case Any_(parts):
            return f"({' or '.join(in_sql(part) for part in parts)})"
        case Not(part):
            return f"(not {in_sql(part)})"
        case NumberOf(parts, number):
            some = (All(chosen) for chosen in itertools.combinations(parts, number))
            return in_sql(Any_(tuple(some)))
    raise AssertionError(condition)


def comparison(finding: Finding, how: str, limit: Any) -> str:
    def literal(value: Any) -> str:
        stored = as_sql(finding, value)
        return f"'{stored}'" if isinstance(stored, str) else str(int(stored) if isinstance(stored, bool) else stored)

    match how:
        case "is":
            return f"({finding.id} = {literal(limit)})"
        case "is_one_of":
            return f"({finding.id} in ({', '.join(sorted(literal(value) for value in limit))}))"
        case "includes":
            return f"(({finding.id} & {literal(limit)}) <> 0)"
    sign = {"less_than": "<", "at_most": "<=", "at_least": ">=", "more_than": ">"}[how]
    return f"({finding.id} {sign} {literal(limit)})"


@settings(max_examples=draws(400, 1500), deadline=None, derandomize=True)
@given(TREES, ROWS)
def test_evaluation_compiled_source_and_sql_agree(condition: Condition, row: Row) -> None:
    truth = by_evaluation(condition, row)
    assert by_compiling(condition, row) is truth
    assert by_sql(condition, row) is truth


@settings(max_examples=draws(100, 300), deadline=None, derandomize=True)
@given(TREES, ROWS)
def test_several_conditions_in_one_function_share_comparisons_and_keep_their_truths(tree: Condition, row: Row) -> None:
    source = FunctionWriter({name: place for place, name in enumerate(USED)}, {}, ASKED)
    trees = [part for part in conditions.walk(tree)]
    written = ", ".join(source.expression(part) for part in trees)
    found = source.compiled("several", "v", f"({written},)")([row[name] for name in USED])
    assert found == tuple(by_evaluation(part, row) for part in trees)


@settings(max_examples=draws(100, 300), deadline=None, derandomize=True)
@given(TREES, ROWS, ROWS)
def test_what_is_known_stays_known_as_more_is_recorded(tree: Condition, row: Row, found: Row) -> None:
    # Not so of `recorded`, which speaks of the record and not of the eye.
    assume(not any(isinstance(part, Comparison) and part.how == "recorded" for part in conditions.walk(tree)))
    truth = by_evaluation(tree, row)
    assume(truth is not None)
    fuller = dict(row)
    for name in USED:  # what decides whether another is asked stands before it
        if fuller[name] is None and (name not in ASKED or by_evaluation(ASKED[name], fuller)):
            fuller[name] = found[name]
    assert by_evaluation(tree, fuller) is truth


# -- reading ----------------------------------------------------------------------------------------------------------


def test_every_word_of_the_language_is_read() -> None:
    raw = {
        "all": [
            {"finding": "age_years", "at_least": "60", "less_than": "70"},
            {"any": [{"factor": "white-lens"}, {"not": {"option": "ovd.soft-shell"}}]},
            {"number_of": [{"finding": "sex", "is": "male"}, "always"], "at_least": "1"},
        ]
    }
    assert parse(raw) == All(
        (
            All((Comparison("age_years", "less_than", "70"), Comparison("age_years", "at_least", "60"))),
            Any_((FactorHolds("white-lens"), Not(OptionWins("ovd.soft-shell")))),
            NumberOf((Comparison("sex", "is", "male"), ALWAYS), 1),
        )
    )


REFUSED = {
    "text": ("age > 60", "must be a mapping", ()),
    "nothing": (None, "must be a mapping", ()),
    "no word": ({}, "exactly one of all, any, not", ()),
    "two words": ({"all": [], "any": []}, "exactly one of", ()),
    "a word that is none": ({"both": []}, "unknown word 'both'", ("both",)),
    "a test that is none": ({"finding": "sex", "equals": "male"}, "unknown test 'equals'", ("equals",)),
    "no test": ({"finding": "sex"}, "a finding needs a test", ()),
    "no parts": ({"all": []}, "all takes a list", ("all",)),
    "parts that are no list": ({"any": {"factor": "x"}}, "any takes a list", ("any",)),
    "not of a list": ({"not": [{"factor": "x"}]}, "must be a mapping", ("not",)),
    "a list of factors": ({"factor": ["x"]}, "factor takes one id", ("factor",)),
    "a list of findings": ({"finding": ["x"], "is": "y"}, "finding takes one id", ("finding",)),
    "at_least alone": ({"at_least": "1"}, "unknown word 'at_least'", ("at_least",)),
    "number_of alone": ({"number_of": [{"factor": "x"}]}, "goes with at_least", ()),
    "none of them": ({"number_of": [{"factor": "x"}], "at_least": "0"}, "from 1 to 1", ("at_least",)),
    "more than there are": ({"number_of": [{"factor": "x"}], "at_least": "2"}, "from 1 to 1", ("at_least",)),
    "a number in other digits": ({"number_of": [{"factor": "x"}], "at_least": "١"}, "from 1 to 1", ("at_least",)),
    "deep inside": (
        {"all": [{"factor": "x"}, {"not": {"any": [{"some": 1}]}}]},
        "unknown word 'some'",
        ("all", 1, "not", "any", 0, "some"),
    ),
}


@pytest.mark.parametrize(("raw", "words", "place"), REFUSED.values(), ids=REFUSED)
def test_what_cannot_be_read_says_what_and_where(raw: object, words: str, place: tuple[str | int, ...]) -> None:
    with pytest.raises(ConditionError) as refused:
        parse(raw)
    assert words in str(refused.value)
    assert refused.value.place == place


UNTYPED = {
    "an unknown finding": ({"finding": "agee_years", "is": "1"}, "did you mean age_years?"),
    "a number test of a choice": ({"finding": "sex", "at_least": "1"}, "sex is a choice and takes is or is_one_of"),
    "is of a number": ({"finding": "age_years", "is": "70"}, "age_years is a number and takes less_than"),
    "is of a set": ({"finding": "anticoagulant", "is": "warfarin"}, "is a set and takes includes, not is"),
    "includes of a choice": ({"finding": "sex", "includes": "male"}, "sex is a choice and takes is"),
    "a value it cannot take": ({"finding": "sex", "is": "mail"}, "did you mean male?"),
    "a limit out of range": ({"finding": "age_years", "at_least": "650"}, "was 65 meant?"),
    "an exponent": ({"finding": "age_years", "at_least": "6e1"}, "plain decimal number"),
    "an empty limit": ({"finding": "sex", "is": "not-recorded"}, "a limit is a value"),
    "an empty limit among others": ({"finding": "sex", "is_one_of": ["male", None]}, "a limit is a value"),
    "recorded of another word": ({"finding": "sex", "recorded": "maybe"}, "recorded takes yes or no"),
    "a day that is none": ({"finding": "inr_date", "at_most": "2026-02-30"}, "YYYY-MM-DD"),
}


@pytest.mark.parametrize(("raw", "words"), UNTYPED.values(), ids=UNTYPED)
def test_what_the_vocabulary_cannot_type_is_refused(raw: object, words: str) -> None:
    with pytest.raises(ConditionError) as refused:
        bind(parse(raw), VOCABULARY.typed)
    assert words in str(refused.value)


def test_limits_are_typed_by_the_vocabulary() -> None:
    def limit(**raw: object) -> Any:
        bound = bind(parse(raw), VOCABULARY.typed)
        assert isinstance(bound, Comparison)
        return bound.limit

    assert limit(finding="age_years", at_least="70") == 70.0
    assert limit(finding="phacodonesis", **{"is": "yes"}) is True
    assert limit(finding="anticoagulant", includes="warfarin") == frozenset({"warfarin"})
    assert limit(finding="sex", is_one_of=["male", "female"]) == frozenset({"male", "female"})
    assert limit(finding="inr_date", at_most="2026-11-02") == datetime.date(2026, 11, 2)
    assert limit(finding="sex", recorded="no") is False
    # `none` is a value like another, never missing.
    assert limit(finding="fundus_view", **{"is": "none"}) == "none"


# -- words ------------------------------------------------------------------------------------------------------------

NAMES = {"white-lens": "White lens", "ovd.soft-shell": "Soft shell"}
WORDS = {
    "anterior chamber depth at or below 2.5 mm": {"finding": "anterior_chamber_depth_mm", "at_most": "2.5"},
    "age below 70 years and age at or above 60 years": {
        "finding": "age_years",
        "at_least": "60",
        "less_than": "70",
    },
    "phacodonesis": {"finding": "phacodonesis", "is": "yes"},
    "can lie flat: no": {"finding": "can_lie_flat", "is": "no"},
    "view of the fundus is none": {"finding": "fundus_view", "is": "none"},
    "INR above 3": {"finding": "inr", "more_than": "3"},
    "INR is not recorded": {"finding": "inr", "recorded": "no"},
    "white lens": {"factor": "white-lens"},
    "the plan is: soft shell": {"option": "ovd.soft-shell"},
    "not (phacodonesis or white lens)": {
        "not": {"any": [{"finding": "phacodonesis", "is": "yes"}, {"factor": "white-lens"}]}
    },
    "(phacodonesis or white lens) and INR above 3": {
        "all": [
            {"any": [{"finding": "phacodonesis", "is": "yes"}, {"factor": "white-lens"}]},
            {"finding": "inr", "more_than": "3"},
        ]
    },
    "at least 2 of: phacodonesis, white lens, INR above 3": {
        "number_of": [
            {"finding": "phacodonesis", "is": "yes"},
            {"factor": "white-lens"},
            {"finding": "inr", "more_than": "3"},
        ],
        "at_least": "2",
    },
    "always": "always",
}


@pytest.mark.parametrize(("words", "raw"), WORDS.items())
def test_a_condition_in_words(words: str, raw: object) -> None:
    assert sentence(bind(parse(raw), VOCABULARY.typed), VOCABULARY, NAMES) == words
