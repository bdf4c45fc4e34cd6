"""Which drill comes first in which eye: a consultant's expectation.

Expectations are common practice: what a team would rehearse at the brief for such an eye. They are held twice, to
the weights in the rulebook and to the plan.
"""

from __future__ import annotations

import pytest
from plain_eye import WHITE, plain_eye

from planner.assess.assess import Assessor, assess
from planner.plan.choices import choose
from planner.plan.make import make_plan
from planner.plan.picture import Picture
from planner.rulebook.rulebook import Rulebook

RUPTURE, DROPPED, DIALYSIS = "posterior-capsule-rupture", "dropped-fragment", "zonular-dialysis"
BLEED, ORBIT, PROLAPSE = "suprachoroidal-haemorrhage", "orbital-haemorrhage", "iris-prolapse"
OIL, OLD_CUT = "oil-forward", "old-cut-opening"
TEAR, PRESSURE, STOPPING = "capsule-tear-running-out", "positive-pressure", "patient-moving-or-asking-to-stop"
RETROPULSION, BURN, DESCEMET, IRIS = (
    "iris-diaphragm-retropulsion",
    "wound-burn",
    "descemet-detachment",
    "iris-tear-or-bleeding",
)
TENSE = {**WHITE, "cortex": "tense-fluid"}
WARFARIN = {"anticoagulant": "warfarin", "inr": "4.6"}

# The eye, and the drills to rehearse in order, as far as a consultant would insist on the order.
EYES: dict[str, tuple[dict[str, str], list[str]]] = {
    # A swollen lens at 44 mmHg: the pressure falls at the first cut, and the choroid may bleed; next the tear runs out.
    "phacomorphic attack": (
        {
            **TENSE,
            "lens_induced_pressure": "phacomorphic",
            "iop_mmhg": "44",
            "anterior_chamber_depth_mm": "2.0",
            "age_years": "72",
        },
        [BLEED, TEAR, PRESSURE],
    ),
    # INR 4.6: with a block the orbit bleeds first; with drops there is only the choroid.
    "INR 4.6 and a block": ({**WARFARIN, "nystagmus": "yes", "anaesthesia_requested": "sub-tenon"}, [ORBIT, BLEED]),
    "INR 4.6 and drops": ({**WARFARIN, "anaesthesia_requested": "topical"}, [BLEED]),
    # A tense white lens is the running tear; the radial tear is its end, never rehearsed before it.
    "tense white lens": ({**TENSE, "age_years": "66"}, [TEAR, "anterior-radial-tear"]),
    # A white lens of firm cortex: the edge runs first, and rupture begins with it.
    "white lens, firm cortex": ({**WHITE, "cortex": "firm"}, [TEAR, RUPTURE]),
    # A slack white lens does not tear outward; the zonule gives, and only then can the nucleus sink.
    "slack white lens": ({**WHITE, "cortex": "slack-fluid"}, [DIALYSIS, DROPPED, RUPTURE]),
    "fibrosed anterior capsule": ({"anterior_capsule_fibrosis": "yes"}, [TEAR]),
    "tamsulosin": ({"alpha_blocker_ever": "tamsulosin", "sex": "male"}, [PROLAPSE]),
    "posterior polar opacity": ({"posterior_polar_opacity": "yes"}, [RUPTURE, DROPPED]),
    "needle track in the lens": ({"visible_capsule_breach": "yes", "intravitreal_injections": "6"}, [RUPTURE, DROPPED]),
    "old open injury": ({"penetrating_injury": "yes"}, [RUPTURE, DROPPED]),
    "exfoliation": ({"pseudoexfoliation": "yes"}, [DIALYSIS]),
    "shaking lens": ({"phacodonesis": "yes", "pseudoexfoliation": "yes"}, [DIALYSIS]),
    "lens out of place": ({"ectopia_lentis": "yes"}, [DIALYSIS]),
    "angle recession": ({"previous_blunt_trauma": "yes", "angle_recession": "yes"}, [DIALYSIS]),
    # A dense nucleus tears the capsule far oftener than it burns the wound.
    "dense nucleus": ({"nuclear_opalescence_locs3": "5.6"}, [RUPTURE, BURN]),
    "brown lens": ({"opacity": "total-brown", "red_reflex": "none", "fundus_view": "hazy"}, [RUPTURE]),
    "guttata": ({"guttata": "yes"}, [DESCEMET]),
    "shallow chamber": ({"anterior_chamber_depth_mm": "2.3", "axial_length_mm": "21.4"}, [PROLAPSE]),
    "nanophthalmos": ({"anterior_chamber_depth_mm": "2.1", "axial_length_mm": "19.8"}, [BLEED, PRESSURE]),
    "long vitrectomised eye": ({"axial_length_mm": "29", "previous_vitrectomy": "yes"}, [RETROPULSION]),
    # With oil behind the lens the chamber does not plunge; the oil comes forward.
    "silicone oil": ({"previous_vitrectomy": "yes", "silicone_oil": "yes"}, [OIL, PRESSURE]),
    "radial keratotomy": ({"previous_refractive_surgery": "radial-keratotomy"}, [OLD_CUT]),
    "long eye after radial keratotomy": (
        {"previous_refractive_surgery": "radial-keratotomy", "axial_length_mm": "26.4"},
        [OLD_CUT, RETROPULSION],
    ),
    "synechiae": ({"posterior_synechiae": "yes"}, [IRIS]),
    "new vessels on the iris": ({"iris_new_vessels": "yes", "diabetes": "yes"}, [IRIS]),
    "other eye bled": ({"fellow_eye_suprachoroidal_bleed": "yes"}, [BLEED]),
    "severe anxiety, awake": ({"severe_anxiety": "yes", "anaesthesia_requested": "sub-tenon"}, [STOPPING]),
    "oldest": ({"age_years": "96", "nuclear_opalescence_locs3": "5.4"}, [BLEED, RUPTURE, BURN]),
}
# In an ordinary eye nothing stands out; the rupture drill is printed in full all the same.
ORDINARY = [
    {},
    {"age_years": "82", "sex": "male", "nuclear_opalescence_locs3": "4.2", "endothelial_cells_per_mm2": "2100"},
    {"diabetes": "yes"},
    {"glaucoma": "open-angle", "iop_mmhg": "19"},
    {"iop_mmhg": "23"},
    {"anticoagulant": "antiplatelet"},
    {"penicillin_allergy": "yes"},
    {"asthma": "yes"},
]


