"""What the checker and the simulation say, as text for a terminal and as data."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, replace
from textwrap import wrap

from planner.lists.matching.simulation import Simulated, UnderLimit
from planner.lists.output.lookalikes import Clash
from planner.lists.rules.checker import Verdict
from planner.lists.rules.rule import Broken
from planner.lists.week.instance import Instance
from planner.wording.words import percent

WIDTH = 100


def verdict_data(verdict: Verdict, shown: Iterable[Clash] = ()) -> dict[str, object]:
    """The verdict and clashes as plain data; minutes, and chances as fractions of 1."""
    broken, asked = [one.data for one in verdict.broken], [one.data for one in verdict.asked]
    plain = asdict(replace(verdict, broken=(), asked=())) | {"broken": broken, "asked": asked}
    return {"stands": verdict.stands, **plain, "clashes": [asdict(clash) for clash in shown]}


def verdict_text(instance: Instance, verdict: Verdict, shown: Iterable[Clash] = ()) -> str:
    """The verdict, what to change, ask and say aloud, then each session in numbers and what is on no list."""
    rules, count = len({broken.rule for broken in verdict.broken}), len(verdict.broken)
    lines = [
        "These lists keep every rule."
        if verdict.stands
        else f"These lists may not stand: {rules} rule{'s' if rules > 1 else ''} broken, in {count} "
        f"place{'s' if count > 1 else ''}."
    ]
    lines += breach_lines(verdict)
    for title, found in (("To change", verdict.broken), ("To ask", verdict.asked)):
        lines += rule_lines(instance, title, found)
    lines += clash_lines(instance, shown)
    lines += ["", "Minutes", *sessions_table(verdict)]
    lines += ["", *hung(f"  {instance.times_basis}")]
    if verdict.unplaced:
        lines += ["", "On no list", *hung("  " + "; ".join(verdict.unplaced))]
    return "\n".join(lines)


def rule_lines(instance: Instance, title: str, found: Iterable[Broken]) -> Iterator[str]:
    """What is to be changed or asked, by session."""
    return _by_session(instance, title, ((one.session, f"{one.rule}: {one.says}", one.change) for one in found))


def clash_lines(instance: Instance, shown: Iterable[Clash]) -> Iterator[str]:
    """What looks alike, by session."""
    return _by_session(instance, "To say aloud", ((one.session, one.says, one.do) for one in shown))


def _by_session(instance: Instance, title: str, found: Iterable[tuple[str, str, str]]) -> Iterator[str]:
    """What is said of each session, and what to do about it."""
    by_session: dict[str, list[str]] = {}
    for session, says, do in found:
        by_session.setdefault(session, []).extend([*hung(f"- {says}"), *hung(f"  -> {do}")])
    for session, lines in by_session.items():
        yield from ("", f"{title} in {instance.sessions[session].in_words}", *lines)


def breach_lines(verdict: Verdict) -> list[str]:
    """What is past its date, whose turn it is first."""
    told = [line for breach in verdict.breaches for line in hung(f"- {breach.says}")]
    return ["", "Past their date", *told] if told else []


def sessions_table(verdict: Verdict) -> Iterator[str]:
    """One line a session: cases, minutes expected of minutes there are, and the chance of overrun."""
    for session in verdict.sessions:
        filled = f"{session.expected_minutes:.0f} of {session.minutes} min expected"
        yield f"  {row(session.told, session.cases)}  {filled:<26} {percent(session.chance_of_overrun):>7} to overrun"


def simulated_text(instance: Instance, found: list[Simulated], runs: int) -> str:
    """One line a session: both chances of overrun, and minutes of overrun and of idle theatre."""
    blank = " " * 57
    lines = [f"{blank}Chance of overrun       Mean minutes   One in ten"]
    lines += [f"{blank}worked out simulated    over    idle   ends later"]
    for one in found:
        chances = f"{percent(one.worked_out):>10} {percent(one.chance):>9}"
        late = f"{one.late_in_ten:.0f} min" if one.late_in_ten else "in time"
        lines.append(f"  {row(one.told, one.cases)} {chances}  {one.overrun:>6.1f}  {one.idle:>6.0f}   {late:>10}")
    lines += ["", *hung(f"  {runs:,} runs. {instance.times_basis}")]
    return "\n".join(lines)


def limits_text(found: list[UnderLimit]) -> list[str]:
    """One line a limit, if there is any: how many cases the pool's lists then hold, and how they end."""
    if not found:
        return []
    lines = ["", "The whole pool matched anew under other limits, each run as often"]
    lines.append(
        f"  {'Limit':>6} {'Cases':>7} {'Lists':>7}   {'End late':>8}   Minutes a list: {'over':>5} {'idle':>6}"
    )
    for one in found:
        lines.append(
            f"  {percent(one.limit):>6} {one.placed:>7} {one.sessions:>7}   {percent(one.ends_late):>8}   "
            f"{'':>15} {one.overrun:>5.1f} {one.idle:>6.1f}"
        )
    return lines


def row(told: str, cases: int) -> str:
    """The head of a line about a session."""
    return f"{told:<44} {f'{cases} case' + ('s' if cases != 1 else ''):>8}"


def hung(text: str) -> list[str]:
    """A line folded to the width of a terminal, what follows its first line set in."""
    inset = " " * (len(text) - len(text.lstrip()))
    return wrap(text, WIDTH, subsequent_indent=f"{inset}  ", break_on_hyphens=False)
