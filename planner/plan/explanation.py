"""Why a line of the rulebook holds for a case: its condition in words, with the comparisons for it or in its way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from planner.assess.assess import assessor
from planner.assess.assessment import Assessment
from planner.assess.trace import fill
from planner.conditions import All, Any_, Condition, FactorHolds, Not, NumberOf, OptionWins, Test
from planner.errors import PlannerError, did_you_mean
from planner.plan.choices import choose
from planner.plan.picture import Picture
from planner.plan.plan import Gate, PlannedChoice
from planner.rulebook.rulebook import Rulebook
from planner.truth import WORDS, Truth
from planner.wording.conditions import gate_words, sentence
from planner.wording.reasons import State
from planner.wording.tier import tier_possible
from planner.wording.words import counted, lower_first


@dataclass(frozen=True)
class Ground:
    """One comparison: what it asks, what is recorded, and the result."""

    finding: str
    asks: str
    recorded: str
    state: State


@dataclass(frozen=True)
class Explanation:
    """One line of the rulebook judged for one case. `notes` are what follows from it: points, floor, basis, rivals."""

    kind: str
    id: str
    label: str
    state: State
    condition: str
    grounds: tuple[Ground, ...]
    notes: tuple[str, ...]


def _would_change(gate: Gate) -> str:
    """What would have to be found for another option, when it is looked for, and what is then done."""
    heading = "once known" if gate.once_clear else "if found"
    when = f", {lower_first(gate.before)}" if gate.before else ""
    unseen = "" if gate.seen or gate.once_clear else "; cannot be seen in theatre before then"
    return f"would change it, {heading}{when}: {gate_words(gate.asks, gate.label, together=gate.together)}{unseen}"


class Explainer:
    """Explains the lines of a rulebook for one assessed case, choices taken as the plan prepares them."""

    def __init__(self, assessment: Assessment, rulebook: Rulebook) -> None:
        self.assessment = assessment
        self.rulebook = rulebook
        self.picture = Picture(assessor(rulebook), assessment.case)
        self.choices = choose(self.picture)
        self.picture.as_planned(self.choices)
        self.values = dict(zip(rulebook.vocabulary.by_id, self.picture.values, strict=True))

    def explain(self, name: str, in_the_way: bool) -> list[Explanation]:
        """Every line of that id, or the tier; `in_the_way` keeps only what speaks against it. Raises PlannerError."""
        if name == "tier":
            return [self._tier(in_the_way)]
        explanations = [self._explanation(kind, label, name, condition, truth, notes, in_the_way)
                 for kind, label, condition, truth, notes in self._named(name)]  # fmt: skip
        if not explanations:
            hint = did_you_mean(name, self._ids(), "ids stand in the plan's JSON, and in the rulebook", 3, 0.5)
            why = "ids are of factors, options (choice.option), lines, drills, cautions and reasons to settle"
            raise PlannerError.one(f"no {name!r} in the rulebook", why=why, hint=hint)
        return explanations

    def _tier(self, in_the_way: bool) -> Explanation:
        """What demands each reading of the tier; when asked why it is not lower, what could lower it instead."""
        assessment, tier = self.assessment, self.assessment.tier
        notes = [f"on record, decided by: {reason.words}" for reason in tier.on_record_by]
        notes += [f"until known, decided by: {reason.words}" for reason in tier.decided_by]
        if in_the_way:
            notes += [
                f"lower once put right: {lever.label} to {lever.to}, tier {lever.tier} ({lever.how})"
                for lever in assessment.levers
            ]
            notes += [
                f"look: {look.label}, {look.minutes} min, by {look.who}: {'; '.join(map(lower_first, look.labels))}"
                for look in assessment.looks
                if look.settles
            ]
            alike: dict[str, list[str]] = {}
            for missing in assessment.missing:
                alike.setdefault(missing.would_settle, []).append(missing.finding)
            notes += [f"not recorded, {settles}: {', '.join(findings)}" for settles, findings in alike.items()]
        else:
            for state in assessment.factors:
                if state.state == "holds" and (state.points or state.floor):
                    counts = [counted(state.points, "point")] if state.points else []
                    counts += [f"demands tier {state.floor}"] if state.floor else []
                    notes.append(f"{', '.join(counts)}: {state.label}, {state.because}")
        on_record = "too little recorded" if tier.on_record is None else f"{tier.on_record}, {tier.on_record_label}"
        label = f"on record {on_record}; until known {tier.working}, {tier.label}{tier_possible(tier.least, tier.most)}"
        if tier.least == tier.most:
            label = f"{tier.working}, on record and until known, {tier.label}"
        return Explanation("tier", "tier", label, "holds", self.rulebook.tiers.scale_note, (), tuple(notes))

    def _named(self, name: str) -> Iterator[tuple[str, str, Condition, Truth, list[str]]]:
        """Kind, label, condition, truth and notes of each line with that id."""
        rulebook, picture = self.rulebook, self.picture
        if name in rulebook.factors:
            factor, truth = rulebook.factors[name], picture.truth(f"factor:{name}")
            on_record = self._on_record(truth, picture.on_record(f"factor:{name}"))
            yield "factor", factor.label, factor.when, truth, [*on_record, *self._factor_notes(name)]
        if name in rulebook.options:
            choice, option = rulebook.option(name)
            chosen = self.choices[choice.id]
            open_ones = {other.option for other in chosen.rejected if other.possible}
            truth = True if chosen.option == option.id else None if option.id in open_ones else False
            yield "option", option.label, option.when, truth, self._option_notes(chosen, option.id, option.why)
        for rule in rulebook.interactions.rules:
            if rule.id == name:
                notes = [f"{rule.force}, about {picture.names.get(rule.about, rule.about)}: {rule.text}"]
                notes += [f"instead: {rule.instead}"] if rule.instead else []
                notes += [f"the hazard it was for: {rule.hazard}"] if rule.hazard else []
                yield "line", rule.text, rule.when, picture.truth(f"rule:{name}"), [*notes, rule.basis.words]
        if name in rulebook.drills:
            drill, truth = rulebook.drills[name], picture.truth(f"drill:{name}")
            notes = [f"stop first: {drill.stop_first}", drill.basis.words]
            likely = any(picture.on_record(f"drill:{name}:{place}") for place in range(len(drill.likely)))
            on_record = self._on_record(truth, likely, "likely", "not among the likely ones")
            yield "drill", drill.label, drill.likely_when, truth, [*on_record, *notes]
        if name in rulebook.cautions:
            caution, truth = rulebook.cautions[name], picture.truth(f"caution:{name}")
            text = fill(caution.text, picture.case, rulebook.vocabulary)
            on_record = self._on_record(truth, picture.on_record(f"caution:{name}"))
            yield "caution", text, caution.when, truth, [*on_record, caution.basis.words]
        for settle in rulebook.readiness.settle:
            if settle.id == name:
                notes = [f"settled by {settle.settled_by}", settle.basis.words]
                yield "reason to settle first", settle.because, settle.when, picture.truth(f"settle:{name}"), notes

    def _ids(self) -> list[str]:
        book = self.rulebook
        lines = [*(rule.id for rule in book.interactions.rules), *(settle.id for settle in book.readiness.settle)]
        return ["tier", *book.factors, *book.options, *book.drills, *book.cautions, *lines]

    def _factor_notes(self, name: str) -> list[str]:
        factor = self.rulebook.factors[name]
        state = next(state for state in self.assessment.factors if state.id == name)
        notes = [f"{state.state.replace('-', ' ')}: {state.because}", f"harm: {state.harm}"]
        if factor.points:
            assert factor.points_basis is not None
            taken = state.state == "holds" and state.points == 0
            once = f"; counted once with a heavier one of its group, {factor.counts_once_with}" if taken else ""
            notes.append(f"points: {factor.points}{once} ({factor.points_basis.words})")
        if factor.floor:
            notes.append(f"demands tier {factor.floor.tier} when it holds ({factor.floor.basis.words})")
        notes += [f"published: {rate.text} ({rate.basis.words})" for rate in factor.published_rates]
        notes += [f"misleads when: {words}" for words in factor.misleads_when]
        return [*notes, f"limits: {factor.limits_basis.words}"]

    def _on_record(
        self, truth: Truth, plain: Truth, holding: str = "holds", otherwise: str = "does not hold"
    ) -> list[str]:
        """What the eye on record makes of a line that is open until more is known."""
        if truth is not None or not self.picture.is_on_record:
            return []
        return [f"on record, with what is not recorded taken as plain: {holding if plain else otherwise}"]

    def _option_notes(self, chosen: PlannedChoice, option: str, why: str) -> list[str]:
        """Of the option written, what would change it; of another, what is written instead and what would bring it."""
        written, limited = "written", ""
        if not self.picture.is_on_record:
            written, limited = "prepared", ", as too little is recorded to write a technique"
        if chosen.option == option:
            others = f"{written}{limited}; others stay possible"
            changing = [_would_change(gate) for gate in chosen.if_found]
            first = others if chosen.provisional else "the one option for this eye"
            return [first, *changing, f"why: {why}", chosen.way.basis.words]
        rejected = next(other for other in chosen.rejected if other.option == option)
        instead = f"{written} instead: {lower_first(chosen.label)}"
        own = [_would_change(gate) for gate in chosen.if_found if gate.option == option]
        return [instead, rejected.because, *own]

    def _explanation(
        self, kind: str, label: str, name: str, condition: Condition, truth: Truth, notes: list[str], in_the_way: bool
    ) -> Explanation:
        whole = list(dict.fromkeys(self.rulebook.tests_behind(condition)))
        against = list(dict.fromkeys(self._against(condition, sought=True))) if in_the_way else whole
        grounds = tuple(self._ground(test) for test in against or whole)
        words = sentence(condition, self.rulebook.vocabulary, self.picture.names)
        return Explanation(kind, name, label, WORDS[truth], words, grounds, tuple(notes))  # type: ignore[arg-type]

    def _ground(self, test: Test) -> Ground:
        case, finding = self.picture.case, self.rulebook.vocabulary.by_id[test.finding]
        truth = self.rulebook.tested(test, self.values)
        recorded = finding.shown(case.findings.get(test.finding))
        if test.finding in case.doubted:
            recorded += ", in doubt: read as not recorded"
        elif test.finding in case.from_section:
            recorded += ", nothing found in its section"
        asked_not = truth is False and test.finding not in case.in_force and test.how != "recorded"
        asks = sentence(test, self.rulebook.vocabulary, {})
        return Ground(test.finding, asks, recorded, "not-applicable" if asked_not else WORDS[truth])  # type: ignore[arg-type]

    def _against(self, condition: Condition, sought: bool) -> Iterator[Test]:
        """The comparisons that keep a condition from being as sought; none when it is so."""
        if self.rulebook.judge(condition, self.values) is sought:
            return
        match condition:
            case Test():
                yield condition
            case FactorHolds() | OptionWins():
                yield from self._against(self.rulebook.behind(condition), sought)
            case Not(part):
                yield from self._against(part, not sought)
            case All(parts) | Any_(parts) | NumberOf(parts):
                for part in parts:
                    yield from self._against(part, sought)
