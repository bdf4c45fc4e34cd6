"""The findings a case may record: kind, unit, ranges, direction of harm, and how a written value is read."""

from __future__ import annotations

import contextlib
import itertools
import math
import re
from collections.abc import Container, Iterable
from functools import cached_property
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, ValidationError, model_validator

from planner.claims import Basis, Entry, Names, Number, When, Whole, YesNo, strict_number
from planner.conditions import NUMBER_TESTS, ConditionError, Value
from planner.errors import did_you_mean
from planner.readings import logmar_of, read_day

NOT_RECORDED = ("not-recorded", "")
FindingId = Annotated[str, Names("finding")]
FindingIds = Annotated[list[str], Names("finding")]
REFUSED_WORDS = ("na", "n/a", "nil", "-", "--", "?", "unknown", "nan", "null", "tbc", "nk")


# The tests that each kind of finding takes.
_FITTING = {
    "number": NUMBER_TESTS,
    "count": NUMBER_TESTS,
    "date": NUMBER_TESTS,
    "choice": ("is", "is_one_of"),
    "yes-no": ("is", "is_one_of"),
    "text": ("is", "is_one_of"),
    "set": ("includes",),
}


class Ordered(Entry):
    """A choice whose values run from mildest to worst; of values listed together neither is the worse."""

    order: list[str | list[str]]

    @cached_property
    def rank(self) -> dict[str, int]:
        """How far along each value stands; equal where neither is the worse."""
        return {v: n for n, step in enumerate(self.order) for v in ([step] if isinstance(step, str) else step)}


class Outside(Entry):
    """A number that is worse the further it lies outside a range."""

    outside: tuple[Number, Number]


Direction = Literal["higher", "lower", "yes", "no", "more", "none"]


def _worse(raw: Any) -> Any:
    if raw in get_args(Direction):
        return raw
    for form, key in ((Ordered, "order"), (Outside, "outside")):
        if isinstance(raw, dict) and set(raw) == {key} and isinstance(raw[key], list):
            with contextlib.suppress(ValidationError):
                return form.model_validate(raw)
    forms = f"{', '.join(get_args(Direction))}, {{order: [mildest, ..., worst]}} or {{outside: [a, b]}}"
    raise ValueError(f"{_shown(raw)} is no direction of harm; write {forms}")


class Look(Entry):
    """One sitting by one person at which findings are recorded: who looks, where, and how many minutes it takes."""

    id: str
    label: str
    who: str
    minutes: Whole
    before: Annotated[str | None, Names("look")] = None  # another sitting, which spoils this one if it comes first
    basis: Basis


class Coarse(Entry):
    """A finding that says the same more coarsely, and what it reads as where only the finer one is recorded.

    `grades` gives for each coarse value the least and most of the finer number. With `clock` the finer number is a
    clock hour, and the coarse set holds the quadrants (superior, temporal, inferior, nasal, by the side of the eye)
    that it lies in, or runs through going clockwise for as many clock hours as `width`, another finding, says.
    """

    into: FindingId
    grades: dict[str, tuple[Number, Number]] = {}
    clock: YesNo = False
    width: Annotated[str | None, Names("finding")] = None

    @model_validator(mode="after")
    def _one_way(self) -> Coarse:
        if bool(self.grades) == self.clock or (self.width is not None and not self.clock):
            raise ValueError(f"coarse into {self.into}: give `grades`, or `clock: yes` with or without `width`")
        return self


