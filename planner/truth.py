"""Three-valued (Kleene) logic: True holds, False does not hold, None is unknown.

An unknown never counts as absent. Source: S. C. Kleene, *Introduction to Metamathematics* (1952), section 64,
the strong connectives; the same tables as SQL's NULL and the decision-model standard's ternary logic.
"""

from __future__ import annotations

from collections.abc import Iterable

Truth = bool | None

WORDS: dict[Truth, str] = {True: "holds", False: "does-not-hold", None: "unknown"}


def conjunction(truths: Iterable[Truth]) -> Truth:
    """All of them.

    >>> [conjunction([a, b]) for a in (True, None, False) for b in (True, None, False)]
    [True, None, False, None, None, False, False, False, False]
    >>> conjunction([])
    True
    """
    result: Truth = True
    for truth in truths:
        if truth is False:
            return False
        if truth is None:
            result = None
    return result


def disjunction(truths: Iterable[Truth]) -> Truth:
    """Any of them.

    >>> [disjunction([a, b]) for a in (True, None, False) for b in (True, None, False)]
    [True, True, True, True, None, None, True, None, False]
    >>> disjunction([])
    False
    """
    result: Truth = False
    for truth in truths:
        if truth is True:
            return True
        if truth is None:
            result = None
    return result


def negation(truth: Truth) -> Truth:
    """Not.

    >>> [negation(t) for t in (True, None, False)]
    [False, None, True]
    """
    return None if truth is None else not truth


def at_least(number: int, truths: Iterable[Truth]) -> Truth:
    """At least so many of them.

    >>> at_least(2, [True, None, False]), at_least(2, [True, None, True]), at_least(2, [None, False, False])
    (None, True, False)
    """
    truths = list(truths)
    if sum(truth is True for truth in truths) >= number:
        return True
    return False if sum(truth is not False for truth in truths) < number else None
