"""Costs as ratios of processor times in one run."""

from __future__ import annotations

import contextlib
import io
import time
from collections.abc import Callable, Sequence
from functools import cache
from statistics import median

import numpy as np
from mediapack import Elastic
from pymls import Layer, Solver, backing

Work = Callable[[], object]


def cost_s(work: Work, repeat: int = 1) -> float:
    """Processor time of one run, the mean of `repeat`."""
    start = time.process_time()
    for _ in range(repeat):
        work()
    return (time.process_time() - start) / repeat


def ratio(work: Work, unit: Work, *, units: int = 1, times: int = 9) -> float:
    """Median of `times` paired ratios, after one run of either."""
    work(), unit()
    return median(cost_s(work) / cost_s(unit, units) for _ in range(times))


def exponent(sizes: Sequence[float], works: Sequence[Work], *, times: int = 5) -> float:
    """Exponent with which the cost grows with the size: slope of the logarithms, of the least cost of each by turns."""
    for work in works:
        work()
    costs = np.min([[cost_s(work) for work in works] for _ in range(times)], axis=0)
    return float(np.polyfit(np.log(sizes), np.log(costs), 1)[0])


@cache
def plane_wave_solution() -> Work:
    """One plane-wave solution of `pymls` for one plate, the unit of cost."""
    plate = Elastic(E=3.3e9, nu=0.38, rho=1380, eta=0.03)
    solver = Solver(layers=[Layer(plate, 1e-3)], backing=backing.transmission)

    def solve() -> None:
        with contextlib.redirect_stdout(io.StringIO()):
            solver.solve(200e3, 20.0)

    return solve
