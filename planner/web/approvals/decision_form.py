"""What the forms of the approval page send: what a consultant decided, and what their page showed."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from planner.web.server.forms import Number, Prefixed, SeenForm, Text, up_to

# What a printed plan has room for.
LONGEST = 200


def _line(name: str) -> AfterValidator:
    return up_to(LONGEST, f"{name}: more than the {LONGEST} letters that print")


def _tier(sent: object) -> int | None:
    return int(str(sent)) if sent in ("1", "2", "3", "4") else None


class DecisionForm(SeenForm):
    """`plan_shown` is the digest of the plan that the page showed; `tier`, `mode` and `who` may change the plan."""

    version: Number = None
    plan_shown: str = Field("", alias="seen")
    covers: Literal["table", "as-named", ""] = ""
    tier: Annotated[int | None, BeforeValidator(_tier)] = None
    mode: Text = ""
    who: Annotated[dict[str, Text], Prefixed("who.")] = {}
    conditions: Annotated[Text, _line("conditions")] = ""
    operator_conditions: Annotated[Text, _line("conditions on the operator")] = ""
    reason: Annotated[Text, _line("reason")] = ""
    text: Annotated[Text, _line("question")] = ""
    why: Annotated[Text, _line("why")] = ""

    @property
    def typed(self) -> dict[str, str]:
        """What was sent, as it was typed; a name that was not sent is not there."""
        return {name: text for name, text in self.written.items() if text or name in self.model_fields_set}
