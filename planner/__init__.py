"""Preoperative risk stratification and surgical-plan generator for cataract surgery in a training unit."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from planner.api import CaseAssessment, CasePlan, assess_case, load_case, load_rulebook, make_plan
    from planner.errors import Fault, PlannerError

__version__ = "0.2.0"
__all__ = [
    "CaseAssessment",
    "CasePlan",
    "Fault",
    "PlannerError",
    "__version__",
    "assess_case",
    "load_case",
    "load_rulebook",
    "make_plan",
]


def __getattr__(name: str) -> Any:
    # Looked up when it is first asked for, so that `planner --help` loads none of it.
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from planner import api, errors

    return getattr(errors if name in ("Fault", "PlannerError") else api, name)
