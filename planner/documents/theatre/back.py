"""The back of the theatre sheet: fifteen steps, the drills of this eye by their first moves, kit and drugs to tick."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile

from planner.documents.plan.step import Asked, StepView
from planner.documents.plan.view import PlanView
from planner.documents.plan.words import FEW
from planner.documents.theatre.filling import SMALL, Item, boxes_mm, filled, runs_mm, text_mm
from planner.plan.plan import KitItem, PlannedDrill, PlannedDrug

# Millimetres, as theatre.css has them: the side between its margins; a column of steps and the number in it; what a
# bar and a dash take; the gap between two steps; the number of a move; rules and their margins.
ROOM = 297 - 11 - 12.5 - 0.6
WIDTH, COLUMN, NUMBER = 192.0, 93.8, 7.4
BAR, DASH, GAP = 2.4, 2.6, 1.6
MOVE = 3.4
# The columns of the drills: even, or one wider, for the drill that has most to say.
DRILLS_MM = ((61.0, 61.0, 61.0), (75.0, 54.0, 54.0), (54.0, 75.0, 54.0), (54.0, 54.0, 75.0))
HEADING, RULES = 6.2, 3.0
# A frame round TRAINEE or SUPERVISOR takes as much as these letters.
MARK = "mm"

DRILLS, FIRST_MOVES, MOVES, MOST_MOVES = 3, 3, 2, 5
DIFFERENCES, PAUSES = 2, 2
# So many of the hardest steps say all of what they may before the others say anything.
HARDEST = 3


@dataclass(frozen=True)
class SheetStep:
    """A step by its main instructions, never cut; what must be known first; what this eye makes different; pauses."""

    s: StepView
    main: tuple[str, ...]
    first: tuple[tuple[str, str], ...]
    differs: tuple[str, ...]
    pauses: tuple[tuple[str, str], ...]

    def height(self, points: float) -> float:
        width = COLUMN - NUMBER
        first = [run for act, then in self.first for run in ((f"{act}:", True), (then, False))]
        return (
            GAP
            + runs_mm(((self.s.step.label, True), (MARK + self.s.who, True)), points, width)
            + (text_mm(" ".join(self.main), points, width) if self.main else 0)
            + (runs_mm(tuple(first), points, width - BAR) if first else 0)
            + sum(text_mm(line, points, width - DASH) for line in self.differs)
            + sum(runs_mm(((what, True), (then, False)), points, width - BAR) for what, then in self.pauses)
        )


@dataclass(frozen=True)
class SheetDrill:
    """A drill by what to stop and its first moves; `standing` says why it is among the three."""

    drill: PlannedDrill
    standing: str
    moves: tuple[str, ...]
    rest: str

    def height(self, points: float, width: float) -> float:
        width -= 1.5
        return (
            (text_mm(self.rest, SMALL, width) if self.rest else 0)
            + text_mm(self.drill.label, points, width, bold=True)
            + (text_mm(self.standing, SMALL, width) if self.standing else 0)
            + text_mm(self.drill.stop_first, points, width - BAR, bold=True)
            + sum(text_mm(move, points, width - MOVE) for move in self.moves)
        )


@dataclass(frozen=True)
class SheetKit:
    """A group of kit by its heading: the items named, and of the others how many they are."""

    heading: str
    items: tuple[KitItem, ...]
    rest: str

    @property
    def height(self) -> float:
        items = tuple(item.label + (f": LACKING, {item.note}" if item.lacking else "") for item in self.items)
        return boxes_mm(self.heading, items, self.rest, SMALL, WIDTH)


@dataclass(frozen=True)
class Barred:
    """Drugs not to be given, or not until something is checked: of each its name, why, and what serves instead."""

    withheld: bool
    drugs: tuple[tuple[str, str], ...]

    @property
    def heading(self) -> str:
        if self.withheld:
            return "NOT GIVEN"
        return "NOT UNTIL CHECKED" if self.drugs[0][1] else "NOT UNTIL CHECKED (what: preparation)"

    @property
    def height(self) -> float:
        named = (run for name, why in self.drugs for run in ((f"{name};", True), (why, False)))
        return runs_mm(((self.heading, True), *named), SMALL, WIDTH - BAR)


@dataclass(frozen=True)
class Back:
    """The back at one type size, its steps in two columns; `kit` and `drugs` are ticked, `barred` are not given."""

    points: float
    columns: tuple[tuple[SheetStep, ...], tuple[SheetStep, ...]]
    drills: tuple[SheetDrill, ...]
    drills_mm: tuple[float, ...]
    kit: tuple[SheetKit, ...]
    drugs: tuple[PlannedDrug, ...]
    barred: tuple[Barred, ...]
    height: float


def back_side(p: PlanView, room: float = ROOM) -> tuple[Back, bool]:
    """The back as full as `room` millimetres hold, and whether its least fits."""
    steps, drills = [_Step(p, step) for step in p.steps], _three(p)
    drugs = tuple(drug for drug in p.drugs if drug.state == "as-prescribed")

    def make(chosen: frozenset[Item], points: float) -> Back:
        shown = [step.shown(chosen) for step in steps]
        heights = [step.height(points) for step in shown]
        split = min(range(1, len(steps)), key=lambda at: max(sum(heights[:at]), sum(heights[at:])))
        barred = tuple(_barred(p, chosen))
        moves, kit = [_drill(drill, told_apart, chosen) for drill in drills], [_kit(*group, chosen) for group in p.kit]
        height = max(sum(heights[:split]), sum(heights[split:])) + HEADING + RULES + given
        drills_mm = {widths: _drills_mm(moves, widths, points) for widths in DRILLS_MM}
        widest = min(drills_mm, key=drills_mm.__getitem__)
        height += drills_mm[widest] + sum(group.height for group in kit)
        height += sum(drug_bars.height for drug_bars in barred)
        height += text_mm(p.not_written, points, WIDTH, bold=True) if p.not_written else 0
        columns = tuple(shown[:split]), tuple(shown[split:])
        return Back(points, columns, tuple(moves), widest, tuple(kit), drugs, barred, height)

    given = boxes_mm("Drugs", tuple(drug.label for drug in drugs), p.plan.formulary_note, SMALL, WIDTH)
    harder = sorted(steps, key=lambda step: (step.s.ordinary, -step.s.step.difficulty, step.s.step.number))
    hardest, others = harder[:HARDEST], harder[HARDEST:]
    # Where none is likelier than the others there is nothing to say of it.
    told_apart = any(drill.likely or drill.may_be_likely for drill in drills)
    # The likeliest, and what the rulebook wants ready in every eye.
    first = [drill for drill in drills if drill is drills[0] or (not drill.likely and drill in p.drills)]
    gates = [(step, n) for step in harder for n, _ in enumerate(step.s.asked)]
    wanted: list[Item] = [
        "bars in full",
        *(step.gate(n, False) for step, n in gates if not step.s.asked[n].clears),
        *(step.then(0) for step in harder),
        *(("move", drill.id, n) for n in range(FIRST_MOVES) for drill in first),
        *(step.prepared for step in harder if step.s.provisional),
        "standing",
        *(step.gate(n, False) for step, n in gates if step.s.asked[n].clears),
        *(step.gate(n, True) for step, n in gates),
        *(("move", drill.id, 0) for drill in drills),
        *(("kit", heading) for heading, _ in p.kit),
        *(step.line(line) for step in hardest for line in step.differs),
        *(("move", drill.id, n) for n in range(1, MOVES) for drill in drills),
        *(step.line(line) for n in range(DIFFERENCES) for step in others for line in step.differs[n : n + 1]),
    ]
    also: list[Item] = [
        *(step.pause(1) for step in harder if len(step.s.pause) > 1),
        *(("move", drill.id, n) for n in range(MOVES, MOST_MOVES) for drill in drills),
        *(step.line(line) for n in range(DIFFERENCES) for step in harder for line in step.usual[n : n + 1]),
    ]
    return filled(make, wanted, also, lambda back: back.height <= room)


class _Step:
    """A step with all that the side may say of it, each line an item that is chosen or left to the preparation."""

    def __init__(self, p: PlanView, s: StepView) -> None:
        self.s, step, plan = s, s.step, p.plan
        ways = [choice.way for choice in plan.choices.values() if choice.step == step.id and plan.has_technique]
        written = step.do if plan.has_technique else ()
        prepared = {choice.prepared_as for choice in plan.choices.values() if choice.prepared_as}
        self.main = tuple(way.do[0] for way in ways if way.do) or written[:1]
        left = [line for line in written if line not in {*self.main, *step.barred, *prepared}]
        # What a finding adds to the step goes before what its own way of doing it says further.
        own = {line for way in ways for line in way.do}
        different = [line for line in left if line in step.different]
        self.differs = sorted(different, key=lambda line: line in own)[:DIFFERENCES]
        self.usual = [line for line in left if line not in different][: DIFFERENCES - len(self.differs)]

    @property
    def prepared(self) -> Item:
        return "prepared", self.s.step.id

    def then(self, place: int) -> Item:
        return "then", self.s.step.id, place

    def pause(self, place: int) -> Item:
        return "pause", self.s.step.id, place

    def gate(self, place: int, whole: bool) -> Item:
        return "gate", self.s.step.id, place, whole

    def line(self, text: str) -> Item:
        return "line", self.s.step.id, text

    def shown(self, chosen: frozenset[Item]) -> SheetStep:
        # Where there is no room the way written, which is the cautious one, stands without saying so.
        prepared = self.s.provisional if self.prepared in chosen else ()
        first = [("Prepared", line) for line in prepared]
        for n, gate in enumerate(self.s.asked):
            # What would only let a more cautious way be left goes first where there is no room.
            if not gate.clears or self.gate(n, False) in chosen:
                first.append((gate.before, self._asked(n, gate, chosen)))
        pauses = []
        for place, (what, then) in enumerate(self.s.pause[:PAUSES]):
            if place == 0 or self.pause(place) in chosen:
                whole = then and (place > 0 or self.then(place) in chosen)
                pauses.append((f"{what}:", then) if whole else (what, ""))
        differs = tuple(line for line in (*self.differs, *self.usual) if self.line(line) in chosen)
        return SheetStep(self.s, self.main, tuple(first), differs, tuple(pauses))

    def _asked(self, place: int, gate: Asked, chosen: frozenset[Item]) -> str:
        """A gate with what is then done, else as a question that names some of what is looked for."""
        if self.gate(place, True) in chosen:
            return gate.whole
        named = gate.names[: FEW if self.gate(place, False) in chosen else 1]
        more = len(gate.names) - len(named)
        return ", ".join(named) + (f" or {more} more?" if more else "?")


def _drills_mm(drills: list[SheetDrill], widths: tuple[float, ...], points: float) -> float:
    return max(drill.height(points, width) for drill, width in zip(drills, widths, strict=False))


def _three(p: PlanView) -> list[PlannedDrill]:
    """The likeliest drills of this eye; what the rulebook wants ready in every eye is always among them."""
    always = [drill for drill in p.drills if not drill.likely]
    others = [drill for drill in p.plan.drills if drill not in always][: DRILLS - len(always)]
    return [drill for drill in p.plan.drills if drill in always or drill in others]


def _drill(drill: PlannedDrill, told_apart: bool, chosen: frozenset[Item]) -> SheetDrill:
    standing = "Likely in this eye" if drill.likely else "Likely, if found" if drill.may_be_likely else "In any eye"
    standing = standing if told_apart and "standing" in chosen else ""
    # In their order and without a gap; what follows is said to follow.
    moves = tuple(move for _, move in takewhile(lambda at: ("move", drill.id, at[0]) in chosen, enumerate(drill.steps)))
    left = len(drill.steps) - len(moves)
    return SheetDrill(drill, standing, moves, f"… {left} more in the preparation" if left else "")


def _kit(heading: str, items: list[KitItem], chosen: frozenset[Item]) -> SheetKit:
    """A group of kit; what is essential or lacking is named whatever room there is."""
    if ("kit", heading) in chosen:
        return SheetKit(heading, tuple(items), "")
    named = tuple(item for item in items if item.need == "essential" or item.lacking)
    more = len(items) - len(named)
    rest = f"{more} {'more ' if named else ''}as listed in the preparation" if more else ""
    return SheetKit(heading, named, rest)


def _barred(p: PlanView, chosen: frozenset[Item]) -> Iterator[Barred]:
    for state in ("withheld", "not-until-checked"):
        drugs = [drug for drug in p.drugs if drug.state == state]
        if drugs:
            yield Barred(
                state == "withheld", tuple((drug.label, _why(drug, "bars in full" in chosen)) for drug in drugs)
            )


def _why(drug: PlannedDrug, in_full: bool) -> str:
    if not in_full and drug.state != "withheld":
        return ""
    if not in_full:
        more = len(drug.reasons) - 1
        return f"{drug.reasons[0]} and {more} more" if more else drug.reasons[0]
    instead = "; ".join(dict.fromkeys(text.rstrip(".") for text in drug.instead if text))
    because = "; ".join(drug.reasons)
    return f"{because}. Instead: {instead}" if instead else because
