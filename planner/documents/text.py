"""The plan as plain text for a terminal or an email, in the order it is needed."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from planner.documents.plan_view import DrillView, DrugView, PlanView, StepView
from planner.documents.view import view
from planner.plan.plan import Plan

NARROWEST = 40


def render_text(plan: Plan, width: int = 100) -> str:
    """The plan as text, no line longer than `width` characters where its words allow (40 at least)."""
    return _Page(max(width, NARROWEST)).text(view(plan))


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

    def say(self, text: str, mark: str = "", indent: int = 0) -> None:
        """One paragraph; `mark` stands before it and its further lines hang clear of the mark."""
        if not text:
            return
        first = " " * indent + mark
        self.lines += textwrap.wrap(
            text, self.width, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False
        )

    def items(self, texts: Iterable[str], mark: str = "- ", indent: int = 0) -> None:
        for text in texts:
            self.say(text, mark, indent)

    def section(self, heading: str) -> None:
        self.lines += ["", heading.upper(), "-" * min(self.width, len(heading))]

    def front(self, p: PlanView) -> None:
        self.say(f"{p.side}   {p.case}")
        self.lines.append("=" * self.width)
        self.say(p.draft_line)
        self.say(f"{p.title}. Unit: {p.unit}. Judged on {p.date}. Prepared for: {p.supervision.stage}.")
        self.lines.append("")
        self.say(f"TIER {p.tier.number}  {p.tier.label}" + (f" (range {p.tier.range})" if p.tier.range else ""))
        self.items(p.tier.decided_by, indent=2)
        self.say(f"SUPERVISION  {p.supervision.mode}. {p.supervision.words}")
        self.items(p.supervision.because, indent=2)
        self.say(f"TRAINEE TAKES  {p.supervision.trainee_steps}")
        self.section(p.readiness.headline)
        if p.readiness.is_ready:
            self.lines.pop()
        self.items(f"{reason.because} -> {reason.settled_by}" for reason in p.readiness.reasons)
        if p.missing:
            self.section("Not recorded")
            if p.settles_together:
                self.say(f"Together these settle the tier: {p.settles_together}.")
            for m in p.missing:
                self.say(f"{m.label}: {m.would_settle}" + (f" ({m.settled_by})" if m.settled_by else ""), "- ")
        if p.levers:
            self.section("Put right before surgery")
            self.items(f"{v.label} to {v.to}: {v.how} -> tier {v.tier}" for v in p.levers)
        if p.queries:
            self.section("Look again")
            self.items(p.queries)
        if p.factors or p.possible:
            self.section("What is found, and what it counts")
        self.items(f"{f.label}: {f.because}" + (f" ({f.counts})" if f.counts else "") for f in p.factors)
        self.say(f"Not recorded, and may be found: {p.possible}." if p.possible else "")
        self.section("The eye")
        self.say(" ".join([p.drawing.seat, *p.drawing.captions]))

    def risk(self, p: PlanView) -> None:
        self.section("The risk, in whose hands")
        self.say(f"{p.risk.outcome}. {p.risk.model}; {p.risk.population}. Baseline {p.risk.baseline}.")
        self.say(p.risk.uncounted)
        for row in p.risk.rows:
            self.say(f"{row.operator:<14}{row.words}{'   <- planned' if row.planned else ''}", indent=2)
        self.say(p.risk.range_note)
        self.say(p.risk.recentred)
        self.items(f"{s.authors} {s.source}: {s.points} points, {s.outcome}. {'. '.join(s.groups)}" for s in p.scores)
        self.say(f"This rulebook's points: {p.tier.points}. {p.score_note}")

    def steps(self, p: PlanView) -> None:
        self.section("The operation, step by step")
        for step in p.steps:
            self.step(step)

    def step(self, s: StepView) -> None:
        self.lines.append("")
        self.say(f"{s.step.label}  [{s.who}]", f"{s.step.number:>2}  ")
        self.say(s.step.headline, indent=4)
        self.items(s.provisional, "prepared: ", 4)
        self.items(s.do, "- ", 4)
        self.items(s.if_found, "if found (not recorded): ", 4)
        self.items(s.step.watch, "watch: ", 4)
        self.items((f"{what}; {then}" for what, then in s.pause), "! ", 4)
        self.items(s.step.hand_over_if, "hand over: ", 4)

    def back(self, p: PlanView) -> None:
        self.section("Re-check at the table")
        self.items(f"{ask}: ______  stop if {worse}" for ask, worse in p.recheck)
        self.say(p.recheck_then)
        self.say(f"Take-over: {p.supervision.take_over}")
        for drill in p.drills:
            self.drill(drill)
        if p.may_be_drills or p.other_drills:
            self.section("Other emergencies: the first thing to do")
            self.items(f"{drill.label} (may become likely): {drill.stop_first}" for drill in p.may_be_drills)
            self.items(f"{drill.label}: {drill.stop_first}" for drill in p.other_drills)
        self.section("In the room")
        for heading, held in p.kit:
            self.say(f"{heading}:")
            self.items((f"{item.label}{f'  LACKING: {item.note}' if item.lacking else ''}" for item in held), "[ ] ")
        if p.drugs:
            self.section("Drugs")
            self.say(p.formulary_note)
            for drug in p.drugs:
                self.drug(drug)
        self.section(f"Lens for the {p.side}")
        self.say(f"Lens {p.lens.power}, {p.lens.material}. Back-up {p.lens.backup}.")
        self.say(f"Read from the biometry sheet: {p.lens.read_from}.")
        self.items(f"in the sulcus, {table}: {change} {basis}" for table, change, basis in p.lens.sulcus)
        self.say(f"{p.lens.captured} {p.lens.captured_basis}")
        self.say(f"{p.lens.note} {p.lens.note_basis}")
        if p.cautions:
            self.section("Cautions")
            self.items(f"{'' if c.caution.certain else 'may apply: '}{c.caution.text}" for c in p.cautions)
        if p.rules:
            self.section("What constrains the plan")
            self.items(f"{r.force}: {r.text} {r.basis}" for r in p.rules)
        self.section("Why it is planned so")
        for c in p.choices:
            self.say(f"{c.label}: {' '.join(part for part in (c.why, c.alternatives, c.basis) if part)}", "- ")
        self.section("Approval")
        a = p.approval
        self.say(f"Tier by the rulebook {p.tier.number}. Tier approved {a.tier or '____'}")
        self.say(f"Consultant, by name {a.by or '____________________'}  date and time {a.at or '____________'}")
        self.say(f"Reason, if they differ; conditions {a.remarks or '______________________________'}")
        self.say(f"Supervisor's contact: {p.supervision.contact or '____________________'}")
        self.items(p.deferral, "")
        self.section("Sources")
        for s in p.sources:
            read = f": {s.read}" if s.read else ""
            self.say(f"[{s.number}] {s.citation} {s.locator} ({s.known}{read})", "- ")
        self.lines.append("")
        self.say(f"Rulebook {p.rulebook}. {p.draft_line}")

    def drill(self, d: DrillView) -> None:
        self.section(d.drill.label)
        self.say(" ".join(d.drill.signs))
        self.say(d.drill.stop_first, "! ")
        for number, line in enumerate(d.drill.steps, 1):
            self.say(line, f"{number}  ")
        self.say(d.drill.call, "call: ")
        self.say(d.kit, "kit: ")
        self.say(d.drill.leave, "leave: ")

    def drug(self, d: DrugView) -> None:
        mark = "[ ] " if not d.state else " x  " if d.withheld else " ?  "
        self.say(f"{d.label}, {d.how}", mark)
        self.say(d.standing, indent=4)
        self.say(d.dose, indent=4)
        self.say(f"not if: {d.contraindications}" if d.contraindications else "", indent=4)
        self.say(f"check: {d.check}" if d.check else "", indent=4)
