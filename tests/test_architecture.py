"""How the code hangs together: imports point one way, the core is pure, modules are short, nothing foreign ships."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from planner.rulebook.rulebook import Rulebook

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted((ROOT / "planner").rglob("*.py"))
NAMES = [module.relative_to(ROOT).as_posix() for module in MODULES]
# Each part imports itself and what stands in rows above it, never its own row or below.
ROWS = (
    ("errors", "truth", "local_time", "__init__"),
    ("strict_yaml", "conditions", "shipped"),
    ("claims",),
    ("readings",),
    ("vocabulary",),
    ("case", "wording", "harm"),
    ("rulebook", "case_file"),
    ("unit",),
    ("assess",),
    ("plan",),
    ("documents", "exchange", "records", "monitor", "cohort"),
    ("lists",),
    ("desk",),
    ("compare", "batch"),
    ("web",),
    ("cli",),
    ("__main__",),
)
RANK = {part: rank for rank, row in enumerate(ROWS) for part in row}
PURE = ("assess", "plan")
OF_THE_WORLD = {
    *("os", "io", "sys", "pathlib", "shutil", "tempfile", "glob", "subprocess", "multiprocessing", "threading"),
    *("time", "random", "secrets", "uuid", "socket", "ssl", "urllib", "http", "requests", "locale", "logging"),
}
CLOCK = {"now", "today", "utcnow"}
SHIPPED = (
    "planner",
    "rules",
    "templates",
    "demo_cases",
    ".ci",
    "README.md",
    "DEVELOPERS.md",
    "LICENSE",
    "pyproject.toml",
)


def part_of(module: Path) -> str:
    return module.relative_to(ROOT / "planner").parts[0].removesuffix(".py")


def imported(module: Path) -> Iterator[str]:
    """Every module that one imports, at any depth, relative imports resolved."""
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            home = module.relative_to(ROOT).with_suffix("").parts[: -node.level] if node.level else ()
            name = ".".join([*home, *([node.module] if node.module else [])])
            # `from planner import x` imports the module x.
            yield from (f"planner.{alias.name}" for alias in node.names) if name == "planner" else [name]


def test_every_part_has_its_row() -> None:
    assert {part_of(module) for module in MODULES} <= set(RANK)


@pytest.mark.parametrize("module", MODULES, ids=NAMES)
def test_imports_point_one_way(module: Path) -> None:
    own = part_of(module)
    used = {name.split(".")[1] for name in imported(module) if name.startswith("planner.")} - {"__version__", own}
    assert {name for name in used if RANK[name] >= RANK[own]} == set()


@pytest.mark.parametrize("module", [m for m in MODULES if part_of(m) in PURE], ids=lambda m: m.name)
def test_assessing_and_planning_are_pure(module: Path) -> None:
    assert {name.split(".")[0] for name in imported(module)} & OF_THE_WORLD == set()
    tree = ast.parse(module.read_text(encoding="utf-8"))
    called = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    assert not [call.attr for call in called if isinstance(call, ast.Attribute) and call.attr in CLOCK]
    assert not [call.id for call in called if isinstance(call, ast.Name) and call.id in ("open", "print", "input")]


def test_the_pure_parts_are_there() -> None:
    assert {part_of(module) for module in MODULES} >= set(PURE)


@pytest.mark.parametrize("module", MODULES, ids=NAMES)
def test_a_module_has_at_most_400_lines(module: Path) -> None:
    assert len(module.read_text(encoding="utf-8").splitlines()) <= 400


def shipped_texts() -> Iterator[tuple[str, str]]:
    for name in SHIPPED:
        top = ROOT / name
        for path in [top] if top.is_file() else sorted(top.rglob("*")):
            if path.is_file() and "__pycache__" not in path.parts:
                content = path.read_bytes()
                if b"\0" not in content:  # fonts and the like
                    yield path.relative_to(ROOT).as_posix(), content.decode("utf-8")


def test_no_place_of_another_machine_is_shipped() -> None:
    foreign = re.compile(r"(?<![\w.])/(work|tmp|home|root|Users|mnt)(?=[/\s'\"]|$)", re.MULTILINE)
    found = [(name, match[0]) for name, text in shipped_texts() for match in foreign.finditer(text)]
    assert found == []
    assert foreign.search("see /work/notes") and foreign.search("'/tmp/x'") and not foreign.search("a/work/b")


def test_no_trade_marks_are_shipped() -> None:
    assert [name for name, text in shipped_texts() if re.search("[®™]", text)] == []


def test_drugs_and_equipment_go_by_generic_names(rulebook: Rulebook) -> None:
    # A name of trade is written with a capital; inside a label only these are: abbreviations, units and an anatomist.
    allowed = {"OVD", "G", "D", "Tenon's", "B"}
    labels = [item.label for item in (*rulebook.kit.equipment, *rulebook.kit.drugs)]
    inside = {word for label in labels for word in re.findall(r"[^\W\d_][\w'’-]*", label)[1:] if word[0].isupper()}
    assert inside <= allowed
    assert {label[0] for label in labels} <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789")
