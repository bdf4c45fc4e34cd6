"""What the reader sees of an error."""

from planner.errors import Fault, PlannerError


def test_a_fault_reads_where_what_why_and_what_to_try() -> None:
    fault = Fault("cases/a.yaml:7", "eye is 'r'", "it is right or left", "eye: right")
    assert str(fault) == "cases/a.yaml:7: eye is 'r' (it is right or left); try: eye: right"


def test_the_parts_a_fault_lacks_leave_no_trace() -> None:
    assert str(Fault("", "no case given")) == "no case given"
    assert str(Fault("row 3", "no eye", hint="eye: left")) == "row 3: no eye; try: eye: left"


def test_an_error_has_a_line_for_each_fault() -> None:
    error = PlannerError([Fault("row 2", "no eye"), Fault("row 5", "no case")])
    assert str(error).splitlines() == ["row 2: no eye", "row 5: no case"]
    assert PlannerError.one("no eye", where="row 2").faults == [Fault("row 2", "no eye")]
