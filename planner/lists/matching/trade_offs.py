"""What the weights of the wishes trade against each other, in sentences worked out from the numbers in force."""

from __future__ import annotations

from collections.abc import Iterator

from planner.lists.matching.objective import beyond_need
from planner.lists.week.instance import Instance


def trades(instance: Instance) -> Iterator[str]:
    """What a place is worth in the unit's other wishes; then who a whole operation counts for, where that differs."""
    wishes, wanted = instance.wishes, instance.wanted
    full = wishes.whole_operation + wishes.toward_target
    others = [
        ("whole operation", "whole operations", wishes.whole_operation),
        ("operation with named steps", "operations with named steps", wishes.named_steps),
        ("needed step", "needed steps", wishes.needed_step),
        ("day of waiting of a routine case", "days of waiting of a routine case", wishes.waiting),
    ]
    if any(wanted.values()):
        others.insert(1, ("whole operation toward a target", "whole operations toward a target", full))
    if wishes.placed:
        said = [_counted(wishes.placed / weight, one, many) for one, many, weight in others if weight]
        yield f"A place for a case is worth {_listed(said)}." if said else "Only having a place counts."
        if wishes.urgency:
            urgent, soon, unknown = (f"{1 + step * wishes.urgency / wishes.placed:.3g}" for step in (3, 2, 1))
            yield (
                f"One for an urgent case is worth {urgent} such places, for one that is soon {soon}, "
                f"for one whose urgency is not recorded {unknown}."
            )
        if wishes.past_its_date and instance.past_their_date:
            times = f"{wishes.past_its_date / wishes.placed:.3g}"
            yield (
                f"One for a case past its date is worth {times} such places more at the least, "
                "and as much again for each day that it comes earlier."
            )
    if any(count is not None for count in wanted.values()):
        yield (
            f"A whole operation counts {full:g} up to a trainee's target and {beyond_need(wishes):g} beyond it"
            f"{_idle(instance)}."
        )


def _idle(instance: Instance) -> str:
    """Whom another's open target leaves with none that counts in full."""
    names = [name for name, learner in instance.trainees.items()
             if learner.target is None and instance.wanted[name] == 0]  # fmt: skip
    return f"; likewise {beyond_need(instance.wishes):g} for {_listed(names)}, while a target is open" if names else ""


def _counted(number: float, one: str, many: str) -> str:
    return f"{number:.3g} {one if f'{number:.3g}' == '1' else many}"


def _listed(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
