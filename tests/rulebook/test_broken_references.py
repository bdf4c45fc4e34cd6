"""Names that resolve to nothing, ids that stand twice, rings: what the reader is told, and at which line."""

from __future__ import annotations

from pathlib import Path

import pytest
from broken_rulebooks import AGE, CORNEA, LENS, LOW, ODDS, SCORE, WHEN_LOW, WHITE, Broken, assert_it_does_not_load
from seeds import one_in

REFERENCES = {
    "no such finding": Broken(
        LENS,
        WHITE,
        "when: {finding: opactiy, is: total-white}",
        "opactiy",
        ("no finding 'opactiy'", "did you mean opacity?"),
    ),
    "no such factor": Broken(
        CORNEA, WHEN_LOW, "when: {factor: gutata}", "gutata", ("no factor 'gutata'", "did you mean guttata?")
    ),
    "no such option": Broken(
        "steps.yaml",
        "{option: anaesthesia.low-volume-sub-tenon}",
        "{option: anaesthesia.low-volume}",
        "anaesthesia.low-volume}",
        ("no option 'anaesthesia.low-volume'", "did you mean"),
    ),
    "no such option to outrank": Broken(
        "choices/hydro.yaml",
        "outranks: [small-waves]",
        "outranks: [small-wave]",
        "outranks: [small-wave]",
        ("no option 'small-wave' in the choice hydro", "did you mean small-waves?"),
    ),
    "no such option to withhold": Broken(
        "interactions.yaml",
        "of: {option: hydro.full-hydro}",
        "of: {option: hydro.fully}",
        "hydro.fully",
        ("no option 'hydro.fully'",),
    ),
    "no such equipment": Broken(
        "choices/hydro.yaml",
        "essential: [ovd-dispersive]",
        "essential: [ovd-dispersiv]",
        "ovd-dispersiv]",
        ("no equipment 'ovd-dispersiv'", "did you mean ovd-dispersive?"),
    ),
    "no such equipment for every case": Broken(
        "kit.yaml",
        "always: [side-port-blade,",
        "always: [iron-lung,",
        "iron-lung",
        ("no equipment 'iron-lung'", "one of:"),
    ),
    "no such equipment in a drill": Broken(
        "drills/capsule.yaml",
        "kit: [ovd-high-viscosity,",
        "kit: [ovd-high,",
        "kit: [ovd-high,",
        ("no equipment 'ovd-high'",),
    ),
    "no such drug": Broken(
        "choices/pupil.yaml",
        "drugs: [mydriatic-drops,",
        "drugs: [midriatic-drops,",
        "midriatic-drops",
        ("no drug 'midriatic-drops'", "did you mean mydriatic-drops?"),
    ),
    "no such source": Broken(
        CORNEA,
        "source: low-count-series",
        "source: low-count-serie",
        "low-count-serie",
        ("no source 'low-count-serie'", "did you mean low-count-series?"),
    ),
    "no such source of a model": Broken(
        SCORE, "\nsource: muhtaseb-2004", "\nsource: muhtaseb", "\nsource: muhtaseb", ("no source 'muhtaseb'",)
    ),
    "no such section": Broken(
        "findings.yaml",
        AGE + "\n    label: Age\n    section: patient",
        AGE + "\n    label: Age\n    section: patients",
        "section: patients",
        ("no section 'patients'", "did you mean patient?"),
    ),
    "no such finding to date": Broken(
        "findings.yaml", "dates: [iop_mmhg]", "dates: [iop]", "dates: [iop", ("no finding 'iop'",)
    ),
    "no such look": Broken(
        "findings.yaml",
        "    look: notes\n",
        "    look: note\n",
        "look: note",
        ("no look 'note'", "did you mean notes?"),
    ),
    "seen at no step": Broken(
        "findings.yaml",
        "    seen_at: sign-in\n",
        "    seen_at: signing\n",
        "seen_at: signing",
        ("no step, nor sign-in, 'signing'", "did you mean sign-in?"),
    ),
    "read into no finding": Broken(
        "findings.yaml",
        "into: bleb_quadrants",
        "into: bleb_quadrant",
        "into: bleb_quadrant",
        ("no finding 'bleb_quadrant'", "did you mean bleb_quadrants?"),
    ),
    "as wide as no finding": Broken(
        "findings.yaml",
        "width: zonule_loss_clock_hours",
        "width: zonule_loss_hours",
        "width: zonule_loss_hours",
        ("no finding 'zonule_loss_hours'",),
    ),
    "nothing on record without no finding": Broken(
        "findings.yaml",
        "on_record_needs: [age_years,",
        "on_record_needs: [age,",
        "on_record_needs: [age",
        ("no finding 'age'",),
    ),
    "a line that gives no drug": Broken(
        "choices/antibiotic.yaml",
        "- {drug: cefuroxime,",
        "- {drug: cefuroxim,",
        "- {drug: cefuroxim",
        ("no drug 'cefuroxim'", "did you mean cefuroxime?"),
    ),
    "no such factor in what a model does not see": Broken(
        ODDS, "- factor: posterior-polar-opacity", "- factor: polar", "factor: polar", ("no factor 'polar'",)
    ),
    "no such finding in words to be filled": Broken(
        CORNEA,
        "because: endothelial count {endothelial_cells_per_mm2}, below 1000",
        "because: count {cells}, below 1000",
        "because: count {cells}",
        ("no finding 'cells'",),
    ),
    "no such finding in a caution": Broken(
        "cautions.yaml",
        'text: "Tense and slack white lenses',
        'text: "{opactiy} Tense and slack white lenses',
        "{opactiy}",
        ("no finding 'opactiy'", "did you mean opacity?"),
    ),
    "no such finding to correct": Broken(
        "factors/history.yaml",
        "      finding: uveitis\n",
        "      finding: uveits\n",
        "finding: uveits",
        ("no finding 'uveits'", "did you mean uveitis?"),
    ),
    "correctable to what cannot be": Broken(
        "factors/pressure-and-chamber.yaml",
        "to: '20'",
        "to: '200'",
        "to: '200'",
        ("iop_mmhg cannot be brought to this", "outside the possible range"),
    ),
    "correctable to nothing": Broken(
        "factors/pressure-and-chamber.yaml",
        "to: '20'",
        "to: not-recorded",
        "to: not-recorded",
        ("iop_mmhg cannot be brought to not recorded",),
    ),
    "an id twice in a file": Broken(
        CORNEA,
        "  - id: guttata",
        LOW,
        LOW,
        ("the id 'low-endothelial-count' stands twice", "first at rules/factors/cornea.yaml:4"),
    ),
    "an id twice across files": Broken(
        "factors/zonule-and-pupil.yaml",
        "  - id: small-pupil",
        "  - id: guttata",
        "  - id: guttata",
        ("the id 'guttata' stands twice", "first at rules/factors/cornea.yaml:59"),
    ),
    "an option's id twice": Broken(
        "choices/hydro.yaml",
        "- id: small-waves",
        "- id: until-it-spins",
        "- id: until-it-spins",
        ("'until-it-spins' stands twice",),
    ),
    "a finding's id twice": Broken(
        "findings.yaml", "  - id: sex", AGE, AGE, ("'age_years' stands twice", "first at rules/findings.yaml")
    ),
}

