"""The form of a case without scripts: what it shows, what it saves, what it refuses, and what two people do at once."""

from __future__ import annotations

import html
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from seeds import one_in
from visits import Clock, Visit

from planner.assess.assess import assess
from planner.case import read_case
from planner.exchange.case_reader import ReadCase, read_cases
from planner.records.database import StoreUnavailableError
from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

FORM = "/cases/A-104/right"
DEMO = sorted((Path(__file__).parents[2] / "demo_cases" / "cases").glob("*.yaml"))
HTMX = {"HX-Request": "true"}
SignIn = Callable[[str], Visit]


@pytest.fixture
def visit(store: Store, signed_in: SignIn) -> Visit:
    store.new_case({"case": "A-104", "eye": "right"}, "trainee-3")
    return signed_in("trainee-3")


def save(visit: Visit, based_on: int, headers: dict[str, str] | None = None, **fields: Any) -> Any:
    sent = {name.replace("__", "."): value for name, value in fields.items()}
    sent = {"token": visit.token(FORM), "based_on": str(based_on), "section": "lens", **sent}
    return visit.post(FORM, data=sent, headers=headers)


def findings(store: Store, number: int | None = None) -> dict[str, Any]:
    case = store.find_case("A-104", "right")
    assert case is not None
    return dict(store.version(case.id, number).findings)


def text_of(answer: Any) -> str:
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def test_every_finding_that_applies_is_asked_in_the_order_of_the_vocabulary(visit: Visit, rulebook: Rulebook) -> None:
    shown = re.findall(r'id="q-([a-z0-9_]+)"', visit.get(FORM).text)
    always = [f.id for f in rulebook.vocabulary.findings if f.asked_when is None]
    # The word before the grade it can be read from: most clinics have the word alone.
    word, grade = always.index("nucleus_hardness"), always.index("nuclear_opalescence_locs3")
    always.insert(min(word, grade), always.pop(word))
    assert [name for name in shown if name not in ("planned_stage", "listed_on", "recorded_on")] == always


def test_not_recorded_is_the_first_state_of_every_question_and_never_no(visit: Visit, rulebook: Rulebook) -> None:
    text = visit.get(FORM).text
    for finding in rulebook.vocabulary.findings:
        if finding.asked_when is None and finding.kind in ("yes-no", "choice"):
            radios = re.findall(rf'<input type="radio" name="f\.{finding.id}" value="([^"]*)"([^>]*)>', text)
            assert radios[0][0] == "" and "checked" in radios[0][1]
            assert not any("checked" in rest for _, rest in radios[1:])


def test_a_saved_field_is_acknowledged_and_kept(visit: Visit, store: Store) -> None:
    answer = save(visit, 1, f__age_years="71", f__opacity="total-white", f__anticoagulant=["", "warfarin"])
    assert (answer.status_code, answer.headers["location"]) == (303, f"{FORM}?saved=lens#lens")
    assert findings(store) == {"age_years": 71, "opacity": "total-white", "anticoagulant": ["warfarin"]}
    assert re.search(r'id="saved-lens"[^>]*>Saved \d\d:\d\d<', visit.get(answer.headers["location"]).text)


def test_what_is_not_in_the_form_is_left_alone_and_what_is_emptied_is_taken_away(visit: Visit, store: Store) -> None:
    save(visit, 1, f__age_years="71", f__iop_mmhg="18")
    save(visit, 2, f__age_years="")
    assert findings(store) == {"iop_mmhg": 18}


def test_a_form_that_changes_nothing_makes_no_version(visit: Visit, store: Store) -> None:
    save(visit, 1, f__anterior_chamber_depth_mm="2.3", f__alpha_blocker_ever=["", "tamsulosin"])
    save(visit, 2, f__anterior_chamber_depth_mm="2.30", f__alpha_blocker_ever=["", "tamsulosin"], f__sex="")
    case = store.find_case("A-104", "right")
    assert case is not None and len(store.versions(case.id)) == 2


