"""`planner rules lock`: fasten a version of the rulebook to its content."""

from typing import Annotated

import typer

from planner.cli.options import RulesOption, option, rulebook_in
from planner.errors import PlannerError


def lock(
    rules: RulesOption = None,
    check: Annotated[bool, option("--check", None, "Write nothing; end with 1 when the lock does not fit.")] = False,
) -> None:
    """Write lock.json beside the rules: the version, and the hash of what it stands for.

    Refused while the content differs from what is locked under the same version, or the change log does not name it.

    Example: planner rules lock --rules rules --check
    """
    from planner.batch.writing import write_whole
    from planner.rulebook.lock import LOCK, kind_of_step, lock_of, read_lock, ready_to_lock, standing
    from planner.shipped import rules_folder

    folder = rules or rules_folder()
    rulebook = rulebook_in(rules)
    faults = standing(rulebook, folder) if check else ready_to_lock(rulebook, folder)
    if faults:
        raise PlannerError(faults)
    locked, now = read_lock(folder), lock_of(rulebook, folder)
    name = f"{now.id} {now.version}, sha256 {now.sha256[:12]}"
    if check or locked == now:
        typer.echo(f"{name}: as locked")
        return
    write_whole(folder / LOCK, now.as_json().encode())
    kind = kind_of_step(locked.version, now.version) if locked else None
    typer.echo(f"{name}: locked" + (f", {kind} after {locked.version}" if locked and kind else ""))
