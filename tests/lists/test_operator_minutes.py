"""The unit's own log: against worked examples, and what a spreadsheet may do to it."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from statistics import fmean, pstdev

import pytest

from planner.claims import Basis
from planner.errors import PlannerError
from planner.lists.week.operator_minutes import Log, learnt, read_log, together
from planner.lists.week.overrun import Time
from planner.rulebook.list_shapes import OwnLog
from planner.rulebook.rulebook import Rulebook

PUBLISHED = dict.fromkeys(
    ("steps-only", "early", "middle", "late", "independent", "consultant"), Time(30, 11)
)  # fmt: skip
POLICY = Basis(basis="unit-policy", approver="nobody: invented for a test")
# The common worked example of a standard deviation: mean 5, squares of deviations sum to 32.
WORKED = [2.0, 4.0, 4.0, 4.0, 5.0, 5.0, 7.0, 9.0]


def log(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_mean_and_spread_of_the_worked_example() -> None:
    (one,) = learnt(Log({"late": WORKED}, []), PUBLISHED, OwnLog(least_cases=8, published_counts_as=2, basis=POLICY))
    assert (one.operator, one.cases, one.own_mean) == ("late", 8, 5.0)
    assert one.own_sd == pytest.approx((32 / 7) ** 0.5)
    assert one.standard_error == pytest.approx((32 / 7 / 8) ** 0.5)
    # By hand: (2 * 30 + 8 * 5) / 10 = 10; squares 2 * 121 + 32 + 2 * 8 / 10 * 25 ** 2 = 1274, over 10.
    assert (one.mean, one.sd) == (10, pytest.approx(127.4**0.5))
    # Linear interpolation between ordered values, as spreadsheets have it: 0.9 of the way from first to last.
    assert one.tenth == pytest.approx(7 + 0.3 * 2)
    assert one.published == Time(30, 11)


@pytest.mark.parametrize("counts_as", [2, 20, 200])
def test_the_published_count_as_operations_among_the_unit_s_own(counts_as: int) -> None:
    """The standard library's mean and deviation of all together, the published as so many at one SD to either side."""
    mine = [16.0, 21.5, 19.0, 33.0, 27.0, 22.0, 18.0, 25.5, 30.0, 41.0, 24.0]
    beside = [30 - 11.0, 30 + 11.0] * (counts_as // 2)
    made = together(mine, Time(30, 11), counts_as)
    assert made.mean == pytest.approx(fmean(mine + beside))
    assert made.sd == pytest.approx(pstdev(mine + beside))


def test_it_is_what_a_normal_inverse_gamma_distribution_comes_to() -> None:
    """Its density, mean and variance unknown, summed over a fine grid by numpy: the mean expected of the mean is ours,
    and so is the root of the scale of the variance, 2 b / (2 a), as its mean b / (a - 1) has it."""
    numpy = pytest.importorskip("numpy")
    mine, k = [16.0, 21.5, 19.0, 33.0, 27.0, 22.0], 12
    mean = numpy.linspace(5, 55, 801)[:, None]
    variance = numpy.linspace(4, 1500, 6000)[None, :]
    # Before: variance inverse gamma (k / 2, k * 121 / 2), mean normal about 30 with variance / k.
    told = -(k / 2 + 1) * numpy.log(variance) - k * 121 / 2 / variance
    told = told - numpy.log(variance) / 2 - k * (mean - 30) ** 2 / 2 / variance
    for minutes in mine:
        told = told - numpy.log(variance) / 2 - (minutes - mean) ** 2 / 2 / variance
    weight = numpy.exp(told - told.max())
    weight /= weight.sum()
    made, a = together(mine, Time(30, 11), k), (k + len(mine)) / 2
    assert made.mean == pytest.approx(float((weight * mean).sum()), rel=1e-3)
    assert made.sd**2 * a / (a - 1) == pytest.approx(float((weight * variance).sum()), rel=5e-3)


def test_two_operations_teach_nothing_and_many_teach_all(rulebook: Rulebook) -> None:
    policy = rulebook.durations.own_log
    assert policy.basis.basis == "unit-policy", "no source was found for either number"
    assert list(learnt(Log({"early": [26.0, 31.0]}, []), PUBLISHED, policy)) == []
    few = [26.0, 31.0] * (policy.least_cases // 2)
    (one,) = learnt(Log({"early": few}, []), PUBLISHED, policy)
    assert one.own_sd < 3 and one.sd > 8, "a spread of three minutes from ten alike would let every list be filled"
    (many,) = learnt(Log({"early": [26.0, 31.0] * 2000}, []), PUBLISHED, policy)
    assert (many.mean, many.sd) == (pytest.approx(28.5, abs=0.02), pytest.approx(2.5, abs=0.3))


def test_the_curve_of_the_published_consultant() -> None:
    # Mean 19 and SD 10 make a lognormal of log-mean 2.8222 and log-SD 0.4945; 1.2816 is the normal's 90th centile.
    policy = OwnLog(least_cases=10, published_counts_as=20, basis=POLICY)
    (one,) = learnt(Log({"consultant": [9.0, 29.0] * 50}, []), {"consultant": Time(19, 10)}, policy)
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


@pytest.mark.parametrize(
    ("text", "words"), [("", "holds no line"), ("operator,time\nlate,20\n", "no column `minutes`")]
)
def test_what_cannot_be_read(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(PlannerError) as caught:
        read_log(log(tmp_path, text))
    assert words in str(caught.value)


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("late,20,5,3", "row 3: 4 cells for 3 headers"),
        ("latte,20,", "did you mean late"),
        ("late,quick,", "row 3, column minutes: 'quick' is no number of minutes"),
        ("late,nan,", "'nan' is no number"),
        ("late,0,", "0 minutes cannot be"),
        ("late,1450,", "1450 minutes cannot be"),
        ("late,20,-1", "column turnover"),
        ("nobody,x,-1", "no operator 'nobody'"),
    ],
)
def test_a_row_with_a_fault_is_set_aside_and_the_others_are_read(tmp_path: Path, row: str, words: str) -> None:
    read = read_log(log(tmp_path, f"operator,minutes,turnover\nlate,20,10\n{row}\nearly,31,\n"))
    assert (dict(read.minutes), read.turnover, read.rows) == ({"late": [20], "early": [31]}, [10], 3)
    (refused,) = read.refused
    assert words in " ".join(map(str, refused.faults))
    header, kept = csv.reader(io.StringIO(read.set_aside().decode()))
    assert header == ["why", "operator", "minutes", "turnover"]
    assert words in kept[0] and kept[1:] == row.split(",")


def test_what_was_set_aside_can_be_corrected_and_given_again(tmp_path: Path) -> None:
    read = read_log(log(tmp_path, "operator;minutes\nlate;x\nnobody;x\nlate;21,5\n"))
    assert len(read.refused[1].faults) == 2, "every fault of a row at once"
    again = read_log(
        log(tmp_path, read.set_aside().decode().replace("nobody;x", "early;30").replace("late;x", "late;y"))
    )
    assert dict(again.minutes) == {"early": [30]}
    twice = again.set_aside().decode()
    assert twice.count("'y' is no number") == 1 and "'x'" not in twice and twice.endswith(";late;y\n")
