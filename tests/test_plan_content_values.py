"""Doses, concentrations and lens tables of the shipped rulebook, held to what their sources print.

Numbers are read out of the words that are printed, so that a slip in a label or a dose fails here. The source stands
beside each check; where a check is arithmetic on a printed figure it says so.
"""

from __future__ import annotations

import re

import pytest

from planner.plan.lens import sulcus_change
from planner.rulebook.plan_shapes import Drug, SulcusTable
from planner.rulebook.rulebook import Rulebook

NUMBER = r"(\d+(?:\.\d+)?)"


def drug(rulebook: Rulebook, name: str) -> Drug:
    return next(drug for drug in rulebook.kit.drugs if drug.id == name)


def numbers(pattern: str, text: str) -> tuple[float, ...]:
    """The numbers where `#` stands in the pattern; a text without them fails the test."""
    found = re.search(re.escape(pattern).replace(r"\#", NUMBER), text)
    assert found, f"{pattern!r} is not in {text!r}"
    return tuple(float(number) for number in found.groups())


def table(rulebook: Rulebook, name: str) -> SulcusTable:
    return next(table for table in rulebook.lens.sulcus_tables if table.id == name)


# -- drugs ------------------------------------------------------------------------------------------------------------


def test_trypan_blue_full_syringe_is_the_labelled_maximum(rulebook: Rulebook) -> None:
    # US label of trypan blue ophthalmic solution, current copy: 0.06 %, 0.5 mL, at most 0.3 mg an eye.
    dye = drug(rulebook, "trypan-blue")
    percent, mg_in_ml = numbers("# % (# mg in 1 mL)", dye.concentration)
    (ml,) = numbers("up to # mL", dye.dose)
    (most_mg,) = numbers("# mg an eye", dye.maximum or "")
    assert (percent, ml, most_mg) == (0.06, 0.5, 0.3)
    assert mg_in_ml == pytest.approx(percent * 10)
    assert mg_in_ml * ml == pytest.approx(most_mg)


def test_no_option_paints_more_dye_than_the_label_allows(rulebook: Rulebook) -> None:
    (most_ml,) = numbers("up to # mL", drug(rulebook, "trypan-blue").dose)
    painted = {
        option.id: [
            float(ml)
            for line in [*option.do, *(line.do for line in option.drug_lines)]
            for ml in re.findall(rf"{NUMBER} mL of trypan", line)
        ]
        for option in rulebook.choices["capsule-dye"].options
    }
    assert painted == {
        "least-dye-under-ovd": [0.1],  # yetik-2002: 0.1 mL volumes beneath dispersive OVD
        "dye-after-device": [0.2],
        "dye-under-air": [0.2],
        "no-dye": [],
    }
    assert all(ml <= most_ml for amounts in painted.values() for ml in amounts)


def test_cefuroxime_is_one_milligram_and_ten_times_is_in_the_harmful_range(rulebook: Rulebook) -> None:
    # SmPC of licensed intracameral cefuroxime: 50 mg made up with 5 mL, 0.1 mL given.
    # Overdose text: corneal and retinal harm reported at 10 to 100 mg.
    antibiotic = drug(rulebook, "cefuroxime")
    mg, per_ml, vial_mg, made_up_ml = numbers("# mg in # mL (# mg made up with # mL", antibiotic.concentration)
    given_ml, given_mg = numbers("# mL (# mg)", antibiotic.dose)
    assert (vial_mg, made_up_ml, given_ml, given_mg) == (50, 5, 0.1, 1)
    assert mg / per_ml == pytest.approx(vial_mg / made_up_ml)
    assert given_ml * vial_mg / made_up_ml == pytest.approx(given_mg)
    assert numbers("# mL", antibiotic.maximum or "") == (given_ml,)
    assert 10 <= 1.0 * vial_mg / made_up_ml <= 100, "1 mL by error is 10 mg"


