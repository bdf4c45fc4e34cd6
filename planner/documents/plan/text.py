"""The plan as plain text for a terminal or an email, in the order it is needed."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from planner.documents.figures import change, dioptres, moment, whole_range
from planner.documents.plan import words
from planner.documents.plan.step import StepView
from planner.documents.plan.view import PlanView
from planner.plan.plan import Plan, PlannedDrill, PlannedDrug
from planner.wording.words import as_sentence

NARROWEST = 40
MARKS = {"as-prescribed": "[ ] ", "withheld": " x  ", "not-until-checked": " ?  "}


def render_text(plan: Plan, width: int = 100) -> str:
    """The plan as text, no line longer than `width` characters where its words allow (40 at least)."""
    return _Page(max(width, NARROWEST)).text(PlanView(plan))


class _Page:
    """Gathers lines; a section is a heading ruled off, an item hangs under its mark."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []

    def text(self, p: PlanView) -> str:
        self.front(p)
        self.risk(p)
        self.steps(p)
        self.back(p)
        return "\n".join(line.rstrip() for line in self.lines).strip() + "\n"

    def put(self, text: str, mark: str = "", indent: int = 0) -> None:
        """One paragraph; `mark` stands before it and its further lines hang clear of the mark."""
        if not text:
            return
        first = " " * indent + mark
        self.lines += textwrap.wrap(
            text, self.width, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False
        )

    def items(self, texts: Iterable[str], mark: str = "- ", indent: int = 0) -> None:
        for text in texts:
            self.put(text, mark, indent)

    def section(self, heading: str) -> None:
        self.lines += ["", heading.upper(), "-" * min(self.width, len(heading))]

    def front(self, p: PlanView) -> None:
        self.put(f"{p.side}   {p.case}")
        self.lines.append("=" * self.width)
        self.put(p.draft_line)
        judged = f"Unit: {p.unit}. Judged on {p.date}."
        self.put(f"{p.plan.title}. {judged} {p.plan.supervision.stage_label}.")
        self.lines.append("")
        tier = f"Tier {p.tier}".upper()
        self.put(f"{tier}  {p.tier_label}")
        self.put(p.tier_approved, indent=2)
        self.put(p.readings, indent=2)
        self.items(p.decided_by, indent=2)
        self.put(f"{p.mode.upper()}  {p.plan.supervision.words}")
        self.items((reason.words for reason in p.plan.supervision.because), indent=2)
        self.put(f"TRAINEE  {p.trainee_steps}")
        self.put(p.target, indent=2)
        self.section(p.headline)
        if p.is_ready:
            self.lines.pop()
        self.items(f"{as_sentence(reason.because)} -> {reason.settled_by}" for reason in p.to_settle)
        if p.looks:
            self.section("Not recorded: where to look")
            if p.settles_together:
                self.put(f"Together these settle the tier: {p.settles_together}.")
            self.items(
                f"{look.label}, {words.takes(look)} ({look.who}): {words.joined(look.labels)}" for look in p.looks
            )
        if p.assessment.levers:
            self.section("Can be put right before surgery")
            self.items(map(words.lever_words, p.assessment.levers))
        if p.queries:
            self.section("Check the record")
            self.items(p.queries)
        if p.factors or p.possible:
            self.section("Risk factors")
        self.items(f"{f.label}: {words.factor_words(f)}" for f in p.factors)
        self.put(f"Not recorded, and may be found: {p.possible}." if p.possible else "")
        self.section("The eye")
        self.put(" ".join([p.drawing.seat, *p.drawing.captions]))

    def risk(self, p: PlanView) -> None:
        self.section("Risk by grade of operator")
        baseline = f"Baseline {p.risk.baseline}."
        self.put(f"{p.risk.outcome}. {p.risk.model}; {p.risk.population}. {baseline}")
        self.put(p.risk.uncounted)
        for row in p.risk.rows:
            mark = "   <- planned" if row.planned else ""
            self.put(f"{row.operator:<14}{row.words}{mark}", indent=2)
        self.put(p.plan.range_note)
        self.put(p.risk.recentred)
        for s in p.assessment.published_scores:
            source, points = p.number(s.source), whole_range(s.points)
            said = f"{s.authors} {source}: {points} points."
            self.put(f"{said} {as_sentence(s.outcome)}. {' '.join(words.score_groups(s))}", "- ")
        self.put(f"This rulebook: {p.points}. {p.plan.score_note}")

    def steps(self, p: PlanView) -> None:
        self.section("The operation, step by step")
        self.put(p.not_written)
        for step in p.steps:
            self.step(step)

    def step(self, s: StepView) -> None:
        self.lines.append("")
        self.put(f"{s.step.label}  [{s.who}]", f"{s.step.number:>2}  ")
        self.put(s.step.headline, indent=4)
        self.items(s.provisional, "prepared: ", 4)
        self.items(s.do, "- ", 4)
        self.items((f"{before}: {then}" for before, then in s.if_found), "? ", 4)
        self.items(s.also_if_found, "? ", 4)
        self.items(s.step.watch, "watch: ", 4)
        self.items((f"{what}; {then}" for what, then in s.pause), "! ", 4)
        self.items(s.step.hand_over_if if s.step.who == "trainee" else (), "hand over: ", 4)

    def back(self, p: PlanView) -> None:
        self.section("Re-check at the table")
        asked = (*((one.ask, one.words) for one in p.unknown), *p.recheck)
        self.items(f"{ask}: ______  stop if {worse}" for ask, worse in asked)
        self.put(p.plan.recheck_then)
        self.put(f"Take-over: {p.plan.supervision.take_over_words}")
        for drill in p.drills:
            self.drill(drill, p.kit_of(drill))
        if p.may_be_drills or p.other_drills:
            self.section("Other emergencies: the first thing to do")
            self.items(f"{drill.label} (may become likely): {drill.stop_first}" for drill in p.may_be_drills)
            self.items(f"{drill.label}: {drill.stop_first}" for drill in p.other_drills)
        self.section("Kit in the room")
        for heading, items in p.kit:
            self.put(f"{heading}:")
            for item in items:
                lacking = f"  LACKING: {item.note}" if item.lacking else ""
                self.put(f"{item.label}{lacking}", "[ ] ")
        if p.drugs:
            self.section("Drugs")
            self.put(p.plan.formulary_note)
            for drug in p.drugs:
                self.drug(drug)
        self.section(f"Lens for the {p.side}")
        lens = p.plan.lens
        power, backup = dioptres(lens.power_d), dioptres(lens.backup_power_d)
        self.put(f"In the bag: {power}, {lens.material or 'not recorded'}. Back-up: {backup}.")
        self.put(f"Biometry sheet: {words.biometry(lens)}.")
        for row in lens.sulcus:
            self.put(f"In the sulcus, {row.table}: {change(*row.change)} {p.cite(row.basis)}", "- ")
        self.put(f"{lens.captured} {p.cite(lens.captured_basis)}")
        self.put(f"{lens.note} {p.cite(lens.note_basis)}")
        if p.cautions:
            self.section("Cautions")
            self.items(f"{'' if c.certain else 'If found: '}{c.text}" for c in p.cautions)
        if p.plan.rules:
            self.section("What constrains the plan")
            self.items(f"{words.force(r)}: {words.rule_text(r)} {p.cite(r.basis)}" for r in p.plan.rules)
        if p.choices:
            self.section("Why this way")
        for c in p.choices:
            parts = (c.way.why, words.alternatives(c), p.cite(c.way.basis))
            self.put(f"{c.label}: {' '.join(part for part in parts if part)}", "- ")
        self.section("Approval")
        given = p.plan.approval
        tier, by, at = "____", "____________________", "____________"
        if given is not None:
            tier, by, at = str(given.tier_approved), given.by, moment(given.at)
        self.put(f"Tier by the rulebook {p.assessment.tier.working}. Tier approved {tier}")
        self.put(f"Consultant, by name {by}  Date and time {at}")
        self.put(f"Reason; conditions {words.remarks(given) or '______________________________'}")
        self.put(f"Supervisor's contact: {p.plan.supervision.contact or '____________________'}")
        self.items(p.plan.deferral, "")
        self.section("Sources")
        for s in p.sources:
            read = f": {s.read}" if s.read else ""
            self.put(f"[{s.number}] {s.citation} {s.locator} ({s.known}{read})", "- ")
        self.lines.append("")
        self.put(f"{p.rulebook}. {p.draft_line}")

    def drill(self, drill: PlannedDrill, kit: str) -> None:
        likely = "likely in this eye"
        self.section(f"{drill.label} ({likely})" if drill.likely else drill.label)
        self.put(" ".join(drill.signs))
        self.put(drill.stop_first, "! ")
        for number, line in enumerate(drill.steps, 1):
            self.put(line, f"{number}  ")
        self.put(drill.call, "call: ")
        self.put(kit, "kit: ")
        self.put(drill.leave, "leave: ")

    def drug(self, drug: PlannedDrug) -> None:
        self.put(f"{drug.label}, {words.how_given(drug)}", MARKS[drug.state])
        self.put(words.standing(drug), indent=4)
        self.put(words.dose(drug), indent=4)
        self.put(f"not if: {'; '.join(drug.contraindications)}" if drug.contraindications else "", indent=4)
        self.put(f"check: {' '.join(drug.check)}" if drug.check else "", indent=4)
