"""What the matching says, as text for a terminal and as data: each place with its reason, and why a case has none."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from math import inf

from planner.lists.matching.match import Matched
from planner.lists.matching.objective import Tally, is_whole
from planner.lists.matching.reasons import Blocked, Reason
from planner.lists.matching.trade_offs import trades
from planner.lists.output.lookalikes import clashes
from planner.lists.output.verdict_text import breach_lines, clash_lines, hung, row, rule_lines, verdict_data
from planner.lists.rules.checker import SessionInNumbers
from planner.lists.rules.registry import RULES
from planner.lists.week.instance import Instance, Placing
from planner.lists.week.week import Week
from planner.wording.people import names, operates
from planner.wording.words import percent


def matched_data(instance: Instance, found: Matched) -> dict[str, object]:
    """Lists with reasons, what is blocked and the checker's verdict, as plain data; worth is in the wishes' points."""
    return {
        "worth": round(found.worth, 6),
        "worth_at_most": round(found.bound, 6) if found.bound is not None and found.bound < inf else None,
        "proved_best": found.proved,
        "more_cases_at_most": asdict(found.more) if found.more else None,
        "wishes": instance.wishes.model_dump(),
        "trades": list(trades(instance)),
        "placings": [
            {
                "session": placing.session,
                "place": placing.place,
                "case": placing.case[0],
                "eye": placing.case[1],
                "trainee": placing.trainee,
                "supervisor": placing.supervisor,
                "reason": asdict(found.reasons[placing.case]) if placing.case in found.reasons else None,
            }
            for placing in found.lists.placings
        ],
        "blocked": [_blocked_data(blocked) for blocked in found.blocked],
        "explained": found.explained,
        "verdict": verdict_data(found.verdict, clashes(instance, found.lists)),
    }


def _blocked_data(blocked: Blocked) -> dict[str, object]:
    return {
        "case": blocked.case,
        "told": blocked.told,
        "rules": blocked.rules,
        "nearest": [{"placing": asdict(n.placing), "broken": [one.data for one in n.broken]} for n in blocked.nearest],
        "openings": [{"says": one.says, "placing": asdict(one.placing)} for one in blocked.openings],
    }


def matched_text(instance: Instance, found: Matched) -> str:
    """Each list in its order, then every case without a place and what would give it one."""
    week, placed = Week(instance, found.lists), len(found.lists.placings)
    kept = "every rule kept" if found.verdict.stands else f"{len(found.verdict.broken)} faults: planner lists check"
    lines = [
        f"{placed} of {len(instance.cases)} cases placed; worth {found.worth:.1f} points by the unit's wishes.",
        *hung(f"{found.how_good} The checker finds {kept}."),
    ]
    lines += breach_lines(found.verdict)
    for judged in found.verdict.sessions:
        lines += ["", _head(judged)]
        for placing in week.list_of(judged.session):
            case = week.case(placing)
            lines += [
                f"  {placing.place:>2}  {case.in_words:<18} tier {case.tier}  {who(week, placing)}",
                *(hung(f"      {_why(found.reasons.get(placing.case))}") if found.explained else ()),
            ]
    lines += rule_lines(instance, "To ask", found.verdict.asked)
    lines += clash_lines(instance, clashes(instance, found.lists))
    empty = [session.in_words for session in instance.coming if not week.list_of(session.id)]
    if empty:
        lines += ["", *hung(f"Without a list: {'; '.join(empty)}")]
    lines += ["", "Trainees", *_trainees(instance, found), "", *hung(f"Weights of the wishes: {_weights(instance)}.")]
    lines += hung(" ".join(trades(instance)))
    for blocked in found.blocked:
        lines += ["", *blocked_lines(blocked)]
    if not found.explained:
        lines += ["", *_unexplained(found)]
    return "\n".join(lines)


def _unexplained(found: Matched) -> list[str]:
    """That the reasons were interrupted, which cases have no place, and what says more of one."""
    without = "; ".join(found.verdict.unplaced)
    says = f" Without a place: {without}." if without else ""
    return hung(f"Reasons left out: interrupted.{says} `planner lists why LISTS CASE` gives those of one case.")


def _trainees(instance: Instance, found: Matched) -> Iterator[str]:
    """What each trainee has on these lists, beside what they still need."""
    tally = Tally(instance, found.lists.placings)
    for name, learner in instance.trainees.items():
        whole, other = tally.whole[name], tally.had[name] - tally.whole[name]
        target = f" of {learner.open_target} wanted" if learner.open_target is not None else ""
        if learner.target is not None and learner.done:
            target += f" ({learner.done} of {learner.target} done before)"
        beyond = ""
        if learner.shown_tier is not None:
            placed = [p for p in found.lists.placings if p.trainee == name and is_whole(instance, p.case, name)]
            tiers = [instance.cases[p.case].tier for p in placed]
            shown = f"shown up to tier {learner.shown_tier}" if learner.shown_tier else "none shown yet"
            beyond = f"; {tiers.count(learner.shown_tier + 1)} of tier {learner.shown_tier + 1}, {shown}"
        steps = f"; named steps in {other}" if other else ""
        yield from hung(f"  {name} ({learner.stage}): {whole} whole{target}{steps}{beyond}")


def _weights(instance: Instance) -> str:
    said = {name: weight for name, weight in instance.wishes.model_dump().items() if name != "hardest"}
    weights = ", ".join(f"{name.replace('_', ' ')} {weight:g}" for name, weight in said.items())
    return weights + (f"; hardest {instance.wishes.hardest}" if instance.wishes.hardest else "")


def who(week: Week, placing: Placing) -> str:
    """Who operates, and why no trainee does where that hangs on the patient."""
    why = ""
    if placing.trainee is None and not (agreed := week.case(placing).agreement):
        why = " (a trainee was refused)" if agreed is False else " (agreement to a trainee not recorded)"
    return operates(week.team(placing), as_in_files=True) + why


def _head(judged: SessionInNumbers) -> str:
    minutes = f"{judged.expected_minutes:.0f} of {judged.minutes} min expected"
    return f"{row(judged.told, judged.cases)}  {minutes}  {percent(judged.chance_of_overrun)} to overrun"


def _why(reason: Reason | None) -> str:
    if reason is None:
        return "kept"
    choice = "worth most of all places"
    if reason.barred:
        choice = f"{reason.barred} place{'s' if reason.barred > 1 else ''} worth more would break a rule"
    return "; ".join([reason.pressing, choice, *filter(None, [wishes_words(reason.worth)])])


def wishes_words(worth: dict[str, float]) -> str:
    """`whole operation +10.0, fair share -0.8`: each wish that a place touches, but for those met by any place."""
    shown = {wish: points for wish, points in worth.items() if wish not in ("placed", "urgency")}
    return ", ".join(f"{wish.replace('_', ' ')} {points:+.1f}" for wish, points in shown.items())


def blocked_lines(blocked: Blocked) -> list[str]:
    lines = [f"No place for {blocked.told}, all others where they are"]
    barred = (
        "Barred everywhere by this rule" if len(blocked.rules) == 1 else "Barred everywhere by these rules together"
    )
    lines += [f"  {barred}:", *(line for rule in blocked.rules for line in hung(f"  - {rule}: {RULES[rule].words}"))]
    if blocked.openings:
        lines.append("  Any one of these places it:" if blocked.openings[1:] else "  This would place it:")
        for one in blocked.openings:
            lines += hung(f"  - {one.says} Then it is number {one.placing.place} in {_there(one.placing)}.")
        return lines
    lines.append("  No one change was found that places it, nor a move besides.")
    for near in blocked.nearest:
        lines.append(f"  Nearest, in {_there(near.placing)}:")
        lines += [line for broken in near.broken for line in hung(f"    {broken.says}")]
    return lines


def _there(placing: Placing) -> str:
    return f"{placing.session} ({names(placing.trainee, placing.supervisor)})"