def test_cefuroxime_in_the_step_is_the_drug_s_own_dose(rulebook: Rulebook) -> None:
    _, option = rulebook.option("antibiotic.cefuroxime")
    [line] = [line.do for line in option.drug_lines if line.drug == "cefuroxime"]
    assert numbers("Cefuroxime # mg in # mL", line) == (1, 0.1)
    assert numbers("no more than # mL", option.do[0]) == (0.1,)


def test_phenylephrine_trial_dose_and_the_licensed_combination(rulebook: Rulebook) -> None:
    # lorente-2012: 1.5 %, 0.6 mL. Licensed combination's SmPC: phenylephrine 0.31 %, 0.2 mL once.
    trial, licensed = (
        drug(rulebook, "phenylephrine-intracameral"),
        drug(rulebook, "tropicamide-phenylephrine-lidocaine"),
    )
    (percent,) = numbers("# %", trial.concentration)
    ml, mg = numbers("# mL (# mg)", trial.dose)
    tropicamide, phenylephrine, lidocaine = numbers("# % / # % / # %", licensed.concentration)
    (licensed_ml,) = numbers("# mL once", licensed.dose)
    assert percent * 10 * ml == pytest.approx(mg) == pytest.approx(9)
    assert (tropicamide, phenylephrine, lidocaine) == (0.02, 0.31, 1)
    assert phenylephrine * 10 * licensed_ml == pytest.approx(0.62)
    assert mg / 0.62 == pytest.approx(14.5, abs=0.05)


def test_licensed_combination_is_withheld_from_a_small_pupil(rulebook: Rulebook) -> None:
    # SmPC: only where the pupil has been seen to dilate before.
    withheld = {against.id for against in drug(rulebook, "tropicamide-phenylephrine-lidocaine").withhold}
    assert "combination-small-pupil" in withheld


def test_adrenaline_recipe_gives_the_strengths_printed(rulebook: Rulebook) -> None:
    # Recipe: 9 mL salt solution, 3 mL lidocaine 4 %, 4 mL adrenaline 1 in 1000 (1 mg in 1 mL); an Academy summary
    # prints 0.025 % and 0.75 %.
    mixture = drug(rulebook, "adrenaline-lidocaine-intracameral")
    adrenaline, one_in, lidocaine = numbers("adrenaline # % (1 in #) with lidocaine # %", mixture.concentration)
    salt_ml, lidocaine_ml, lidocaine_percent, adrenaline_ml = numbers(
        "# mL salt solution with # mL lidocaine # % and # mL adrenaline 1 in 1000", mixture.basis.note or ""
    )
    total_ml = salt_ml + lidocaine_ml + adrenaline_ml
    assert total_ml == 16
    assert adrenaline_ml * 1.0 / total_ml == pytest.approx(adrenaline * 10) == pytest.approx(0.25)
    assert one_in == pytest.approx(1000 / 0.25)
    assert lidocaine_ml * lidocaine_percent / total_ml == pytest.approx(lidocaine) == pytest.approx(0.75)


def test_mannitol_prints_both_limits_and_computes_nothing(rulebook: Rulebook) -> None:
    # UK SmPC of mannitol 20 %: 1.5 to 2 g/kg before eye surgery, and 50 g on any one occasion: they disagree.
    osmotic = drug(rulebook, "mannitol")
    percent, mg_in_ml = numbers("# % (# mg in 1 mL)", osmotic.concentration)
    least, most = numbers("# to # g/kg", osmotic.dose)
    (once_g,) = numbers("# g on any one occasion", osmotic.maximum or "")
    assert (percent, mg_in_ml, least, most, once_g) == (20, 200, 1.5, 2, 50)
    assert once_g * 1000 / mg_in_ml == 250, "50 g is 250 mL of 20 %"
    # At 70 kg the weight dose is 140 g (700 mL), nearly three times the other limit, which is 0.71 g/kg.
    assert most * 70 == 140 and most * 70 * 1000 / mg_in_ml == 700 and once_g / 70 == pytest.approx(0.71, abs=0.005)
    assert "50 g" in osmotic.dose and "prescriber decides" in osmotic.dose


