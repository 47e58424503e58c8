"""The reference catalogue, and what a table that is wrong is told."""

from __future__ import annotations

import re

import pytest
from sheetmargin_service.errors import FieldError
from sheetmargin_service.principles import principles
from sheetmargin_service.principles.catalogues import read_catalogue, reference_catalogue
from sheetmargin_service.tables import Where, build

CLASS = """
source = "made up for a test"
[defaults]
output = ["pnp"]
supply = "24 V DC"
ingress = "IP65"
temperature_min_c = 0
temperature_max_c = 60
contactless = true
order = [{ role = "head", quantity = 2 }]
[[class]]
id = "thickness-test"
principle = "thickness"
housing = { thread = "M18", pitch_mm = 1, length_mm = 60, width_mm = 18 }
[class.parameters]
contact = "laser"
range_um = 5000
resolution_um = 4
runout_um = 6
drift_um = 8
spot_diameter_mm = 0.5
spot_offset_mm = 0.1
stand_off_mm = 30
reading_interval_ms = 1
response_ms = 2
"""


def read(text):
    return read_catalogue(name="test", text=text)


def test_every_reference_class_is_illustrative_and_of_a_known_principle():
    classes = reference_catalogue().classes
    assert all(c.illustrative and "illustrative" in c.source for c in classes)
    assert {c.principle for c in classes} == set(principles())


HEADS = {"emitter", "receiver", "head"}


def test_every_reference_class_says_what_to_order():
    for c in reference_catalogue().classes:
        assert all(line.quantity >= 1 and line.part_number is None for line in c.order)
        quantities = {line.role: line.quantity for line in c.order}
        assert quantities.pop("evaluation-unit") == 1
        if c.demands.gap_set_by == "fixture":
            assert quantities == {"fork": 1}, "a fork is both heads and their bracket in one"
        else:
            brackets = quantities.pop("bracket")
            assert set(quantities) <= HEADS
            assert brackets == sum(quantities.values())


def test_ultrasonic_reference_classes_span_the_band():
    frequencies = [c.parameters.frequency_hz for c in reference_catalogue().classes if c.principle == "ultrasonic"]
    assert len(frequencies) >= 6
    assert min(frequencies) == 75e3
    assert max(frequencies) == 500e3


def test_a_table_as_it_should_be():
    (only,) = read(CLASS).classes
    assert only.id == "thickness-test"
    assert only.housing.pitch_mm == 1
    assert only.order[0].part_number is None
    assert only.source == "made up for a test"


def test_version_follows_the_content():
    assert read(CLASS).version == read(CLASS).version
    assert read(CLASS).version != read(CLASS.replace("5000", "5001")).version


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            "range_um = 5000",
            "range_um = '5000'",
            "class thickness-test parameters range_um: expected a number, got '5000'",
        ),
        ("range_um = 5000", "range_um = nan", "class thickness-test parameters range_um: expected a finite number"),
        ("range_um = 5000", "range_um = inf", "class thickness-test parameters range_um: expected a finite number"),
        ("range_um = 5000", "range_um = true", "class thickness-test parameters range_um: expected a number, got True"),
        ("range_um = 5000", "range_um = 5", "class thickness-test parameters range_um: expected at least 100, got 5"),
        ("range_um = 5000", "range_mm = 5", "class thickness-test parameters: unknown key 'range_mm'"),
        ("range_um = 5000\n", "", "class thickness-test parameters: missing key 'range_um'"),
        ('contact = "laser"', 'contact = "radar"', "contact: expected one of ['roller', 'laser'], got 'radar'"),
        (
            'contact = "laser"',
            'contact = "roller"',
            "force_n, contact_width_mm, contact_length_mm and support_mm for a",
        ),
        ("stand_off_mm = 30", "air_left = 0.5\nstand_off_mm = 30", "expected air_left 1 for a laser"),
        ("reading_interval_ms = 1", "reading_interval_ms = 3", "0 < reading_interval_ms <= response_ms"),
        ('principle = "thickness"', 'principle = "sniffing"', "class thickness-test: unknown principle 'sniffing'"),
        ('id = "thickness-test"', "id = 7", "class number 1: expected a table with a text 'id'"),
        ("pitch_mm = 1, ", "", "class thickness-test housing: expected pitch_mm for a thread"),
        ('thread = "M18"', "thread = 18", "class thickness-test housing thread: expected a text, got 18"),
        ("housing = {", "hausing = {", "class thickness-test: unknown key 'hausing'"),
        ("quantity = 2", "quantity = 0", "order[0]: expected quantity of at least 1"),
        ("quantity = 2", "quantity = 1.5", "order[0] quantity: expected a whole number, got 1.5"),
        ('order = [{ role = "head", quantity = 2 }]', "order = []", "expected at least one order line"),
        (
            'order = [{ role = "head", quantity = 2 }]',
            "order = 1",
            "class thickness-test order: expected a list, got 1",
        ),
        ('output = ["pnp"]', "output = [1]", "class thickness-test output[0]: expected a text, got 1"),
        ("temperature_max_c = 60", "temperature_max_c = -5", "temperature_min_c below temperature_max_c"),
        ("contactless = true", 'contactless = "yes"', "contactless: expected true or false, got 'yes'"),
        ("[class.parameters]", "[class.parameter]", "class thickness-test parameters: missing key"),
        ("[[class]]", "[[klass]]", "catalogue test: unknown or misplaced 'klass'"),
        ("[defaults]", "[[defaults]]", "catalogue test: unknown or misplaced 'defaults'"),
        ("range_um = 5000", "range_um = ", "catalogue test: Invalid value (at line 17"),
    ],
)
def test_what_is_wrong_is_named(old, new, told):
    assert old in CLASS
    with pytest.raises(FieldError) as raised:
        read(CLASS.replace(old, new))
    assert told in str(raised.value)


