"""The pages' OpenAPI document with what FastAPI cannot know: the fields of each form, the statuses of each answer.

The forms are read by hand (a case's is made from the vocabulary), and nobody is served the document: it is for tests.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from every_state import EYES, STATES
from fastapi import FastAPI
from fastapi.routing import APIRoute

from planner.rulebook.rulebook import Rulebook

FORM = "application/x-www-form-urlencoded"
CASE, APPROVAL = "/cases/{reference}/{eye}", "/approvals/{reference}/{eye}"
LISTING, DAY = "/lists/place/{reference}/{eye}", "/lists/{day}"
SESSION = "/lists/session/{session}"
ROSTER = "/roster/entry/{kind}"
# Stands for what the page of the moment carries in its hidden field; whoever sends the form fills it in.
NOW = "now"
# What a hidden field may hold once somebody has changed it.
HIDDEN = {"enum": [NOW, "1", "999999999", "x"]}
TEXT = {"enum": ["", "seen in clinic", "x" * 301, "Mr Smith, born 02/03/1951", "a\x00b", "é ≤ ½"]}
# What no page of ours would write into a form.
TAMPERED = (
    "NaN",
    "1e999",
    "9" * 400,
    "9" * 5000,
    "[" * 50_000,
    "{",
    '{"a": 1}',
    "[null]",
    "-1",
    '"\\u0000"',
    '"\\ud800"',
)
Schema = dict[str, Any]
# The submission and the approval that were open when the page was shown.
OPEN: Schema = {"submission": HIDDEN, "approval": HIDDEN}

# Every page may refuse whoever is nobody (303, or 401 for a form) or of another role (403), and a form that cannot be
# read, or that somebody changed on its way (400).
STATUSES: dict[tuple[str, str], tuple[int, ...]] = {
    ("get", "/sign-in"): (200, 303, 422),
    ("post", "/sign-in"): (303, 401, 403, 429),
    ("post", "/sign-out"): (303,),
    ("get", "/form-token"): (200,),
    ("get", "/"): (200, 303),
    ("get", "/notices"): (200,),
    ("post", "/notices/seen"): (303, 404),
    ("get", "/cases"): (200, 422),
    ("get", "/cases/new"): (200,),
    ("post", "/cases/new"): (303, 422),
    ("get", CASE): (200, 404, 422),
    ("post", CASE): (303, 404, 409, 422),
    ("post", CASE + "/settle"): (303, 404, 409),
    ("get", CASE + "/hand-over"): (200, 404),
    ("post", CASE + "/hand-over"): (303, 404, 422),
    ("get", CASE + "/plan"): (200, 404),
    ("get", CASE + "/plan.html"): (200, 400, 404),
    ("get", CASE + "/plan.pdf"): (200, 202, 400, 404),
    ("get", CASE + "/theatre.pdf"): (200, 202, 400, 404),
    ("get", CASE + "/preparation.pdf"): (200, 202, 400, 404),
    ("post", CASE + "/submit"): (303, 404, 422),
    ("post", CASE + "/answer"): (303, 404, 422),
    ("get", "/approvals"): (200,),
    ("get", APPROVAL): (200, 404, 422),
    ("post", APPROVAL): (303, 404, 409, 422),
    ("post", APPROVAL + "/send-back"): (303, 404, 409, 422),
    ("post", APPROVAL + "/withdraw"): (303, 404, 409, 422),
    ("get", "/lists"): (200, 422),
    ("post", "/lists/all/change"): (200, 303, 404, 409, 422),
    ("post", "/lists/all/ask"): (303, 404, 422),
    ("post", "/lists/all/propose"): (200,),
    ("post", "/lists/all/accept"): (303, 409, 422),
    ("get", "/lists/week.pdf"): (200, 202),
    ("get", "/lists/lists.csv"): (200,),
    ("get", "/lists/orders"): (200,),
    ("get", "/lists/orders.csv"): (200,),
    ("get", "/lists/lists.ics"): (200,),
    ("get", SESSION): (200, 404),
    ("post", SESSION + "/publish"): (200, 303, 404, 409, 422),
    ("post", SESSION + "/morning"): (200, 404, 422),
    ("get", SESSION + "/version/{number}"): (200, 404, 422),
    ("get", SESSION + "/brief.pdf"): (200, 202, 404),
    ("get", LISTING): (200, 404, 422),
    ("post", LISTING): (303, 404, 409, 422),
    ("get", "/roster"): (200, 422),
    ("get", "/roster/{view}"): (200, 404),
    ("get", ROSTER): (200, 404, 422),
    ("post", ROSTER): (200, 303, 404, 409, 422),
    ("post", ROSTER + "/retire"): (200, 303, 404, 409, 422),
    ("post", ROSTER + "/earlier"): (200, 303, 404, 409, 422),
    ("post", "/roster/leave/change"): (200, 303, 404, 422),
    ("get", "/roster/take/file"): (200,),
    ("post", "/roster/take/look"): (200, 404, 422),
    ("post", "/roster/take/enter"): (303, 409, 422),
    ("get", "/roster/files/{name}"): (200, 404),
    ("get", DAY): (200, 404),
    ("post", DAY + "/take-off"): (303, 404, 409, 422),
}
TYPES = {
    CASE + "/plan.pdf": "application/pdf",
    CASE + "/theatre.pdf": "application/pdf",
    CASE + "/preparation.pdf": "application/pdf",
    "/form-token": "application/json",
    "/lists/week.pdf": "application/pdf",
    SESSION + "/brief.pdf": "application/pdf",
    "/lists/lists.ics": "text/calendar",
    "/lists/lists.csv": "text/csv",
    "/lists/orders.csv": "text/csv",
    "/roster/files/{name}": "application/yaml",
}


def forms(rulebook: Rulebook, days: Iterable[str]) -> dict[str, Schema]:
    """The fields of each form but its token, by path."""
    modes, steps = list(rulebook.supervision.modes), [step.id for step in rulebook.steps]
    day = {"enum": [*days, "2026-02-30", "", "tomorrow"]}
    return {
        "/sign-in": {"code": {"enum": ["trainee-3", "nobody-9", "", "x" * 99]}, "password": TEXT, "next": TEXT},
        "/sign-out": {},
        "/notices/seen": {"notice": HIDDEN},
        "/cases/new": {
            "case": {"enum": ["A-101", "B-1", "B-2", "", "Mr Smith", "x" * 61, "A\x00"]},
            "eye": {"enum": [*EYES, "", "both"]},
            "patient": {"enum": ["", "P-1", "4859 123 456"]},
            "planned_stage": {"enum": ["", "middle", "novice"]},
        },
        CASE: OPEN | {"based_on": HIDDEN, "section": TEXT} | dict(_of_a_case(rulebook)),
        CASE + "/settle": OPEN
        | {"based_on": HIDDEN}
        | {f"pick.{name}": {"enum": ["mine", "theirs"]} for name in ("iop_mmhg", "opacity", "none_found_in", "eye")}
        | {"pick.biometry_reference": {"enum": ["mine"]}, "mine.biometry_reference": {"enum": ['"B-1"', '"\\ud800"']}}
        | {f"mine.{name}": _JSON for name in ("iop_mmhg", "opacity", "none_found_in")},
        CASE + "/hand-over": {"owner": HIDDEN, "to": {"enum": [NOW, "", "nobody-9", "x\x00"]}, "why": TEXT},
        CASE + "/submit": OPEN | {"version": HIDDEN, "note": TEXT},
        CASE + "/answer": {"question": HIDDEN, "text": TEXT},
        APPROVAL: OPEN
        | {"version": HIDDEN, "seen": HIDDEN, "conditions": TEXT, "reason": TEXT}
        | {"tier": {"enum": ["1", "2", "3", "4", "5", "0", ""]}, "mode": {"enum": [*modes, "alone"]}}
        | {f"who.{step}": {"enum": ["trainee", "supervisor", "nobody"]} for step in steps},
        APPROVAL + "/send-back": OPEN | {"version": HIDDEN, "seen": HIDDEN, "text": TEXT},
        APPROVAL + "/withdraw": OPEN | {"why": TEXT},
        LISTING: {"approval": HIDDEN, "day": day, "theatre": TEXT}
        | {"place": {"enum": ["", "1", "2", "0", "99", "²", "-1"]}}
        | {"trainee": {"enum": ["", "trainee-3", "nobody-9"]}, "supervisor": {"enum": ["", "consultant-1", "x\x00"]}},
        "/lists/all/ask": {"act": {"enum": ["put", "fly"]}, "why": TEXT}
        | {"reference": {"enum": [NOW, *STATES, "é\x00"]}, "eye": {"enum": [NOW, *EYES, "both"]}}
        | {"session": {"enum": [NOW, "tue-1-b", "no-such"]}, "trainee": {"enum": ["", "trainee-3", "nobody-9"]}}
        | {"supervisor": {"enum": [NOW, "consultant-1", ""]}},
        "/lists/all/change": {"seen": HIDDEN, "act": {"enum": ["put", "up", "down", "off", "lock", "unlock", "fly"]}}
        | {"reference": {"enum": [NOW, *STATES, "é\x00"]}, "eye": {"enum": [NOW, *EYES, "both"]}}
        | {"session": {"enum": [NOW, "tue-1-b", "no-such"]}, "trainee": {"enum": ["", "trainee-3", "nobody-9"]}}
        | {
            "supervisor": {"enum": [NOW, "consultant-1", ""]},
            "why": TEXT,
            "reason": TEXT,
            "sure": {"enum": ["yes", ""]},
        },
        "/lists/all/propose": {"way": {"enum": ["round", "again", "x"]}, "longer": {"enum": ["", "no"]}},
        "/lists/all/accept": {
            "seen": HIDDEN,
            "proposal": {"enum": [NOW, "", "lists: []", "lists: [{", "x" * 999, *TAMPERED]},
        },
        SESSION + "/morning": {"who": {"enum": ["", "trainee-3", "consultant-1", "nobody-9"]}, "because": TEXT}
        | {"instead": {"enum": ["", "consultant-2", "x"]}, "ends": {"enum": ["", "10:30", "9", "²", "12:30+01:00"]}}
        | {"begun-tue-1-a": {"enum": ["", "1", "x"]}, "until-tue-1-a": {"enum": ["", "10:30", "later"]}}
        | {"lost": {"enum": ["", "yes"]}},
        SESSION + "/publish": {"seen": HIDDEN, "after": HIDDEN, "note": TEXT},
        ROSTER: _ENTRY
        | {"note": TEXT, "sure": {"enum": ["yes", ""]}, "settled": {"enum": ["", *TAMPERED]}}
        | {"f.id": {"enum": ["", "trainee-2", "new-1", "é\x00", "x" * 300]}, "f.day": day}
        | {"f.starts": {"enum": ["08:30", "25:00", ""]}, "f.minutes": {"enum": ["240", "-1", "1e9", "²"]}}
        | {"f.theatre": TEXT, "f.anaesthetist": {"enum": ["yes", "no", "perhaps"]}, "f.leave": {"enum": ["", "x to y"]}}
        | {"f.supervisors": {"enum": ["consultant-1", "nobody", "+"]}, "f.kit.1.key": {"enum": ["", "iris-hooks", "x"]}}
        | {"f.kit.1.sets": {"enum": ["", "1", "x"]}, "f.overrun_chance": {"enum": ["0.1", "5", "NaN"]}},
        ROSTER + "/retire": _ENTRY | {"sure": {"enum": ["yes", ""]}, "note": TEXT},
        ROSTER + "/earlier": _ENTRY | {"version": HIDDEN, "sure": {"enum": ["yes", ""]}},
        "/roster/leave/change": {
            "who": {"enum": ["consultant-1", "nobody", "\x00"]},
            "act": {"enum": ["add", "off", "x"]},
        }
        | {"first": day, "last": day, "sure": {"enum": ["yes", ""]}, "note": TEXT},
        "/roster/take/look": {"served": {"enum": ["yes", "", "no"]}, "what": {"enum": ["leave", "sessions", "x"]}}
        | {"again": {"enum": ["", *TAMPERED]}, "name.1": TEXT, "code.1": {"enum": ["", "consultant-1"]}},
        "/roster/take/enter": {"changes": {"enum": ["[]", *TAMPERED]}, "name": TEXT, "the_rest": {"enum": ["yes", ""]}}
        | {"aside": {"enum": ["none", "some"]}},
        DAY + "/take-off": {"allocation": HIDDEN, "why": TEXT},
    }


_ENTRY = {"key": {"enum": ["", "consultant-1", "tue-1-a", "nobody", "é\x00"]}, "based_on": HIDDEN}
_JSON = {"enum": [*TAMPERED, "15", "null", "[]", '"total-white"', '["lens"]']}


def _of_a_case(rulebook: Rulebook) -> Iterable[tuple[str, Schema]]:
    for finding in rulebook.vocabulary.findings:
        real = {"number": ["15", "2.4"], "count": ["1"], "date": ["2026-11-01"], "text": ["B-1"], "yes-no": ["yes"]}
        values = real.get(finding.kind) or list(finding.values)
        yield f"f.{finding.id}", {"enum": [*values, "", "not-recorded", "none", "-1", "1e999", "NaN", "½", "\x00"]}
    for section in rulebook.vocabulary.sections:
        yield f"none.{section.id}", {"enum": ["", "yes"]}
    yield "h.planned_stage", {"enum": ["", "middle", "novice"]}
    for name in ("listed_on", "recorded_on"):
        yield f"h.{name}", {"enum": ["", "2026-11-01", "0000-00-00", "9999-12-31"]}


def document(app: FastAPI, rulebook: Rulebook, days: list[str], token: str) -> Schema:
    """The whole document for one visitor, their token in each form."""
    described: Schema = app.openapi()
    fields = forms(rulebook, days)
    for path, methods in described["paths"].items():
        for method, operation in methods.items():
            for parameter in operation.get("parameters", ()):
                parameter["schema"] = _where(days).get(parameter["name"], parameter["schema"])
            if method == "post":
                every = fields.get(path, {}) | {"token": {"enum": [token]}}
                schema = {"type": "object", "properties": every, "required": ["token"], "additionalProperties": False}
                if path != CASE:
                    # Two fields at most are other than the page would send them, else hardly a form would be taken.
                    schema["maxProperties"] = 3
                operation["requestBody"] = {"required": True, "content": {FORM: {"schema": schema}}}
            kind = TYPES.get(path, "text/html")
            own = STATUSES.get((method, path), (200, 303, 400, 404, 409, 422))
            operation["responses"] = {
                str(status): {"description": "", "content": {} if status == 303 else {kind: {}, "text/html": {}}}
                for status in {*own, 403, *({303} if method == "get" else {400, 401})}
            }
    return described


def _where(days: list[str]) -> dict[str, Schema]:
    return {
        "reference": {"enum": [*STATES, "Z-9", "A-104/right", "é\x00"]},
        "eye": {"enum": list(EYES)},
        "session": {"enum": ["tue-1-a", "tue-1-b", "no-such", "é\x00"]},
        "number": {"enum": [1, 0, 999999999]},
        "kind": {"enum": ["trainee", "supervisor", "session", "patient", "limits", "wishes", "people", "é\x00"]},
        "view": {"enum": ["people", "leave", "targets", "kit", "patients", "limits", "sessions", "é\x00"]},
        "name": {"enum": ["roster.yaml", "x.csv", "é\x00"]},
        "week": {"enum": ["", *days, "0001-01-01", "9999-12-31", "x"]},
        "key": {"enum": ["", "consultant-1", "tue-1-a", "nobody", "é\x00"]},
        "day": {"enum": [*days, "2026-02-30", "today", "9999-12-31", "0001-01-01"]},
        "next": {"enum": ["", "/cases", "//elsewhere.invalid/", "https://elsewhere.invalid", "/\\x"]},
    }


def undescribed(app: FastAPI, rulebook: Rulebook) -> set[tuple[str, str]]:
    """Routes that this module says nothing of."""
    routes = [route for route in app.routes if isinstance(route, APIRoute)]
    every = {(method.lower(), route.path_format) for route in routes for method in route.methods or ()}
    known = set(STATUSES) & {(m, p) for m, p in every if m != "post" or p in forms(rulebook, [])}
    return every - known
