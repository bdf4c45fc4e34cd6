"""A change that is not taken: it is another trainee's case, or somebody decided meanwhile. What was typed is shown."""

from __future__ import annotations

from fastapi import Request
from starlette.responses import Response

from planner.records.deciding import DecidedMeanwhile
from planner.records.owning import NotTheirs
from planner.records.rows import StoredCase
from planner.web.cases.answers import Answers
from planner.web.cases.fields import labels, shown_value
from planner.web.server.case_state import rests_on_it
from planner.web.server.forms import SeenForm
from planner.web.server.presenting import is_partial, page
from planner.web.server.site import Site, site_of
from planner.web.server.urls import case_path

# What the page gives anew, or what belongs to the page that was sent.
OWN = ("submission", "approval")


def not_saved(
    request: Request, case: StoredCase, error: NotTheirs | DecidedMeanwhile, answers: Answers, form: SeenForm
) -> Response:
    """The page that refuses: 403 for another's case, 409 with a button to save all the same for one decided on."""
    site = site_of(request)
    acts = error.acts if isinstance(error, DecidedMeanwhile) else ()
    now = site.store.case_now(case.id)
    return page(
        request, "part_not_saved.html" if is_partial(request) else "not_saved.html", 409 if acts else 403,
        case=case, now=now, path=case_path(case), action=request.url.path, sent=form.sent_again(*OWN) if acts else [],
        acts=acts, ends=rests_on_it(now), typed=_typed(site, answers),
    )  # fmt: skip


def _typed(site: Site, answers: Answers) -> list[tuple[str, str]]:
    """What somebody changed, in words, and as it was written what could not be read."""
    vocabulary = site.rulebook.vocabulary
    names = labels(vocabulary)
    read = [(names.get(name, name), shown_value(vocabulary, name, value)) for name, value in answers.changes.items()]
    return read + [(names.get(name, name), ", ".join(answers.written.get(name, []))) for name in answers.wrong]
