"""The lens: powers as recorded from the biometry sheet, and what each published table says for the sulcus."""

from __future__ import annotations

from planner.case import Case
from planner.plan.plan import PlannedLens, SulcusRow
from planner.rulebook.plan_shapes import SulcusTable
from planner.rulebook.rulebook import Rulebook


def plan_lens(case: Case, rulebook: Rulebook) -> PlannedLens:
    """No power is computed: the tables are a cross-check for the same lens, shown beside the recorded power."""

    def number(name: str) -> float | None:
        value = case.in_force.get(name)
        return value if isinstance(value, float) else None

    def text(name: str) -> str | None:
        return rulebook.vocabulary.by_id[name].shown(case.in_force[name]) if name in case.in_force else None

    power = number("lens_power_d")
    rows = [
        row
        for table in rulebook.lens.sulcus_tables
        if power is not None and (row := sulcus_change(table, power)) is not None
    ]
    return PlannedLens(
        power,
        number("backup_lens_power_d"),
        text("planned_lens_material"),
        text("biometry_reference"),
        text("biometry_date"),
        tuple(rows),
        rulebook.lens.captured,
        rulebook.lens.captured_basis,
        rulebook.lens.note,
        rulebook.lens.note_basis,
    )


def sulcus_change(table: SulcusTable, power: float) -> SulcusRow | None:
    """The change in dioptres that a table prints for a bag power; None outside what it prints."""
    for band in table.bands:
        if band.covers(power):
            return SulcusRow(table.label, band.change, table.basis)
    return None
