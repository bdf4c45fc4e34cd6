"""The file embedded in every plan: the case it was made from and what made it, so that it can be read back."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pydyf

from planner import __version__
from planner.case_file import EMBEDDED_NAME, case_file
from planner.plan.plan import Plan

Finisher = Callable[[Any, pydyf.PDF], None]


def record_of(plan: Plan) -> bytes:
    """What is embedded, as JSON: `case` as a case file gives it, and what made this plan of it.

    `rulebook` {id, version, sha256, status}, `on` (YYYY-MM-DD or null), `unit` (its name or null), `stage` that it was
    planned for, `planner` (this program's version).
    """
    assessment = plan.assessment
    data = {
        "case": case_file(assessment.case),
        "rulebook": asdict(assessment.rulebook),
        "on": assessment.on.isoformat() if assessment.on else None,
        "unit": plan.unit,
        "stage": plan.supervision.stage,
        "planner": __version__,
    }
    return json.dumps(data, ensure_ascii=False, indent=2).encode() + b"\n"


def embedding(content: bytes) -> Finisher:
    """A finisher for WeasyPrint that embeds the content as `case.json`: an associated file with its relationship.

    ISO 32000-2, 7.11.4 (embedded file streams) and 14.13 (associated files). WeasyPrint's own attachments always carry
    the time of writing, and their relationship only in other variants of PDF.
    """

    def finish(_: Any, pdf: pydyf.PDF) -> None:
        parameters = pydyf.Dictionary({"Size": len(content)})
        kind = {"Type": "/EmbeddedFile", "Subtype": "/application#2fjson", "Params": parameters}
        stream = pydyf.Stream([content], pydyf.Dictionary(kind), compress=True)
        pdf.add_object(stream)
        file = pydyf.Dictionary(
            {
                "Type": "/Filespec",
                "F": pydyf.String(EMBEDDED_NAME),
                "UF": pydyf.String(EMBEDDED_NAME),
                "Desc": pydyf.String("The case that this plan was made from, to be read back"),
                "AFRelationship": "/Data",
                "EF": pydyf.Dictionary({"F": stream.reference, "UF": stream.reference}),
            }
        )
        pdf.add_object(file)
        named = pydyf.Dictionary({"Names": pydyf.Array([pydyf.String(EMBEDDED_NAME), file.reference])})
        pdf.catalog.setdefault("Names", pydyf.Dictionary())["EmbeddedFiles"] = named
        pdf.catalog["AF"] = pydyf.Array([file.reference])

    return finish
