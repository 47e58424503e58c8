"""What is assumed where a job is silent."""

from __future__ import annotations

import pytest
from sheetmargin.contract.job import Environment, Job, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.acoustics.air import saturation_pressure_pa
from sheetmargin_service.selection.defaults import DEFAULTS, conditions_of

SHEET = (SheetSpec(material="copy-paper", grammage_gsm=80.0),)


def asked(line=None, environment=None):
    return conditions_of(Job(sheets=SHEET, line=line or Line(), environment=environment or Environment()))


def test_every_default_is_taken_and_told():
    conditions, notes = asked()
    assert {n.pointer for n in notes} == set(DEFAULTS)
    for note in notes:
        value, source = DEFAULTS[note.pointer]
        assert (note.value, note.source) == (value, source)
        assert getattr(conditions, note.pointer.rsplit("/", 1)[1]) == value


@pytest.mark.parametrize("pointer", DEFAULTS)
def test_what_is_given_is_kept_and_not_told(pointer):
    _, owner, name = pointer.split("/")
    value = DEFAULTS[pointer][0] + 0.5
    given = {owner: (Line if owner == "line" else Environment)(**{name: value})}
    conditions, notes = asked(**given)
    assert getattr(conditions, name) == value
    assert pointer not in {n.pointer for n in notes}


def test_a_lone_minimum_above_the_default_maximum_moves_it():
    conditions, notes = asked(environment=Environment(temperature_min_c=50.0))
    assert (conditions.temperature_min_c, conditions.temperature_max_c) == (50.0, 50.0)
    assert next(n.value for n in notes if n.pointer == "/environment/temperature_max_c") == 50.0


def test_a_lone_maximum_below_the_default_minimum_moves_it():
    conditions, _ = asked(environment=Environment(relative_humidity_max_pct=10.0))
    assert (conditions.relative_humidity_min_pct, conditions.relative_humidity_max_pct) == (10.0, 10.0)


def test_zero_is_given():
    conditions, notes = asked(line=Line(flutter_mm=0.0))
    assert conditions.flutter_mm == 0.0
    assert "/line/flutter_mm" not in {n.pointer for n in notes}


def test_clearances_have_no_default():
    conditions, _ = asked()
    assert conditions.clearance_above_mm is None
    conditions, _ = asked(line=Line(clearance_above_mm=12.0))
    assert conditions.clearance_above_mm == 12.0


def test_heated_air_keeps_the_water_of_the_hall():
    for warmest in (60.0, 90.0, 120.0):
        conditions, notes = asked(environment=Environment(temperature_max_c=warmest))
        hall, _ = asked()
        for name in ("relative_humidity_min_pct", "relative_humidity_max_pct"):
            there = saturation_pressure_pa(warmest) * getattr(conditions, name)
            here = saturation_pressure_pa(hall.temperature_max_c) * getattr(hall, name)
            assert there == pytest.approx(here, rel=0.06)  # by the decimal that is told
            assert next(n.value for n in notes if n.pointer.endswith(name)) == getattr(conditions, name)
    cold, _ = asked(environment=Environment(temperature_min_c=-40.0, temperature_max_c=-30.0))
    assert cold.relative_humidity_max_pct == hall.relative_humidity_max_pct


def test_what_the_line_leaves_open_goes_on():
    conditions, _ = asked(line=Line(body_through_frame=True, bed=False))
    assert (conditions.body_through_frame, conditions.bed) == (True, False)
    conditions, _ = asked()
    assert (conditions.body_through_frame, conditions.bed) == (False, None)
