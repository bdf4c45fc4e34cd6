"""The training unit: what kit it holds, what its own audit found, its era, and who its trainees are (by role code)."""

from __future__ import annotations

import difflib
from functools import cached_property
from pathlib import Path
from zoneinfo import ZoneInfo, available_timezones

from pydantic import ValidationError

from planner import strict_yaml
from planner.case import STAGES, Stage
from planner.claims import Entry, Whole, YesNo
from planner.errors import Fault, PlannerError
from planner.rulebook.rulebook import Rulebook

LARGEST_FILE = 200_000


class Audit(Entry):
    """Events of the odds model's outcome among a unit's cases; `case_mix: assumed` uses the rulebook's labelled mix."""

    period: str
    events: Whole
    cases: Whole
    case_mix: str


class UnitTrainee(Entry):
    id: str
    whole_operations: Whole
    cleared_for_whole_operations: YesNo
    weeks_away: Whole = 0


class ApprovalPolicy(Entry):
    """Who may approve. Without a word of the unit, no consultant approves their own work, nor an empty record.

    `own_case`: a consultant may approve what they entered, saved or submitted themselves; it prints that they did.
    `nothing_recorded`: a case may be approved of which nothing is recorded.
    """

    own_case: YesNo = False
    nothing_recorded: YesNo = False


class Unit(Entry):
    """A unit file. `kit` names the equipment it holds by the rulebook's ids; None means that no list was given.

    `era` names years of the odds model, on whose published rate the printed probability is re-centred. `zone` is the
    IANA name of the zone whose clock hangs on the unit's wall; without it times are those of the machine.
    """

    unit: str
    zone: str | None = None
    kit: list[str] | None = None
    audit: Audit | None = None
    era: str | None = None
    trainees: list[UnitTrainee] = []
    supervisor_contact: str | None = None
    approvals: ApprovalPolicy = ApprovalPolicy()

    @cached_property
    def clock(self) -> ZoneInfo | None:
        """The zone itself; None where the file names none."""
        return ZoneInfo(self.zone) if self.zone else None

    def stage_of(self, trainee_id: str, rulebook: Rulebook) -> Stage:
        """The stage of a trainee by whole operations, clearance and time away. Raises PlannerError."""
        trainee = next((t for t in self.trainees if t.id == trainee_id), None)
        if trainee is None:
            known = ", ".join(t.id for t in self.trainees) or "none"
            raise PlannerError.one(f"no trainee {trainee_id!r} in {self.unit}", hint=f"one of: {known}")
        if not trainee.cleared_for_whole_operations:
            return "steps-only"
        done, stages = trainee.whole_operations, reversed(rulebook.stages.stages)
        reached = next((stage.id for stage in stages if done >= stage.whole_operations[0]), STAGES[0])
        down = max([b.stages_down for b in rulebook.stages.breaks if trainee.weeks_away >= b.weeks_at_least], default=0)
        return STAGES[max(0, STAGES.index(reached) - down)]


def read_unit(path: Path, rulebook: Rulebook) -> Unit:
    """Read and check a unit file against the rulebook. Raises PlannerError with every fault."""
    document = strict_yaml.read_file(path, str(path), LARGEST_FILE)
    try:
        unit = Unit.model_validate(document.data)
    except ValidationError as error:
        wrong = ((detail["loc"], detail["msg"]) for detail in error.errors(include_url=False))
        said = ((document.at(loc), f"`{'.'.join(map(str, loc))}`: {msg}") for loc, msg in wrong)
        raise PlannerError([Fault(*each, hint="see demo_cases/unit.yaml") for each in said]) from None
    faults: list[Fault] = []

    def refuse(place: tuple[str | int, ...], what: str, why: str = "", hint: str = "") -> None:
        faults.append(Fault(document.at(place), what, why, hint))

    known = {item.id for item in rulebook.kit.equipment}
    for index, item in enumerate(unit.kit or []):
        if item not in known:
            refuse(("kit", index), f"no equipment {item!r} in the rulebook", hint="planner rules check lists the kit")
    if unit.era is not None and rulebook.odds.era(unit.era) is None:
        eras = ", ".join(f"{era.id} ({era.label}, {100 * era.rate:.2f} %)" for era in rulebook.odds.eras) or "none"
        why = "the printed probability is re-centred on a published rate"
        refuse(("era",), f"no era {unit.era!r} in {rulebook.odds.id}", why, f"one of: {eras}; or leave it out")
    if unit.zone is not None and unit.zone not in available_timezones():
        why = "a zone goes by its name in the IANA database, capitals and all"
        refuse(("zone",), f"no time zone {unit.zone!r}", why, _zones_like(unit.zone))
    audit = unit.audit
    if audit is not None and audit.case_mix != "assumed":
        why = "re-centring needs to know whom the events happened to"
        refuse(("audit", "case_mix"), f"{audit.case_mix!r} is not a case mix", why, "case_mix: assumed")
    if audit is not None and not 0 <= audit.events <= audit.cases > 0:
        refuse(("audit", "events"), f"{audit.events} events among {audit.cases} cases cannot be")
    if faults:
        raise PlannerError(faults)
    return unit


def _zones_like(name: str) -> str:
    """The nearest names of zones, by the whole name or by the city alone."""
    zones = sorted(available_timezones())
    by_words = {zone.rsplit("/", 1)[-1].lower(): zone for zone in zones} | {zone.lower(): zone for zone in zones}
    near = list(dict.fromkeys(by_words[words] for words in difflib.get_close_matches(name.lower(), by_words, 3, 0.6)))
    return f"did you mean {' or '.join(near)}?" if near else "an area and a city in it, such as Europe/Paris"
