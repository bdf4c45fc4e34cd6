"""What is found in a rulebook that loads, fault or warning, and at which line."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_rulebooks import CORNEA, LENS, Broken, broken, lines
from seeds import one_in

from planner.rulebook.check import check
from planner.shipped import rules_folder

LOOKED_OVER = {
    "points not anchored to their odds": Broken(
        LENS,
        "points: 3\n",
        "points: 2\n",
        "points: 2",
        ("2 points for an odds ratio of 2.99", "round(2 x log2(odds ratio))", "points: 3"),
    ),
    "odds outside their interval": Broken(
        CORNEA,
        "interval: [3.02, 3.41]",
        "interval: [3.22, 3.41]",
        "interval: [3.22, 3.41]",
        ("3.21 lies outside its interval",),
    ),
    "a group of one": Broken(
        CORNEA,
        "counts_once_with: endothelium",
        "counts_once_with: endotelium",
        "endotelium",
        ("'endotelium' names a group of one", "endothelium"),
    ),
    "seen in a source nobody has seen": Broken(
        "sources.yaml",
        "    known: seen\n",
        "    known: from-memory\n",
        "known: from-memory",
        ("muhtaseb-2004 is cited from memory here, and called seen at rules/", "more"),
    ),
    "in force without approvers": Broken(
        "rulebook.yaml",
        "status: draft",
        "status: in-force",
        "status: in-force",
        ("without approvers and effective_from",),
    ),
    "an option beside the usual way": Broken(
        "choices/hydro.yaml",
        "outranks: [small-waves]",
        "outranks: []",
        "outranks: []",
        ("hydro.until-it-spins does not outrank full-hydro", "both would win"),
    ),
    "supervision that loosens for a harder eye": Broken(
        "supervision.yaml",
        "middle: {mode: scrubbed, by: trainer}",
        "middle: {mode: on-site, by: trainer}",
        "middle: {mode: on-site",
        ("tier 2, middle: supervised from further away than tier 1",),
    ),
    "supervision that tightens for a senior trainee": Broken(
        "supervision.yaml",
        "independent: {mode: on-site, by: trainer}",
        "independent: {mode: in-theatre, by: trainer}",
        "independent: {mode: in-theatre",
        ("tier 1, independent: supervised from closer than late",),
    ),
    "a consultant for a senior trainee and a trainer before": Broken(
        "supervision.yaml",
        "late: {mode: scrubbed, by: consultant}",
        "late: {mode: scrubbed, by: trainer}",
        "independent: {mode: scrubbed",
        ("tier 3, independent: supervised from closer than late",),
    ),
    "operators' limits that do not rise": Broken(
        "supervision.yaml",
        "operator_probability_at_least: 0.06",
        "operator_probability_at_least: 0.03",
        "probability_at_least: 0.03",
        ("`closer` does not rise at 0.03", "never sends them away"),
    ),
    "a floor on what has no direction": Broken(
        "findings.yaml",
        "kind: yes-no\n    worse: yes\n",
        "kind: yes-no\n    worse: none\n",
        "worse: none",
        ("only_seeing_eye has no direction, and the floor of only-seeing-eye rests on it",),
    ),
    "a floor on what has no direction, through another factor": Broken(
        "findings.yaml",
        "worse: {order: [soft, medium, hard, brown]}",
        "worse: none",
        "worse: none",
        ("nucleus_hardness has no direction", "nothing would be proved of a tier it demands"),
    ),
    "what is tested without a plain value": Broken(
        "findings.yaml",
        "    plain: female\n",
        "",
        "- id: sex",
        ("sex has no plain value, and is tested at rules/", "the eye on record would be left open"),
    ),
    "what hides a finding hidden itself": Broken(
        "findings.yaml",
        "hidden_when: {finding: corneal_opacity, is: yes}",
        "hidden_when: {finding: nucleus_hardness, is: hard}",
        "nucleus_hardness",
        ("guttata is hidden by nucleus_hardness, which something may hide as well",),
    ),
    "read into values that are not the coarser one's": Broken(
        "findings.yaml",
        "grades: {soft: [",
        "grades: {softer: [",
        "coarse: {into: nucleus_hardness,",
        ("nuclear_opalescence_locs3 is read as softer, medium, hard, brown, and nucleus_hardness is a choice of",),
    ),
    "a clock hour read into what has no quadrants": Broken(
        "findings.yaml",
        "into: bleb_quadrants, clock",
        "into: alpha_blocker_ever, clock",
        "alpha_blocker_ever, clock",
        ("bleb_clock_hour is read as inferior, nasal, superior, temporal, and alpha_blocker_ever is a set of other",),
    ),
    "grades that overlap": Broken(
        "findings.yaml",
        "medium: [2.0, 4.9]",
        "medium: [1.9, 4.9]",
        "medium: [1.9",
        ("the grades soft and medium overlap from 1.9 to 1.9", "the first would be taken"),
    ),
    "a grade that runs backwards": Broken(
        "findings.yaml", "brown: [6.0, 6.9]", "brown: [6.9, 6.0]", "brown: [6.9", ("brown runs from 6.9 down to 6",)
    ),
    "a width that is no number": Broken(
        "findings.yaml",
        "width: zonule_loss_clock_hours",
        "width: opacity",
        "width: opacity",
        ("zonule_loss_from_clock_hour: only a number is read coarsely, and only a number is a `width`",),
    ),
    "a line that gives a drug the option does not name": Broken(
        "choices/antibiotic.yaml",
        "- {drug: cefuroxime,",
        "- {drug: acetazolamide,",
        "- {drug: acetazolamide,",
        ("antibiotic.cefuroxime gives acetazolamide, which is not among its drugs", "acetazolamide]"),
    ),
    "a drug of a group of one": Broken(
        "kit.yaml",
        "one_of: intracameral mydriatic",
        "one_of: intracameral midriatic",
        "midriatic",
        ("'intracameral midriatic' names a group of one", "groups there are: intracameral mydriatic"),
    ),
    "a senior stage that loses a named step": Broken(
        "stages.yaml",
        "incisions, hydro, cortex]",
        "hydro, cortex]",
        "named_steps: [",
        ("early is not given incisions, which steps-only is", "add incisions"),
    ),
    "a gap between stages": Broken(
        "stages.yaml",
        "whole_operations: [100, 199]",
        "whole_operations: [110, 199]",
        "whole_operations: [110",
        ("middle starts at 110 whole operations, early ends at 99",),
    ),
    "a later stage that takes easier steps": Broken(
        "stages.yaml",
        "takes_up_to: 8",
        "takes_up_to: 4",
        "takes_up_to: 4",
        ("late takes easier steps than middle", "6 or more"),
    ),
    "breaks that do not rise": Broken(
        "stages.yaml", "weeks_at_least: 26", "weeks_at_least: 6", "weeks_at_least: 6", ("`breaks` do not rise",)
    ),
    "two bands for one lens power": Broken(
        "lens.yaml",
        "  - {at_least: 18, at_most: 25,",
        "  - {at_least: 18, at_most: 26,",
        "at_most: 26,",
        ("overlaps one above it",),
    ),
}


@pytest.mark.parametrize("edit", one_in(3, LOOKED_OVER.values()), ids=LOOKED_OVER)
def test_it_loads_and_is_found_when_looked_over(rules: Path, edit: Broken) -> None:
    report, where = broken(rules, edit)
    assert report.rulebook is not None
    assert where in [fault.where for fault in report.faults], "\n".join(map(str, report.faults))
    said = "\n".join(str(fault) for fault in report.faults if fault.where == where)
    assert all(word in said for word in edit.words), said


def test_the_shipped_rulebook_has_neither_faults_nor_warnings() -> None:
    report = check(rules_folder())
    assert report.rulebook is not None
    assert (report.faults, report.warnings) == ((), ())


def test_in_force_with_claims_nobody_approved(rules: Path) -> None:
    header = rules / "rulebook.yaml"
    text = header.read_text(encoding="utf-8")
    approved = text.replace("status: draft", "status: in-force\neffective_from: 2026-12-01").replace(
        "[]", "[a-consultant]"
    )
    assert approved != text
    header.write_text(approved, encoding="utf-8")
    said = lines(check(rules))
    tiers = (rules / "tiers.yaml").read_text(encoding="utf-8")
    line = tiers[: tiers.index("{tier: 2, at_least: 2")].count("\n") + 1
    assert f"rules/tiers.yaml:{line}: not yet approved, in a rulebook in force; try: name who approved it" in said
    assert any("a draft, in a rulebook in force" in one for one in said)
    assert not any("rulebook.yaml" in one for one in said)


def test_what_nothing_uses_is_warned_of(rules: Path) -> None:
    def add(name: str, before: str, text: str) -> str:
        path = rules / name
        edited = path.read_text(encoding="utf-8").replace(before, f"{before}{text}", 1)
        path.write_text(edited, encoding="utf-8")
        return f"rules/{name}:{edited[: edited.index(text)].count(chr(10)) + 1}"

    source = add("sources.yaml", "sources:\n", "  - {id: never-cited-1999, citation: A paper, known: seen}\n")
    item = add("kit.yaml", "equipment:\n", "- {id: idle-forceps, label: Idle forceps}\n")
    fields = "route: by eye, concentration: 1 %, dose: 1 drop, basis: common-practice"
    drug = add("kit.yaml", "drugs:\n", f"- {{id: idle-drops, label: Idle drops, {fields}}}\n")
    report = check(rules)
    assert lines(report) == []
    assert sorted(str(warning) for warning in report.warnings) == sorted(
        [
            f"{source}: nothing cites never-cited-1999; try: cite it, or take it out",
            f"{item}: nothing wants idle-forceps; try: name it where it is used, or take it out",
            f"{drug}: nothing wants idle-drops; try: name it where it is used, or take it out",
        ]
    )


def test_a_source_named_in_words_alone_is_cited(rules: Path) -> None:
    sources, notes = rules / "sources.yaml", rules / "rulebook.yaml"
    text = sources.read_text(encoding="utf-8")
    sources.write_text(text.replace("sources:\n", "sources:\n  - {id: told-1999, citation: A, known: seen}\n", 1))
    text = notes.read_text(encoding="utf-8")
    notes.write_text(text.replace("title: Cataract surgery", "title: As told-1999 says, cataract surgery", 1))
    assert check(rules).warnings == ()
