"""What each command prints and where it puts it."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import get_args

import pytest
from commands import Ran, case_text, files
from pypdf import PdfReader
from seeds import draws

from planner import __version__
from planner.case import STAGES
from planner.cli.plan import StageName
from planner.exchange.case_reader import ReadCase, read_cases
from planner.rulebook.rulebook import Rulebook

ROOT = Path(__file__).parents[2]
UNIT = """unit: Invented unit
trainees:
  - {id: trainee-1, whole_operations: 3, cleared_for_whole_operations: yes}
"""


@pytest.fixture
def case(folder: Path) -> Path:
    (folder / "case.yaml").write_text(case_text())
    return folder / "case.yaml"


# -- intake -----------------------------------------------------------------------------------------------------------


def test_the_blank_case_filled_in_reads_back_as_valid(
    planner: Callable[..., Ran], folder: Path, rulebook: Rulebook
) -> None:
    blank = planner("intake").out
    assert "error:" in planner("assess", "-", stdin=blank.encode()).err, "without case and eye it is no case"
    (folder / "case.yaml").write_text(blank.replace("\ncase: ", "\ncase: A-1 ").replace("\neye: ", "\neye: left "))
    (item,) = read_cases("case.yaml", rulebook.vocabulary)
    assert isinstance(item, ReadCase), item
    assert item.case.findings == {}


def test_every_line_of_the_blank_case_can_be_taken_up(
    planner: Callable[..., Ran], folder: Path, rulebook: Rulebook
) -> None:
    """Each finding, its # removed and an allowed value written in, is read; with a finer one what it says."""
    blank = planner("intake").out.replace("\ncase: ", "\ncase: A-1 ").replace("\neye: ", "\neye: left ")
    some = {"yes-no": "yes", "date": "2026-11-02", "text": "B-1"}
    for finding in rulebook.vocabulary.findings:
        value = some.get(finding.kind) or next(iter(finding.values), None) or f"{finding.possible[1]:g}"  # type: ignore[index]
        name = {"visual_acuity_logmar": "visual_acuity"}.get(finding.id, finding.id)
        assert blank.count(f"\n  # {name}: ") == 1, name
        (folder / "case.yaml").write_text(blank.replace(f"\n  # {name}: ", f"\n  {name}: {value} "))
        (item,) = read_cases("case.yaml", rulebook.vocabulary)
        assert isinstance(item, ReadCase), item
        assert set(item.case.findings) - item.case.from_finer == {finding.id}
        assert item.case.from_finer <= {finding.coarse.into if finding.coarse is not None else None}


def test_the_blank_case_asks_for_the_word_before_the_decimal_grade_and_for_snellen(planner: Callable[..., Ran]) -> None:
    blank = planner("intake").out
    for coarse, fine in (
        ("nucleus_hardness", "nuclear_opalescence_locs3"),
        ("bleb_quadrants", "bleb_clock_hour"),
        ("zonule_loss_quadrants", "zonule_loss_from_clock_hour"),
    ):
        assert 0 < blank.index(f"  # {coarse}: ") < blank.index(f"  # {fine}: ")
        columns = planner("intake", "--csv").out.strip().split(",")
        assert columns.index(coarse) < columns.index(fine)
    assert "a Snellen fraction such as 6/18 or 20/60, or logMAR" in blank and "visual_acuity" in columns
    assert "visual_acuity_logmar" not in columns, "one column for one finding"
    said = {name: " ".join(line.strip(" #") for line in blank[: blank.index(f"  # {name}: ")].splitlines()[-6:])
            for name in ("posterior_polar_opacity", "nuclear_opalescence_locs3", "anaesthesia_requested")}  # fmt: skip
    assert "not covered by none_found_in while lens opacity is" in said["posterior_polar_opacity"]
    assert "which is read from it: one of the two is enough" in said["nuclear_opalescence_locs3"]
    assert "left blank, the usual is planned" in said["anaesthesia_requested"]


