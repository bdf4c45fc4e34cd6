"""Entries of a rulebook that do not fit their shape: what the reader is told, and at which line."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_rulebooks import AGE, CORNEA, LOW, ODDS, POINTS, Broken, assert_it_does_not_load, broken
from seeds import one_in

SHAPES = {
    "an unknown key": Broken(
        CORNEA,
        POINTS,
        POINTS + "    colour: red\n",
        "colour",
        ("unknown key 'colour'", "allowed here: id, label, when, points"),
    ),
    "a misspelt key": Broken(
        CORNEA, POINTS, POINTS + "    flor: 3\n", "flor", ("unknown key 'flor'", "did you mean floor?")
    ),
    "an unknown key inside": Broken(
        CORNEA,
        "basis: {basis: published, source: low-count-series,",
        "basis: {basis: published, surce: x, source: low-count-series,",
        "surce",
        ("unknown key 'surce'", "did you mean source?"),
    ),
    "an unknown key beside the list": Broken(
        CORNEA, "factors:\n", "version: 2\nfactors:\n", "version", ("unknown key 'version'", "only `factors:`")
    ),
    "a key left out": Broken(
        CORNEA, "    label: Low endothelial count\n", "", LOW, ("`label` is missing", "label: ...")
    ),
    "a value left out": Broken(
        CORNEA, "label: Low endothelial count", "label:", "label:", ("`label` is empty", "should be text")
    ),
    "a list for text": Broken(
        CORNEA, "label: Low endothelial count", "label: [Low]", "label: [Low]", ("`label` is ['Low']", "should be text")
    ),
    "text for a list": Broken(
        CORNEA,
        "    misleads_when:\n      - a count",
        "    misleads_when: a count",
        "misleads_when: a count",
        ("`misleads_when` is", "should be a list"),
    ),
    "an empty list that must hold something": Broken(
        CORNEA,
        "    misleads_when:\n      - a count off centre, through guttata, or of too few cells\n",
        "    misleads_when: []\n",
        "misleads_when: []",
        ("has 0 items", "at least 1"),
    ),
    "text for keys": Broken(
        CORNEA,
        "harder_steps: {ovd: 1, nucleus: 1, fragment-removal: 2}",
        "harder_steps: nucleus",
        "harder_steps: nucleus",
        ("`harder_steps` is 'nucleus'", "`key: value` lines"),
    ),
    "a step that is none": Broken(
        CORNEA,
        "{ovd: 1, nucleus: 1,",
        "{ovd: 1, nuclus: 1,",
        "nuclus",
        ("unknown key 'nuclus'", "did you mean nucleus?"),
    ),
    "an id not written as ids are": Broken(
        CORNEA, LOW, "  - id: Low Count", "id: Low Count", ("`id` is 'Low Count'", "lower-case words like small-pupil")
    ),
    "days without what they are of": Broken(
        "findings.yaml", "    dates: [inr]\n", "", "- id: inr_date", ("inr_date", "dates, valid_days", "together")
    ),
    "days of what is no date": Broken(
        "findings.yaml", AGE, AGE + "\n    valid_days: 9", AGE, ("age_years", "a date has dates, valid_days")
    ),
    "a finding's id not written as theirs are": Broken(
        "findings.yaml", AGE, "  - id: age-years", "id: age-years", ("age-years", "lower-case words like small_pupil")
    ),
    "one of a set, misspelt": Broken(
        "supervision.yaml",
        "early: {mode: scrubbed,",
        "early: {mode: scrubed,",
        "scrubed",
        ("`matrix.1.early.mode` is 'scrubed'", "it is one of on-site", "did you mean scrubbed?"),
    ),
    "a kind of model that is none": Broken(
        ODDS, "kind: odds", "kind: odd", "kind: odd", ("`kind` is 'odd'", "kind: odds, or kind: points")
    ),
    "a model without a kind": Broken(
        ODDS, "kind: odds\n", "", "", ("`kind` is missing", "kind: odds, or kind: points")
    ),
    "a direction of harm that is none": Broken(
        "findings.yaml",
        "worse: higher",
        "worse: hihger",
        "worse: hihger",
        ("'hihger' is no direction of harm", "higher, lower"),
    ),
    "an order of harm with a value left out": Broken(
        "findings.yaml",
        "worse: {order: [none, moderate, severe-or-anuric]}",
        "worse: {order: [none, moderate]}",
        "- id: renal_impairment",
        ("every value once: none, moderate, severe-or-anuric",),
    ),
    "a usual range outside the possible one": Broken(
        "findings.yaml", "usual: [40, 95]", "usual: [40, 195]", AGE, ("age_years", "usual inside possible")
    ),
    "an unremarkable value it cannot take": Broken(
        "findings.yaml",
        "    unremarkable: none\n",
        "    unremarkable: nne\n",
        "- id: renal_impairment",
        ("'nne' is not one of the values", "did you mean none?"),
    ),
    "a withhold with nothing instead": Broken(
        "interactions.yaml",
        "    instead: delineation only, no rotation, OVD in before every exit\n",
        "",
        "- id: polar-no-hydrodissection",
        ("what to do instead",),
    ),
    "a rule about two things": Broken(
        "interactions.yaml",
        "of: {option: hydro.full-hydro}",
        "of: {option: hydro.full-hydro, step: hydro}",
        "- id: polar-no-hydrodissection",
        ("names exactly one option, kit, drug or step",),
    ),
    "kit that is withheld": Broken(
        "interactions.yaml",
        "  - id: no-tap-into-a-bleed\n    force: tell\n",
        "  - id: no-tap-into-a-bleed\n    force: withhold\n    instead: wait\n    hazard: a hard eye\n",
        "- id: no-tap-into-a-bleed",
        ("a withhold of a kit is not acted on", "of option or drug it is"),
    ),
    "a step that is withheld": Broken(
        "interactions.yaml",
        "of: {option: hydro.full-hydro}",
        "of: {step: hydro}",
        "- id: polar-no-hydrodissection",
        ("a withhold of a step is not acted on", "of option or drug it is"),
    ),
    "an option that is required": Broken(
        "interactions.yaml",
        "  - id: hard-lens-loose\n    force: prefer\n",
        "  - id: hard-lens-loose\n    force: require\n",
        "- id: hard-lens-loose",
        ("a require of a option is not acted on", "of kit it is"),
    ),
    "a drug that is required": Broken(
        "interactions.yaml",
        "of: {kit: latex-free-set}",
        "of: {drug: acetazolamide}",
        "- id: latex-free",
        ("a require of a drug is not acted on", "of kit it is"),
    ),
    "first in what orders nothing": Broken(
        "interactions.yaml",
        "of: {kit: latex-free-set}",
        "of: {kit: latex-free-set}\n    first: dye",
        "- id: latex-free",
        ("`first` belongs to an order",),
    ),
    "a coarse reading in two ways": Broken(
        "findings.yaml",
        "into: nucleus_hardness, grades",
        "into: nucleus_hardness, clock: yes, grades",
        "coarse: {",
        ("coarse into nucleus_hardness: give `grades`, or `clock: yes`",),
    ),
    "a preference without a plain value": Broken(
        "findings.yaml",
        "    plain: topical\n",
        "",
        "- id: anaesthesia_requested",
        ("anaesthesia_requested", "a preference needs `plain`"),
    ),
    "a named step that is none": Broken(
        "stages.yaml", "named_steps: [lens,", "named_steps: [lenz,", "lenz", ("'lenz'", "did you mean lens?")
    ),
    "a target that is no step": Broken(
        "stages.yaml", "targets: [lens,", "targets: [lenz,", "lenz", ("'lenz'", "did you mean lens?")
    ),
    "danger beyond the scale": Broken("drills/capsule.yaml", "danger: ", "danger: 1", "danger: 1", ("danger", "9")),
}


@pytest.mark.parametrize("edit", one_in(3, SHAPES.values()), ids=SHAPES)
def test_what_does_not_fit(rules: Path, edit: Broken) -> None:
    assert_it_does_not_load(rules, edit)


def test_every_fault_of_a_stage_is_told_at_once(rules: Path) -> None:
    for name in ("a misspelt key", "one of a set, misspelt", "a withhold with nothing instead"):
        report, _ = broken(rules, SHAPES[name])
    assert len(report.faults) == 3
