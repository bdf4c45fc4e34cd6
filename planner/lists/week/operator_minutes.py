"""The unit's own log of minutes: mean and spread by operator, drawn towards the published ones they may replace.

The published count as so many operations of the unit's own (`published_counts_as`, k): of n logged with mean m and
those k with their mean and spread together, mean and standard deviation are taken. The log's mean thus has the weight
n / (n + k). That is also the mean, and the root of the scale, of a normal-inverse-gamma distribution after n operations
that began at the published ones with k of them behind both. With fewer than `least_cases` nothing is learnt.
"""

from __future__ import annotations

import csv
import io
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist, fmean, quantiles, stdev

from planner import strict_yaml
from planner.errors import Fault, PlannerError
from planner.exchange.case_text import WHY, separator_of
from planner.lists.roster.shapes import LONGEST_OPERATION
from planner.lists.week.overrun import Time
from planner.rulebook.list_shapes import OPERATORS, OwnLog
from planner.rulebook.references import nearest

LARGEST_FILE = 20_000_000
NAMED, TURNOVER = ("operator", "minutes"), "turnover"


@dataclass(frozen=True)
class Refused:
    """A row that could not be read, and why; `cells` as they stood."""

    cells: tuple[str, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class Log:
    """Operating minutes by operator, turnover minutes where they are logged, and the rows that were set aside."""

    minutes: Mapping[str, list[float]]
    turnover: list[float]
    refused: tuple[Refused, ...] = ()
    columns: tuple[str, ...] = NAMED
    separator: str = ","

    @property
    def rows(self) -> int:
        """How many there were, good and set aside."""
        return sum(map(len, self.minutes.values())) + len(self.refused)

    def set_aside(self) -> bytes:
        """The rows set aside, each with its reason before it: a CSV that, corrected, can be given again."""
        text = io.StringIO()
        writer = csv.writer(text, delimiter=self.separator, lineterminator="\n")
        writer.writerow([WHY, *(name for name in self.columns if name != WHY)])
        for row in self.refused:
            # Corrected once already: the old reason gives way to the new one.
            kept = zip(self.columns, row.cells, strict=True) if len(row.cells) == len(self.columns) else ()
            cells = [cell for name, cell in kept if name != WHY] or row.cells
            writer.writerow([" | ".join(map(str, row.faults)), *cells])
        return text.getvalue().encode()


@dataclass(frozen=True)
class Learnt:
    """One operator's minutes: `mean` and `sd` to be used, the log's own, the standard error of its mean, the published.

    One operation in ten took `tenth` minutes or more, where the lognormal curve of mean and spread used says
    `tenth_by_curve`: far apart, the chance of overrun worked out from it is not to be trusted.
    """

    operator: str
    cases: int
    mean: float
    sd: float
    own_mean: float
    own_sd: float
    standard_error: float
    tenth: float
    tenth_by_curve: float
    published: Time


def learnt(log: Log, published: Mapping[str, Time], policy: OwnLog) -> Iterator[Learnt]:
    """What each operator's log says, by stage. One with fewer operations than the policy asks is left out."""
    for operator in OPERATORS:
        mine = log.minutes.get(operator, [])
        if len(mine) < policy.least_cases:
            continue
        used = together(mine, published[operator], policy.published_counts_as)
        mu, sigma = used.log_parameters
        own_sd = stdev(mine)
        yield Learnt(
            operator, len(mine), used.mean, used.sd, fmean(mine), own_sd, own_sd / math.sqrt(len(mine)),
            quantiles(mine, n=10, method="inclusive")[-1], math.exp(mu + sigma * NormalDist().inv_cdf(0.9)),
            published[operator],
        )  # fmt: skip


def together(mine: Sequence[float], published: Time, counts_as: int) -> Time:
    """Mean and spread of these minutes and of so many operations that have the published ones."""
    n, mean = len(mine), fmean(mine)
    total = n + counts_as
    drawn = (counts_as * published.mean + n * mean) / total
    squares = counts_as * published.sd**2 + sum((minutes - mean) ** 2 for minutes in mine)
    between = counts_as * n / total * (mean - published.mean) ** 2
    return Time(drawn, math.sqrt((squares + between) / total))


def read_log(path: Path) -> Log:
    """A CSV of `operator` and `minutes`, and `turnover` where it is logged; rows with a fault are set aside. Raises
    PlannerError where the file or its header cannot be read."""
    text = strict_yaml.decode(strict_yaml.read_bytes(path, LARGEST_FILE), str(path))
    rows = [(number, line) for number, line in enumerate(text.splitlines(), 1) if line.strip(" ;,\t")]
    if not rows:
        raise PlannerError.one("holds no line", str(path), hint=f"a header line: {', '.join(NAMED)}")
    separator = separator_of(rows[0][1])
    header = [cell.strip() for cell in next(csv.reader(io.StringIO(rows[0][1]), delimiter=separator))]
    faults = [
        Fault(f"{path} row {rows[0][0]}", f"there is no column `{name}`", hint=f"a header line: {', '.join(NAMED)}")
        for name in NAMED
        if name not in header
    ]
    if faults:
        raise PlannerError(faults)
    minutes, turnover, refused = defaultdict[str, list[float]](list), list[float](), list[Refused]()
    for number, line in rows[1:]:
        cells = tuple(cell.strip() for cell in next(csv.reader(io.StringIO(line), delimiter=separator)))
        where = f"{path} row {number}"
        if len(cells) != len(header):
            what = f"{len(cells)} cells for {len(header)} headers"
            hint = "one cell for each header; decimals with a point"
            refused.append(Refused(cells, (Fault(where, what, hint=hint),)))
            continue
        row = dict(zip(header, cells, strict=True))
        times, faults = _times(row, where, separator)
        if faults:
            # Half of a row that is wrong in the other half is not to be trusted.
            refused.append(Refused(cells, tuple(faults)))
            continue
        minutes[row["operator"]].append(times[NAMED[1]])
        turnover += [times[TURNOVER]] if TURNOVER in times else []
    return Log(minutes, turnover, tuple(refused), tuple(header), separator)


def _times(row: Mapping[str, str], where: str, separator: str) -> tuple[dict[str, float], list[Fault]]:
    """The minutes of a row by column, and every fault in it."""
    times, faults = dict[str, float](), list[Fault]()
    if row["operator"] not in OPERATORS:
        hint = nearest(row["operator"], set(OPERATORS))
        faults.append(Fault(f"{where}, column operator", f"no operator {row['operator']!r}", hint=hint))
    for column in (NAMED[1], TURNOVER):
        if column == TURNOVER and not row.get(column):
            continue  # the last patient of a list has none
        value = _number(row[column].replace(",", ".") if separator != "," else row[column])
        if value is None or not (0 if column == TURNOVER else 1) <= value <= LONGEST_OPERATION:
            what = f"{row[column]!r} is no number of minutes" if value is None else f"{value:g} minutes cannot be"
            faults.append(Fault(f"{where}, column {column}", what, hint=f"minutes up to {LONGEST_OPERATION}"))
        else:
            times[column] = value
    return times, faults


def _number(cell: str) -> float | None:
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