def test_snellen_from_the_csv_form_is_read(planner: Callable[..., Ran], folder: Path, rulebook: Rulebook) -> None:
    columns = planner("intake", "--csv").out.strip().split(",")
    given = {"case": "A-1", "eye": "left", "visual_acuity": "6/18", "nucleus_hardness": "hard"}
    (folder / "list.csv").write_text(",".join(columns) + "\n" + ",".join(given.get(c, "") for c in columns) + "\n")
    (item,) = read_cases("list.csv", rulebook.vocabulary)
    assert isinstance(item, ReadCase), item
    assert item.case.findings == {"visual_acuity_logmar": 0.48, "nucleus_hardness": "hard"}  # log10(18 / 6) = 0.477


def test_the_blank_case_says_what_may_be_written(planner: Callable[..., Ran], rulebook: Rulebook) -> None:
    blank = planner("intake").out
    flowing = " ".join(line.strip(" #") for line in blank.splitlines())
    for section in rulebook.vocabulary.sections:
        assert f"== {section.label} ({section.id}) ==" in blank
    for finding in rulebook.vocabulary.findings:
        assert finding.label in flowing and finding.measured in flowing and finding.allowed in flowing, finding.id
        assert (f"{finding.label} (essential)" in flowing) == finding.essential, finding.id
    assert "asked when anticoagulant or antiplatelet includes warfarin" in flowing


def test_the_csv_header_is_read_back(planner: Callable[..., Ran], folder: Path, rulebook: Rulebook) -> None:
    header = planner("intake", "--csv").out
    columns = header.strip().split(",")
    assert set(columns) >= {"case", "patient", "eye", "none_found_in"}
    finding_columns = {rulebook.vocabulary.aliases.get(column, column) for column in columns}
    assert finding_columns >= set(rulebook.vocabulary.by_id)
    row = ",".join({"case": "A-1", "eye": "left"}.get(column, "") for column in columns)
    (folder / "list.csv").write_text(f"{header}{row}\n")
    (item,) = read_cases("list.csv", rulebook.vocabulary)
    assert isinstance(item, ReadCase)


def test_a_filled_in_case_is_not_written_over_unasked(planner: Callable[..., Ran], case: Path) -> None:
    assert "is there already" in planner("intake", "-o", case).error
    assert case.read_text() == case_text()
    assert planner("intake", "-o", case, "--force").code == 0
    assert case.read_text() == planner("intake").out


# -- assess -----------------------------------------------------------------------------------------------------------


def test_the_summary_says_what_the_json_says(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(dilated_pupil_mm="4", pseudoexfoliation="yes"))
    found = json.loads(planner("assess", "case.yaml", "--json").out)
    summary = " ".join(planner("assess", "case.yaml").out.split())
    assert "A-1, RIGHT EYE" in summary
    assert f"Tier {found['tier']['working']}" in summary
    assert all(f"decided by {reason}" in summary for reason in found["tier"]["decided_by"])
    ends = list(dict.fromkeys(f"{found['points'][end]:g}" for end in ("least", "most")))
    assert f"Points {' to '.join(ends)}, from" in summary
    for factor in found["factors"]:
        if factor["state"] == "holds":
            assert factor["because"] in summary, factor
    for missing in found["missing"]:
        assert missing["finding"] in summary and f": {missing['would_settle']}" in summary
    for reason in found["readiness"]["because"]:
        assert (reason if isinstance(reason, str) else reason["because"]) in summary
    assert {"consultant", "early"} <= set(found["probability"]["by_operator"])