def test_a_bad_value_is_refused_at_its_field_and_the_others_are_saved(visit: Visit, store: Store) -> None:
    answer = save(visit, 1, f__axial_length_mm="235", f__iop_mmhg="18")
    assert answer.status_code == 422 and findings(store) == {"iop_mmhg": 18}
    assert 'href="#f-axial_length_mm"' in answer.text and 'value="235"' in answer.text
    field = re.search(r'<input[^>]*id="f-axial_length_mm"[^>]*>', answer.text)
    assert field and 'aria-invalid="true"' in field[0] and "w-axial_length_mm" in field[0]
    assert "235 is outside the possible range, 14 to 40 mm; was 23.5 meant?" in text_of(answer)
    assert "1 field not saved" in text_of(answer)


@pytest.mark.parametrize(
    ("name", "value", "why"),
    [
        ("age_years", "71,5", "decimal comma"),
        ("iop_mmhg", "n/a", "does not say whether it was looked for"),
        ("iop_date", "2026-13-40", "not one of the values it can take"),
        ("iop_date", "9999-12-31", "nothing was measured then yet"),
        ("opacity", "white", "not one of the values it can take"),
        ("alpha_blocker_ever", ["", "none", "tamsulosin"], "leave one of them"),
        ("biometry_reference", "Jane Archer", "look like a person's name"),
        ("biometry_reference", "943 476 5919", "looks like a health-service number"),
        ("sex", ["male", "female"], "choose one"),
    ],
)
def test_each_bad_value_says_why(visit: Visit, store: Store, name: str, value: Any, why: str) -> None:
    answer = save(visit, 1, **{f"f__{name}": value})
    assert answer.status_code == 422 and why in text_of(answer) and findings(store) == {}


def test_the_dates_of_listing_and_examination(visit: Visit, store: Store) -> None:
    answer = save(visit, 1, h__listed_on="2026-10-05", h__recorded_on="2026-11-02")
    assert answer.status_code == 303
    case = store.find_case("A-104", "right")
    assert case is not None
    kept = store.case_now(case.id).version
    assert (kept.document["listed_on"], kept.document["recorded_on"]) == ("2026-10-05", "2026-11-02")
    assert re.search(r'id="f-listed_on"[^>]*value="2026-10-05"', visit.get(FORM).text)
    for name, value, why in (
        ("listed_on", "9999-12-31", "is later than today"),
        ("recorded_on", "9999-12-31", "is later than today"),
        ("listed_on", "5 October", "is not a date"),
    ):
        answer = save(visit, kept.number, **{f"h__{name}": value})
        assert answer.status_code == 422 and why in text_of(answer) and f'id="w-{name}"' in answer.text
    assert store.case_now(case.id).version.number == kept.number
    save(visit, kept.number, h__listed_on="")
    assert "listed_on" not in store.case_now(case.id).version.document


def test_a_pair_that_cannot_stand_together_is_refused_with_its_reason(visit: Visit, store: Store) -> None:
    save(visit, 1, f__diabetes="no")
    answer = save(visit, 2, f__diabetic_retinopathy="yes", f__iop_mmhg="18")
    assert answer.status_code == 422 and findings(store) == {"diabetes": "no", "iop_mmhg": 18}
    assert "diabetic retinopathy is recorded in a patient recorded as not diabetic" in text_of(answer)
    assert re.search(r'name="f\.diabetic_retinopathy" value="yes" checked', answer.text)


def test_a_section_cannot_hold_nothing_where_a_finding_says_otherwise(visit: Visit, store: Store) -> None:
    save(visit, 1, f__diabetic_retinopathy="yes")
    answer = save(visit, 2, None, **{"none.patient": ["", "yes"], "f__iop_mmhg": "18"})
    assert answer.status_code == 422 and "cannot stand together: Diabetes: no" in text_of(answer)
    case = store.find_case("A-104", "right")
    assert case is not None and "none_found_in" not in store.version(case.id).document
    assert findings(store) == {"diabetic_retinopathy": "yes", "iop_mmhg": 18}


