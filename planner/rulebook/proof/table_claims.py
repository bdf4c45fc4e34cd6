"""The rulebook's tables: tier and supervision only rise, bands meet, no two rows claim one eye."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence

from planner.case import STAGES
from planner.conditions import Condition, Test, compare, evaluate, findings_in, walk
from planner.rulebook.plan_shapes import SulcusTable
from planner.rulebook.proof.inquiry import TABLES, Bench, Inquiry
from planner.rulebook.proof.report import Claim
from planner.rulebook.proof.totals import TIERS
from planner.rulebook.proof.worsening import first_looser
from planner.rulebook.shapes import Supervised
from planner.vocabulary import Finding

BAG_POWER = "lens_power_d"


def supervision_rises(bench: Bench) -> Claim:
    text = (
        "a harder tier never has less supervision, nor a more senior stage more; closer rules and overrides never "
        "loosen it; a more senior stage takes no easier steps at most, and every named step that a junior one takes"
    )
    inquiry = Inquiry(bench, "supervision-rises", text, TABLES)
    matrix = bench.rulebook.supervision.matrix

    def never_looser(words: str, where: str, mild: Supervised, grave: Supervised) -> None:
        if grave.is_looser_than(mild):
            inquiry.fail(f"{where}: {words}: {grave.mode} by the {grave.by} after {mild.mode} by the {mild.by}")
        else:
            inquiry.passed()

    for stage in STAGES:
        for mild, grave in itertools.pairwise(TIERS):
            where = bench.where("supervision.yaml", "", "matrix", str(grave), stage)
            words = f"stage {stage}, tier {grave} has less supervision than tier {mild}"
            never_looser(words, where, matrix[mild][stage], matrix[grave][stage])
        looser = first_looser(bench.rulebook, stage)
        inquiry.checks += 1
        if looser is not None and not inquiry.against:
            where = bench.where("supervision.yaml", "", "overrides")
            mild_words, grave_words = (cell.words for cell in looser)
            inquiry.fail(f"{where}: stage {stage}: {grave_words} after {mild_words}, though no less speaks against it")
    for tier in TIERS:
        for junior, senior in itertools.pairwise(STAGES):
            where = bench.where("supervision.yaml", "", "matrix", str(tier), senior)
            words = f"tier {tier}, stage {senior} has more supervision than stage {junior}"
            never_looser(words, where, matrix[tier][senior], matrix[tier][junior])
    for before, after in itertools.pairwise(bench.rulebook.stages.stages):
        for key in ("takes_up_to", "named_harder_up_to"):
            inquiry.checks += 1
            if getattr(after, key) < getattr(before, key):
                where = bench.where("stages", after.id, key)
                inquiry.fail(f"{where}: {after.id} has {key} below {before.id}'s")
        lost = [step for step in before.named_steps if step not in after.named_steps]
        inquiry.checks += 1
        if lost:
            where = bench.where("stages", after.id, "named_steps")
            inquiry.fail(f"{where}: {after.id} is not given {', '.join(lost)}, which {before.id} is")
    return inquiry.claim()


def bands_meet(bench: Bench) -> Claim:
    text = (
        "bands of points and of probability rise from 0 with the tier; groups of published scores and stages' counts "
        "of operations meet: no gap, no overlap"
    )
    inquiry = Inquiry(bench, "bands-meet", text, TABLES)
    tiers = bench.rulebook.tiers
    for key, bands in (("points_bands", tiers.points_bands), ("probability_bands", tiers.probability_bands)):
        where = bench.where("tiers.yaml", "", key)
        limits = [(float(band.at_least), band.tier) for band in bands]
        _rising(inquiry, where, f"`{key}`", limits)
        if limits and limits[0] != (0, 1):
            inquiry.fail(f"{where}: `{key}` do not start with tier 1 at 0")
    for score in bench.rulebook.scores:
        spans = [(group.at_least, group.at_most) for group in score.groups]
        if spans:
            _meeting(inquiry, bench.where("models", score.id, "groups"), f"groups of {score.id}", spans)
    stages = [stage.whole_operations for stage in bench.rulebook.stages.stages]
    _meeting(inquiry, bench.where("stages.yaml", "", "stages"), "whole operations of the stages", stages)
    breaks = [(float(each.weeks_at_least), each.stages_down) for each in bench.rulebook.stages.breaks]
    _rising(inquiry, bench.where("stages.yaml", "", "breaks"), "`breaks`", breaks)
    return inquiry.claim()


def _rising(inquiry: Inquiry, where: str, what: str, rows: Sequence[tuple[float, int]]) -> None:
    for mild, grave in itertools.pairwise(rows):
        if grave[0] > mild[0] and grave[1] > mild[1]:
            inquiry.passed()
        else:
            inquiry.fail(f"{where}: {what} do not rise: {grave[1]} from {grave[0]:g} after {mild[1]} from {mild[0]:g}")


def _meeting(inquiry: Inquiry, where: str, what: str, spans: Sequence[tuple[int, int | None]]) -> None:
    """Whole numbers from 0 up without end, each in one span."""
    expected: int | None = 0
    for low, high in spans:
        if low == expected:
            inquiry.passed()
        else:
            kind = "overlap" if expected is None or low < expected else "leave a gap"
            inquiry.fail(f"{where}: {what} {kind} at {low}")
        expected = None if high is None else high + 1
    if expected is not None:
        inquiry.fail(f"{where}: {what} end at {expected - 1}")


def levels_apart(bench: Bench) -> Claim:
    inquiry = Inquiry(bench, "levels-apart", "no two levels of one term of the odds model hold together")
    model = bench.rulebook.odds
    for n, term in enumerate(model.terms):
        for (m, one), (_, other) in itertools.combinations(enumerate(term.levels), 2):
            where = bench.where("models", model.id, "terms", n, "levels", m)
            says = f"{where}: the levels {one.label!r} and {other.label!r} of {term.id} both hold"
            both = bench.case.holds(one.when), bench.case.holds(other.when)
            inquiry.refute_by(f"{term.id}: {one.label}, {other.label}", says, *both)
        conditions = [level.when for level in term.levels]
        inquiry.notes.append(f"{term.label}, left at the reference: {_left(bench, conditions)}")
    return inquiry.claim()


def _left(bench: Bench, conditions: Sequence[Condition]) -> str:
    """What no row covers: in numbers where the rows test one number, else in general words."""
    named = set().union(*(findings_in(condition) for condition in conditions))
    finding = bench.rulebook.vocabulary.by_id[min(named)]
    if len(named) != 1 or finding.possible is None:
        return "where none of its levels holds"
    limits = [p.limit for c in conditions for p in walk(c) if isinstance(p, Test) and isinstance(p.limit, float)]

    def covered(value: float) -> bool:
        return any(evaluate(when, lambda test: compare(test, value), lambda _: False) for when in conditions)

    return "; ".join(gaps(finding, limits, covered)) or "nothing"


def sulcus_rows_apart(bench: Bench) -> Claim:
    text = "no two rows of a sulcus table give a change for one bag power"
    inquiry = Inquiry(bench, "sulcus-rows-apart", text, TABLES)
    finding = bench.rulebook.vocabulary.by_id[BAG_POWER]
    for n, table in enumerate(bench.rulebook.lens.sulcus_tables):
        limits = [test.limit for band in table.bands for test in band.limits]
        for value in _pieces(finding, limits):
            inquiry.checks += 1
            rows = [m for m, band in enumerate(table.bands) if band.covers(value)]
            if len(rows) > 1 and not inquiry.has_enough:
                where = bench.where("lens.yaml", "", "sulcus_tables", n, "bands", rows[1])
                says = f"{where}: the rows {' and '.join(str(row + 1) for row in rows)} of {table.id} both cover"
                power = bench.case.variables[BAG_POWER].equals(value)
                inquiry.refute_by(table.id, f"{says} {finding.shown(value)}", power)
        inquiry.notes.append(f"{table.label}, not covered: {'; '.join(_left_of(finding, table, limits)) or 'nothing'}")
    return inquiry.claim()


def _left_of(finding: Finding, table: SulcusTable, limits: Iterable[float]) -> list[str]:
    return gaps(finding, limits, lambda value: any(band.covers(value) for band in table.bands))


def _pieces(finding: Finding, limits: Iterable[float]) -> list[float]:
    """Every limit within what is possible, and a value between each two: between them nothing changes."""
    assert finding.possible is not None
    low, high = finding.possible
    ends = sorted({low, high, *(limit for limit in limits if low <= limit <= high)})
    return [*itertools.chain(*((a, (a + b) / 2) for a, b in itertools.pairwise(ends))), ends[-1]]


def gaps(finding: Finding, limits: Iterable[float], covered: Callable[[float], bool]) -> list[str]:
    """The stretches of what is possible that nothing covers, in words; one between two steps says so."""
    pieces = _pieces(finding, limits)
    stretches: list[str] = []
    for uncovered, places in itertools.groupby(range(len(pieces)), lambda place: not covered(pieces[place])):
        stretch = list(places)
        if uncovered:
            stretches.append(_stretch(finding, pieces, stretch[0], stretch[-1]))
    return stretches


def _stretch(finding: Finding, pieces: Sequence[float], first: int, last: int) -> str:
    """Even places hold a limit itself, odd ones what lies between two."""
    unit = f" {finding.unit}" if finding.unit else ""
    low = "" if first == 0 else f"from {pieces[first]:g}" if first % 2 == 0 else f"above {pieces[first - 1]:g}"
    end = len(pieces) - 1
    high = "" if last == end else f"to {pieces[last]:g}" if last % 2 == 0 else f"below {pieces[last + 1]:g}"
    step, words = finding.step, f"{' and '.join(part for part in (low, high) if part)}{unit}".strip() or "everything"
    if step and first == last and first % 2:
        next_step = (pieces[first - 1] // step + 1) * step
        words += f" (between steps of {step:g}{unit})" if next_step >= pieces[first + 1] else ""
    return words
