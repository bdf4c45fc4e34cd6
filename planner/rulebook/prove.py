"""Shows, for every allowed case, what a rulebook promises: `prove(rulebook)`, with the solver z3.

Each claim is proved, refuted by a case that can be assessed, or left undecided by the solver. What is claimed of
complete cases holds for every number within what is possible, not only for those an instrument shows.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from functools import cache
from typing import Any

from planner.errors import PlannerError
from planner.rulebook.proof.report import Claim, Proof
from planner.rulebook.rulebook import Rulebook

# From a partly recorded case to the eye that stands for it on record, None where there is none.
PlainEye = Callable[[list[Any]], list[Any] | None]
CLAIMS = (
    "can-happen",
    "no-factor-always",
    "one-winner",
    "options-ordered",
    "no-winner-withheld",
    "prepared-not-withheld",
    "drug-has-instead",
    "required-has-instead",
    "worse-points",
    "worse-tier",
    "worse-supervision",
    "plain-least",
    "pairs-mend",
    "supervision-rises",
    "bands-meet",
    "levels-apart",
    "sulcus-rows-apart",
)


def prove(
    rulebook: Rulebook,
    only: Collection[str] = CLAIMS,
    started: Callable[[str], None] = lambda text: None,
    plain_eye: PlainEye | None = None,
) -> Proof:
    """Examine the claims, or `only` some of them, in order; `started` hears each name before it is examined.

    `plain_eye` is the engine's own, values in the vocabulary's order; with it `pairs-mend` also examines that.
    Raises PlannerError when z3 is not installed.
    """
    begun = time.perf_counter()
    examine = _examiners(rulebook, plain_eye)
    claims = []
    for name in CLAIMS:
        if name in only:
            started(name)
            claims.append(examine[name]())
    header = rulebook.header
    identity = header.id, header.version, header.status, rulebook.sha256
    seconds = time.perf_counter() - begun
    return Proof(*identity, tuple(claims), _ranges(rulebook), _not_claimed(rulebook), seconds)


def _examiners(rulebook: Rulebook, plain_eye: PlainEye | None) -> dict[str, Callable[[], Claim]]:
    try:
        from planner.rulebook.proof.inquiry import Bench
    except ModuleNotFoundError as error:
        if error.name != "z3":
            raise
        hint = "python -m pip install 'cataract-case-planner[proof]'"
        raise PlannerError.one("the proof needs z3-solver", why="it is not installed here", hint=hint) from None
    from planner.rulebook.proof import choosing, happening, mending, prepared, table_claims
    from planner.rulebook.proof.worsening import Worsening

    bench = Bench(rulebook)

    @cache
    def worsening() -> Worsening:
        return Worsening(bench)

    return {
        "can-happen": lambda: happening.can_happen(bench),
        "no-factor-always": lambda: happening.not_always(bench),
        "one-winner": lambda: choosing.one_winner(bench),
        "options-ordered": lambda: choosing.possible_ordered(bench),
        "no-winner-withheld": lambda: choosing.winner_not_withheld(bench),
        "prepared-not-withheld": lambda: prepared.prepared_not_withheld(bench),
        "drug-has-instead": lambda: choosing.drugs_have_instead(bench),
        "required-has-instead": lambda: choosing.required_has_instead(bench),
        "worse-points": lambda: worsening().points(),
        "worse-tier": lambda: worsening().tier(),
        "worse-supervision": lambda: worsening().supervision(),
        "plain-least": lambda: Worsening(bench, "not plain").least(),
        "pairs-mend": lambda: mending.pairs_mend(bench, plain_eye),
        "supervision-rises": lambda: table_claims.supervision_rises(bench),
        "bands-meet": lambda: table_claims.bands_meet(bench),
        "levels-apart": lambda: table_claims.levels_apart(bench),
        "sulcus-rows-apart": lambda: table_claims.sulcus_rows_apart(bench),
    }


def _ranges(rulebook: Rulebook) -> tuple[str, ...]:
    vocabulary = rulebook.vocabulary
    numbers = [f for f in vocabulary.findings if f.possible is not None]
    hanging = [f.id for f in vocabulary.findings if f.asked_when is not None]
    spans = ", ".join(f"{f.id} {f.possible[0]:g} to {f.possible[1]:g}" for f in numbers if f.possible)
    return (
        f"{len(vocabulary.findings)} findings: yes and no, every value of a choice, every set, any date and text",
        f"every number within what is possible, counts whole: {spans}",
        f"what applies is recorded; what may not ({', '.join(hanging)}) is left out then, or recorded all the same",
        f"{len(vocabulary.impossible_together)} impossible pairs excluded; odd pairs allowed as they stand",
        f"stages {', '.join(stage.id for stage in rulebook.stages.stages)}; the published baseline of the odds model",
    )


def _not_claimed(rulebook: Rulebook) -> tuple[str, ...]:
    vocabulary = rulebook.vocabulary
    undirected = [f.id for f in vocabulary.findings if f.worse == "none"]
    outside = [f.id for f in vocabulary.findings if hasattr(f.worse, "outside")]
    no_plain = [f.id for f in vocabulary.findings if f.plain_value is None]
    finer = [f"{f.id} as {f.coarse.into}" for f in vocabulary.findings if f.coarse is not None]
    return (
        f"worse is never better: nothing of findings without a direction of harm ({', '.join(undirected)})",
        f"worse is never better: nothing across the two sides of a range ({', '.join(outside)}), nor of two findings "
        "changing opposite ways, published scores, difficulty of steps, readiness, or the lines of a plan",
        f"worse is never better: of a finer record only what it is read as ({', '.join(finer)}), not how it is read",
        "partly recorded cases: that points, odds and tier on record are the least of their range, and that a finding "
        "recorded worse lowers neither end, follows from the claims of complete cases and pairs-mend, but for what its "
        "notes name; that the engine's search finds those ends, and which options may win, is tested, not proved",
        "partly recorded cases: nothing where a record is worse only for what it hides from whoever looked through a "
        "section, or for an odd pair that puts another finding in doubt; that is tested",
        f"the plain eye: nothing of findings without a plain value ({', '.join(no_plain)}), of which the check lets "
        "rules test only those without which there is no reading on record; nor that most eyes have the plain value",
        "drugs held back until checked rest on three-valued logic: tested, not proved",
        "kit: what a unit lacks",
        "supervision by a unit's own re-centred baseline",
        "that any number, rule or dose is clinically right",
    )