def by_weight(ready: Assessor, rulebook: Rulebook, findings: dict[str, str]) -> list[tuple[int, int, str]]:
    """Weight, danger and id of the drills that are likely in this eye, heaviest first, straight from the data."""
    picture = Picture(ready, assess(plain_eye(rulebook, **findings), rulebook).case)
    picture.as_planned(choose(picture))
    found = []
    for drill in rulebook.drills.values():
        weights = [why.weight for n, why in enumerate(drill.likely) if picture.truth(f"drill:{drill.id}:{n}")]
        if weights:
            found.append((max(weights), drill.danger, drill.id))
    return sorted(found, reverse=True)


@pytest.mark.parametrize(("findings", "expected"), EYES.values(), ids=EYES)
def test_the_weights_say_what_a_consultant_would(
    ready: Assessor, rulebook: Rulebook, findings: dict[str, str], expected: list[str]
) -> None:
    found = by_weight(ready, rulebook, findings)
    assert [name for *_, name in found][: len(expected)] == expected
    ahead = found[: len(expected) + 1]
    assert len({(weight, danger) for weight, danger, _ in ahead}) == len(ahead), f"the alphabet would decide: {ahead}"


@pytest.mark.parametrize(("findings", "expected"), EYES.values(), ids=EYES)
def test_the_plan_rehearses_them_in_that_order(
    rulebook: Rulebook, findings: dict[str, str], expected: list[str]
) -> None:
    plan = make_plan(assess(plain_eye(rulebook, **findings), rulebook), rulebook)
    assert [drill.id for drill in plan.drills][: len(expected)] == expected
    assert all(drill.likely for drill in plan.drills[: len(expected)])
    assert 0 < sum(drill.likely for drill in plan.drills) <= 3


