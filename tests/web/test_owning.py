"""Whose a case is, on the pages: who has it, another trainee's edit refused with what was typed, and handing over."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from decisions import entered, form_of, text_of
from visits import Visit

from planner.records.store import Store
from planner.rulebook.rulebook import Rulebook

SignIn = Callable[[str], Visit]


@pytest.fixture
def path(store: Store, rulebook: Rulebook) -> str:
    """The routine case of trainee-3: its form."""
    case = store.case(entered(store, rulebook, "routine"))
    return f"/cases/{case.reference}/{case.eye}"


def test_another_trainee_reads_the_form_and_saves_nothing(store: Store, signed_in: SignIn, path: str) -> None:
    other = signed_in("trainee-5")
    page = other.get(path)
    assert "To read, not to change: trainee-3 has this case." in text_of(page)
    assert '<fieldset class="reading" disabled>' in page.text and "hx-post" not in page.text
    typed = {"token": other.token(path), "based_on": "1", "f.iop_mmhg": "31", "f.axial_length_mm": "very long"}
    answer = other.post(path, data=typed)
    told = text_of(answer)
    assert answer.status_code == 403 and "Not saved: trainee-3 has this case" in told
    assert "31 mmHg" in told and "very long" in told and "Save it anyway" not in told
    by_itself = other.post(path, data=typed, headers={"HX-Request": "true"})
    assert by_itself.status_code == 403 and "trainee-3 has this case" in text_of(by_itself)
    settled = {"token": typed["token"], "based_on": "1", "pick.iop_mmhg": "mine", "mine.iop_mmhg": "31"}
    answer = other.post(f"{path}/settle", data=settled)
    assert answer.status_code == 403 and "31 mmHg" in text_of(answer)
    assert len(store.versions(store.cases()[0].case.id)) == 1
    # The plan is still theirs to read.
    assert other.get(f"{path}/plan").status_code == other.get(f"{path}/plan.html").status_code == 200


@pytest.mark.parametrize("by", ["trainee-3", "consultant-1", "organiser-1"])
def test_handed_over_by_hand(store: Store, signed_in: SignIn, path: str, by: str) -> None:
    visit, other = signed_in(by), signed_in("trainee-5")
    assert f'href="{path}/hand-over"' in visit.get(f"{path}/plan").text
    fields = form_of(visit, f"{path}/hand-over", "Hand over")
    sent = fields | {"to": "trainee-5", "why": "another rotation"}
    assert visit.post(f"{path}/hand-over", data=sent).headers["location"] == f"{path}/plan"
    assert "trainee-5 has this case; trainee-3 prepared it." in text_of(visit.get(f"{path}/plan"))
    assert f"was handed to you by {by}: another rotation" in text_of(other.get("/notices"))
    assert "H-101" in text_of(other.get("/cases")), "it is among theirs"
    typed = {"token": other.token(path), "based_on": "1", "f.iop_mmhg": "31"}
    assert other.post(path, data=typed).status_code == 303
    # Sent once more it is somebody else's by now.
    late = visit.post(f"{path}/hand-over", data=sent | {"to": "consultant-1"})
    assert late.status_code == 422 and "trainee-5 has it by now, not trainee-3" in text_of(late)
    assert 'value="another rotation"' in late.text


def test_who_does_not_have_it_hands_nothing_over(store: Store, signed_in: SignIn, path: str) -> None:
    other = signed_in("trainee-5")
    assert f"{path}/hand-over" not in other.get(f"{path}/plan").text
    page = text_of(other.get(f"{path}/hand-over"))
    assert "Ask trainee-3 or a consultant" in page
    sent = {"token": other.token("/cases/new"), "owner": "trainee-3", "to": "trainee-5"}
    assert other.post(f"{path}/hand-over", data=sent).status_code == 422
    assert store.cases()[0].owner == "trainee-3"


def test_what_cannot_be_handed_over_says_why(store: Store, signed_in: SignIn, path: str) -> None:
    visit = signed_in("trainee-3")
    fields = form_of(visit, f"{path}/hand-over", "Hand over")
    for changed, said in (
        ({"to": ""}, "Choose to whom"),
        ({"to": "organiser-1"}, "prepares no cases"),
        ({"to": "trainee-5", "why": "x" * 201}, "more than 200 characters"),
        ({"to": "trainee-5", "why": "Mrs Jane Archer asked"}, "name"),
    ):
        answer = visit.post(f"{path}/hand-over", data=fields | changed)
        assert answer.status_code == 422 and said in text_of(answer)
    assert store.cases()[0].owner == "trainee-3"