def test_acetazolamide_limit_and_what_bars_it(rulebook: Rulebook) -> None:
    # UK SmPC: 250 to 1000 mg in 24 hours; sulphonamide hypersensitivity, low potassium or sodium, kidney, liver and
    # adrenal failure. Sickle disease from a patient society's page.
    suppressant = drug(rulebook, "acetazolamide")
    assert numbers("# to # mg in 24 hours", suppressant.dose) == (250, 1000)
    assert numbers("# mg in 24 hours", suppressant.maximum or "") == (1000,)
    barred = {against.id.removeprefix("acetazolamide-") for against in suppressant.withhold}
    assert barred >= {"sulphonamide", "salts", "kidney", "liver", "adrenal", "sickle"}


def test_antiseptics(rulebook: Rulebook) -> None:
    # Povidone-iodine 5 to 10 % for 3 minutes as practice of 2020. Chlorhexidine 0.05 % is from memory and says so.
    iodine, chlorhexidine = drug(rulebook, "povidone-iodine"), drug(rulebook, "chlorhexidine-aqueous")
    assert numbers("# % skin, # % eye", iodine.concentration) == (10, 5)
    assert numbers("at least # minutes", iodine.dose) == (3,)
    assert numbers("# % aqueous", chlorhexidine.concentration) == (0.05,)
    assert chlorhexidine.basis.known == "from-memory"


def test_moxifloxacin_series(rulebook: Rulebook) -> None:
    # Brazilian series: 0.05 mL of 5.45 mg/mL, which is 0.27 mg.
    antibiotic = drug(rulebook, "moxifloxacin")
    (mg_in_ml,) = numbers("# mg in 1 mL", antibiotic.concentration)
    ml, mg = numbers("# mL (# mg)", antibiotic.dose)
    assert (mg_in_ml, ml) == (5.45, 0.05)
    assert mg_in_ml * ml == pytest.approx(mg, abs=0.005)


def test_lidocaine_in_the_chamber_and_in_a_block(rulebook: Rulebook) -> None:
    # tseng-1998: 0.5 mL of 1 %. The block's maxima are from memory and say so.
    chamber, block = drug(rulebook, "lidocaine-intracameral"), drug(rulebook, "lidocaine-block")
    assert numbers("# %", chamber.concentration) == (1,) and numbers("# mL", chamber.dose) == (0.5,)
    (mg_in_ml,) = numbers("(# mg in 1 mL)", block.concentration)
    least_ml, most_ml, least_mg, most_mg = numbers("# to # mL (# to # mg)", block.dose)
    assert (least_ml * mg_in_ml, most_ml * mg_in_ml) == (least_mg, most_mg) == (60, 100)
    lidocaine_mg_kg, lidocaine_mg, other_mg_kg, other_mg = numbers(
        "lidocaine plain # mg/kg and # mg; levobupivacaine # mg/kg and # mg", block.maximum or ""
    )
    assert (lidocaine_mg_kg, lidocaine_mg, other_mg_kg, other_mg) == (3, 200, 2, 150)
    assert block.basis.known == "from-memory"
    # At 40 kg, 5 mL of lidocaine 2 % with 5 mL of levobupivacaine 0.5 % passes the limit when fractions add.
    assert "fractions add" in (block.maximum or "")
    assert 5 * mg_in_ml / (lidocaine_mg_kg * 40) + 5 * 5 / (other_mg_kg * 40) == pytest.approx(1.15, abs=0.01)


def test_triamcinolone_dilution(rulebook: Rulebook) -> None:
    # Chapter on early rents: about tenfold dilution (read); stock of 40 mg in 1 mL (from memory).
    stain = drug(rulebook, "triamcinolone-stain")
    stock, diluted = numbers("# mg in 1 mL diluted tenfold to # mg in 1 mL", stain.concentration)
    assert stock / 10 == diluted == 4


def test_gas_for_descemet_does_not_expand(rulebook: Rulebook) -> None:
    # Teaching note of 2021: 0.5 mL of sulphur hexafluoride with 2.5 mL of air is 16.7 %.
    text = " ".join(step.do for step in rulebook.drills["descemet-detachment"].steps)
    gas_ml, air_ml, percent = numbers("# mL sulphur hexafluoride with # mL air is # %", text)
    assert 100 * gas_ml / (gas_ml + air_ml) == pytest.approx(percent, abs=0.05)


