"""Tests on a machine, what each cause would show in them, and which tells two causes apart best."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.measurement.faults import Fault
from sheetmargin_service.measurement.machine import Scenario

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Showing:
    """What a cause shows in a test, and how far that may lie off."""

    value: float
    sigma: float


@dataclass(frozen=True, kw_only=True)
class Probe:
    """A test by its code. `outcome` is what a scenario shows; None for a test made for single causes (`Fault.shows`).

    `tolerance`: standard deviation of what the test itself leaves open, in the unit of its outcome; `effort` orders
    tests that tell two causes apart as well: from a look to a day's work.
    """

    code: str
    outcome: Callable[[Scenario], float] | None
    tolerance: float
    effort: int
    unit: str = "dB"


def _ripple(scenario: Scenario) -> float:
    """Peak to peak swing of one sheet as it moves between the faces."""
    x = min(scenario.bounce, 0.9)
    return float(40.0 * np.log10((1.0 + x) / (1.0 - x)))


def _blocked(scenario: Scenario) -> float:
    """Attenuation with a plate in the beam that passes nothing."""
    floors = [scenario.bypass_db, scenario.noise_db, scenario.crosstalk_db or np.inf]
    heard = -10.0 * np.log10(sum(10.0 ** (-0.1 * floor) for floor in floors))
    return float(heard)


def _own_floor(scenario: Scenario) -> float:
    """What the blocked beam would gain if the neighbours were silent."""
    quiet = -10.0 * np.log10(10.0 ** (-0.1 * scenario.bypass_db) + 10.0 ** (-0.1 * scenario.noise_db))
    return float(quiet) - _blocked(scenario)


def _floor_by_time(scenario: Scenario) -> float:
    """Spread of the readings with the beam blocked: noise flickers, what passes beside the sheet does not."""
    noisy = 10.0 ** (-0.1 * scenario.noise_db)
    return float(5.6 * noisy / (noisy + 10.0 ** (-0.1 * scenario.bypass_db)))


# Tolerances are typical, from memory. 5.6 dB above: standard deviation of the level of complex Gaussian noise.
PROBES: tuple[Probe, ...] = (
    Probe(code="read-profile", outcome=None, tolerance=1.0, effort=0),
    Probe(code="read-open-path", outcome=lambda s: s.no_sheet.median, tolerance=1.0, effort=1),
    Probe(code="read-one-sheet", outcome=lambda s: s.single.median, tolerance=2.0, effort=1),
    Probe(code="lay-doubles-anew", outcome=lambda s: s.double.median, tolerance=4.0, effort=2),
    Probe(code="clean-faces", outcome=None, tolerance=0.7, effort=1),
    Probe(code="measure-gap", outcome=None, tolerance=0.3, effort=1, unit="mm"),
    Probe(code="block-the-beam", outcome=_blocked, tolerance=2.0, effort=2),
    Probe(code="watch-the-floor", outcome=_floor_by_time, tolerance=1.0, effort=2),
    Probe(code="silence-neighbours", outcome=_own_floor, tolerance=2.0, effort=2),
    Probe(code="move-the-sheet", outcome=_ripple, tolerance=1.5, effort=2),
    Probe(code="guide-flat", outcome=None, tolerance=0.7, effort=2),
    Probe(code="run-slowly", outcome=None, tolerance=20.0, effort=2, unit="%"),
    Probe(code="watch-controller", outcome=None, tolerance=2.0, effort=2, unit="%"),
    Probe(code="realign", outcome=None, tolerance=0.7, effort=3),
    Probe(code="condition-sheets", outcome=None, tolerance=0.7, effort=4),
)


LEAST_DEVIATIONS = 0.7
"""A difference below this tells nothing."""


@dataclass(frozen=True, kw_only=True)
class Separation:
    """The test that tells one cause from another: what it shows of each, and by how many standard deviations."""

    code: str
    expected: float
    other: float
    unit: str
    deviations: float


def showings(faults: Sequence[Fault], beliefs: Array) -> Mapping[str, Showing]:
    """What a cause shows in every test, over its cases as far as each is believed."""
    weight = beliefs / beliefs.sum()
    found = {}
    for probe in PROBES:
        values = np.array(
            [f.shows.get(probe.code, 0.0) if probe.outcome is None else probe.outcome(f.scenario) for f in faults]
        )
        mean = float(weight @ values)
        found[probe.code] = Showing(value=mean, sigma=float(np.sqrt(weight @ (values - mean) ** 2)))
    return found


def separation(one: Mapping[str, Showing], other: Mapping[str, Showing]) -> Separation | None:
    """The test with the greatest difference for its spread; of tests that are nearly as good, the easiest. None where
    no test tells the two apart."""
    tried = []
    for probe in PROBES:
        mine, its = one[probe.code], other[probe.code]
        sigma = float(np.linalg.norm([probe.tolerance, mine.sigma, its.sigma]))
        deviations = abs(mine.value - its.value) / sigma
        shown = Separation(
            code=probe.code, expected=mine.value, other=its.value, unit=probe.unit, deviations=deviations
        )
        tried.append((probe.effort, shown))
    best = max(found.deviations for _, found in tried)
    if best < LEAST_DEVIATIONS:
        return None
    return min((pair for pair in tried if pair[1].deviations > 0.8 * best), key=lambda pair: pair[0])[1]
