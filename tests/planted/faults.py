"""Faults to plant: slips that one may make in an afternoon, and that would harm a patient or lose what was entered.

Each is one piece of text in one file of a package, put otherwise. What is named `seen_by` is where it should be found
first; a fault that nothing there finds is looked for by the whole suite.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """`before` stands once in one file under `package` and becomes `after`; `slip` says what then goes wrong."""

    name: str
    package: str
    before: str
    after: str
    slip: str
    seen_by: tuple[str, ...]


FAULTS = (
    Fault(
        "truth",
        "planner/truth.py",
        "return None if truth is None else not truth",
        "return not truth",
        "what is not recorded counts as absent wherever a condition says `not`",
        (
            "tests/test_truth.py",
            "tests/test_conditions.py",
        ),
    ),
    Fault(
        "readings",
        "planner/readings.py",
        'if eye == "right" else ("temporal", "nasal")',
        'if eye == "left" else ("temporal", "nasal")',
        "a clock hour lies in the wrong quadrant: nasal and temporal are swapped",
        ("tests/test_case.py", "tests/documents/test_eye.py"),
    ),
    Fault(
        "assess",
        "planner/assess/assess.py",
        "        working = int(high.value)\n",
        "        working = int(low.value)\n",
        "a case is worked up for the tier that it has if all that is unknown turns out well",
        (
            "tests/demo/test_demo_cases.py",
            "tests/test_properties.py",
        ),
    ),
    Fault(
        "odds",
        "planner/assess/odds.py",
        "own = base + math.log(operator.odds_ratio)",
        "own = base - math.log(operator.odds_ratio)",
        "the least experienced operator is given the best chances",
        ("tests/assess/test_odds.py",),
    ),
    Fault(
        "drug",
        "planner/plan",
        "        elif truth is None:\n            unchecked.append(open_)\n",
        "        elif truth is None and not rulebook:\n            unchecked.append(open_)\n",
        "a drug whose contraindication nobody asked after prints as prescribed",
        ("tests/plan/test_stock.py",),
    ),
    Fault(
        "supervision",
        "planner/plan",
        "and MODES.index(override.mode) > MODES.index(chosen.mode)",
        "and MODES.index(override.mode) < MODES.index(chosen.mode)",
        "a patient who refused a trainee, or an eye with no second chance, is given to one",
        ("tests/plan/test_supervision.py",),
    ),
    Fault(
        "approved plan",
        "planner/plan",
        "plan.hands.keys() - pair.cleared if",
        "plan.hands.keys() & pair.cleared if",
        "a trainee is given the steps that they are not cleared for",
        (
            "tests/plan/test_approved.py",
            "tests/desk",
        ),
    ),
    Fault(
        "theatre-sheet",
        "planner/documents/theatre",
        "self.main = tuple(way.do[0] for way in ways if way.do) or written[:1]",
        "self.main = tuple(way.do[-1] for way in ways if way.do) or written[:1]",
        "the theatre sheet gives a detail of a step for its main instruction",
        ("tests/documents/test_theatre.py",),
    ),
    Fault(
        "documents",
        "planner/documents",
        'TEMPORAL_HOUR = {"right": 9, "left": 3}',
        'TEMPORAL_HOUR = {"right": 3, "left": 9}',
        "the drawing puts the surgeon and the incision on the wrong side of the eye",
        ("tests/documents/test_eye.py",),
    ),
    Fault(
        "standing",
        "planner/records",
        "        if age > days:\n",
        "        if age > 10 * days:\n",
        "an approval that rests on an old measurement still stands",
        (
            "tests/records/test_approving.py",
            "tests/lists/test_from_records.py",
        ),
    ),
    Fault(
        "deciding",
        "planner/records",
        "        if (None if now is None else now.id) == number:\n",
        "        if (None if now is None else now.id) == number or number is None:\n",
        "an approval replaces one that its consultant never saw",
        (
            "tests/records/test_approving.py",
            "tests/records/test_races.py",
        ),
    ),
    Fault(
        "unseen",
        "planner/records",
        "now is not None and now.id != number",
        "now is not None and number is not None and now.id != number",
        "a save ends an approval that whoever saved had not seen",
        (
            "tests/records/test_approving.py",
            "tests/records/test_cases.py",
            "tests/records/test_races.py",
        ),
    ),
    Fault(
        "desk",
        "planner/desk",
        "before = {(one.case, one.trainee) for one in held.lists.placings}",
        "before = {(one.case, one.trainee) for one in lists.placings}",
        "a case is placed with somebody whom its approval does not cover",
        (
            "tests/desk/test_one_thing.py",
            "tests/web/test_lists_sessions.py",
        ),
    ),
    Fault(
        "rules",
        "planner/lists/rules",
        "given = week.case(placing).consent\n    if given is not True:",
        "given = week.case(placing).consent\n    if given is False:",
        "a case goes on a list though consent to surgery is not recorded",
        ("tests/lists/test_checker.py",),
    ),
    Fault(
        "matching",
        "planner/lists/matching",
        "return chance_of_overrun(times, turnover + added / CENTS, minutes) <= limit",
        "return chance_of_overrun(times, turnover + added / CENTS, minutes) <= limit / 2",
        "patients wait for lists that have room for them, and the program says that no better lists exist",
        (
            "tests/lists/test_match.py",
            "tests/lists/test_best.py",
        ),
    ),
    Fault(
        "repair",
        "planner/lists/changes",
        'case.last_day is not None and case.urgency != "routine"',
        'case.last_day is not None and case.urgency == "routine"',
        "a case that is needed by a day comes off a list before one that can wait",
        ("tests/lists/test_repair.py",),
    ),
    Fault(
        "roster",
        "planner/lists/roster",
        "// 7 % rule.interval == 0",
        "// 7 % rule.interval <= 1",
        "a list of every other week is held every week",
        ("tests/lists/test_recurring.py",),
    ),
    Fault(
        "brief",
        "planner/lists/output",
        "broken=_remarks(verdict.broken, session),",
        "broken=(),",
        "the brief of a list that breaks a rule does not say so",
        ("tests/lists/test_brief.py",),
    ),
    Fault(
        "web security",
        "planner/web/security",
        "or not hmac.compare_digest(sent.encode(), visitor.csrf.encode())",
        "or not sent",
        "any page of the world may send our forms in a visitor's name",
        ("tests/web/test_roles.py",),
    ),
    Fault(
        "web cases",
        "planner/web/cases",
        "site.store.save_case(case.id, base.number, answers.changes,",
        "site.store.save_case(case.id, site.store.version(case.id).number, answers.changes,",
        "of two people who type at once the second overwrites the first",
        (
            "tests/web/test_form.py",
            "tests/web/test_races.py",
        ),
    ),
    Fault(
        "web approvals",
        "planner/web/approvals",
        "and form.plan_shown == digest(plan) and",
        "and form.plan_shown and",
        "a consultant approves another plan than the one on the page",
        ("tests/web/test_approvals.py",),
    ),
    Fault(
        "web lists",
        "planner/web/lists",
        'if form.seen != lists.seen:\n        told = "The lists have changed since you opened this page.',
        'if not form.seen:\n        told = "The lists have changed since you opened this page.',
        "a list is published that nobody looked at",
        ("tests/web/test_lists_sessions.py",),
    ),
    Fault(
        "exchange",
        "planner/exchange",
        "            if key in first:\n",
        "            if key in first and first[key] == item.where:\n",
        "of two rows for one eye the last one silently wins",
        (
            "tests/exchange/test_csv.py",
            "tests/cli/test_batch.py",
        ),
    ),
    Fault(
        "batch",
        "planner/batch",
        "or 'case'}-{eye}{ending}",
        "or 'case'}{ending}",
        "the plan of a left eye is written over that of the right one",
        (
            "tests/cli/test_batch.py",
            "tests/cli/test_writing.py",
        ),
    ),
    Fault(
        "cli",
        "planner/cli",
        "verified = store.verify(head)",
        "verified = store.verify()",
        "a trail whose end was cut off passes, though its head was written down",
        ("tests/records/test_commands.py",),
    ),
    Fault(
        "rulebook check",
        "planner/rulebook/table_checks.py",
        "if tier > 1 and matrix[tier][stage].is_looser_than(matrix[tier - 1][stage]):",
        "if tier > 2 and matrix[tier][stage].is_looser_than(matrix[tier - 1][stage]):",
        "a rulebook may supervise a harder eye from further away",
        ("tests/rulebook/test_check.py",),
    ),
    Fault(
        "proof",
        "planner/rulebook/proof",
        "moved: list[Formula] = [is_now.worse_than(was)]",
        "moved: list[Formula] = [was.worse_than(is_now)]",
        "the proof shows the opposite of what it says",
        ("tests/rulebook/test_proof_faults.py",),
    ),
    Fault(
        "wording",
        "planner/wording",
        '"at_most": "at or below", "at_least": "at or above"',
        '"at_most": "at or above", "at_least": "at or below"',
        "a limit is printed the wrong way round",
        (
            "tests/test_conditions.py",
            "tests/demo/test_golden_text.py",
        ),
    ),
    Fault(
        "unit",
        "planner/unit.py",
        "if not trainee.cleared_for_whole_operations:",
        "if trainee.cleared_for_whole_operations is None:",
        "a trainee who may do steps only is planned for a whole operation",
        (
            "tests/test_unit.py",
            "tests/lists/test_gather.py",
        ),
    ),
    Fault(
        "compare",
        "planner/compare",
        "or (before is False and after is False)",
        "or (before is not True and after is not True)",
        "a new rule that may hold in a case counts as none for it",
        ("tests/test_rules_compare.py",),
    ),
)
