"""How likely a symptom is reported: by hand, on machines of which every chance is known."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.special import ndtr
from sheetmargin_service.measurement.machine import State
from sheetmargin_service.measurement.reading import Observed
from sheetmargin_service.measurement.symptoms import chance_of, log_likelihood
from sheetmargin_service.principles.ultrasonic.spreads import GRID

TARGETS = {"single_as_double": 100.0, "double_as_single": 100.0, "no_sheet_as_single": 100.0}
NEVER, ALWAYS = 1e-6, 1e6


def machine(shares: dict[str, float] | None = None, **rates_ppm: float) -> Any:
    """A machine with these rates, none other, and these shares of its spread."""
    names = ("single_as_double", "double_as_single", "no_sheet_as_single", "no_sheet_as_double")
    states = {
        name: State(read=GRID.bin_nodes(np.array([[level]]), np.ones((1, 1)))[0], variance={})
        for name, level in (("no_sheet", 0.0), ("single", 45.0), ("double", 80.0))
    }
    return SimpleNamespace(
        **states,
        rates={name: rates_ppm.get(name, NEVER) for name in names},
        share=lambda factor, *, doubles: (shares or {}).get(f"{factor} of doubles" if doubles else factor, 0.0),
    )


def chance_of_reports(scenario: Any, *symptoms: Any) -> float:
    return float(np.exp(log_likelihood(scenario, symptoms=symptoms, seen=(), targets=TARGETS)))


def test_one_report_in_twenty_is_wrong() -> None:
    stops, silent = machine(single_as_double=ALWAYS), machine()
    # What is there and is reported: 0.95; what is not there and is reported: 0.05.
    assert chance_of_reports(stops, "false-stops") / chance_of_reports(silent, "false-stops") == pytest.approx(19.0)


def test_half_of_what_there_is_stays_unreported() -> None:
    stops, silent = machine(single_as_double=ALWAYS), machine()
    # Of the report 1 - 0.5 x 0.95 is left where it holds, 1 - 0.5 x 0.05 where it does not.
    ratio = chance_of_reports(stops, "no-open-path") / chance_of_reports(silent, "no-open-path")
    assert ratio == pytest.approx(0.525 / 0.975)


def test_without_a_report_nothing_is_learnt_from_silence() -> None:
    assert chance_of_reports(machine(single_as_double=ALWAYS)) == 1.0


@pytest.mark.parametrize(
    ("symptom", "rate"),
    [
        ("false-stops", "single_as_double"),
        ("missed-doubles", "double_as_single"),
        ("no-open-path", "no_sheet_as_single"),
        ("no-open-path", "no_sheet_as_double"),
    ],
)
def test_a_rate_at_its_target_is_noticed_by_half_and_by_more_above(symptom: Any, rate: str) -> None:
    chances = [
        chance_of(symptom, machine(**{rate: rate_ppm}), symptoms=(symptom,), targets=TARGETS)
        for rate_ppm in (NEVER, 100.0 / 10.0**0.5, 100.0, 100.0 * 10.0**0.5, ALWAYS)
    ]
    # One standard deviation is half a power of ten.
    assert chances == pytest.approx([0.0, ndtr(-1.0), 0.5, ndtr(1.0), 1.0], abs=1e-6)


def test_flicker_is_a_false_stop_that_goes_with_time() -> None:
    for share, rate_ppm, expected in ((1.0, ALWAYS, 1.0), (0.25, ALWAYS, 0.25), (1.0, 100.0, 0.5), (1.0, NEVER, 0.0)):
        scenario = machine({"time": share}, single_as_double=rate_ppm)
        found = chance_of("flicker", scenario, symptoms=("flicker",), targets=TARGETS)
        assert found == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("symptom", "factor"),
    [
        ("depends-on-temperature", "temperature"),
        ("depends-on-speed", "speed"),
        ("depends-on-position", "position"),
        ("only-some-sheets", "sheet"),
    ],
)
def test_what_trouble_goes_with_is_that_of_doubles_where_doubles_alone_are_missed(symptom: Any, factor: str) -> None:
    scenario = machine({factor: 0.3, f"{factor} of doubles": 0.7})
    for reported, expected in (
        ((symptom,), 0.3),
        ((symptom, "false-stops"), 0.3),
        ((symptom, "missed-doubles"), 0.7),
        ((symptom, "missed-doubles", "false-stops"), 0.3),
    ):
        assert chance_of(symptom, scenario, symptoms=reported, targets=TARGETS) == expected


def test_a_reading_is_one_db_wide_and_one_per_mille_is_left_for_what_has_nothing_to_do_with_it() -> None:
    def chance(*readings_db: float) -> float:
        seen = [
            Observed(index=index, state="single", setting=("a", 20.0, 0.0), attenuation_db=value, specimen=None)
            for index, value in enumerate(readings_db)
        ]
        return float(np.exp(log_likelihood(machine(), symptoms=(), seen=seen, targets=TARGETS)))

    peak = 1.0 / np.sqrt(2.0 * np.pi)
    assert chance(45.0) == pytest.approx(peak + 1e-3, rel=1e-5)
    assert chance(47.0) == pytest.approx(peak * np.exp(-2.0) + 1e-3, rel=1e-5)
    assert chance(145.0) == pytest.approx(1e-3)
    # The median of several tells; none of them adds to it.
    assert chance(20.0, 45.0, 47.0, 45.0, 90.0) == chance(45.0)
