"""How the code hangs together: imports point one way, the core is pure, modules are short, nothing foreign ships."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from planner.rulebook.rulebook import Rulebook

ROOT = Path(__file__).resolve().parents[1]
MODULES = sorted((ROOT / "planner").rglob("*.py"))
# Each part imports itself and what stands in rows above it, never its own row or below.
ROWS = (
    ("errors", "truth", "local_time"),
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
    ("api",),
    ("web",),
    ("cli",),
    ("__main__", "__init__"),
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


def named(module: Path) -> str:
    return module.relative_to(ROOT).as_posix()


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


def test_imports_point_one_way() -> None:
    assert [wrong for module in MODULES for wrong in against_the_arrows(module)] == []


def against_the_arrows(module: Path) -> list[str]:
    own = part_of(module)
    used = {name.split(".")[1] for name in imported(module) if name.startswith("planner.")} - {"__version__", own}
    return [f"{named(module)} imports {name}" for name in sorted(used) if RANK[name] >= RANK[own]]


def test_assessing_and_planning_are_pure() -> None:
    pure = [module for module in MODULES if part_of(module) in PURE]
    assert {part_of(module) for module in pure} == set(PURE)
    assert [wrong for module in pure for wrong in touches_of_the_world(module)] == []


def touches_of_the_world(module: Path) -> Iterator[str]:
    for name in sorted({name.split(".")[0] for name in imported(module)} & OF_THE_WORLD):
        yield f"{named(module)} imports {name}"
    for node in ast.walk(ast.parse(module.read_text(encoding="utf-8"))):
        match node:
            case ast.Call(func=ast.Attribute(attr=name)) if name in CLOCK:
                yield f"{named(module)}:{node.lineno} calls {name}()"
            case ast.Call(func=ast.Name(id="open" | "print" | "input" as name)):
                yield f"{named(module)}:{node.lineno} calls {name}()"


def test_a_module_has_at_most_400_lines() -> None:
    lines = {named(module): len(module.read_text(encoding="utf-8").splitlines()) for module in MODULES}
    assert {name: count for name, count in lines.items() if count > 400} == {}


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