def test_the_summary_of_a_letter_is_short_and_says_where_to_look(planner: Callable[..., Ran]) -> None:
    letter = ROOT / "demo_cases" / "cases" / "tamsulosin-letter.yaml"
    found, text = json.loads(planner("assess", letter, "--json").out), planner("assess", letter).out
    summary = " ".join(text.split())
    assert len(text.splitlines()) < 140, "a letter of 12 findings is read at one sitting"
    assert f"On record, if nothing more is found: tier {found['tier']['on_record']}" in summary
    assert f"the worst still possible, which decides supervision: tier {found['tier']['working']}" in summary
    more = len(found["tier"]["decided_by"]) - 4
    assert more > 1 and f"and {more} more reasons: planner explain why tier CASE" in summary
    for look in found["looks"]:
        labels = "; ".join(label[0].lower() + label[1:] for label in look["labels"])
        readiness = "" if look["settles"] else " (for readiness, not for the tier)"
        assert f"{look['label']}, {look['minutes']} min, by {look['who']}{readiness}: {labels}" in summary
    assert "would demand tier 4: " in summary and "demands tier 4: not recorded" not in summary
    (block,) = (part for part in text.split("\n\n") if part.startswith("Not recorded, the most decisive first"))
    asked = [word.strip(",:") for word in block.split()]
    assert all(asked.count(missing["finding"]) == 1 for missing in found["missing"])


def test_too_little_on_record_names_what_is_needed(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(axial_length_mm="not-recorded"))
    assert "too little is recorded to write a technique (not recorded: axial length)" in " ".join(
        planner("assess", "case.yaml").out.split()
    )


def test_the_same_case_gives_the_same_bytes_from_any_format(planner: Callable[..., Ran], case: Path) -> None:
    text = case.read_text()
    assert planner("assess", "case.yaml", "--json").out == planner("assess", "-", "--json", stdin=text.encode()).out
    assert planner("assess", "case.yaml", "--json").out == planner("assess", "case.yaml", "--json").out


def test_another_days_plan_is_asked_for_by_date(planner: Callable[..., Ran], case: Path) -> None:
    found = [json.loads(planner("assess", case, "--json", *on).out)["on"] for on in ([], ["--on", "2026-12-24"])]
    assert found == ["2026-11-02", "2026-12-24"]


# -- plan -------------------------------------------------------------------------------------------------------------


def test_a_plan_goes_to_a_pdf_named_after_case_and_eye(planner: Callable[..., Ran], case: Path, folder: Path) -> None:
    ran = planner("plan", case)
    assert (ran.code, ran.out, ran.err) == (0, "", "wrote A-1-right.pdf\n")
    assert files(folder) == {"case.yaml", "A-1-right.pdf"}
    assert "A-1" in PdfReader(io.BytesIO((folder / "A-1-right.pdf").read_bytes())).pages[0].extract_text()


@pytest.mark.parametrize(
    "options, name, start",
    [
        (["-o", "p.pdf"], "p.pdf", "%PDF"),
        (["-o", "p.html"], "p.html", "<!"),
        (["-o", "p.json"], "p.json", "{"),
        (["-o", "p.txt", "--format", "json"], "p.txt", "{"),
        (["-o", "new/place/"], "new/place/A-1-right.pdf", "%PDF"),
        (["-o", ".", "--format", "html"], "A-1-right.html", "<!"),
    ],
)
def test_the_output_is_where_and_what_was_asked(
    options: list[str], name: str, start: str, planner: Callable[..., Ran], case: Path, folder: Path
) -> None:
    ran = planner("plan", case, *options)
    assert ran.code == 0 and ran.out == ""
    assert ran.err == f"wrote {name}\n"
    assert files(folder) == {"case.yaml", name}
    assert (folder / name).read_bytes().lstrip().lower().startswith(start.lower().encode())


def test_text_html_and_json_are_printed(planner: Callable[..., Ran], case: Path, folder: Path) -> None:
    assert "RIGHT EYE" in planner("plan", case, "--format", "text").out
    assert planner("plan", case, "--format", "html").out.lstrip().lower().startswith("<!doctype html>")
    assert json.loads(planner("plan", case, "--format", "json").out)["supervision"]["stage"] == "middle"
    assert files(folder) == {"case.yaml"}


