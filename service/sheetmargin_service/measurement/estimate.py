"""What readings say of a sample's mass, stiffness, loss and trapped air.

Two of these move the readings in ways that are far from straight: the stiffness, by resonances, and the width of the
trapped air, which is itself the spread of another unknown. Each is held at a number of values in turn, the rest found
by least squares, and the values are averaged by their evidence (nested Laplace approximation: Rue, Martino and Chopin,
J. R. Stat. Soc. B 71, 319, 2009).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.measurement.forward_model import STIFFNESS, TABLE_REACH, Tabled
from sheetmargin_service.measurement.posterior import Belief, Peak, average, find_peak
from sheetmargin_service.measurement.residuals import Residuals
from sheetmargin_service.selection.time_limit import check_time

Array = NDArray[np.float64]
PARAMETERS = 5
WIDTH = 4
"""Position of the width of the trapped air, behind mass, stiffness, loss and the median."""
FIRST_NODES = 7
REFINEMENTS = 3
"""Values of the stiffness that are tried first, and how often the room between the likely ones is halved."""
LIKELY = 6.0
"""Logarithm of the evidence below the best at which a value no longer counts."""
WIDTH_NODES = np.linspace(-2.5, 2.5, 7)


def estimated(misfit: Residuals, table: Tabled) -> tuple[Residuals, Peak, Belief]:
    """The best peak with the misfit that has it, and the belief in the five parameters."""
    trials = _stiffness_trials(misfit, table)
    nodes = np.array(sorted(trials))
    peaks = [trials[x] for x in nodes]
    evidence = np.array([peak.log_evidence for peak in peaks])
    beliefs = [_belief(peak, misfit) for peak in peaks]
    belief = average(beliefs, nodes=nodes, log_evidence=evidence, index=STIFFNESS)
    best = int(np.argmax(evidence - 0.5 * nodes**2))
    at_best = replace(misfit, forward=table.at_stiffness(float(nodes[best])))
    if len(misfit.doubles):
        belief = _with_width(belief, beliefs[best], peaks[best], at_best)
    return at_best, peaks[best], belief


def _stiffness_trials(misfit: Residuals, table: Tabled) -> dict[float, Peak]:
    """Peaks with the stiffness held at values that are the closer the likelier they are."""
    trials: dict[float, Peak] = {}

    def attempt(x: float) -> None:
        check_time()
        trial = replace(misfit, forward=table.at_stiffness(x))
        nearest = min(trials, key=lambda known: abs(known - x), default=None)
        start = np.zeros(misfit.unknowns) if nearest is None else trials[nearest].at
        trials[x] = find_peak(misfit=trial, slope=trial.slope, start=start)

    for x in np.linspace(-TABLE_REACH, TABLE_REACH, FIRST_NODES):
        attempt(float(x))
    for _ in range(REFINEMENTS):
        nodes = sorted(trials)
        weight = {x: trials[x].log_evidence - 0.5 * x * x for x in nodes}
        least = max(weight.values()) - LIKELY
        for low, high in pairwise(nodes):
            if max(weight[low], weight[high]) > least:
                attempt(0.5 * (low + high))
    return trials


def _belief(peak: Peak, misfit: Residuals) -> Belief:
    """What a peak says of the five parameters; of those it did not move, what was believed before."""
    moved = misfit.known_before
    mean, covariance = np.zeros(PARAMETERS), np.eye(PARAMETERS)
    mean[:moved], covariance[:moved, :moved] = peak.at[:moved], peak.covariance[:moved, :moved]
    return Belief(mean=mean, covariance=covariance)


def _with_width(belief: Belief, at_best: Belief, best: Peak, misfit: Residuals) -> Belief:
    """The belief with the width of the trapped air let go: what it moves is added to what was found with it held."""
    peaks = []
    for x in WIDTH_NODES:
        trial = replace(misfit, width_x=float(x))
        peaks.append(find_peak(misfit=trial, slope=trial.slope, start=best.at))
    evidence = np.array([peak.log_evidence for peak in peaks])
    free = average([_belief(p, misfit) for p in peaks], nodes=WIDTH_NODES, log_evidence=evidence, index=WIDTH)
    held = at_best.covariance.copy()
    held[WIDTH, WIDTH] = 0.0
    total = belief.covariance.copy()
    total[WIDTH, WIDTH] = 0.0
    return Belief(mean=belief.mean + free.mean - at_best.mean, covariance=total + free.covariance - held)
