"""Ordinary eyes: the ten of tests/eyes/ordinary.yaml at each level of recording, and any number made from a seed."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path
from typing import Any

from planner import strict_yaml
from planner.case import Case, read_case
from planner.plan.plan import PlannedChoice
from planner.rulebook.rulebook import Rulebook

EYES = Path(__file__).parent / "eyes"
STAGES = ("early", "middle", "late", "independent")


@cache
def told(name: str) -> Any:
    """The data of tests/eyes/<name>.yaml, all scalars text."""
    path = EYES / f"{name}.yaml"
    return strict_yaml.read(path.read_text(encoding="utf-8"), str(path)).data


def levels() -> list[str]:
    return [level["id"] for level in told("ordinary")["levels"]]


def eyes() -> list[str]:
    return list(told("ordinary")["eyes"])


def recorded(name: str, level: str) -> dict[str, Any]:
    """One of the ten as a case file, recorded as far as a level goes."""
    data = told("ordinary")
    everything = {**data["all"], **data["eyes"][name], "biometry_reference": f"B-{name}"}
    reached = data["levels"][: levels().index(level) + 1]
    sections = [section for part in reached for section in part["none_found_in"]]
    names = [finding for part in reached for finding in part["findings"]]
    findings = {finding: everything[finding] for finding in names}
    return {"case": name, "eye": everything["eye"], "none_found_in": sections, "findings": findings}


def made(seed: int) -> dict[str, Any]:
    """An ordinary eye from a seed, recorded as a clinic examines: ages 60 to 85, everything else as met in a day.

    Ranges are common practice, and keep clear of every limit: pupils of 6 mm and more, chambers from 2.7 mm, lengths
    from 22.3 to 25.5 mm. The trade's preferences are given or left blank, which must change nothing.
    """
    rng = random.Random(seed)
    chosen = told("ordinary")["levels"][: levels().index("clinic") + 1]
    power = rng.randrange(36, 48) / 2
    findings = {
        "age_years": str(rng.randint(60, 85)),
        "sex": rng.choice(("female", "male")),
        "visual_acuity": rng.choice(("6/9", "6/12", "6/18", "6/24", "6/36")),
        "iop_mmhg": str(rng.randint(10, 20)),
        "axial_length_mm": f"{rng.uniform(22.3, 25.5):.2f}",
        "anterior_chamber_depth_mm": f"{rng.uniform(2.7, 3.8):.2f}",
        "dilated_pupil_mm": f"{rng.uniform(6.0, 8.5):.1f}",
        "nucleus_hardness": rng.choice(("soft", "medium", "medium", "medium")),
        "lens_power_d": f"{power:.1f}",
        "backup_lens_power_d": f"{power - 1:.1f}",
        "biometry_reference": f"B-{seed}",
        **told("ordinary")["all"],
        "anticoagulant": rng.choice(("none", "none", "antiplatelet", "direct-oral")),
    }
    for preference, values in {
        "anaesthesia_requested": ("topical", "sub-tenon"),
        "planned_lens_material": ("hydrophobic-acrylic", "hydrophilic-acrylic"),
    }.items():
        if rng.random() < 0.5:
            findings[preference] = rng.choice(values)
    sections = [section for part in chosen for section in part["none_found_in"]]
    side = rng.choice(("right", "left"))
    return {"case": f"M-{seed}", "eye": side, "none_found_in": sections, "findings": findings}


def read(raw: dict[str, Any], rulebook: Rulebook, **findings: str) -> Case:
    """The eye as a case, with these findings changed; `not-recorded` takes one away."""
    return read_case({**raw, "findings": {**raw["findings"], **findings}}, rulebook.vocabulary)


def gates(chosen: PlannedChoice) -> set[tuple[str, str | None]]:
    """What one finding by itself, found otherwise than on record, would change in a choice: the finding, the option."""
    return {
        (finding, gate.option)
        for gate in chosen.if_found
        if not gate.once_clear and (not gate.together or len(gate.findings) == 1)
        for finding in gate.findings
    }