def test_parameters_have_to_be_a_table():
    with pytest.raises(FieldError, match="expected a table, got 3"):
        read(CLASS[: CLASS.index("[class.parameters]")] + "parameters = 3")


def test_no_class_and_a_class_twice():
    with pytest.raises(FieldError, match="at least one class and no id twice"):
        read('source = "empty"')
    with pytest.raises(FieldError, match="at least one class and no id twice"):
        read(CLASS + CLASS[CLASS.index("[[class]]") :])


@pytest.mark.parametrize(
    ("class_id", "change", "told"),
    [
        ("ultrasonic-180k", {"frequency_hz": 5e6}, "frequency_hz: expected at most 1e+06"),
        ("ultrasonic-180k", {"bandwidth_hz": 100e3}, "bandwidth_hz above 0 and below half the frequency"),
        ("ultrasonic-180k", {"face_reflection": 1.0}, "face_reflection: expected below 1"),
        ("ultrasonic-180k", {"gate_us": None}, "gate_us for a gated class"),
        ("ultrasonic-180k", {"reference_gap_mm": 500.0}, "gap_min_mm <= reference_gap_mm"),
        ("ultrasonic-180k", {"face_radius_mm": 0.0}, "face_radius_mm: expected above 0"),
        ("ultrasonic-180k", {"noise_db": 5.0}, "overload_db below noise_db"),
        ("ultrasonic-180k", {"span_db": 0.0}, "span_db: expected above 0"),
        ("eddy-current-1k", {"frequency_hz": 9e6}, "frequency_hz: expected at most 5e+06"),
        ("eddy-current-1k", {"coil_inner_radius_mm": 13.0}, "coil_inner_radius_mm < coil_outer_radius_mm"),
        ("eddy-current-1k", {"coil_length_mm": 0.0}, "coil_length_mm: expected above 0"),
        ("eddy-current-1k", {"recess_mm": 0.0}, "recess_mm: expected above 0"),
        ("eddy-current-1k", {"gap_max_mm": 1.0}, "reference_gap_mm <= gap_max_mm"),
        ("eddy-current-1k", {"floor_db": 0.0}, "floor_db: expected above 0"),
        ("eddy-current-1k", {"drift_db": 0.0}, "drift_db: expected above 0"),
        ("eddy-current-1k", {"hold_mm": -1.0}, "hold_mm: expected above 0"),
        ("eddy-current-80", {"reading_interval_ms": 1.0}, "at least one period"),
        ("capacitive-200k", {"frequency_hz": 10.0}, "frequency_hz: expected at least 1000"),
        ("capacitive-200k", {"gap_max_mm": 20.0}, "at least 4 times gap_max_mm"),
        ("capacitive-200k", {"gap_min_mm": 9.0}, "gap_min_mm <= gap_max_mm"),
        ("capacitive-200k", {"resolution_ff": 0.0}, "resolution_ff: expected above 0"),
        ("capacitive-200k", {"gap_drift_um": 0.0}, "gap_drift_um: expected above 0"),
        ("optical-850", {"wavelength_nm": 500.0}, "wavelength_nm: expected at least 700"),
        ("optical-850", {"spot_diameter_mm": 0.0}, "spot_diameter_mm: expected above 0"),
        ("optical-850", {"gap_min_mm": 100.0}, "gap_min_mm <= reference_gap_mm"),
        ("optical-850", {"resolution_db": 50.0}, "0 < resolution_db < floor_db"),
        ("optical-850", {"drift_db": 0.0}, "drift_db: expected above 0"),
        ("optical-850", {"position_db_per_mm": -1.0}, "position_db_per_mm: expected at least 0"),
        ("thickness-roller", {"runout_um": 0.0}, "runout_um: expected above 0"),
        (
            "thickness-roller",
            {"force_n": None},
            "force_n, contact_width_mm, contact_length_mm and support_mm for a roller",
        ),
        ("thickness-roller", {"support_mm": None}, "contact_length_mm and support_mm for a roller"),
        ("thickness-roller", {"stand_off_mm": 5.0}, "stand_off_mm above 0 for a laser, 0 for a roller"),
    ],
)
def test_each_rule_of_the_parameters(class_id, change, told):
    parameters = next(c for c in reference_catalogue().classes if c.id == class_id).parameters
    kind, where = type(parameters), Where("parameters")
    assert build(kind, vars(parameters), where=where) == parameters
    with pytest.raises(FieldError, match=re.escape(told)):
        build(kind, {**vars(parameters), **change}, where=where)