def test_the_stage_is_the_cases_the_one_asked_for_or_the_trainees(
    planner: Callable[..., Ran], case: Path, folder: Path
) -> None:
    (folder / "unit.yaml").write_text(UNIT)
    asked = ([], ["--stage", "late"], ["--unit", "unit.yaml", "--trainee", "trainee-1"])
    stages = [
        json.loads(planner("plan", case, "--format", "json", *more).out)["supervision"]["stage"] for more in asked
    ]
    assert stages == ["middle", "late", "early"]


def test_the_stages_offered_are_the_cases(planner: Callable[..., Ran]) -> None:
    assert get_args(StageName) == STAGES


# -- explain ----------------------------------------------------------------------------------------------------------


def test_why_and_why_not_of_a_factor(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(dilated_pupil_mm="4"))
    why = planner("explain", "why", "small-pupil", "case.yaml").out
    assert "factor small-pupil" in why and "\n  holds\n" in why and "4 mm -> holds" in why and "points: 1" in why
    (folder / "case.yaml").write_text(case_text(dilated_pupil_mm="7"))
    not_ = planner("explain", "why-not", "small-pupil", "case.yaml").out
    assert "\n  does not hold\n" in not_ and "7 mm -> does not hold" in not_
    (folder / "case.yaml").write_text(case_text(dilated_pupil_mm="not-recorded"))
    unknown = planner("explain", "why", "small-pupil", "case.yaml").out
    assert "\n  unknown\n" in unknown and "not recorded -> unknown" in unknown


def test_every_id_of_the_rulebook_is_explained_as_the_plan_has_it(
    planner: Callable[..., Ran], case: Path, rulebook: Rulebook
) -> None:
    plan = json.loads(planner("plan", case, "--format", "json").out)
    some = slice(None, None, draws(5, 1))  # of each kind
    for factor in plan["assessment"]["factors"][some]:
        (found,) = explained(planner, factor["id"], "factor")
        assert found["state"] == factor["state"] or factor["state"] == "not-applicable"
    for name, choice in rulebook.choices.items():
        for option in choice.options[some]:
            (found,) = explained(planner, f"{name}.{option.id}", "option")
            assert (found["state"] == "holds") == (plan["choices"][name]["option"] == option.id), option.id
    held = {caution["id"] for caution in plan["cautions"]}
    for caution in list(rulebook.cautions)[some]:
        (found,) = explained(planner, caution, "caution")
        assert (found["state"] != "does-not-hold") == (caution in held), caution
    for rule in rulebook.interactions.rules[some]:
        assert explained(planner, rule.id, "line")
    for drill in list(rulebook.drills)[some]:
        assert explained(planner, drill, "drill")
    for settle in rulebook.readiness.settle:
        assert explained(planner, settle.id, "reason to settle first")


def explained(planner: Callable[..., Ran], name: str, kind: str) -> list[dict[str, str]]:
    ran = planner("explain", "why", name, "case.yaml", "--json")
    assert ran.code == 0, ran.err
    return [found for found in json.loads(ran.out)["explanations"] if found["kind"] == kind]


def test_why_the_tier(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(dilated_pupil_mm="4", only_seeing_eye="yes"))
    found = json.loads(planner("assess", "case.yaml", "--json").out)
    why = planner("explain", "why", "tier", "case.yaml").out
    assert found["tier"]["on_record"] == found["tier"]["working"] == 4
    assert "tier: 4, on record and until known, Consultant operates" in why
    assert all(f"until known, decided by: {reason}" in why for reason in found["tier"]["decided_by"])


