"""Which detector classes a job admits."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheetmargin_service.detectors.catalogue import reference_catalogue
from sheetmargin_service.materials.spec import SheetSpec
from sheetmargin_service.selection.admission import admitted
from sheetmargin_service.selection.job import Job, Require

CATALOGUE = reference_catalogue()
SHEET = (SheetSpec(material="copy-paper", grammage_gsm=80.0),)


def ids(**job):
    return [c.id for c in admitted(Job(sheets=SHEET, **job), CATALOGUE)]


def required(**require):
    return admitted(Job(sheets=SHEET, require=Require(**require)), CATALOGUE)


def test_without_filters_every_class_in_order_of_id():
    assert ids() == sorted(c.id for c in CATALOGUE.classes)


def test_order_of_the_catalogue_does_not_matter():
    turned = replace(CATALOGUE, classes=tuple(reversed(CATALOGUE.classes)))
    assert [c.id for c in admitted(Job(sheets=SHEET), turned)] == ids()


def test_by_principle_and_by_class():
    assert {c.principle for c in admitted(Job(sheets=SHEET, principles=("caliper",)), CATALOGUE)} == {"caliper"}
    assert ids(classes=("ultrasonic-400k", "ultrasonic-180k")) == ["ultrasonic-180k", "ultrasonic-400k"]
    assert ids(classes=("ultrasonic-400k",), principles=("caliper",)) == []


@pytest.mark.parametrize(
    ("require", "holds"),
    [
        ({"housing": ("M12", "M18")}, lambda c: c.housing.thread in ("M12", "M18")),
        ({"output": ("pnp",)}, lambda c: "pnp" in c.output),
        ({"contactless": True}, lambda c: c.contactless),
        ({"contactless": False}, lambda c: not c.contactless),
    ],
)
def test_by_what_is_required(require, holds):
    found = required(**require)
    assert found
    assert {c.id for c in found} == {c.id for c in CATALOGUE.classes if holds(c)}


def test_any_of_the_outputs_will_do():
    assert required(output=("analogue-of-another-world", "pnp")) == required(output=("pnp",))
    assert required(output=("analogue-of-another-world",)) == ()


def test_temperatures_must_be_at_least_as_wide():
    low, high = (
        min(c.temperature_min_c for c in CATALOGUE.classes),
        max(c.temperature_max_c for c in CATALOGUE.classes),
    )
    assert required(temperature_min_c=low, temperature_max_c=high)
    assert required(temperature_min_c=low - 1.0) == ()
    assert required(temperature_max_c=high + 1.0) == ()
