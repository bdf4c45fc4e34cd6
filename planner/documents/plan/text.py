"""The plan as plain text for a terminal or an email, in the order it is needed."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from planner.documents.plan.shapes import DrillView, DrugView, PlanView, StepView
from planner.documents.plan.view import view
from planner.plan.plan import Plan
from planner.wording.language import say

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
        judged = say("Unit: %(unit)s. Judged on %(date)s.", unit=p.unit, date=p.date)
        self.put(f"{p.plan.title}. {judged} {p.plan.supervision.stage_label}.")
        self.lines.append("")
        tier = say("Tier %(number)s", number=p.tier.number).upper()
        self.put(f"{tier}  {p.tier.label}")
        self.put(p.tier.approved, indent=2)
        self.put(p.tier.readings, indent=2)
        self.items(p.tier.decided_by, indent=2)
        self.put(f"{p.supervision.mode.upper()}  {p.plan.supervision.words}")
        self.items((reason.words for reason in p.plan.supervision.because), indent=2)
        self.put(f"{say('TRAINEE')}  {p.supervision.trainee_steps}")
        self.put(p.supervision.target, indent=2)
        self.section(p.readiness.headline)
        if p.readiness.is_ready:
            self.lines.pop()
        self.items(f"{reason.because} -> {reason.settled_by}" for reason in p.readiness.reasons)
        if p.looks:
            self.section(say("Not recorded: where to look"))
            if p.settles_together:
                self.put(say("Together these settle the tier: %(findings)s.", findings=p.settles_together))
            self.items(f"{look.label}, {look.takes} ({look.who}): {look.findings}" for look in p.looks)
        if p.plan.assessment.levers:
            self.section(say("Put right before surgery"))
            for v in p.plan.assessment.levers:
                words = say(
                    "%(label)s to %(to)s: %(how)s → tier %(tier)s", label=v.label, to=v.to, how=v.how, tier=v.tier
                )
                self.put(words, "- ")
        if p.queries:
            self.section(say("Look again"))
            self.items(p.queries)
        if p.factors or p.possible:
            self.section(say("What is found, and what it counts"))
        self.items(f"{f.label}: {f.because}" + (f" ({f.counts})" if f.counts else "") for f in p.factors)
        self.put(say("Not recorded, and may be found: %(factors)s.", factors=p.possible) if p.possible else "")
        self.section(say("The eye"))
        self.put(" ".join([p.drawing.seat, *p.drawing.captions]))

    def risk(self, p: PlanView) -> None:
        self.section(say("The risk, in whose hands"))
        baseline = say("Baseline %(baseline)s.", baseline=p.risk.baseline)
        self.put(f"{p.risk.outcome}. {p.risk.model}; {p.risk.population}. {baseline}")
        self.put(p.risk.uncounted)
        for row in p.risk.rows:
            mark = f"   <- {say('planned')}" if row.planned else ""
            self.put(f"{row.operator:<14}{row.words}{mark}", indent=2)
        self.put(p.plan.range_note)
        self.put(p.risk.recentred)
        for s in p.scores:
            words = say(
                "%(authors)s %(source)s: %(points)s points.", authors=s.authors, source=s.source, points=s.points
            )
            self.put(f"{words} {s.outcome}. {' '.join(s.groups)}", "- ")
        self.put(f"{say('This rulebook')}: {p.tier.points}. {p.plan.score_note}")

    def steps(self, p: PlanView) -> None:
        self.section(say("The operation, step by step"))
        self.put(p.not_written)
        for step in p.steps:
            self.step(step)

    def step(self, s: StepView) -> None:
        self.lines.append("")
        self.put(f"{s.step.label}  [{s.who}]", f"{s.step.number:>2}  ")
        self.put(s.step.headline, indent=4)
        self.items(s.provisional, say("prepared") + ": ", 4)
        self.items(s.do, "- ", 4)
        self.items((f"{before}: {then}" for before, then in s.if_found), "? ", 4)
        self.items(s.also_if_found, "? ", 4)
        self.items(s.step.watch, say("watch") + ": ", 4)
        self.items((f"{what}; {then}" for what, then in s.pause), "! ", 4)
        self.items(s.step.hand_over_if if s.step.who == "trainee" else (), say("hand over") + ": ", 4)

    def back(self, p: PlanView) -> None:
        self.section(say("Re-check at the table"))
        asked = (*p.unknown, *p.recheck)
        self.items(say("%(ask)s: ______  stop if %(worse)s", ask=ask, worse=worse) for ask, worse in asked)
        self.put(p.plan.recheck_then)
        self.put(f"{say('Take-over')}: {p.plan.supervision.take_over_words}")
        for drill in p.drills:
            self.drill(drill)
        if p.may_be_drills or p.other_drills:
            self.section(say("Other emergencies: the first thing to do"))
            self.items(f"{drill.label} {say('(may become likely)')}: {drill.stop_first}" for drill in p.may_be_drills)
            self.items(f"{drill.label}: {drill.stop_first}" for drill in p.other_drills)
        self.section(say("In the room"))
        for heading, items in p.kit:
            self.put(f"{heading}:")
            for item in items:
                lacking = f"  {say('LACKING: %(note)s', note=item.note)}" if item.lacking else ""
                self.put(f"{item.label}{lacking}", "[ ] ")
        if p.drugs:
            self.section(say("Drugs"))
            self.put(p.plan.formulary_note)
            for drug in p.drugs:
                self.drug(drug)
        self.section(say("Lens for the %(side)s", side=p.side))
        self.put(f"{say('In the bag')}: {p.lens.power}, {p.lens.material}. {say('Back-up')}: {p.lens.backup}.")
        self.put(f"{say('Biometry sheet')}: {p.lens.read_from}.")
        self.items(f"{say('In the sulcus')}, {table}: {change} {basis}" for table, change, basis in p.lens.sulcus)
        self.put(f"{p.plan.lens.captured} {p.lens.captured_basis}")
        self.put(f"{p.plan.lens.note} {p.lens.note_basis}")
        if p.cautions:
            self.section(say("Cautions"))
            self.items(f"{'' if c.caution.certain else say('If found:') + ' '}{c.caution.text}" for c in p.cautions)
        if p.rules:
            self.section(say("What constrains the plan"))
            self.items(f"{r.force}: {r.text} {r.basis}" for r in p.rules)
        if p.choices:
            self.section(say("Why it is planned so"))
        for c in p.choices:
            self.put(f"{c.label}: {' '.join(part for part in (c.why, c.alternatives, c.basis) if part)}", "- ")
        self.section(say("Approval"))
        a = p.approval
        self.put(f"{say('Tier by the rulebook')} {p.tier.by_rulebook}. {say('Tier approved')} {a.tier or '____'}")
        by, at = a.by or "____________________", a.at or "____________"
        self.put(f"{say('Consultant, by name')} {by}  {say('Date and time')} {at}")
        self.put(f"{say('Reason, if they differ; conditions')} {a.remarks or '______________________________'}")
        contact = say("Supervisor's contact")
        self.put(f"{contact}: {p.plan.supervision.contact or '____________________'}")
        self.items(p.plan.deferral, "")
        self.section(say("Sources"))
        for s in p.sources:
            read = f": {s.read}" if s.read else ""
            self.put(f"[{s.number}] {s.citation} {s.locator} ({s.known}{read})", "- ")
        self.lines.append("")
        self.put(f"{p.rulebook}. {p.draft_line}")

    def drill(self, d: DrillView) -> None:
        likely = say("likely in this eye")
        self.section(f"{d.drill.label} ({likely})" if d.drill.likely else d.drill.label)
        self.put(" ".join(d.drill.signs))
        self.put(d.drill.stop_first, "! ")
        for number, line in enumerate(d.drill.steps, 1):
            self.put(line, f"{number}  ")
        self.put(d.drill.call, say("call") + ": ")
        self.put(d.kit, say("kit") + ": ")
        self.put(d.drill.leave, say("leave") + ": ")

    def drug(self, d: DrugView) -> None:
        mark = "[ ] " if not d.state else " x  " if d.withheld else " ?  "
        self.put(f"{d.label}, {d.how}", mark)
        self.put(d.standing, indent=4)
        self.put(d.dose, indent=4)
        self.put(f"{say('not if')}: {d.contraindications}" if d.contraindications else "", indent=4)
        self.put(f"{say('check')}: {d.check}" if d.check else "", indent=4)
