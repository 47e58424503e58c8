"""Readings that cannot be, each told where it is wrong and what would be right."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.measurement.reading import Reading, check_states, observed

PLACE = ("ultrasonic-180k", 40.0, 0.0)
OTHER = ("ultrasonic-180k", 40.0, 20.0)


def refused(*readings: Reading) -> QuestionError:
    with pytest.raises(QuestionError) as caught:
        observed(readings)
    assert caught.value.detail
    assert caught.value.expected
    return caught.value


def test_three_units_say_the_same() -> None:
    opened, one = Reading(state="no_sheet", setting=PLACE), Reading(state="single", setting=PLACE)
    by_unit = [
        [replace(one, attenuation_db=40.0)],
        [replace(one, level_pct=1.0)],
        [replace(opened, volts=5.0), replace(one, volts=0.05)],
        [replace(opened, level_pct=80.0), replace(one, level_pct=0.8)],
        [replace(opened, attenuation_db=-1.5), replace(one, attenuation_db=38.5)],
    ]
    for readings in by_unit:
        assert observed(readings)[-1].attenuation_db == pytest.approx(40.0)


def test_the_open_path_of_another_place_is_no_reference() -> None:
    readings = [
        Reading(state="no_sheet", setting=OTHER, level_pct=50.0),
        Reading(state="single", setting=PLACE, level_pct=1.0),
    ]
    assert observed(readings)[1].attenuation_db == pytest.approx(40.0)


def test_mixed_units_name_the_odd_ones() -> None:
    usual = Reading(state="single", setting=PLACE, attenuation_db=40.0)
    error = refused(usual, usual, Reading(state="single", setting=PLACE, level_pct=1.0), usual)
    assert (error.code, error.field, error.also) == ("mixed-units", "readings/2/level_pct", ())


@pytest.mark.parametrize(
    ("values", "code"), [({}, "missing-field"), ({"volts": 1.0, "level_pct": 3.0}, "conflicting-fields")]
)
def test_a_reading_has_one_value(values: dict[str, float], code: str) -> None:
    assert refused(Reading(state="single", setting=PLACE, **values)).code == code


@pytest.mark.parametrize(
    "values",
    [{"level_pct": 0.0}, {"level_pct": -3.0}, {"level_pct": 250.0}, {"level_pct": 130.0}, {"attenuation_db": -10.0}],
)
def test_impossible_levels(values: dict[str, float]) -> None:
    error = refused(Reading(state="single", setting=PLACE, **values))
    assert (error.code, error.field) == ("impossible-level", f"readings/0/{next(iter(values))}")


def test_volts_of_a_sheet_above_those_of_the_open_path() -> None:
    error = refused(
        Reading(state="no_sheet", setting=PLACE, volts=1.0),
        Reading(state="single", setting=PLACE, volts=2.0),
    )
    assert (error.code, error.field) == ("impossible-level", "readings/1/volts")


def test_volts_need_the_open_path_at_their_own_place() -> None:
    error = refused(
        Reading(state="no_sheet", setting=OTHER, volts=1.0),
        Reading(state="single", setting=PLACE, volts=0.01),
    )
    assert (error.code, error.field) == ("no-open-path", "readings/1/volts")


EXPECTED = {PLACE: {"single": 40.0, "double": 70.0}}


def seen(one: float, two: float):
    return observed(
        [
            Reading(state="single", setting=PLACE, attenuation_db=one),
            Reading(state="double", setting=PLACE, attenuation_db=two),
        ]
    )


def test_exchanged_states_are_refused() -> None:
    with pytest.raises(QuestionError) as caught:
        check_states(seen(69.0, 41.0), EXPECTED)
    assert (caught.value.code, caught.value.field) == ("one-above-two", "readings/0")
    assert caught.value.also == ("readings/1",)


@pytest.mark.parametrize(("one", "two"), [(40.0, 70.0), (41.0, 39.0), (48.0, 41.0)])
def test_two_sheets_may_be_louder_than_one(one: float, two: float) -> None:
    """Near the resonance of a thin film of air they are; and chance may exchange close readings."""
    check_states(seen(one, two), EXPECTED)
