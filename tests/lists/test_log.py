"""The unit's own log: against worked examples, and what a spreadsheet may do to it."""

from __future__ import annotations

from pathlib import Path

import pytest

from planner.errors import PlannerError
from planner.lists.log import Log, learnt, read_log
from planner.lists.minutes import Time

PUBLISHED = dict.fromkeys(
    ("steps-only", "early", "middle", "late", "independent", "consultant"), Time(30, 11)
)  # fmt: skip
# The common worked example of a standard deviation: mean 5, squares of deviations sum to 32.
WORKED = [2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0]


def log(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_mean_and_spread_of_the_worked_example() -> None:
    (one,) = learnt(Log({"late": WORKED}, []), PUBLISHED)
    assert (one.operator, one.cases, one.mean) == ("late", 8, 5.0)
    assert one.sd == pytest.approx((32 / 7) ** 0.5)
    assert one.standard_error == pytest.approx((32 / 7 / 8) ** 0.5)
    # Linear interpolation between ordered values, as spreadsheets have it: 0.9 of the way from first to last.
    assert one.tenth == pytest.approx(7 + 0.3 * 2)
    assert one.published == Time(30, 11)


def test_the_curve_of_the_published_consultant() -> None:
    # Mean 19 and SD 10 make a lognormal of log-mean 2.8222 and log-SD 0.4945; 1.2816 is the normal's 90th centile.
    spread = (100 * 99 / 100) ** 0.5
    (one,) = learnt(Log({"consultant": [19 - spread, 19 + spread] * 50}, []), PUBLISHED)
    assert (one.mean, one.sd) == (pytest.approx(19), pytest.approx(10))
    assert one.tenth_by_curve == pytest.approx(31.69, abs=0.01)


@pytest.mark.parametrize(
    "text",
    [
        "operator,minutes,turnover\nlate,20,10\nearly,31.5,\n\nlate,24,9\n",
        "sep=;\noperator;minutes;turnover\nlate;20;10\nearly;31,5;\nlate;24;9\n".removeprefix("sep=;\n"),
        "\ufeffturnover\tminutes\toperator\r\n10\t20\tlate\r\n\t31.5\tearly\r\n9\t24\tlate\r\n",
    ],
    ids=["commas", "semicolons and decimal commas", "tabs, a byte order mark, other order"],
)
def test_reading(tmp_path: Path, text: str) -> None:
    read = read_log(log(tmp_path, text))
    assert (dict(read.minutes), read.turnover) == ({"late": [20, 24], "early": [31.5]}, [10, 9])
    assert [one.operator for one in learnt(read, PUBLISHED)] == ["late"], "one operation has no spread"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "holds no line"),
        ("operator,time\nlate,20\n", "there is no column `minutes`"),
        ("operator,minutes\nlate,20,5\n", "row 2: 3 cells for 2 headers"),
        ("operator,minutes\nlatte,20\n", "did you mean late"),
        ("operator,minutes\nlate,quick\n", "row 2, column minutes: 'quick' is no number of minutes"),
        ("operator,minutes\nlate,nan\n", "'nan' is no number"),
        ("operator,minutes\nlate,0\n", "0 minutes cannot be"),
        ("operator,minutes\nlate,1450\n", "1450 minutes cannot be"),
        ("operator,minutes,turnover\nlate,20,-1\n", "column turnover"),
    ],
)
def test_what_cannot_be_read(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(PlannerError) as caught:
        read_log(log(tmp_path, text))
    assert words in str(caught.value)


def test_every_fault_at_once(tmp_path: Path) -> None:
    with pytest.raises(PlannerError) as caught:
        read_log(log(tmp_path, "operator,minutes\nlate,x\nnobody,3\nlate,900\n"))
    assert len(caught.value.faults) == 3