def test_the_formulary_note_and_the_drugs_that_rest_on_memory(rulebook: Rulebook) -> None:
    # Nothing was read for these; a reader must be able to tell them from the rest.
    assert "local formulary" in rulebook.kit.formulary_note
    from_memory = {entry.id for entry in rulebook.kit.drugs if entry.basis.known == "from-memory"}
    assert from_memory == {"chlorhexidine-aqueous", "lidocaine-block"}


# -- lens -------------------------------------------------------------------------------------------------------------

# Hill's bag-against-sulcus table, rows read from 15.0 D up: 28.5 to 30.0 less 1.5, 17.5 to 28.0 less 1.0, 9.5 to 17.0
# less 0.5.
# The ends of its rows and some between, as (bag power, sulcus power).
HILL_ROWS = [
    (30.0, 28.5),
    (28.0, 27.0),
    (26.0, 25.0),
    (24.0, 23.0),
    (22.0, 21.0),
    (20.0, 19.0),
    (18.0, 17.0),
    (17.5, 16.5),
    (17.0, 16.5),
    (16.0, 15.5),
]


@pytest.mark.parametrize(("bag", "sulcus"), HILL_ROWS)
def test_hill_table(rulebook: Rulebook, bag: float, sulcus: float) -> None:
    row = sulcus_change(table(rulebook, "hill-table"), bag)
    assert row is not None and row.change == (sulcus - bag, sulcus - bag)


@pytest.mark.parametrize(
    ("bag", "rule", "expected"),
    [
        # 28 D: Hill 27.0; nines 26.5; Dubey 26.0 to 26.5. 26 D: Hill 25.0; nines 25.0; Dubey 24.0 to 24.5.
        (28.0, "hill-table", (27.0, 27.0)),
        (28.0, "rule-of-nines", (26.5, 26.5)),
        (28.0, "dubey-2012", (26.0, 26.5)),
        (26.0, "hill-table", (25.0, 25.0)),
        (26.0, "rule-of-nines", (25.0, 25.0)),
        (26.0, "dubey-2012", (24.0, 24.5)),
        # Ends of the bands: nines prints 18 to 27 as 1.0 and 9 to 18 as 0.5; Dubey prints 18 to 25 as 1.0.
        (27.5, "rule-of-nines", (26.0, 26.0)),
        (27.0, "rule-of-nines", (26.0, 26.0)),
        (17.5, "rule-of-nines", (17.0, 17.0)),
        (8.5, "rule-of-nines", (8.5, 8.5)),
        (25.0, "dubey-2012", (24.0, 24.0)),
        (25.5, "dubey-2012", (23.5, 24.0)),
        (17.5, "dubey-2012", (17.0, 17.0)),
    ],
)
def test_published_sulcus_rules(rulebook: Rulebook, bag: float, rule: str, expected: tuple[float, float]) -> None:
    row = sulcus_change(table(rulebook, rule), bag)
    assert row is not None
    assert (bag + row.change[0], bag + row.change[1]) == expected


def vergence(bag_d: float) -> float:
    """Sulcus power by thin-lens vergence: index 1.336, cornea 43.0 D, emmetropia, lens 5.20 mm and 4.70 mm deep."""
    index, cornea, in_bag, in_sulcus = 1.336, 43.0, 0.00520, 0.00470

    def at(depth: float) -> float:
        return index / (index / cornea - depth)

    image = index / (bag_d + at(in_bag)) + in_bag
    return index / (image - in_sulcus) - at(in_sulcus)


@pytest.mark.parametrize(
    ("bag", "computed"),
    # Noted beside the table when it was read: its own unrounded values agree with these to 0.011 D.
    [
        (30, 28.55),
        (28, 26.67),
        (26, 24.79),
        (24, 22.89),
        (22, 21.0),
        (20, 19.11),
        (18, 17.21),
        (17.5, 16.73),
        (17, 16.26),
        (16, 15.31),
    ],
)
def test_hill_s_bands_stay_within_half_a_dioptre_of_the_optics(rulebook: Rulebook, bag: float, computed: float) -> None:
    assert vergence(bag) == pytest.approx(computed, abs=0.011)
    row = sulcus_change(table(rulebook, "hill-table"), bag)
    assert row is not None and abs(bag + row.change[0] - vergence(bag)) <= 0.5


