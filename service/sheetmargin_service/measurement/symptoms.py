"""How likely a symptom is reported, and a reading read, on a machine as a scenario has it.

A rate of errors is noticed the likelier the further it lies above what the job accepts; that trouble depends on
something is noticed in proportion to the share of the spread that goes with it. Nobody reports perfectly: some of what
there is goes unreported, and a little of what is reported is not there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import get_args

import numpy as np
from scipy.special import ndtr
from sheetmargin.contract.measure import Symptom

from sheetmargin_service.measurement.machine import Scenario
from sheetmargin_service.measurement.reading import Observed

SYMPTOMS: tuple[Symptom, ...] = get_args(Symptom)

FACTOR_OF: Mapping[Symptom, str] = {
    "depends-on-temperature": "temperature",
    "depends-on-speed": "speed",
    "depends-on-position": "position",
    "only-some-sheets": "sheet",
}
MISTAKEN = 0.05
"""Share of reports that are wrong either way."""
REPORTED = 0.5
"""Share of what there is that is reported, where anything is."""
DECADES = 0.5
"""Standard deviation, in powers of ten of the rate, of where it is noticed. (All three are choices.)"""
READING_DB = 1.0
"""Standard deviation of a reading on a machine beside what the scenario has (typical, from memory)."""
STRAY_DENSITY = 1e-3
"""Density, per dB, of a reading that has nothing to do with the machine."""


def log_likelihood(
    scenario: Scenario, *, symptoms: Sequence[Symptom], seen: Sequence[Observed], targets: Mapping[str, float]
) -> float:
    """Logarithm of the chance of the reports and the readings, but for a constant."""
    return _of_reports(scenario, symptoms, targets) + _of_readings(scenario, seen)


def _of_reports(scenario: Scenario, symptoms: Sequence[Symptom], targets: Mapping[str, float]) -> float:
    if not symptoms:
        return 0.0
    total = 0.0
    for symptom in SYMPTOMS:
        chance = MISTAKEN + (1.0 - 2.0 * MISTAKEN) * chance_of(symptom, scenario, symptoms=symptoms, targets=targets)
        total += float(np.log(chance if symptom in symptoms else 1.0 - REPORTED * chance))
    return total


def chance_of(
    symptom: Symptom, scenario: Scenario, *, symptoms: Sequence[Symptom], targets: Mapping[str, float]
) -> float:
    """Chance that the machine shows a symptom."""
    rates = scenario.rates
    match symptom:
        case "false-stops":
            return _noticed(rates["single_as_double"], targets["single_as_double"])
        case "missed-doubles":
            return _noticed(rates["double_as_single"], targets["double_as_single"])
        case "no-open-path":
            read_as_sheet = rates["no_sheet_as_single"] + rates["no_sheet_as_double"]
            return _noticed(read_as_sheet, targets["no_sheet_as_single"])
        case "flicker":
            wrong = _noticed(rates["single_as_double"], targets["single_as_double"])
            return wrong * scenario.share("time", doubles=False)
        case _:
            doubles = "missed-doubles" in symptoms and "false-stops" not in symptoms
            return scenario.share(FACTOR_OF[symptom], doubles=doubles)


def _noticed(rate_ppm: float, target_ppm: float) -> float:
    return float(ndtr(np.log10(max(rate_ppm, 1e-6) / target_ppm) / DECADES))


def _of_readings(scenario: Scenario, seen: Sequence[Observed]) -> float:
    """Of the median reading of each state: what readings of one state share, none of them adds to."""
    total = 0.0
    for name, state in (("no_sheet", scenario.no_sheet), ("single", scenario.single), ("double", scenario.double)):
        values = [one.attenuation_db for one in seen if one.state == name]
        if values:
            density = state.density(float(np.median(values)), sigma=READING_DB)
            total += float(np.log(density + STRAY_DENSITY))
    return total