def test_why_the_tier_tells_both_readings(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(posterior_polar_opacity="not-recorded"))
    found = json.loads(planner("assess", "case.yaml", "--json").out)
    assert (found["tier"]["on_record"], found["tier"]["working"]) == (1, 4)
    why, why_not = (planner("explain", word, "tier", "case.yaml").out for word in ("why", "why-not"))
    assert "tier: on record 1, Any trainee cleared for whole operations; until known 4, Consultant operates" in why
    assert "\n  on record, decided by: 0 points: the band of tier 1\n" in why
    assert "\n  until known, decided by: Posterior polar opacity: demands tier 4 (not recorded, may hold)\n" in why
    assert "look: Slit lamp and fundus after dilating, 10 min, by a clinician at the slit lamp" in why_not
    assert "not recorded, settles the tier alone: posterior_polar_opacity\n" in why_not
    (folder / "bare.yaml").write_text("case: A-1\neye: left\n")
    assert "tier: on record too little recorded; until known 4" in planner("explain", "why", "tier", "bare.yaml").out


def test_why_an_option_tells_what_would_change_it(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(posterior_polar_opacity="not-recorded"))
    plan = json.loads(planner("plan", "case.yaml", "--format", "json").out)
    written = plan["choices"]["hydro"]["option"]
    why = planner("explain", "why", f"hydro.{written}", "case.yaml").out
    assert "\n  written; others stay possible\n" in why
    assert "would change it, if found, before any fluid: posterior polar opacity → delineation only\n" in why
    instead = planner("explain", "why-not", "hydro.delineation-only", "case.yaml").out
    assert "written instead: " in instead and "before any fluid: posterior polar opacity → delineation only" in instead
    on_record = planner("explain", "why", "posterior-polar-opacity", "case.yaml").out
    assert "on record, with what is not recorded taken as plain: does not hold\n" in on_record
    (folder / "case.yaml").write_text(case_text())
    assert "the one option for this eye" in planner("explain", "why", f"hydro.{written}", "case.yaml").out
    assert "on record" not in planner("explain", "why", "posterior-polar-opacity", "case.yaml").out


def test_an_unknown_id_names_the_nearest(planner: Callable[..., Ran], case: Path) -> None:
    assert "did you mean small-pupil" in planner("explain", "why", "smal-pupil", case).error


def test_if_tells_what_two_assessments_tell(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text())
    (folder / "changed.yaml").write_text(case_text(dilated_pupil_mm="4", only_seeing_eye="yes"))
    wanted = ["dilated_pupil_mm=4", "only_seeing_eye=yes"]
    told = json.loads(planner("explain", "if", *wanted, "case.yaml", "--json").out)["changes"]
    changes = {change["what"]: (change["from"], change["to"]) for change in told}
    before, after = (
        json.loads(planner("plan", name, "--format", "json").out) for name in ("case.yaml", "changed.yaml")
    )

    def ends(plan: dict[str, dict[str, dict[str, float]]]) -> tuple[str, str]:
        return f"{plan['assessment']['tier']['working']}", f"{plan['assessment']['points']['most']:g}"

    assert (changes["tier until known"][0], changes["points"][0]) == ends(before)
    assert (changes["tier until known"][1], changes["points"][1]) == ends(after)
    records = tuple(f"{plan['assessment']['tier']['on_record']}" for plan in (before, after))
    assert changes["tier on record"] == records
    moved = {
        name for name in before["choices"] if before["choices"][name]["option"] != after["choices"][name]["option"]
    }
    assert moved <= {what.removeprefix("choice, ") for what in changes}
    assert "choice, pupil" in changes
    text = planner("explain", "if", *wanted, "case.yaml").out
    assert f"  tier until known: {' -> '.join(changes['tier until known'])}" in text
    assert "  tier until known, decided by\n    - " in text and "\n    + Only seeing eye: demands tier 4\n" in text


