"""`assess(case, rulebook, unit)`: everything known about the risk of one eye, and everything not known."""

from __future__ import annotations

import datetime
from dataclasses import replace

from planner.assess.assessment import (
    Assessment,
    Lever,
    MissingFinding,
    NeededLook,
    PublishedScore,
    Range,
    Readiness,
    RulebookIdentity,
    ScoreGroupShown,
    TierResult,
)
from planner.assess.compiled import Compiled, EyeTruths, Truths, Values
from planner.assess.completions import Completions, Extreme, Objective, Objectives
from planner.assess.odds import logit, probability, probability_of
from planner.assess.trace import Tracer, reached_findings
from planner.assess.unknowns import Settling
from planner.case import Case
from planner.conditions import recording_in
from planner.errors import PlannerError
from planner.rulebook.rulebook import Rulebook
from planner.unit import Unit
from planner.wording.reasons import SettleReason, TierReason, UnaskedFinding
from planner.wording.words import lower_first


class Assessor:
    """A rulebook made ready to assess many cases; `assess` builds and keeps one for each rulebook."""

    def __init__(self, rulebook: Rulebook) -> None:
        self.rulebook = rulebook
        self.compiled = Compiled(rulebook)
        self.completions = Completions(self.compiled)
        self.objectives = Objectives(self.compiled)
        self.tracer = Tracer(self.compiled)
        self.settle_reaches = {s.id: reached_findings(s.when, rulebook) for s in rulebook.readiness.settle}
        self.looks = {look.id: look for look in rulebook.vocabulary.looks}
        header = rulebook.header
        self.identity = RulebookIdentity(header.id, header.version, rulebook.sha256, header.status)

    def assess(self, case: Case, unit: Unit | None, on: datetime.date | None) -> Assessment:
        values = case.values(self.rulebook.vocabulary)
        truths, _ = self.compiled.core(values)
        plain = self.on_record(case, values)
        log_odds = self.range(values, self.objectives.totals["log-odds"], plain)
        tier, settling = self._tier(values, plain)
        readiness, wanted = self._readiness(case, values, truths)
        missing, smallest = self._missing(case, values, tier, settling, wanted)
        return Assessment(
            case=case,
            rulebook=self.identity,
            on=on or case.recorded_on,
            factors=self.tracer.factors(case, values, truths),
            points=self.range(values, self.objectives.totals["points"], plain),
            tier=tier,
            probability=probability(self.compiled, truths, log_odds, unit),
            published_scores=self._scores(values),
            readiness=readiness,
            missing=missing,
            looks=self._looks(missing),
            smallest_set=smallest,
            levers=self._levers(case, truths, tier.working),
            queries=tuple(query.text for query in case.queries),
            notes=self._unasked(case, values, tier),
        )

    def on_record(self, case: Case, values: Values) -> Values | None:
        """The one allowed eye that the record describes, unknowns plain; None while too little is recorded for one."""
        return self.plain_eye(values) if self.is_enough(case) else None

    def is_enough(self, case: Case) -> bool:
        """Whether nothing is missing without which no technique can be written."""
        return all(name in case.in_force for name in self.rulebook.vocabulary.on_record_needs)

    def plain_eye(self, values: Values) -> Values | None:
        """The allowed eye in which each unknown takes its plain value; where none fits so, one of the mildest."""
        plain = self.completions.plain(values)
        if plain is None:
            least = self.completions.extreme(values, self.objectives.tier, highest=False)
            plain = None if least is None else least.completion
        return plain

    def ends(self, values: Values, objective: Objective) -> tuple[Extreme, Extreme]:
        """The least and most of a number over allowed completions, with a completion showing each."""
        low = self.completions.extreme(values, objective, highest=False)
        high = self.completions.extreme(values, objective, highest=True)
        if low is None or high is None:
            why = "every way the missing findings could turn out meets an impossible pair"
            raise PlannerError.one("no eye can be like this", "findings", why, "look again at what is recorded")
        return low, high

    def range(self, values: Values, objective: Objective, plain: Values | None = None) -> Range:
        low, high = self.ends(values, objective)
        on_record = None if plain is None else self._value(objective, plain)
        return Range(low.value, high.value, on_record, low.proved and high.proved)

    def _value(self, objective: Objective, completion: Values) -> float:
        """The number in one completion; what no plain eye has by itself is read at its more cautious end."""
        truths, bounds = self.compiled.core(completion)
        return objective.bounds(completion, truths, bounds)[1]

    def working_tier(self, case: Case) -> int:
        """The more cautious end of the tier's range, without the rest of an assessment."""
        return int(self.ends(case.values(self.rulebook.vocabulary), self.objectives.tier)[1].value)

    def _tier(self, values: Values, plain: Values | None) -> tuple[TierResult, Settling]:
        low, high = self.ends(values, self.objectives.tier)
        working = int(high.value)
        meanings = {shape.tier: shape for shape in self.rulebook.tiers.tiers}
        meaning, by = meanings[working], self._decided_by(values, high.completion)
        result = TierResult(working, int(low.value), working, meaning.label, meaning.meaning, by)
        if plain is not None:
            tier, by = int(self._value(self.objectives.tier, plain)), self._decided_by(values, plain)
            result = replace(result, on_record=tier, on_record_label=meanings[tier].label, on_record_by=by)
        result = replace(result, proved=low.proved and high.proved)
        return result, Settling(self.compiled, self.completions, self.objectives.tier, values)

    def _decided_by(self, values: Values, completion: Values) -> tuple[TierReason, ...]:
        """What demands the working tier in the completion that shows it; what may not hold says so."""
        place, rulebook = self.compiled.place, self.rulebook
        now, open_bounds = self.compiled.core(values)
        then, bounds = self.compiled.core(completion)
        at = self.objectives.places
        points, log_odds = bounds[at["points"]][1], bounds[at["log-odds"]][1]
        floor, rise = int(bounds[at["floor"]][1]), int(bounds[at["raise"]][1])
        by_points = self.objectives.band(points, self.objectives.points_bands)
        by_probability = self.objectives.band(log_odds, self.objectives.logit_bands)
        base = max(by_points, by_probability, floor, 1)

        floors = {f"factor:{f.id}": f for f in rulebook.factors.values() if f.floor and f.floor.tier == base > 1}
        demanding = sorted((name for name in floors if then[place[name]]), key=lambda name: not now[place[name]])
        reasons = [
            TierReason("floor", base, floors[name].id, floors[name].label, certain=bool(now[place[name]]))
            for name in demanding
        ]
        if by_points == base and (base > 1 or not reasons):
            reasons.append(TierReason("points", base, number=points, certain=open_bounds[at["points"]][0] == points))
        if by_probability == base and base > 1:
            share = probability_of(logit(rulebook.odds.baseline.probability) + log_odds)
            reasons.append(TierReason("probability", base, number=share))
        for one in rulebook.interactions.raises:
            name = f"raise:{one.id}"
            if rise and then[place[name]]:
                certain = bool(now[place[name]])
                reasons.append(TierReason("interaction", one.tiers, one.id, one.because, certain=certain))
        return tuple(reasons)

    def _scores(self, values: Values) -> tuple[PublishedScore, ...]:
        shown = []
        for score in self.rulebook.scores:
            said = score.id, score.authors, score.first_author, score.outcome
            points = self.range(values, self.objectives.totals[f"score:{score.id}"])
            groups = tuple(
                ScoreGroupShown(g.label, g.meaning, {name: (count, g.eyes or 0) for name, count in g.events.items()})
                for g in score.groups
                if g.at_least <= points.most and (g.at_most is None or g.at_most >= points.least)
            )
            shown.append(PublishedScore(*said, points, groups, score.source))
        return tuple(shown)

    def _readiness(self, case: Case, values: Values, truths: Truths) -> tuple[Readiness, set[str]]:
        """Whether the eye is ready, and the findings that are not recorded and readiness asks for."""
        eye, reasons = EyeTruths(self.compiled, values, truths), list[SettleReason]()
        covered, wanted = set[str](), set[str]()
        vocabulary, unrecorded = self.rulebook.vocabulary, self.rulebook.readiness.not_recorded
        for settle in self.rulebook.readiness.settle:
            truth, reached = eye.truth(f"settle:{settle.id}"), self.settle_reaches[settle.id]
            if truth:
                reasons.append(SettleReason(settle.id, settle.settled_by, True, settle.because))
                covered.update(reached)
                if recording_in(settle.when):
                    wanted.update(n for n in reached if self.is_open(case, values, n))
            elif truth is None and not settle.only_when_certain and self.may_hold(values, f"settle:{settle.id}"):
                blank = [n for n in reached if self.is_open(case, values, n)]
                wanted.update(n for n in blank if self.compiled.applies(self.compiled.index[n], values))
                labels = tuple(vocabulary.by_id[n].label for n in blank)
                by = settle.looked_for_by or settle.settled_by
                reasons.append(SettleReason(settle.id, by, False, settle.because, unrecorded, labels))
                covered.update(blank)
        for finding in vocabulary.findings:
            if finding.essential and finding.id not in covered and self.is_open(case, values, finding.id):
                name, by = f"not-recorded-{finding.id.replace('_', '-')}", finding.settled_by or finding.measured
                reasons.append(SettleReason(name, by, False, heading=unrecorded, findings=(finding.label,)))
                wanted.add(finding.id)
        return Readiness("settle-first" if reasons else "ready", tuple(reasons)), wanted

    def may_hold(self, values: Values, name: str) -> bool:
        """Whether a named condition holds in at least one allowed completion."""
        most = self.completions.extreme(values, self.objectives.holds(name), highest=True)
        return most is not None and most.value > 0

    def is_open(self, case: Case, values: Values, name: str) -> bool:
        """Not recorded (or doubted), and asked in this eye as far as is known."""
        return name not in case.in_force and self.compiled.applies(self.compiled.index[name], values) is not False

    def _missing(
        self, case: Case, values: Values, tier: TierResult, settling: Settling, wanted: set[str]
    ) -> tuple[tuple[MissingFinding, ...], tuple[str, ...]]:
        findings = self.rulebook.vocabulary.findings
        open_tier = tier.least != tier.most
        alone = settling.alone() if open_tier else []
        smallest = settling.smallest() if open_tier and not alone else ()
        ranked = []
        for place, finding in enumerate(findings):
            # A finding that may not even apply waits for the one that decides that.
            first = place in settling.candidates and (settling.closed(place) == {place} or place in smallest)
            asks = open_tier and first
            if not self.is_open(case, values, finding.id) or not (asks or finding.essential or finding.id in wanted):
                continue
            off, demands = settling.worth(place, tier.working) if asks else (0.0, 0.0)
            if place in alone:
                settles = "settles the tier alone"
            elif place in smallest:
                others = [lower_first(findings[p].label) for p in smallest if p != place]
                settles = f"settles the tier together with {', '.join(others)}"
            elif demands > tier.least:
                settles = f"could by itself demand tier {demands:g}"
            elif asks:
                settles = f"may move the tier within {tier.least} to {tier.most}"
            else:
                settles = "readiness: it must be known before theatre"
            order = (place not in alone, place not in smallest, -off, -demands, not finding.essential, place)
            hidden = finding.look_when_hidden is not None and self.compiled.hidden_tests[place](values) is True
            look = self.looks.get((finding.look_when_hidden if hidden else finding.look) or "")
            by, at = (None, "") if look is None else (look.who, look.id)
            # What may not even be asked waits for the finding that decides that.
            tier_alone = 0 if not asks else max(int(demands), 1) if self.compiled.applies(place, values) else 1
            known = finding.id, finding.label, settles, place in alone, finding.essential
            ranked.append((order, MissingFinding(*known, finding.settled_by or by, at, tier_alone)))
        ranked.sort(key=lambda pair: pair[0])
        return tuple(entry for _, entry in ranked), tuple(findings[place].id for place in smallest)

    def _looks(self, missing: tuple[MissingFinding, ...]) -> tuple[NeededLook, ...]:
        """The sittings that would record what is missing, most decisive first: by the tiers that they could demand."""
        at_look: dict[str, list[MissingFinding]] = {}
        for entry in missing:
            if entry.look in self.looks:
                at_look.setdefault(entry.look, []).append(entry)
        made = []
        for name, entries in at_look.items():
            look, decides = self.looks[name], any(entry.demands for entry in entries)
            names, labels = tuple(entry.finding for entry in entries), tuple(entry.label for entry in entries)
            made.append(NeededLook(name, look.label, look.who, look.minutes, names, labels, decides))
        demanded = {name: sorted((each.demands for each in entries), reverse=True) for name, entries in at_look.items()}
        made.sort(key=lambda look: demanded[look.look], reverse=True)
        for needed in tuple(made):
            # One sitting may spoil another: what is looked for before dilating is lost once the drops are in.
            after = next((other for other in made if other.look == self.looks[needed.look].before), None)
            if after is not None and made.index(after) < made.index(needed):
                made.remove(needed)
                made.insert(made.index(after), needed)
        return tuple(made)

    def _unasked(self, case: Case, values: Values, tier: TierResult) -> tuple[UnaskedFinding, ...]:
        """Findings that were recorded though nothing asked for them, and raise the tier."""
        notes = []
        for place, finding in enumerate(self.rulebook.vocabulary.findings):
            if finding.id not in case.in_force or self.compiled.applies(place, values) is not False:
                continue
            without = values.copy()
            without[place] = None
            least = self.completions.extreme(without, self.objectives.tier, highest=True)
            if least is not None and least.value < tier.working:
                shown = finding.shown(case.in_force[finding.id])
                notes.append(UnaskedFinding(finding.label, shown, int(least.value), tier.working))
        return tuple(notes)

    def _levers(self, case: Case, truths: Truths, working: int) -> tuple[Lever, ...]:
        levers = []
        for factor in self.rulebook.factors.values():
            lever = factor.correctable
            if lever is None or truths[self.compiled.place[f"factor:{factor.id}"]] is not True:
                continue
            finding = self.rulebook.vocabulary.by_id[lever.finding]
            better = finding.read(lever.to)
            tier = self.working_tier(case.with_finding(lever.finding, better))
            if tier < working:
                to, basis = finding.shown(better), lever.basis.words
                levers.append(Lever(lever.finding, finding.label, to, lever.how, tier, factor.id, basis))
        return tuple(levers)


_made: dict[int, Assessor] = {}


def assessor(rulebook: Rulebook) -> Assessor:
    """The assessor of a rulebook, made once for each rulebook object (which it keeps alive)."""
    if id(rulebook) not in _made:
        _made[id(rulebook)] = Assessor(rulebook)
    return _made[id(rulebook)]


def assess(case: Case, rulebook: Rulebook, unit: Unit | None = None, on: datetime.date | None = None) -> Assessment:
    """Assess one case. Pure: dates come in as arguments (`on`, default the case's own). Raises PlannerError."""
    return assessor(rulebook).assess(case, unit, on)
