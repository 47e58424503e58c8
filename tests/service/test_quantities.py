"""Figures with the digits that a reader can set or measure, their unit, and the marks of the language."""

from __future__ import annotations

import pytest
from sheetmargin_service.messages.languages import is_one
from sheetmargin_service.messages.quantities import written, written_range, written_target

NOT_LIMITED = (
    "not limited by the detector (above 1,000 m/min)",
    "durch den Detektor nicht begrenzt (über 1.000 m/min)",
)


@pytest.mark.parametrize(
    ("name", "value", "english", "german"),
    [
        ("single_p1", 47.24, "47 dB", "47 dB"),
        ("margin", 0.94, "0.9 dB", "0,9 dB"),
        ("margin", -0.04, "0 dB", "0 dB"),
        ("gap_mm", 23.5, "23.5 mm", "23,5 mm"),
        ("height_mm", 135.4, "136 mm", "136 mm"),
        ("own_mm", 0.0141, "0.014 mm", "0,014 mm"),
        ("tilt_deg", 12.2, "12°", "12°"),
        ("angle_deg", 1.68, "1.7°", "1,7°"),
        ("thickness_um", 103.4, "103 µm", "103 µm"),
        ("thickness_um", 1500.1, "1.5 mm", "1,5 mm"),
        ("thickness_um", 999.9, "1 mm", "1 mm"),
        ("critical_film_um", 4.321, "4.32 µm", "4,32 µm"),
        ("low_ppm", 21.7, "22 per million", "22 je Million"),
        ("low_ppm", 0.0, "1 per million or fewer", "höchstens 1 je Million"),
        ("high_ppm", 2_180.0, "2,200 per million", "2.200 je Million"),
        ("high_ppm", 17_400.0, "1.7 %", "1,7 %"),
        ("bound_ppm", 9_936.0, "1 %", "1 %"),
        ("bound_ppm", 0.4, "0.4 per million", "0,4 je Million"),
        ("runs", 29_956, "30,000", "30.000"),
        ("runs", 300, "300", "300"),
        ("chance_pct", 100, "> 99 %", "> 99 %"),
        ("chance_pct", 99, "99 %", "99 %"),
        ("own_pct", 0, "< 1 %", "< 1 %"),
        ("speed_max_m_per_min", 266.9, "260 m/min", "260 m/min"),
        ("speed_max_m_per_min", 7_500.0, NOT_LIMITED[0], NOT_LIMITED[1]),
        ("loose_share", 0.02, "2 %", "2 %"),
        ("transmission_pct", 1e-28, "less than 0.01 %", "weniger als 0,01 %"),
        ("share_pct", 99.9, "99.9 %", "99,9 %"),
        ("grammage_gsm", 11_775.0, "11,800 g/m²", "11.800 g/m²"),
        ("resistivity_uohm_m", 0.16, "0.16 µΩ m", "0,16 µΩ m"),
        ("temperature_min_c", -5.0, "-5 °C", "-5 °C"),
        ("count", 5, "5", "5"),
        ("one_more", 12, "12", "12"),
        ("factor", 1.2345, "1.23", "1,23"),
    ],
)
def test_a_value_with_its_unit(name: str, value: float, english: str, german: str) -> None:
    assert (written(name, value, "en", unit="dB"), written(name, value, "de", unit="dB")) == (english, german)


def test_a_level_is_in_the_unit_beside_it() -> None:
    assert written("margin", 148.3, "en", unit="um") == "148 µm"
    assert written("single_p50", 104.4, "de", unit="fF") == "104 fF"
    assert written("single_p50", 12.34, "en", unit="dB", fine=True) == "12.3 dB"


@pytest.mark.parametrize(
    ("first", "second", "english", "german"),
    [
        (("p5_um", 8.0), ("p95_um", 80.0), "8 to 80 µm", "8 bis 80 µm"),
        (("p5_um", 80.0), ("p95_um", 1500.0), "80 µm to 1.5 mm", "80 µm bis 1,5 mm"),
        (("low_ppm", 0.0), ("high_ppm", 75.1), "1 to 75 per million", "1 bis 75 je Million"),
        (("low_ppm", 0.0), ("high_ppm", 1.0), "1 per million or fewer", "höchstens 1 je Million"),
        (("low_ppm", 600.0), ("high_ppm", 66_000.0), "600 per million to 6.6 %", "600 je Million bis 6,6 %"),
        (("tilt_min_deg", 0.0), ("tilt_max_deg", 43.0), "0 to 43°", "0 bis 43°"),
        (("single_p1", 12.94), ("single_p99", 12.96), "13 dB", "13 dB"),
    ],
)
def test_a_range_has_its_unit_once(
    first: tuple[str, float], second: tuple[str, float], english: str, german: str
) -> None:
    assert written_range(first, second, "en", unit="dB") == english
    assert written_range(first, second, "de", unit="dB") == german


def test_targets() -> None:
    assert written_target(1000, "en") == "1,000 per million or fewer"
    assert written_target(0.5, "en") == "0.5 per million or fewer"
    assert written_target(20_000, "de") == "höchstens 2 %"


def test_one_is_singular_and_none_is_not() -> None:
    assert [is_one(count, language) for language in ("en", "de") for count in (0, 1, 2)] == [False, True, False] * 2