RINGS = {
    "a factor that rests on itself": Broken(
        CORNEA,
        "when: {finding: guttata, is: yes}",
        "when: {factor: guttata}",
        "when: {factor: guttata}",
        ("a factor rests on itself: guttata -> guttata",),
    ),
    "factors in a ring": Broken(
        "factors/zonule-and-pupil.yaml",
        "when: {finding: phacodonesis, is: yes}",
        "when: {factor: weak-zonule}",
        "when: {factor: weak-zonule}",
        ("phacodonesis -> weak-zonule -> phacodonesis", "break the ring"),
    ),
    "options that outrank in a ring": Broken(
        "choices/hydro.yaml",
        "    when: {factor: weak-zonule}\n    outranks: [small-waves]",
        "    when: {factor: weak-zonule}\n    outranks: [small-waves, delineation-only]",
        "outranks: [none-needed]",
        ("outranks runs in a ring", "delineation-only -> none-needed -> until-it-spins -> delineation-only"),
    ),
    "findings asked in a ring": Broken(
        "findings.yaml",
        "asked_when: {finding: previous_vitrectomy, is: yes}",
        "asked_when: {finding: silicone_oil, is: yes}",
        "asked_when: {finding: silicone_oil, is: yes}",
        ("asked_when rests on itself: silicone_oil -> silicone_oil",),
    ),
}


@pytest.mark.parametrize("edit", one_in(3, (REFERENCES | RINGS).values()), ids=(REFERENCES | RINGS))
def test_what_refers_to_nothing_or_to_itself(rules: Path, edit: Broken) -> None:
    assert_it_does_not_load(rules, edit)