def test_a_finding_is_asked_only_where_it_applies(visit: Visit) -> None:
    assert 'id="q-cortex"' not in visit.get(FORM).text
    assert "Cortex of the white lens (when lens opacity is totally white)" in text_of(visit.get(FORM))
    save(visit, 1, f__opacity="total-white")
    assert 'id="q-cortex"' in visit.get(FORM).text
    save(visit, 2, f__cortex="firm", f__opacity="total-white")
    save(visit, 3, f__opacity="partial")
    assert "It is not asked of this eye now, and is read all the same." in text_of(visit.get(FORM))


def test_looked_for_none_found_is_stamped_with_who_and_when(
    visit: Visit, store: Store, signed_in: SignIn, rulebook: Rulebook
) -> None:
    assert save(visit, 1, None, **{"none.allergies": ["", "yes"]}).status_code == 303
    case = store.find_case("A-104", "right")
    assert case is not None
    version = store.version(case.id)
    assert version.document["none_found_in"] == ["allergies"]
    assert read_case(dict(version.document), rulebook.vocabulary).findings["latex_allergy"] is False
    # Somebody else's later save leaves the stamp as it was.
    other = signed_in("consultant-1")
    save(other, 2, f__age_years="70")
    assert re.search(r"Looked through by trainee-3, \d+ \w+ \d{4}, \d\d:\d\d", visit.get(FORM).text)
    radios = re.findall(r'name="f\.latex_allergy" value="([^"]*)"([^>]*)>\s*([^<]*)', visit.get(FORM).text)
    assert [(value, label.strip()) for value, _, label in radios] == [
        ("", "none found: no"), ("not-recorded", "not looked at"), ("yes", "yes"), ("no", "no")
    ]  # fmt: skip
    save(visit, 3, f__latex_allergy="not-recorded")
    read = read_case(dict(store.version(case.id).document), rulebook.vocabulary)
    assert "latex_allergy" not in read.findings and read.findings["iodine_allergy"] is False


@pytest.mark.parametrize("path", one_in(5, DEMO), ids=lambda path: path.stem)
def test_a_case_typed_into_the_form_is_judged_as_its_file_is(
    path: Path, store: Store, signed_in: SignIn, rulebook: Rulebook
) -> None:
    """The reader of case files is the other implementation here."""
    (read,) = read_cases(str(path), rulebook.vocabulary)
    assert isinstance(read, ReadCase)
    case, vocabulary = read.case, rulebook.vocabulary
    store.new_case({"case": case.reference, "eye": case.eye}, "trainee-3")
    visit, address = signed_in("trainee-3"), f"/cases/{case.reference}/{case.eye}"
    form: dict[str, Any] = {"token": visit.token(address), "based_on": "1", "section": "lens"}
    for name, value in case.findings.items():
        if name not in case.from_section | case.from_finer:
            written = vocabulary.by_id[name].written(value)
            form[f"f.{name}"] = ["", *written.split("+")] if vocabulary.by_id[name].kind == "set" else written
    # Written in the file as not recorded, in a section that was otherwise looked through.
    form |= {f"f.{name}": "not-recorded" for name in case.left_unknown}
    for section in case.none_found_in:
        form[f"none.{section}"] = ["", "yes"]
    answer = visit.post(address, data=form)
    assert answer.status_code == 303, text_of(answer)
    held = store.find_case(case.reference, case.eye)
    assert held is not None
    kept = read_case(dict(store.version(held.id).document), vocabulary)
    assert kept.findings == case.findings and kept.doubted == case.doubted
    tier = assess(case, rulebook, None, None).tier
    shown = text_of(visit.get(address))
    assert f"Tier {tier.working}" in shown and tier.label in shown


def options_of(visit: Visit, name: str) -> list[tuple[str, str, bool]]:
    """The radio buttons of a question: value, words, chosen."""
    found = re.findall(rf'<input type="radio" name="f\.{name}" value="([^"]*)"([^>]*)>\s*([^<]*)', visit.get(FORM).text)
    return [(value, label.strip(), "checked" in rest) for value, rest, label in found]


