"""The unit's own log of minutes: mean and spread by operator, beside the published ones that they may replace."""

from __future__ import annotations

import csv
import io
import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from statistics import NormalDist, fmean, quantiles, stdev

from planner import strict_yaml
from planner.case import STAGES
from planner.errors import Fault, PlannerError
from planner.exchange.source import separator_of
from planner.lists.instance import CONSULTANT
from planner.lists.minutes import LONGEST, Time
from planner.rulebook.references import nearest

LARGEST_FILE = 20_000_000
NAMED, TURNOVER = ("operator", "minutes"), "turnover"
OPERATORS = (*STAGES, CONSULTANT)


@dataclass(frozen=True)
class Log:
    """Operating minutes by operator, and turnover minutes where they are logged."""

    minutes: Mapping[str, list[float]]
    turnover: list[float]


@dataclass(frozen=True)
class Learnt:
    """One operator's minutes: mean and standard deviation, the standard error of the mean, and what is published.

    One operation in ten took `tenth` minutes or more, where the lognormal curve of this mean and spread says
    `tenth_by_curve`: far apart, the chance of overrun worked out from it is not to be trusted.
    """

    operator: str
    cases: int
    mean: float
    sd: float
    standard_error: float
    tenth: float
    tenth_by_curve: float
    published: Time


def learnt(log: Log, published: Mapping[str, Time]) -> Iterator[Learnt]:
    """What each operator's log says, by stage. One with fewer than two different times is left out."""
    for operator in OPERATORS:
        mine = log.minutes.get(operator, [])
        if len(set(mine)) < 2:
            continue
        own = Time(fmean(mine), stdev(mine))
        mu, sigma = own.log_parameters
        yield Learnt(
            operator, len(mine), own.mean, own.sd, own.sd / math.sqrt(len(mine)),
            quantiles(mine, n=10, method="inclusive")[-1], math.exp(mu + sigma * NormalDist().inv_cdf(0.9)),
            published[operator],
        )  # fmt: skip


def read_log(path: Path) -> Log:
    """A CSV of `operator` and `minutes`, and `turnover` where it is logged. Raises PlannerError with every fault."""
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
    minutes, turnover = defaultdict[str, list[float]](list), list[float]()
    for number, line in rows[1:]:
        cells = [cell.strip() for cell in next(csv.reader(io.StringIO(line), delimiter=separator))]
        if len(cells) != len(header):
            what = f"{len(cells)} cells for {len(header)} headers"
            faults.append(Fault(f"{path} row {number}", what, hint="one cell for each header; decimals with a point"))
            continue
        row = dict(zip(header, cells, strict=True))
        where = f"{path} row {number}"
        if row["operator"] not in OPERATORS:
            hint = nearest(row["operator"], set(OPERATORS)) or f"one of {', '.join(OPERATORS)}"
            faults.append(Fault(f"{where}, column operator", f"no operator {row['operator']!r}", hint=hint))
            continue
        for column, into in (("minutes", minutes[row["operator"]]), (TURNOVER, turnover)):
            if column == TURNOVER and not row.get(column):
                continue  # the last patient of a list has none
            value = _number(row[column].replace(",", ".") if separator != "," else row[column])
            if value is None or not (0 if column == TURNOVER else 1) <= value <= LONGEST:
                what = f"{row[column]!r} is no number of minutes" if value is None else f"{value:g} minutes cannot be"
                faults.append(Fault(f"{where}, column {column}", what, hint=f"minutes up to {LONGEST}"))
            else:
                into.append(value)
    if faults:
        raise PlannerError(faults)
    return Log(minutes, turnover)


def _number(cell: str) -> float | None:
    try:
        value = float(cell)
    except ValueError:
        return None
    return value if math.isfinite(value) else None
