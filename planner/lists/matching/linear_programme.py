"""A linear programme put together row by row and solved by HiGHS, in parts and then, if asked, in whole numbers."""

from __future__ import annotations

import contextlib
import ctypes
import math
import os
import sys
from collections.abc import Iterable, Iterator
from typing import Any

import highspy
import numpy as np

THREADS, SEED = 1, 1


class Programme:
    """Maximise the points of variables that are not below 0. `most` of a row is what its terms may come to."""

    def __init__(self) -> None:
        self._points: list[float] = []
        self._upper: list[float] = []
        self._whole: list[bool] = []
        self._most: list[float] = []
        self._starts, self._columns, self._values = [0], list[int](), list[float]()
        self._reduced: Any = None
        self.at_most = math.inf  # what no solution is worth more than, once solved

    def variable(self, points: float = 0.0, upper: float = math.inf, whole: bool = False) -> int:
        self._points.append(points)
        self._upper.append(upper)
        self._whole.append(whole)
        return len(self._points) - 1

    def row(self, terms: Iterable[tuple[float, int]], most: float) -> None:
        """Each variable stands in the terms once."""
        for coefficient, variable in terms:
            if coefficient:
                self._columns.append(variable)
                self._values.append(coefficient)
        self._starts.append(len(self._columns))
        self._most.append(most)

    def solve(self) -> bool:
        """In parts if need be; whether it was solved."""
        highs = self._highs(whole=False)
        highs.setOptionValue("solver", "ipm")  # on large pools half the time of its simplex
        self.at_most = self._optimum(highs)
        if solved := math.isfinite(self.at_most):
            self._reduced = np.maximum(0.0, -np.array(highs.getSolution().col_dual))
        return solved

    def _optimum(self, highs: Any) -> float:
        """In parts; infinite where it was not found."""
        highs.run()
        solved = highs.getModelStatus() == highspy.HighsModelStatus.kOptimal
        return float(highs.getInfo().objective_function_value) if solved else math.inf

    def most_of(self, variables: Iterable[int], least: float) -> float:
        """What these variables come to at most, in parts, where the points are no less; infinite if not found."""
        highs = self._highs(whole=False)
        counted = np.zeros(len(self._points))
        counted[list(variables)] = 1.0
        every = np.arange(len(self._points), dtype=np.int32)
        highs.changeColsCost(len(every), every, counted)
        if math.isfinite(least):
            worth = np.array(self._points)
            with_points = np.flatnonzero(worth).astype(np.int32)
            highs.addRow(least, math.inf, len(with_points), with_points, worth[with_points])
        return self._optimum(highs)

    def loses(self, variable: int) -> float:
        """What one of a variable takes from the optimum in parts, at the very least."""
        return 0.0 if self._reduced is None else float(self._reduced[variable])

    def solve_whole(self, seconds: float) -> None:
        """Bring `at_most` down as far as whole numbers and the seconds allow; an interrupt changes nothing."""
        highs = self._highs(whole=True)
        highs.setOptionValue("time_limit", seconds)
        highs.setOptionValue("mip_rel_gap", 0.0)
        highs.HandleKeyboardInterrupt = True
        highs.run()
        status = highs.getModelStatus()
        if status == highspy.HighsModelStatus.kInterrupt:
            raise KeyboardInterrupt
        bound = float(highs.getInfo().mip_dual_bound)
        # Whatever else ended it, what it says of the bound may not be one.
        if status in (highspy.HighsModelStatus.kOptimal, highspy.HighsModelStatus.kTimeLimit) and math.isfinite(bound):
            self.at_most = min(self.at_most, bound)

    def _highs(self, whole: bool) -> Any:
        with _silence():
            highs = highspy.Highs()  # type: ignore[no-untyped-call]
        highs.silent()
        highs.setOptionValue("threads", THREADS)
        highs.setOptionValue("random_seed", SEED)
        model = highspy.HighsLp()
        model.num_col_, model.num_row_ = len(self._points), len(self._most)
        model.sense_ = highspy.ObjSense.kMaximize
        model.col_cost_, model.col_upper_ = np.array(self._points), np.array(self._upper)
        model.col_lower_ = np.zeros(len(self._points))
        model.row_lower_, model.row_upper_ = np.full(len(self._most), -math.inf), np.array(self._most)
        model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_, model.a_matrix_.index_ = np.array(self._starts), np.array(self._columns)
        model.a_matrix_.value_ = np.array(self._values)
        if whole:
            kinds = highspy.HighsVarType
            model.integrality_ = [kinds.kInteger if each else kinds.kContinuous for each in self._whole]
        highs.passModel(model)
        return highs


@contextlib.contextmanager
def _silence() -> Iterator[None]:
    """Nothing on standard output: the library greets there before it can be told not to, in the midst of any JSON."""
    try:
        sys.stdout.flush()
        own = os.dup(1)
    except (OSError, ValueError, AttributeError):  # no standard output to spoil
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        yield
        ctypes.CDLL(None).fflush(None)
    finally:
        os.dup2(own, 1)
        os.close(own)
        os.close(nowhere)