class Finding(Entry):
    """One thing that can be recorded of an eye or its patient.

    `possible` bounds are inclusive, outside them a value is refused as a slip of the pen; outside `usual` it is
    kept and queried. `unremarkable` is the value taken when a section was looked through and nothing found.
    `step` is the instrument's resolution. `asked_when` says when the finding is asked at all; a value that is
    recorded is used all the same. A date names the findings it `dates`, and for how many days they may be relied on.
    `plain` is the value of the plain eye, taken for the reading on record where nothing is recorded (default:
    `unremarkable`). While `hidden_when` holds or may hold, a section that was looked through does not vouch for the
    finding; with `accepted_hidden` the technique is then written without it, and it stands as a gate for when it comes
    into view. `seen_at` names the step before which it can still be looked for or asked in theatre (`sign-in` before
    the first), `look` the sitting at which it is recorded (`look_when_hidden` while it cannot be seen). `coarse` names
    a finding that says the same more coarsely.
    A `preference` left blank is no hazard: it is planned as the plain value, and changes nothing.
    `snellen_as` is a name under which a Snellen fraction is read into this logMAR. `too_low` says where a case below
    `possible` belongs.
    """

    id: Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
    label: str
    section: Annotated[str, Names("section")]
    kind: Literal["number", "count", "choice", "yes-no", "set", "date", "text"]
    unit: str | None = None
    values: dict[str, str] = {}
    possible: tuple[Number, Number] | None = None
    usual: tuple[Number, Number] | None = None
    step: Number | None = None
    range_basis: Basis | None = None
    worse: Annotated[Direction | Ordered | Outside, BeforeValidator(_worse)]
    unremarkable: str | None = None
    plain: str | None = None
    hidden_when: When | None = None
    accepted_hidden: YesNo = False
    asked_when: When | None = None
    seen_at: Annotated[str | None, Names("step, nor sign-in,")] = None
    look: Annotated[str | None, Names("look")] = None
    look_when_hidden: Annotated[str | None, Names("look")] = None
    coarse: Coarse | None = None
    preference: YesNo = False
    snellen_as: str | None = None
    too_low: str | None = None
    essential: YesNo = False
    measured: str
    settled_by: str | None = None
    dates: FindingIds = []
    valid_days: Whole | None = None
    valid_basis: Basis | None = None

    @model_validator(mode="after")
    def _consistent(self) -> Finding:
        numeric = self.kind in ("number", "count")
        if numeric and (self.possible is None or self.range_basis is None):
            raise ValueError(f"{self.id}: a {self.kind} needs possible and range_basis")
        if self.kind == "number" and (self.unit is None or self.step is None):
            raise ValueError(f"{self.id}: a number needs unit and step")
        if not numeric and (self.possible or self.usual or self.step):
            raise ValueError(f"{self.id}: only a number or count has possible, usual and step")
        low, high = self.possible or (0, 0)
        within = self.usual or (low, high)
        if not low <= within[0] <= within[1] <= high:
            raise ValueError(f"{self.id}: possible and usual run from low to high, usual inside possible")
        if (self.kind in ("choice", "set")) != bool(self.values):
            raise ValueError(f"{self.id}: a choice or set needs values, nothing else has them")
        steps = self.worse.order if isinstance(self.worse, Ordered) else [[*self.values]]
        named = [value for step in steps for value in ([step] if isinstance(step, str) else step)]
        if sorted(named) != sorted(self.values):
            raise ValueError(f"{self.id}: worse.order must name every value once: {', '.join(self.values)}")
        if (self.accepted_hidden or self.look_when_hidden) and self.hidden_when is None:
            raise ValueError(f"{self.id}: accepted_hidden and look_when_hidden are of a finding with hidden_when")
        if self.preference and self.plain is None:
            raise ValueError(f"{self.id}: a preference needs `plain`, what is planned while it is left blank")
        for given in (self.unremarkable, self.plain):
            self.read(given)
        ages = (bool(self.dates), self.valid_days is not None, self.valid_basis is not None)
        if any(ages) and not (all(ages) and self.kind == "date" and (self.valid_days or 0) > 0):
            raise ValueError(f"{self.id}: a date has dates, valid_days (from 1 on) and valid_basis together, or none")
        return self

    def read(self, raw: object) -> Value | None:
        """The typed value of what was written, None when not recorded. Raises ValueError saying what is allowed.

        Sets are lists or `a+b`, `none` is the empty set; dates are YYYY-MM-DD; yes-no takes yes, no, true, false.
        """
        raw = raw.strip() if isinstance(raw, str) else raw
        if raw is None or (isinstance(raw, str) and raw in NOT_RECORDED):
            return None
        if isinstance(raw, str) and raw.lower() in REFUSED_WORDS:
            raise ValueError(f"{raw!r} does not say whether it was looked for; write not-recorded, or {self.allowed}")
        match self.kind, raw:
            case "number" | "count", _:
                return self._read_number(raw)
            case "yes-no", bool():
                return raw
            case "yes-no", "yes" | "no" | "true" | "false":
                return raw in ("yes", "true")
            case "choice", str() if raw in self.values:
                return raw
            case "set", _:
                return self._read_set(raw)
            case "date", _ if (day := read_day(raw)) is not None:
                return day
            case "text", str() if len(raw) <= 200 and raw.isprintable():
                return raw
        raise self._none_of_the_values(raw)

    def _none_of_the_values(self, raw: object) -> ValueError:
        words = f"{_shown(raw)} is not one of the values it can take: {self.allowed}"
        return ValueError("; ".join(filter(None, (words, did_you_mean(raw, self.values, cutoff=0.5)))))

    @property
    def enumerated(self) -> list[Any]:
        """Every value of a yes-no, a choice or a set, small sets first; none for what has no end of them."""
        match self.kind:
            case "yes-no":
                return [False, True]
            case "choice":
                return list(self.values)
            case "set":
                sizes = range(len(self.values) + 1)
                return [frozenset(some) for size in sizes for some in itertools.combinations(self.values, size)]
        return []

    def around(self, limits: Iterable[float]) -> list[float]:
        """Each limit, and one step of the instrument below and above it, as far as these are possible; rising."""
        assert self.possible is not None
        low, high = self.possible
        near = {round(limit + shift, 6) for limit in limits for shift in (-(self.step or 1.0), 0.0, self.step or 1.0)}
        return sorted(value for value in near if low <= value <= high)

    @cached_property
    def plain_value(self) -> Value | None:
        """What the plain eye has: `plain`, else `unremarkable`; None for what no plain eye has by itself."""
        raw = self.unremarkable if self.plain is None else self.plain
        return None if raw is None else self.read(raw)

    def _read_number(self, raw: object) -> float:
        if isinstance(raw, str) and self.snellen_as is not None and not raw[:1].isdigit() and raw[:1] not in "-+.":
            why = "counting fingers and worse have no Snellen fraction"
            raise ValueError(f"{_shown(raw)}: {why}; enter the logMAR that the unit has agreed for them")
        if isinstance(raw, str) and self.snellen_as is not None and "/" in raw:
            raw = logmar_of(raw)
        if isinstance(raw, str):
            if re.fullmatch(r"-?\d+,\d+", raw):
                raise ValueError(f"{raw!r} has a decimal comma; write it with a point: {raw.replace(',', '.')}")
            if re.fullmatch(r"[-+]?\.?(inf|infinity|nan)", raw, re.IGNORECASE):
                raise ValueError(f"{raw!r} is not a measurement; expected {self.allowed}")
            unit = re.fullmatch(r"-?\d[\d.]*\s*(?![eE][-+]?\d)[A-Za-z/%²]+.*", raw)
            if unit:
                raise ValueError(f"{raw!r} carries a unit; write the number alone, in {self.unit or 'whole counts'}")
            raw = float(strict_number(raw))
        if isinstance(raw, bool) or not isinstance(raw, int | float):
            raise ValueError(f"{_shown(raw)} is not a number; expected {self.allowed}")
        try:
            raw = float(raw)
        except OverflowError:
            raise ValueError(f"a number that long is not a measurement; expected {self.allowed}") from None
        if not math.isfinite(raw):
            raise ValueError(f"{raw} is not a measurement; expected {self.allowed}")
        if self.kind == "count" and raw != int(raw):
            raise ValueError(f"{raw:g} is not a whole number")
        assert self.possible is not None
        low, high = self.possible
        if 0 <= raw < low and self.too_low is not None:
            raise ValueError(f"{raw:g} is below {low:g} {self.unit}: {self.too_low}")
        if not low <= raw <= high:
            slips = [f"{raw * factor:g}" for factor in (0.1, 0.01, 0.001, 10, 1000) if low <= raw * factor <= high]
            hint = f"; was {slips[0]} meant?" if slips else ""
            raise ValueError(f"{raw:g} is outside the possible range, {self.allowed}{hint}")
        return raw

    def _read_set(self, raw: object) -> frozenset[str]:
        items = [item.strip() for item in raw.split("+")] if isinstance(raw, str) else raw
        if items == ["none"]:
            return frozenset()
        if items == []:
            why = "an empty list does not say whether it was looked for"
            raise ValueError(f"{why}; write not-recorded, or {self.allowed}")
        if not isinstance(items, list):
            raise ValueError(f"{_shown(raw)} is not a list; write any of {self.allowed}")
        for item in items:
            if not isinstance(item, str) or item not in self.values:
                raise self._none_of_the_values(item)
        return frozenset(str(item) for item in items)

    @property
    def allowed(self) -> str:
        """What may be written, in words."""
        match self.kind:
            case "number" | "count":
                assert self.possible is not None
                return f"{self.possible[0]:g} to {self.possible[1]:g} {self.unit or ''}".strip()
            case "yes-no":
                return "yes or no"
            case "choice":
                return ", ".join(self.values)
            case "set":
                return f"any of {', '.join(self.values)} (joined with +), or none"
            case "date":
                return "a date as YYYY-MM-DD"
            case "text":
                return "one line of text, at most 200 characters"

    def shown(self, value: Value | None) -> str:
        """A value as printed, with its unit: `2.3 mm`, `yes`, `tamsulosin`; `not recorded` when None."""
        if value is None:
            return "not recorded"
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, frozenset):
            return ", ".join(label for item, label in self.values.items() if item in value) or "none"
        if isinstance(value, float):
            # Units in words are written for many of them: `clock hours`.
            unit = self.unit.removesuffix("s") if self.unit and value == 1 else self.unit
            return f"{value:.10g} {unit}" if unit else f"{value:.10g}"
        return self.values.get(value, value) if isinstance(value, str) else value.isoformat()

    def written(self, value: Value) -> str:
        """A value as a case file writes it; `read` takes it back."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, frozenset):
            return "+".join(item for item in self.values if item in value) or "none"
        return f"{value:.10g}" if isinstance(value, float) else str(value)


def _shown(raw: object) -> str:
    text = repr(raw)
    return text if len(text) <= 60 else text[:57] + "..."


class Pair(Entry):
    """Findings that cannot stand together, or stand oddly: then those in `doubt` are read as not recorded."""

    id: str
    when: When
    because: str
    doubt: FindingIds = []


class Section(Entry):
    id: str
    label: str


class Vocabulary(Entry):
    """Every finding a case may hold, by section, with the combinations that are refused or queried."""

    sections: list[Section]
    looks: list[Look] = []
    on_record_needs: FindingIds = []
    findings: list[Finding]
    impossible_together: list[Pair] = []
    odd_together: list[Pair] = []

    @cached_property
    def by_id(self) -> dict[str, Finding]:
        return {finding.id: finding for finding in self.findings}

    @cached_property
    def aliases(self) -> dict[str, str]:
        """Other names under which a finding may be written, with the finding's own."""
        return {finding.snellen_as: finding.id for finding in self.findings if finding.snellen_as is not None}

    def validity(self, recorded: Container[str]) -> dict[str, int]:
        """For each date that has something recorded to its name, the days after it for which that may be relied on."""
        dated = {f.id: f.valid_days for f in self.findings if any(name in recorded for name in f.dates)}
        return {name: days for name, days in dated.items() if days is not None}

    def typed(self, finding_id: str, how: str, raw: object) -> Any:
        """Type the limit of one comparison; raises ConditionError (used with `conditions.bind`)."""
        finding = self.by_id.get(finding_id)
        if finding is None:
            words = (f"no finding {finding_id!r}", did_you_mean(finding_id, self.by_id))
            raise ConditionError("; ".join(filter(None, words)))
        if how == "recorded":
            if raw not in ("yes", "no", True, False):
                raise ConditionError(f"recorded takes yes or no, not {_shown(raw)}")
            return raw in ("yes", True)
        fitting = _FITTING[finding.kind]
        if how not in fitting:
            raise ConditionError(f"{finding_id} is a {finding.kind} and takes {' or '.join(fitting)}, not {how}")
        try:
            if how in ("is_one_of", "includes"):
                values = [_limit(finding, item) for item in (raw if isinstance(raw, list) else [raw])]
                return frozenset().union(*(value if isinstance(value, frozenset) else {value} for value in values))
            return _limit(finding, raw)
        except ValueError as error:
            raise ConditionError(f"{finding_id}: {error}") from None


def _limit(finding: Finding, raw: object) -> Value:
    value = finding.read(raw)
    if value is None:
        raise ValueError(f"a limit is a value; write {finding.allowed}")
    return value
