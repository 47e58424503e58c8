"""Which detector classes a job admits."""

from __future__ import annotations

from dataclasses import replace

import pytest
from sheetmargin.contract.job import Job, Require
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.say import say
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.class_filter import FILTERED, admitted, filtered

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
    assert {c.principle for c in admitted(Job(sheets=SHEET, principles=("thickness",)), CATALOGUE)} == {"thickness"}
    assert ids(classes=("ultrasonic-400k", "ultrasonic-180k")) == ["ultrasonic-180k", "ultrasonic-400k"]
    assert ids(classes=("ultrasonic-400k",), principles=("thickness",)) == []


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


@pytest.mark.parametrize(
    ("job", "requirement", "required", "own"),
    [
        ({"classes": ("ultrasonic-400k",)}, "classes", "ultrasonic-400k", lambda c: c.id),
        ({"principles": ("thickness", "optical")}, "principles", "thickness, optical", lambda c: c.principle),
        ({"require": Require(housing=("M12", "M18"))}, "housing", "M12, M18", lambda c: c.housing.thread),
        ({"require": Require(output=("io-link",))}, "output", "io-link", lambda c: ", ".join(c.output)),
        ({"require": Require(supply=("230 V AC",))}, "supply", "230 V AC", lambda c: c.supply),
        ({"require": Require(ingress="IP69K")}, "ingress", "IP69K", lambda c: c.ingress),
        ({"require": Require(temperature_min_c=-5.0)}, "temperature_min_c", -5.0, lambda c: c.temperature_min_c),
        ({"require": Require(temperature_max_c=65.0)}, "temperature_max_c", 65.0, lambda c: c.temperature_max_c),
        ({"require": Require(contactless=True)}, "contactless", True, lambda c: c.contactless),
    ],
)
def test_each_filtered_class_is_told_with_the_requirement_and_its_own_value(job, requirement, required, own):
    asked = Job(sheets=SHEET, **job)
    out = filtered(asked, CATALOGUE)
    assert out
    # Either admitted or told, never both and never neither.
    assert sorted([*out, *(c.id for c in admitted(asked, CATALOGUE))]) == ids()
    values = {c.id: own(c) for c in CATALOGUE.classes}
    for name, fact in out.items():
        assert fact.code == FILTERED
        assert fact.values == {"requirement": requirement, "required": required, "own": values[name]}
        for language in ("en", "de"):
            said = say(fact.code, fact.values, reader=Reader(language=language))
            assert requirement not in said.split() or requirement in ("housing", "output", "supply")
            assert "True" not in said
            assert "False" not in said


def test_without_filters_nothing_is_filtered():
    assert filtered(Job(sheets=SHEET), CATALOGUE) == {}