HIDDEN = [
    ("posterior_polar_opacity", "lens", {"opacity": "total-white"}, {"opacity": "partial"}),
    ("posterior_polar_opacity", "lens", {"opacity": "total-brown"}, {"opacity": "partial"}),
    ("posterior_capsule_plaque", "lens", {"opacity": "total-white"}, {"opacity": "partial"}),
    ("pseudoexfoliation", "pupil-and-zonule", {"dilated_pupil_mm": "3.8"}, {"dilated_pupil_mm": "7"}),
    # Whether the pupil was large enough to see is not recorded.
    ("pseudoexfoliation", "pupil-and-zonule", {}, {"dilated_pupil_mm": "7"}),
]


@pytest.mark.parametrize(("name", "section", "hiding", "clear"), HIDDEN)
def test_what_a_section_cannot_vouch_for_is_not_recorded_and_never_none_found(
    visit: Visit, store: Store, name: str, section: str, hiding: dict[str, str], clear: dict[str, str]
) -> None:
    there: dict[str, Any] = {f"f.{one}": value for one, value in hiding.items()} | {f"none.{section}": ["", "yes"]}
    assert save(visit, 1, None, **there).status_code == 303
    assert options_of(visit, name)[0] == ("", "not recorded", True)
    shown = visit.get(FORM).text.split(f'id="q-{name}"')[1].split("</fieldset>")[0]
    assert "none found" not in shown and "Record it by itself:</strong> hidden when" in shown
    assert save(visit, 2, None, **{f"f.{one}": value for one, value in clear.items()}).status_code == 303
    assert options_of(visit, name)[:2] == [("", "none found: no", True), ("not-recorded", "not looked at", False)]


def test_not_looked_at_stays_said_while_something_hides_it(visit: Visit, store: Store) -> None:
    save(visit, 1, None, **{"none.lens": ["", "yes"]}, f__opacity="partial", f__posterior_polar_opacity="not-recorded")
    assert options_of(visit, "posterior_polar_opacity")[1] == ("not-recorded", "not looked at", True)
    save(visit, 2, f__opacity="total-white")
    assert options_of(visit, "posterior_polar_opacity")[0] == ("not-recorded", "not recorded", True)
    # A browser sends back what stands chosen; seen again, it is still not taken for looked at.
    save(visit, 3, f__opacity="partial", f__posterior_polar_opacity="not-recorded")
    assert findings(store)["posterior_polar_opacity"] == "not-recorded"
    assert options_of(visit, "posterior_polar_opacity")[1] == ("not-recorded", "not looked at", True)


def test_the_zonule_behind_a_small_pupil_does_not_read_as_none(visit: Visit) -> None:
    reads = "left empty it reads as 0"
    save(visit, 1, None, **{"none.pupil-and-zonule": ["", "yes"]}, f__dilated_pupil_mm="7")
    asked = visit.get(FORM).text.split('id="q-zonule_loss_clock_hours"')[1].split("</div>")[0]
    assert reads in asked and "not recorded</span>" not in asked
    save(visit, 2, f__dilated_pupil_mm="3.5")
    asked = visit.get(FORM).text.split('id="q-zonule_loss_clock_hours"')[1].split("</div>")[0]
    assert reads not in asked and "not recorded</span>" in asked


def test_a_section_is_not_refused_for_what_it_does_not_vouch_for(
    visit: Visit, rulebook: Rulebook, store: Store
) -> None:
    """A disc measured behind a white lens says that there is one; a section looked through does not say otherwise."""
    save(visit, 1, f__opacity="total-white", f__polar_opacity_mm="4")
    assert save(visit, 2, None, **{"none.lens": ["", "yes"]}).status_code == 303
    case = store.find_case("A-104", "right")
    assert case is not None
    read = read_case(dict(store.version(case.id).document), rulebook.vocabulary)
    assert "posterior_polar_opacity" not in read.findings and read.findings["polar_opacity_mm"] == 4


