"""A file of lists, made by hand or by the matching: read against the instance, and written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from planner import strict_yaml
from planner.claims import Entry
from planner.errors import Fault, PlannerError
from planner.lists.week.instance import Instance, Lists, Placing
from planner.rulebook.references import nearest
from planner.rulebook.rulebook import Spot
from planner.rulebook.validation_errors import read_as

LARGEST_FILE = 500_000


class ListedCase(Entry):
    """A case in its place. Without `trainee` the supervisor, a consultant, operates."""

    case: str
    eye: str
    trainee: str | None = None
    supervisor: str


class SessionList(Entry):
    session: str
    cases: list[ListedCase]


class ListsFile(Entry):
    """Lists by session; the order of the lines is the order of the list."""

    lists: list[SessionList]
    both_eyes_agreed: list[str] = []


def read_lists(path: Path, instance: Instance) -> Lists:
    """Read lists whose every name is known; whether they may stand is not asked. Raises PlannerError, every fault."""
    return lists_in(strict_yaml.decode(strict_yaml.read_bytes(path, LARGEST_FILE), str(path)), str(path), instance)


def lists_in(text: str, name: str, instance: Instance) -> Lists:
    """The same from text; `name` is how messages call it."""
    file, spot = read_as(ListsFile, strict_yaml.read(text, name))
    faults = [*_repeated(file, spot), *_unknown(file, instance, spot)]
    if faults:
        raise PlannerError(faults)
    placings = [
        Placing(listed.session, place, (line.case, line.eye), line.trainee, line.supervisor)
        for listed in file.lists
        for place, line in enumerate(listed.cases, 1)
    ]
    return Lists(tuple(placings), instance.both_eyes_agreed.union(file.both_eyes_agreed))


def _repeated(file: ListsFile, spot: Spot) -> Iterator[Fault]:
    first: dict[str, str] = {}
    for index, listed in enumerate(file.lists):
        where = spot.at("lists", index, "session")
        if listed.session in first:
            why = f"first at {first[listed.session]}"
            yield Fault(where, f"a second list for {listed.session!r}", why, "one list a session")
        first.setdefault(listed.session, where)


def _unknown(file: ListsFile, instance: Instance, spot: Spot) -> Iterator[Fault]:
    references = {reference for reference, _ in instance.cases}
    for index, listed in enumerate(file.lists):
        if listed.session not in instance.sessions:
            where = spot.at("lists", index, "session")
            yield Fault(where, f"no session {listed.session!r}", hint=nearest(listed.session, instance.sessions))
        for place, line in enumerate(listed.cases):

            def at(key: str, index: int = index, place: int = place) -> str:
                return spot.at("lists", index, "cases", place, key)

            if line.case not in references:
                yield Fault(at("case"), f"no case {line.case!r} among those read", hint=nearest(line.case, references))
            elif (line.case, line.eye) not in instance.cases:
                eyes = " and ".join(eye for reference, eye in instance.cases if reference == line.case)
                what = f"{line.case} is not of the {line.eye} eye"
                yield Fault(at("eye"), what, f"the case read is of the {eyes} eye", "look at the case itself")
            for key, name, known in (
                ("trainee", line.trainee, instance.trainees),
                ("supervisor", line.supervisor, instance.supervisors),
            ):
                if name is not None and name not in known:
                    yield Fault(at(key), f"no {key} {name!r}", hint=nearest(name, known))


def written(lists: Lists) -> str:
    """The YAML that `read_lists` takes."""
    sessions: dict[str, list[Placing]] = {}
    for placing in lists.placings:
        sessions.setdefault(placing.session, []).append(placing)
    lines = []
    if lists.both_eyes_agreed:
        lines.append(f"both_eyes_agreed: [{', '.join(sorted(lists.both_eyes_agreed))}]")
    lines.append("lists:" if sessions else "lists: []")
    for session, placings in sessions.items():
        lines += [f"  - session: {session}", "    cases:"]
        for placing in sorted(placings):
            reference, eye = placing.case
            trainee = f"trainee: {placing.trainee}, " if placing.trainee else ""
            lines.append(f"      - {{case: {reference}, eye: {eye}, {trainee}supervisor: {placing.supervisor}}}")
    return "\n".join(lines) + "\n"