@pytest.mark.parametrize("findings", ORDINARY, ids=lambda findings: " ".join(findings) or "plain")
def test_nothing_stands_out_in_an_ordinary_eye(ready: Assessor, rulebook: Rulebook, findings: dict[str, str]) -> None:
    ordinary = {"age_years": "68", "anaesthesia_requested": "topical", **findings}
    assert by_weight(ready, rulebook, ordinary) == []
    plan = make_plan(assess(plain_eye(rulebook, **ordinary), rulebook), rulebook)
    assert not any(drill.likely or drill.may_be_likely for drill in plan.drills)


def test_the_tear_comes_first_in_a_white_lens_whose_cortex_nobody_wrote_down(rulebook: Rulebook) -> None:
    plan = make_plan(assess(plain_eye(rulebook, **{**WHITE, "cortex": "not-recorded"}), rulebook), rulebook)
    assert [drill.id for drill in plan.drills][:2] == [TEAR, RUPTURE]


def test_no_drill_of_an_eye_without_vitreous_where_oil_holds_the_lens(rulebook: Rulebook) -> None:
    plan = make_plan(assess(plain_eye(rulebook, previous_vitrectomy="yes", silicone_oil="yes"), rulebook), rulebook)
    assert RETROPULSION not in [drill.id for drill in plan.drills if drill.likely or drill.may_be_likely]


def test_a_drill_speaks_to_whoever_operates(rulebook: Rulebook) -> None:
    # A consultant who operates cannot "call the consultant": each call says who comes to whom.
    for drill in rulebook.drills.values():
        if "consultant" in drill.call.lower():
            assert "second" in drill.call or "trainee" in drill.call, (drill.id, drill.call)
        assert "learner" not in " ".join([drill.stop_first, drill.call, *(step.do for step in drill.steps)]), drill.id


def test_a_drug_of_a_drill_is_named_so_that_a_bar_reaches_it(rulebook: Rulebook) -> None:
    given = {(name, step.drug) for name, drill in rulebook.drills.items() for step in drill.steps if step.drug}
    assert given >= {(RUPTURE, "triamcinolone-stain"), (DIALYSIS, "triamcinolone-stain"), (RUPTURE, "miotic")}
    # And nowhere without its name.
    for drill in rulebook.drills.values():
        for step in drill.steps:
            for word in ("triamcinolone", "miotic", "trypan"):
                assert word not in step.do.lower() or step.drug, (drill.id, step.do)


def test_rupture_alone_is_always_printed_in_full(rulebook: Rulebook) -> None:
    # It is the commonest grave event of the operation and may come in any eye.
    assert [drill.id for drill in rulebook.drills.values() if drill.always_in_full] == [RUPTURE]


def test_what_costs_a_life_or_the_eye_is_the_most_dangerous(rulebook: Rulebook) -> None:
    # Common practice: collapse and an expulsive bleed before anything of the capsule, the iris or the lens.
    worst = max(drill.danger for drill in rulebook.drills.values())
    assert {d.id for d in rulebook.drills.values() if d.danger == worst} == {"collapse-or-anaphylaxis", BLEED}
    assert rulebook.drills[RUPTURE].danger > rulebook.drills[BURN].danger > rulebook.drills["torn-haptic"].danger


def test_a_radial_tear_is_never_rehearsed_before_the_tear_that_leads_to_it(rulebook: Rulebook) -> None:
    heaviest = {
        name: max(why.weight for why in rulebook.drills[name].likely) for name in (TEAR, "anterior-radial-tear")
    }
    assert heaviest["anterior-radial-tear"] < heaviest[TEAR]
