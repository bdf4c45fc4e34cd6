"""The loaded rulebook: every entry bound to the vocabulary, in a fixed order, with its identity."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from planner.conditions import All, Any_, Condition, FactorHolds, Not, OptionWins, Test, Value, compare, evaluate, walk
from planner.errors import Fault
from planner.rulebook import list_shapes, plan_shapes, shapes
from planner.rulebook.plan_shapes import Choice, InteractionRule, Option
from planner.strict_yaml import Document, Place
from planner.truth import Truth
from planner.vocabulary import Vocabulary


@dataclass(frozen=True)
class Spot:
    """Where an entry was read: the `file:line` of a place in it, or of the nearest round that, and faults there."""

    document: Document
    place: Place = ()

    def at(self, *inner: str | int) -> str:
        return self.document.at((*self.place, *inner))

    def fault(self, inner: Place, what: str, why: str = "", hint: str = "", beside: Place = ()) -> Fault:
        return Fault(self.at(*inner), what, why, hint, (*self.place, *inner), beside)


@dataclass(frozen=True)
class Rulebook:
    """Clinical knowledge as data. Lists keep the order of their ids, so file order changes nothing printed."""

    header: shapes.RulebookHeader
    sha256: str
    sources: dict[str, shapes.Source]
    vocabulary: Vocabulary
    factors: dict[str, shapes.Factor]
    odds: shapes.OddsModel
    scores: list[shapes.PointScore]
    tiers: shapes.Tiers
    stages: shapes.Stages
    supervision: shapes.SupervisionRules
    steps: list[plan_shapes.Step]
    choices: dict[str, Choice]
    interactions: plan_shapes.Interactions
    drills: dict[str, plan_shapes.Drill]
    cautions: dict[str, plan_shapes.Caution]
    kit: plan_shapes.Kit
    readiness: plan_shapes.ReadinessRules
    lens: plan_shapes.Lens
    theatre: plan_shapes.Theatre
    durations: list_shapes.Durations
    lists: list_shapes.ListRules
    spots: dict[tuple[str, str], Spot] = field(default_factory=dict, compare=False)  # of each (kind, id) and file

    @property
    def identity(self) -> dict[str, str]:
        """What names it in data: id, version, hash and status."""
        header = self.header
        return {"id": header.id, "version": header.version, "sha256": self.sha256, "status": header.status}

    @property
    def identity_line(self) -> str:
        return f"{self.header.id} {self.header.version} ({self.header.status}), sha256 {self.sha256[:12]}"

    def at(self, kind: str, name: str, *inner: str | int) -> str:
        """`file:line` of a place inside an entry; of a whole file `kind` is its name, and `name` empty."""
        return self.spots[(kind, name)].at(*inner)

    def option(self, name: str) -> tuple[Choice, Option]:
        """The choice and option of `choice.option`."""
        return self.choices[name.split(".", 1)[0]], self.options[name]

    @cached_property
    def options(self) -> dict[str, Option]:
        """Every option by its `choice.option`, in the order of the choices."""
        return {f"{choice.id}.{option.id}": option for choice in self.choices.values() for option in choice.options}

    @cached_property
    def withheld(self) -> dict[str, list[InteractionRule]]:
        """For each `choice.option`, the withholds that remove it."""
        against: dict[str, list[InteractionRule]] = {}
        for rule in self.interactions.rules:
            if rule.force == "withhold" and "option" in rule.of:
                against.setdefault(rule.of["option"], []).append(rule)
        return against

    @cached_property
    def eligible(self) -> dict[str, Condition]:
        """For each `choice.option`, when it is open: its own condition and no withhold against it."""
        result: dict[str, Condition] = {}
        for name, option in self.options.items():
            against = [Not(rule.when) for rule in self.withheld.get(name, [])]
            result[name] = All((option.when, *against)) if against else option.when
        return result

    @cached_property
    def outranking(self) -> dict[str, list[str]]:
        """For each `choice.option`, the options that outrank it, directly or through others."""
        result: dict[str, list[str]] = {}
        for choice in self.choices.values():
            over = _transitive({option.id: set(option.outranks) for option in choice.options})
            for name, option in zip(choice.names, choice.options, strict=True):
                result[name] = [f"{choice.id}.{other.id}" for other in choice.options if option.id in over[other.id]]
        return result

    @cached_property
    def wins(self) -> dict[str, Condition]:
        """For each `choice.option`, when it is the one the case gets: open, and nothing open outranks it."""
        result: dict[str, Condition] = {}
        for name, own in self.eligible.items():
            rivals = tuple(self.eligible[other] for other in self.outranking[name])
            result[name] = All((own, Not(Any_(rivals)))) if rivals else own
        return result

    def behind(self, part: FactorHolds | OptionWins) -> Condition:
        """The condition that a factor or an option named in another stands for."""
        return self.factors[part.factor].when if isinstance(part, FactorHolds) else self.wins[part.option]

    def tests_behind(self, condition: Condition) -> Iterator[Test]:
        """Every comparison a condition rests on, through factors and options."""
        for part in walk(condition):
            match part:
                case Test():
                    yield part
                case FactorHolds() | OptionWins():
                    yield from self.tests_behind(self.behind(part))

    def reach(self, condition: Condition) -> frozenset[str]:
        """Every finding a condition rests on, through factors, options and what decides whether a finding applies."""
        reached: set[str] = set()
        for part in walk(condition):
            match part:
                case Test(finding):
                    reached |= self.reach_of(finding)
                case FactorHolds() | OptionWins():
                    if part not in self._reached:
                        self._reached[part] = self.reach(self.behind(part))
                    reached |= self._reached[part]
        return frozenset(reached)

    def reach_of(self, finding: str) -> frozenset[str]:
        """The finding, and those that decide whether it applies."""
        asked = self.vocabulary.by_id[finding].asked_when
        return frozenset({finding}) | (frozenset() if asked is None else self.reach(asked))

    @cached_property
    def _reached(self) -> dict[FactorHolds | OptionWins, frozenset[str]]:
        return {}

    def judge(self, condition: Condition, values: Mapping[str, Value | None]) -> Truth:
        """A condition judged of the values of every finding, None where it is not recorded."""
        return evaluate(
            condition, lambda test: self.tested(test, values), lambda part: self.judge(self.behind(part), values)
        )

    def applies(self, finding: str, values: Mapping[str, Value | None]) -> Truth:
        """Whether a finding is asked in this eye at all."""
        asked = self.vocabulary.by_id[finding].asked_when
        return True if asked is None else self.judge(asked, values)

    def tested(self, test: Test, values: Mapping[str, Value | None]) -> Truth:
        """Three-valued truth of one comparison; a finding that is not asked in this eye fails it."""
        value, applies = values[test.finding], self.applies(test.finding, values)
        if test.how == "recorded":
            return value is not None if test.limit else value is None and applies is not False
        if value is None:
            return False if applies is False else None
        return compare(test, value)


def _transitive(direct: dict[str, set[str]]) -> dict[str, set[str]]:
    reached = {name: set(direct[name]) for name in direct}
    for _ in direct:
        for name in reached:
            reached[name] |= {far for near in reached[name] for far in reached.get(near, ())}
    return reached