def test_if_tells_only_what_a_list_gains_and_loses(planner: Callable[..., Ran], folder: Path) -> None:
    (folder / "case.yaml").write_text(case_text(posterior_polar_opacity="not-recorded", cephalosporin_allergy="yes"))
    command = ("explain", "if", "posterior_polar_opacity=yes", "case.yaml")
    changes = {change["what"]: change for change in json.loads(planner(*command, "--json").out)["changes"]}
    assert (changes["tier on record"]["from"], changes["tier on record"]["to"]) == ("1", "4")
    assert (changes["tier until known"]["from"], changes["tier until known"]["to"]) == ("4 (1 to 4 possible)", "4")
    assert changes["would change hydro"]["gone"] == ["posterior polar opacity → delineation only"]
    assert changes["would change hydro"]["new"] == []
    kept = set(changes["trainee's steps"]["from"].split("; ")) & set(changes["trainee's steps"]["to"].split("; "))
    assert kept.isdisjoint(changes["trainee's steps"]["gone"] + changes["trainee's steps"]["new"])
    text = planner(*command).out
    assert "  would change hydro\n    - posterior polar opacity → delineation only\n" in text


def test_if_nothing_changes_it_says_so(planner: Callable[..., Ran], case: Path) -> None:
    assert "nothing changes" in planner("explain", "if", "dilated_pupil_mm=7", case).out


def test_if_takes_a_finding_away(planner: Callable[..., Ran], case: Path) -> None:
    assert "not recorded" in planner("explain", "if", "consent_to_surgery=not-recorded", case).out


@pytest.mark.parametrize(
    "wanted, words",
    [
        ("dilated_pupl_mm=4", "did you mean dilated_pupil_mm"),
        ("dilated_pupil_mm=400", "outside the possible range"),
        ("dilated_pupil_mm", "is not FINDING=VALUE"),
        ("opacity=total-white", "cannot stand together"),
    ],
)
def test_if_refuses_what_a_case_would_refuse(wanted: str, words: str, planner: Callable[..., Ran], case: Path) -> None:
    assert words in planner("explain", "if", wanted, case).error


# -- rules, version, help ---------------------------------------------------------------------------------------------


def test_rules_check_counts_the_shipped_rulebook(planner: Callable[..., Ran], rulebook: Rulebook) -> None:
    found = json.loads(planner("rules", "check", "--json").out)
    assert found["rulebook"]["sha256"] == rulebook.sha256
    assert found["entries"]["findings"] == len(rulebook.vocabulary.findings)
    assert f"{len(rulebook.factors):5} factors" in planner("rules", "check").out


def test_rules_check_names_file_and_line_of_every_fault(planner: Callable[..., Ran], folder: Path) -> None:
    shutil.copytree(ROOT / "rules", folder / "rules")
    stages = folder / "rules" / "stages.yaml"
    stages.write_text(stages.read_text() + "surplus: 1\n")
    line = len(stages.read_text().splitlines())
    assert f"rules/stages.yaml:{line}: unknown key 'surplus'" in planner("rules", "check", "--rules", "rules").error


def test_the_version_is_the_packages(planner: Callable[..., Ran]) -> None:
    assert planner("--version").out == f"planner {__version__}\n"


@pytest.mark.parametrize(
    "command", ["intake", "assess", "plan", "explain why", "explain why-not", "explain if", "rules check"]
)
def test_every_command_has_help_with_an_example(command: str, planner: Callable[..., Ran]) -> None:
    ran = planner(*command.split(), "--help")
    assert ran.code == 0
    assert f"Example: planner {command}" in " ".join(ran.out.split())


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["plan", "--help"], ["explain", "if", "--help"]])
def test_help_loads_neither_the_printer_nor_the_rulebook(arguments: list[str]) -> None:
    # Typer itself loads pydantic for the options of a command, so the help of one command cannot do without.
    heavy = ["weasyprint", "yaml", "jinja2", "rich", "planner.vocabulary"] + ["pydantic"] * (len(arguments) == 1)
    script = (
        "import sys; heavy = sys.argv.pop().split(',')\n"
        "from planner.cli import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print(*[name for name in heavy if name in sys.modules], file=sys.stderr)"
    )
    command = [sys.executable, "-c", script, *arguments, ",".join(heavy)]
    ran = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert ran.stdout and ran.stderr.strip() == ""
