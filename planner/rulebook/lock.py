"""The lock: which content goes with which version, so that no rule changes under an old version's name.

`lock.json` lies beside the rules with the rulebook's id, version and hash, the hash of each file that counts in it, and
of each entry by its kind and name: a change says which factor or option it is of. Cases beside the rules, the change
log and the guide do not count: they decide nothing.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from planner import strict_yaml
from planner.errors import Fault, PlannerError
from planner.rulebook.load import LARGEST_FILE
from planner.rulebook.naming import Piece, pieces
from planner.rulebook.rulebook import Rulebook

LOCK = "lock.json"
CHANGES = "CHANGELOG.md"
_VERSION = re.compile(r"(0|[1-9]\d*)\.(0|[1-9]\d*)\.(0|[1-9]\d*)")
_HEADING = re.compile(r"^## (\S+)", re.MULTILINE)


@dataclass(frozen=True)
class Lock:
    """The identity of a rulebook, with the SHA-256 of each of its files, and 16 figures of that of each entry's data.

    `entries` is empty in a lock written before entries were locked: it holds good, and is renewed by the next locking.
    """

    id: str
    version: str
    sha256: str
    files: dict[str, str]
    entries: dict[str, str] = field(default_factory=dict)

    def as_json(self) -> str:
        return json.dumps(asdict(self), indent=2) + "\n"


def lock_of(rulebook: Rulebook, folder: Path) -> Lock:
    """The lock that fits the rulebook loaded from `folder` as it stands."""
    names = {spot.document.name for spot in rulebook.spots.values()}
    paths = sorted(folder.parent / name for name in names)
    files = {path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}
    entries = {piece.title: hash_of(piece) for piece in sorted(pieces(rulebook), key=lambda piece: piece.title)}
    return Lock(rulebook.header.id, rulebook.header.version, rulebook.sha256, files, entries)


def hash_of(piece: Piece) -> str:
    """What an entry is locked by: its data as written, keys in order, without what has an id of its own inside it."""
    written = json.dumps(piece.written(), sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(written.encode()).hexdigest()[:16]


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
    locked, now = read_lock(folder), lock_of(rulebook, folder)
    if locked is None:
        return [Fault(str(folder), "is not locked", f"it has no {LOCK}", _command(folder))]
    if locked in (now, replace(now, entries={})):
        return []
    faults = ready_to_lock(rulebook, folder)
    changed = f"changed since: {_changed(locked.files, now.files) or 'nothing but its name'}"
    why = "; ".join(filter(None, (changed, _entries(locked, now))))
    return faults or [Fault(str(folder / LOCK), f"is of {locked.id} {locked.version}", why, _command(folder))]


def ready_to_lock(rulebook: Rulebook, folder: Path) -> list[Fault]:
    """What must be put right before the rulebook may be locked: its version, and its entry in the change log."""
    spot, version = rulebook.spots["rulebook.yaml", ""], rulebook.header.version
    if _numbers(version) is None:
        hint = "three whole numbers, such as 1.4.2"
        return [Fault(spot.at("version"), f"{version!r} is no version", hint=hint)]
    locked, now = read_lock(folder), lock_of(rulebook, folder)
    if locked is not None and locked.id == now.id and locked.sha256 != now.sha256:
        if version == locked.version:
            what = f"{version} is locked with other content: {_changed(locked.files, now.files)}"
            of_versions = "one version, one content: a printed plan names the version that judged it"
            why = "; ".join(filter(None, (_entries(locked, now), of_versions)))
            hint = f"raise the version, say what changed in {CHANGES}, then {_command(folder)}"
            return [Fault(spot.at("version"), what, why, hint)]
        if (_numbers(version) or ()) < (_numbers(locked.version) or ()):
            why = f"{locked.version} is locked already; a version only rises"
            return [Fault(spot.at("version"), f"{version} is lower than the last", why, f"above {locked.version}")]
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


def _entries(locked: Lock, now: Lock) -> str:
    """The entries that differ, as far as the lock tells; a file may also change in its notes alone."""
    return (_changed(locked.entries, now.entries) or "no entry, only notes or layout") if locked.entries else ""


def _changed(before: Mapping[str, str], after: Mapping[str, str]) -> str:
    """The names whose hash differs, in order, with what happened to each."""
    differing = sorted(name for name in {**before, **after} if before.get(name) != after.get(name))
    return ", ".join(
        f"{name} gone" if name not in after else f"{name} new" if name not in before else name for name in differing
    )


def _described(folder: Path) -> list[str]:
    path = folder / CHANGES
    if not path.exists():
        return []
    text = strict_yaml.decode(strict_yaml.read_bytes(path, LARGEST_FILE), str(path))
    return [heading.rstrip(",:") for heading in _HEADING.findall(text)]


def _command(folder: Path) -> str:
    return f"planner rules lock --rules {folder}"