def test_captured_optic_keeps_its_power(rulebook: Rulebook) -> None:
    # The rule of nines as reproduced: optic captured in the rim, no change.
    assert "no change" in rulebook.lens.captured.lower()


@pytest.mark.parametrize(("rule", "outside"), [("hill-table", 4.5), ("hill-table", 30.5), ("hill-table", 28.25)])
def test_a_power_outside_the_printed_rows_gets_no_change(rulebook: Rulebook, rule: str, outside: float) -> None:
    # The table prints half dioptres from 5.0 to 30.0 D; nothing is filled in between or beyond.
    assert sulcus_change(table(rulebook, rule), outside) is None


# -- figures quoted in words ----------------------------------------------------------------------------------------


def test_polar_rates_by_diameter(rulebook: Rulebook) -> None:
    # ram-2011, abstract: 7 of 23 (30.4 %) at 4 mm or more, 2 of 35 (5.7 %) below, 9 of 58 in all.
    text = rulebook.cautions["polar-size"].text
    (at_least, big, of_big, small, of_small) = numbers("at # mm or more # of # ruptured, below it # of #", text)
    assert at_least == 4
    assert 100 * big / of_big == pytest.approx(30.4, abs=0.05)
    assert 100 * small / of_small == pytest.approx(5.7, abs=0.05)
    assert 100 * (big + small) / (of_big + of_small) == pytest.approx(15.5, abs=0.05)


def test_same_day_pressure_in_glaucoma(rulebook: Rulebook) -> None:
    # early-pressure-2002, abstract: 32 of 69 eyes with glaucoma above 28 mmHg at 3 to 7 h, 18.8 % above 40.
    _, option = rulebook.option("pressure-after.covered-and-same-day")
    percent, mmhg, first, last, higher, top = numbers(
        "# % of eyes with glaucoma were above # mmHg at # to # hours, and # % above #", option.why
    )
    assert (mmhg, first, last, top) == (28, 3, 7, 40)
    assert percent == round(100 * 32 / 69) and higher == round(18.8)


def test_ring_sizes(rulebook: Rulebook) -> None:
    # hasanee-2006, extract: 12.3/10, 13/11 and 14.5/12 mm, uncompressed over compressed.
    label = next(item.label for item in rulebook.kit.equipment if item.id == "capsular-tension-ring")
    assert numbers("#/#, #/#, #/#", label) == (12.3, 10, 13, 11, 14.5, 12)


def test_polar_options_name_hydrodissection_only_to_forbid_it(rulebook: Rulebook) -> None:
    # vasavada-2005: no hydrodissection in a polar cataract. The options below are all that such an eye can be given.
    lines = [
        line
        for choice in rulebook.choices.values()
        for option in choice.options
        if f"{choice.id}.{option.id}" != "hydro.full-hydro"
        for line in [
            option.label,
            option.why,
            option.prepared_as or "",
            *option.do,
            *option.watch,
            *(p.words for p in option.pause_if),
        ]
    ]
    lines += [line for step in rulebook.steps for line in [*step.think, *step.hand_over_if, step.done_well]]
    lines += [text for step in rulebook.steps for line in step.lines for text in [*line.do, *line.watch]]
    lines += [step.do for drill in rulebook.drills.values() for step in drill.steps]
    lines += [caution.text for caution in rulebook.cautions.values()]
    named = [line for line in lines if "hydrodissect" in line.lower()]
    assert named and all(re.search(r"\bno hydrodissection", line, re.I) for line in named), named
    against = {rule.of.get("option") for rule in rulebook.interactions.rules if rule.id.startswith("polar-no-")}
    assert against >= {"hydro.full-hydro", "hydro.small-waves", "hydro.until-it-spins"}
