"""The rulebook's tables: tier and supervision only rise, bands meet, no two rows claim one eye."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence, Sized

from planner.case import STAGES
from planner.conditions import Condition, Test, compare, evaluate, findings_in, walk
from planner.rulebook import table_checks
from planner.rulebook.proof.inquiry import TABLES, Bench, Inquiry
from planner.rulebook.proof.report import Claim
from planner.rulebook.proof.worsening import first_looser
from planner.rulebook.shapes import TIERS
from planner.vocabulary import Finding

BAG_POWER = "lens_power_d"


def supervision_rises(bench: Bench) -> Claim:
    text = (
        "a harder tier never has less supervision, nor a more senior stage more; closer rules and overrides never "
        "loosen it; a more senior stage takes no easier steps at most, and every named step that a junior one takes"
    )
    inquiry = Inquiry(bench, "supervision-rises", text, TABLES)
    rulebook, steps = bench.rulebook, len(STAGES) - 1
    inquiry.judge(len(STAGES) * (len(TIERS) - 1) + len(TIERS) * steps, table_checks.matrix_rises(rulebook))
    for stage in STAGES:
        looser = first_looser(rulebook, stage)
        inquiry.checks += 1
        if looser is not None and not inquiry.against:
            where = bench.where("supervision.yaml", "", "overrides")
            mild, grave = (cell.words for cell in looser)
            inquiry.fail(f"{where}: stage {stage}: {grave} after {mild}, though no less speaks against it")
    inquiry.judge(3 * steps, table_checks.stages_rise(rulebook))
    return inquiry.claim()


def bands_meet(bench: Bench) -> Claim:
    """Bands that do not rise and groups that do not meet are refused in loading, so that here they are only counted."""
    text = (
        "bands of points and of probability rise from 0 with the tier; groups of published scores and stages' counts "
        "of operations meet: no gap, no overlap"
    )
    inquiry = Inquiry(bench, "bands-meet", text, TABLES)
    tiers, stages = bench.rulebook.tiers, bench.rulebook.stages
    rising: tuple[Sized, ...] = (tiers.points_bands, tiers.probability_bands, stages.breaks)
    groups = sum(len(score.groups) for score in bench.rulebook.scores)
    rows = sum(max(len(table) - 1, 0) for table in rising) + groups + len(stages.stages)
    inquiry.judge(rows, [*table_checks.stages_meet(bench.rulebook), *table_checks.breaks_rise(bench.rulebook)])
    if tiers.probability_bands and tiers.probability_bands[0].tier != 1:
        inquiry.fail(f"{bench.where('tiers.yaml', '', 'probability_bands')}: they do not start with tier 1")
    first, last = stages.stages[0].whole_operations[0], stages.stages[-1].whole_operations[1]
    if first != 0 or last is not None:
        where = bench.where("stages.yaml", "", "stages")
        ends = "have no end" if last is None else f"end at {last}"
        inquiry.fail(f"{where}: whole operations of the stages start at {first} and {ends}, not from 0 without end")
    return inquiry.claim()


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
        left = gaps(finding, limits, table.covers)
        inquiry.notes.append(f"{table.label}, not covered: {'; '.join(left) or 'nothing'}")
    return inquiry.claim()


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
