"""The lock: which content goes with which version, so that no rule changes under an old version's name.

`lock.json` lies beside the rules with the rulebook's id, version and hash, and the hash of each file that counts in it.
Cases beside the rules, the change log and the guide do not count: they decide nothing.
"""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from planner import strict_yaml
from planner.errors import Fault, PlannerError
from planner.rulebook.load import LARGEST_FILE
from planner.rulebook.rulebook import Rulebook

LOCK = "lock.json"
CHANGES = "CHANGELOG.md"
_VERSION = re.compile(r"(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)")
_HEADING = re.compile(r"^## (\S+)", re.MULTILINE)


@dataclass(frozen=True)
class Lock:
    """The identity of a rulebook, with the SHA-256 of each of its files."""

    id: str
    version: str
    sha256: str
    files: dict[str, str]

    def as_json(self) -> str:
        return json.dumps(asdict(self), indent=2) + "\n"


def lock_of(rulebook: Rulebook, folder: Path) -> Lock:
    """The lock that fits the rulebook loaded from `folder` as it stands."""
    names = {spot.document.name for spot in rulebook.spots.values()}
    paths = sorted(folder.parent / name for name in names)
    files = {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}
    return Lock(rulebook.header.id, rulebook.header.version, rulebook.sha256, files)


def read_lock(folder: Path) -> Lock | None:
    """The lock that lies in the folder, None without one. Raises PlannerError when it cannot be read."""
    path = folder / LOCK
    if not path.exists():
        return None
    try:
        return TypeAdapter(Lock).validate_json(strict_yaml.read_bytes(path, LARGEST_FILE))
    except ValidationError:
        hint = f"take back the last good {LOCK}; planner rules lock writes it, nobody else"
        raise PlannerError.one("is not a lock", str(path), hint=hint) from None


def standing(rulebook: Rulebook, folder: Path) -> list[Fault]:
    """What keeps the lock in `folder` from being that of the rulebook as it stands; empty when it is."""
    held, now = read_lock(folder), lock_of(rulebook, folder)
    if held is None:
        return [Fault(str(folder), "is not locked", f"it has no {LOCK}", _command(folder))]
    if held == now:
        return []
    faults = ready_to_lock(rulebook, folder)
    changed = ", ".join(_changed(held, now)) or "nothing but its name"
    outdated = Fault(
        str(folder / LOCK), f"is of {held.id} {held.version}", f"changed since: {changed}", _command(folder)
    )
    return faults or [outdated]


def ready_to_lock(rulebook: Rulebook, folder: Path) -> list[Fault]:
    """What must be put right before the rulebook may be locked: its version, and its entry in the change log."""
    spot, version = rulebook.spots["rulebook.yaml", ""], rulebook.header.version
    if _numbers(version) is None:
        hint = "three whole numbers, such as 1.4.2"
        return [Fault(spot.at("version"), f"{version!r} is no version", hint=hint)]
    held, now = read_lock(folder), lock_of(rulebook, folder)
    if held is not None and held.id == now.id and held.sha256 != now.sha256:
        if version == held.version:
            what = f"{version} is locked with other content: {', '.join(_changed(held, now))}"
            why = "one version, one content: a printed plan names the version that judged it"
            hint = f"raise the version, say what changed in {CHANGES}, then {_command(folder)}"
            return [Fault(spot.at("version"), what, why, hint)]
        if (_numbers(version) or ()) < (_numbers(held.version) or ()):
            why = f"{held.version} is locked already; a version only rises"
            return [Fault(spot.at("version"), f"{version} is lower than the last", why, f"above {held.version}")]
    if version not in _described(folder):
        what = f"has no heading for {version}"
        why = "whoever prints a plan must be able to read what changed"
        return [Fault(str(folder / CHANGES), what, why, f"`## {version}`, with what changed and of which kind")]
    return []


def kind_of_step(old: str, new: str) -> str | None:
    """Which number of the version rises: major, minor or patch; None when neither is lower or one is no version."""
    before, after = _numbers(old), _numbers(new)
    if before is None or after is None or after <= before:
        return None
    return next(kind for kind, a, b in zip(("major", "minor", "patch"), before, after, strict=True) if a != b)


def _numbers(version: str) -> tuple[int, ...] | None:
    match = _VERSION.fullmatch(version)
    return tuple(int(part) for part in match.groups()) if match else None


def _changed(held: Lock, now: Lock) -> list[str]:
    """The files that differ, in order, with what happened to each."""
    words = []
    for name in sorted({**held.files, **now.files}):
        if name not in now.files:
            words.append(f"{name} gone")
        elif name not in held.files:
            words.append(f"{name} new")
        elif held.files[name] != now.files[name]:
            words.append(name)
    return words


def _described(folder: Path) -> list[str]:
    path = folder / CHANGES
    if not path.exists():
        return []
    return [
        found.rstrip(",:")
        for found in _HEADING.findall(strict_yaml.decode(strict_yaml.read_bytes(path, LARGEST_FILE), str(path)))
    ]


def _command(folder: Path) -> str:
    return f"planner rules lock --rules {folder}"