def test_a_snellen_fraction_is_kept_as_logmar_and_a_wrong_one_is_one_clear_error(visit: Visit, store: Store) -> None:
    field = visit.get(FORM).text.split('id="f-visual_acuity_logmar"')[0].rsplit("<input", 1)[1]
    assert "inputmode" not in field, "a phone's number pad has no stroke"
    assert save(visit, 1, f__visual_acuity_logmar="6/18").status_code == 303
    # log10(18/6) = 0.477, kept to the hundredth.
    assert findings(store)["visual_acuity_logmar"] == 0.48
    answer = save(visit, 2, f__visual_acuity_logmar="6/0", f__age_years="71")
    assert answer.status_code == 422 and findings(store) == {"visual_acuity_logmar": 0.48, "age_years": 71}
    told = text_of(answer)
    assert "1 field not saved" in told and "'6/0' is no Snellen fraction; write it like 6/18" in told


def test_the_word_of_a_nucleus_is_read_from_its_grade_and_may_not_contradict_it(
    visit: Visit, store: Store, rulebook: Rulebook
) -> None:
    save(visit, 1, f__nuclear_opalescence_locs3="5.4")
    assert options_of(visit, "nucleus_hardness")[0] == ("", "left open: hard, from nuclear opalescence", True)
    # The radio that stands chosen comes back empty, and the word is not kept as if it were recorded.
    save(visit, 2, f__nucleus_hardness="", f__age_years="70")
    assert "nucleus_hardness" not in findings(store)
    answer = save(visit, 3, f__nucleus_hardness="soft")
    assert answer.status_code == 422 and "nucleus_hardness" not in findings(store)
    assert "Nuclear opalescence 5.4 LOCS III units means Hardness of the nucleus: hard" in text_of(answer)
    assert save(visit, 3, f__nucleus_hardness="hard").status_code == 303
    assert save(visit, 4, f__nuclear_opalescence_locs3="2.4").status_code == 422
    assert save(visit, 4, f__nuclear_opalescence_locs3="2.4", f__nucleus_hardness="medium").status_code == 303


def test_a_measure_no_longer_asked_is_read_all_the_same(visit: Visit, rulebook: Rulebook, store: Store) -> None:
    save(visit, 1, f__guttata="yes", f__endothelial_cells_per_mm2="480")
    save(visit, 2, f__guttata="no")
    shown = visit.get(FORM).text.split('id="q-endothelial_cells_per_mm2"')[1].split("</div>")[0]
    assert "is read all the same" in shown
    case = store.find_case("A-104", "right")
    assert case is not None
    read = read_case(dict(store.version(case.id).document), rulebook.vocabulary)
    # Issue 11: tier 4 below about 500 cells, asked for or not.
    assert assess(read, rulebook, None, None).tier.least == 4


def test_no_percentage_stands_beside_the_form(visit: Visit) -> None:
    save(visit, 1, f__age_years="91", f__opacity="total-white", f__pseudoexfoliation="yes", f__dilated_pupil_mm="3")
    assert "%" not in text_of(visit.get(FORM))


def test_the_parts_sent_back_are_those_that_changed(visit: Visit) -> None:
    answer = save(visit, 1, HTMX, f__opacity="total-white")
    # The white lens brings a question into the history as well.
    assert set(re.findall(r'<section class="part" id="([a-z-]+)"', answer.text)) == {"lens", "history"}
    assert re.search(r'id="based-on" value="2"', answer.text) and 'id="side"' in answer.text
    assert "<html" not in answer.text


def test_a_field_put_right_loses_its_mark(visit: Visit) -> None:
    save(visit, 1, f__axial_length_mm="23.5")
    answer = save(visit, 2, HTMX, f__axial_length_mm="23.5", was_wrong="axial_length_mm")
    assert '<section class="part" id="pressure-and-chamber"' in answer.text and "aria-invalid" not in answer.text


