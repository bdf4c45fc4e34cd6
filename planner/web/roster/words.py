"""The words beside the fields of the roster. A field without any here goes by its own name."""

from __future__ import annotations

from planner.lists.roster.entries import EntryKind
from planner.lists.roster.fields import EntryField
from planner.lists.roster.shapes import LONGEST_SESSION, SHORTEST_SESSION

KIND_WORDS = {
    "trainee": "Trainee", "supervisor": "Supervisor", "session": "Session", "patient": "Patient",
    "limits": "Limits", "wishes": "Wishes",
}  # fmt: skip
LABELS = {
    "can": "May supervise",
    "on_site_rooms": "Rooms from outside",
    "shown_tier": "Highest tier shown",
    "starts": "Begins",
    "anaesthetist": "Anaesthetist there",
    "supervisors": "Supervisors there",
    "kit": "Counted kit",
    "away": "Cannot come",
    "not_before": "Not before",
    "both_eyes_agreed": "Both eyes on one day agreed",
    "needs": "Steps still needed",
    "target": "Whole operations wanted",
    "done": "Done before",
    "counts_from": "Counted from",
    "overrun_chance": "Chance of overrun allowed",
    "within_days": "Within days",
}
# By kind and field, or by field alone.
HINTS = {
    "trainee.id": "A code, never a name; stage and count of operations stand in the unit's file.",
    "supervisor.id": "A code, never a name.",
    "session.id": "Short, and its own: tue-1-a.",
    "patient.id": "The unit's pseudonym, never a name.",
    "steps_cleared": "For a trainee not yet cleared for whole operations.",
    "leave": "A line each: 2026-12-08, or 2026-12-21 to 2026-12-24.",
    "away": "A line each: 2026-12-08, or 2026-12-21 to 2026-12-24.",
    "both_eyes_agreed": "With the patient. Empty: nobody has asked, and no two eyes are put on one day.",
    "target": "Over months, less what they did before these lists. A wish, no rule.",
    "done": "Whole operations; where the records are, they are counted there instead.",
    "counts_from": "The day from which the records count whole operations toward the target.",
    "shown_tier": "In which they took a whole operation; 0 for none, empty where nothing is taken as shown.",
    "on_site_rooms": "How many at once without being in the theatre; empty for 1.",
    "minutes": f"From {SHORTEST_SESSION} to {LONGEST_SESSION}.",
    "kit": "Sets in the room, and minutes until a used one is ready again. Other kit is as the unit's file says.",
    "overrun_chance": "Between 0 and 1, such as 0.1. Empty: as the rulebook says.",
    "turnover_minutes": "Between two cases. Empty: as the rulebook says.",
    "operating_minutes": "From the unit's own log: mean, spread and number of cases. Empty: the published ones.",
    "within_days": "How soon a case is done. Empty: no limit of the unit's own.",
    "hardest": "Whether the highest tier comes first or last on a list; it yields to every rule.",
}


def kind_words(kind: EntryKind) -> str:
    return KIND_WORDS.get(kind.name, kind.name.replace("_", " ").capitalize())


def label(field: EntryField) -> str:
    return LABELS.get(field.name, field.label)


def hint(kind: EntryKind, field: EntryField) -> str:
    words = HINTS.get(f"{kind.name}.{field.name}", HINTS.get(field.name, ""))
    if not words and kind.name == "wishes" and field.sort == "number":
        default = kind.shape.model_fields[field.name].default
        return f"A weight; 0 leaves the wish out. Empty: {default:g}."
    return words
