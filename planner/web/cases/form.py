"""The form of one case: shown, saved field by field, and refused field by field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import RedirectResponse, Response

from planner.desk.plans import PlannedVersion
from planner.errors import PlannerError
from planner.records.changes import CHANGEABLE, Conflict
from planner.records.deciding import DecidedMeanwhile
from planner.records.owning import NotTheirs, may_edit
from planner.records.rows import CaseNow, CaseVersion
from planner.web.approvals.standing import state_of
from planner.web.approvals.tier_words import without_percentages
from planner.web.cases.answers import Answers, read_answers
from planner.web.cases.conflict import based_on, conflict_page
from planner.web.cases.fields import ShownSection, labels, shown_sections
from planner.web.cases.not_saved import not_saved
from planner.web.security.authorisation import Posted, Preparing, Visitor
from planner.web.server.case_state import clock_time, rests_on_it, stamps
from planner.web.server.presenting import environment, is_partial, page
from planner.web.server.seen import seen_in
from planner.web.server.site import Site, site_of
from planner.web.server.urls import CASE, case_path, find

router = APIRouter()
# The first part of the form: what the case is, before what was found.
HEADINGS = "case"


@dataclass(frozen=True)
class Shown:
    """Everything the templates of a case draw on."""

    site: Site
    now: CaseNow
    version: CaseVersion
    answers: Answers
    told: dict[str, str]
    visitor: Visitor

    def values(self) -> dict[str, Any]:
        judged = self.site.plans.planned(self.version)
        # A heading that is not recorded is None to the templates, which refuse a name they do not know.
        document = dict.fromkeys(CHANGEABLE) | dict(self.version.document)
        return {
            "case": self.now.case,
            "now": self.now,
            "may_edit": may_edit(self.now.owners, self.visitor.code, self.visitor.role),
            "path": case_path(self.now.case),
            "version": self.version,
            "saved_at": clock_time(self.version.at),
            "document": document,
            "stages": [(stage.id, stage.label) for stage in self.site.rulebook.stages.stages],
            "sections": self.sections(judged),
            "judged": judged,
            "decided_by": without_percentages(judged.assessment.tier.decided_by) if judged.assessment else [],
            "state": state_of(self.site, self.now),
            "rests_on_it": rests_on_it(self.now),
            "answers": self.answers,
            "labels": labels(self.site.rulebook.vocabulary),
            "told": self.told,
        }

    def sections(self, judged: PlannedVersion) -> tuple[ShownSection, ...]:
        through = stamps(self.site.store.versions(self.now.case.id))
        vocabulary = self.site.rulebook.vocabulary
        return shown_sections(vocabulary, self.version.document, judged.case, self.answers, through)


@router.get(CASE)
def show(
    request: Request, visitor: Preparing, reference: str, eye: str, saved: Annotated[str, Query(max_length=40)] = ""
) -> Response:
    site, case = site_of(request), find(request, reference, eye)
    now = site.store.case_now(case.id)
    told = {saved: f"Saved {clock_time(now.version.at)}"} if saved else {}
    return page(request, "case.html", **Shown(site, now, now.version, Answers(), told, visitor).values())


@router.post(CASE)
def save(request: Request, visitor: Preparing, form: Posted, reference: str, eye: str) -> Response:
    site, case = site_of(request), find(request, reference, eye)
    base = based_on(site.store, case, form)
    stages = tuple(stage.id for stage in site.rulebook.stages.stages)
    answers = read_answers(form, base.document, site.rulebook.vocabulary, stages, site.day_here())
    part = str(form.get("section", HEADINGS))
    if is_partial(request) and answers.changes:
        _refuse_unasked(site.store.case_now(case.id))
    try:
        saved = base
        if answers.changes:
            saved = site.store.save_case(case.id, base.number, answers.changes, visitor.code, seen=seen_in(form))
    except Conflict as conflict:
        return conflict_page(request, case, conflict, answers, labels(site.rulebook.vocabulary))
    except (NotTheirs, DecidedMeanwhile) as error:
        return not_saved(request, case, error, answers, form)
    now = site.store.case_now(case.id)
    shown = Shown(site, now, saved, answers, _told(site, saved, answers, part), visitor)
    if is_partial(request):
        return _parts(request, shown, base, {str(name) for name in form.getlist("was_wrong")})
    if answers.wrong:
        return page(request, "case.html", 422, **shown.values())
    return RedirectResponse(f"{case_path(case)}?saved={part}#{part}", 303)


def _refuse_unasked(now: CaseNow) -> None:
    """A page that saves by itself was made before the operation; what was submitted or approved, the store guards."""
    if now.state == "operated":
        why = rests_on_it(now)
        raise PlannerError.one("this page is older than that", now.case.reference, why, "load the page again")


def _told(site: Site, saved: CaseVersion, answers: Answers, part: str) -> dict[str, str]:
    """The acknowledgement of each part that the save touched."""
    of = {finding.id: finding.section for finding in site.rulebook.vocabulary.findings}
    names = [name for name in (*answers.changes, *answers.wrong) if name != "none_found_in"]
    # The part that was saved from comes first: its words are those kept in sight.
    touched = dict.fromkeys([part, *(of.get(name, HEADINGS) for name in names)])
    told = {}
    for section in touched:
        wrong = sum(of.get(name, HEADINGS) == section for name in answers.wrong)
        short = f"Saved {clock_time(saved.at)}" if answers.changes or not wrong else "Not saved"
        except_for = f", except {wrong} field{'s' if wrong > 1 else ''} marked below" if wrong else ""
        told[section] = short + (except_for if short.startswith("Saved") else f": {wrong} marked below")
    return told


def _parts(request: Request, shown: Shown, base: CaseVersion, was_wrong: set[str]) -> Response:
    """Only what differs from the page that sent the form: what its person types meanwhile is left alone."""
    values = shown.values()
    before = Shown(shown.site, shown.now, base, Answers(), {}, shown.visitor).sections(shown.site.plans.planned(base))
    template = environment().get_template("part_section.html")
    same = {
        old.id
        for old, new in zip(before, values["sections"], strict=True)
        if not was_wrong & {field.id for field in new.fields}
        and template.render(section=old, told={}, values=values) == template.render(section=new, told={}, values=values)
    }
    return page(request, "part_saved.html", 422 if shown.answers.wrong else 200, same=same, **values)