def test_the_second_of_two_editors_is_shown_both_values_and_decides(
    visit: Visit, store: Store, signed_in: SignIn
) -> None:
    other = signed_in("consultant-1")
    save(other, 1, f__dilated_pupil_mm="4", f__age_years="80")
    answer = save(visit, 1, f__dilated_pupil_mm="7", f__iop_mmhg="18")
    assert answer.status_code == 409
    shown = text_of(answer)
    assert "consultant-1 saved this case at" in shown and "Yours: 7 mm" in shown and "consultant-1: 4 mm" in shown
    assert findings(store) == {"dilated_pupil_mm": 4, "age_years": 80}
    picked = dict(re.findall(r'name="(pick\.[a-z_]+)" value="([a-z]+)" checked', answer.text))
    # What only one of them changed is proposed; what both changed is not.
    assert picked == {"pick.age_years": "theirs", "pick.iop_mmhg": "mine"}
    hidden = {
        name: html.unescape(value)
        for name, value in re.findall(r'type="hidden" name="(mine\.[a-z_]+|based_on)" value="([^"]*)"', answer.text)
    }
    sent = {"token": visit.token(FORM), **hidden, **picked, "pick.dilated_pupil_mm": "mine"}
    assert visit.post(FORM + "/settle", data=sent).status_code == 303
    assert findings(store) == {"dilated_pupil_mm": 7, "age_years": 80, "iop_mmhg": 18}


def test_saving_the_same_once_more_is_no_conflict(visit: Visit, store: Store) -> None:
    """An answer lost on its way makes the page send the same again."""
    assert save(visit, 1, f__age_years="71").status_code == 303
    assert save(visit, 1, f__age_years="71").status_code == 303
    case = store.find_case("A-104", "right")
    assert case is not None and len(store.versions(case.id)) == 2


@pytest.mark.parametrize("number", one_in(3, ["", "0", "9", "-1", "x", "9" * 30, "²"]))
def test_a_version_that_is_none_is_refused(visit: Visit, store: Store, number: str) -> None:
    sent = {"token": visit.token(FORM), "based_on": number, "f.age_years": "70"}
    assert visit.post(FORM, data=sent).status_code == 400
    assert visit.post(FORM + "/settle", data=sent).status_code == 400
    assert findings(store) == {}


def test_what_is_typed_is_never_taken_for_markup(visit: Visit) -> None:
    answer = save(visit, 1, f__biometry_reference='"><script>alert(1)</script>')
    assert "<script>alert" not in answer.text
    save(visit, 1, f__age_years='"><img src=x>')
    assert "<img" not in visit.get(FORM).text


def test_what_was_typed_is_handed_back_when_the_session_has_ended(visit: Visit, store: Store, clock: Clock) -> None:
    ours = {"origin": "http://127.0.0.1"}
    sent = {"token": visit.token(FORM), "based_on": "1", "section": "patient", "f.age_years": "71", "f.sex": ""}
    clock.forward(hours=1)
    first = visit.post(FORM, data=sent, headers=ours)
    assert first.status_code == 401 and "Send it again" in first.text and "Age 71" in text_of(first)
    assert visit.sign_in("trainee-3") == 303

    def resend(page: Any) -> Any:
        fields = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', page.text.split("<main")[1])
        return visit.post(FORM, data=dict(fields), headers=ours)

    second = resend(first)
    assert second.status_code == 403 and "It will be saved as yours, trainee-3" in text_of(second)
    assert findings(store) == {}
    assert resend(second).status_code == 303 and findings(store) == {"age_years": 71}


@pytest.mark.parametrize("origin", ["https://example.org", "null", "", "http://["])
def test_a_form_from_elsewhere_is_never_put_before_a_person_again(visit: Visit, origin: str) -> None:
    headers = {"origin": origin} if origin else {}
    answer = visit.post(FORM, data={"token": "x", "based_on": "1", "f.age_years": "71"}, headers=headers)
    assert answer.status_code == 403 and "Send it again" not in answer.text and "71" not in text_of(answer)


def test_a_store_that_cannot_write_says_so_and_keeps_what_was_typed_in_the_page(
    visit: Visit, store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise StoreUnavailableError.one("the disk is full", "planner.db", hint="free some room")

    monkeypatch.setattr(Store, "save_case", full)
    answer = save(visit, 1, f__age_years="71")
    assert answer.status_code == 503 and "the disk is full" in text_of(answer)
    # To the page's own script it is a failure to try again, not an answer to the field.
    part = save(visit, 1, HTMX, f__age_years="71")
    assert part.status_code == 503 and 'id="trouble"' in part.text and findings(store) == {}
