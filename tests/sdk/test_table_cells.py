"""Heads and cells as people write them."""

from __future__ import annotations

from typing import Any

import pytest
from sheetmargin.tables.headers import meaning_of, meanings_of, of_jobs, told_meaning, with_units
from sheetmargin.tables.job import RowError, job_of


@pytest.mark.parametrize(
    ("header", "means"),
    [
        ("Grammage_GSM", "grammage_gsm"),
        ("Dicke [mm]", "thickness_um mm"),
        ("DICKE (µm)", "thickness_um"),
        ("Materialstärke in mm", "thickness_um mm"),
        ("thickness_mm", "thickness_um mm"),
        ("Épaisseur mm", "thickness_um mm"),
        ("epaisseur / mm", "thickness_um mm"),
        ("Épaisseur en mm", "thickness_um mm"),
        ("Caliper (pt)", "thickness_um pt"),
        ("Grammatur", "grammage_gsm"),
        ("Flaechengewicht [g/qm]", "grammage_gsm"),
        ("gsm", "grammage_gsm"),
        ("basis weight [lb]", "basis_weight_lb"),
        ("Basis Weight (gsm)", "grammage_gsm"),
        ("Sorte:", "material"),
        ("Geschwindigkeit (m/s)", "speed_m_per_min m/s"),
        ("Bezeichnung (intern)", "label"),
        ("lowest temperature °F", "temperature_min_c °F"),
    ],
)
def test_a_head_tells_field_and_unit(header: str, means: str) -> None:
    found = meaning_of(header)
    assert found is not None
    assert (found.field, found.unit) == (told_meaning(means).field, found.unit)
    unit = means.partition(" ")[2]
    assert not unit or found.unit == unit


@pytest.mark.parametrize("header", ["Gewicht [kg]", "Preis", "Lagerort", "Dicke [g/m²]", "Speed [bar]", ""])
def test_other_heads_are_the_owners_own(header: str) -> None:
    assert meaning_of(header) is None


def test_one_column_fills_a_field_and_the_fields_own_name_goes_first() -> None:
    found = meanings_of(["Dicke [mm]", "thickness_um", "Sorte", "Material"])
    assert {name: meaning.field for name, meaning in found.items()} == {
        "thickness_um": "thickness_um",
        "Sorte": "material",
    }


def test_what_the_owner_says_goes_before_what_the_name_says() -> None:
    told = {"Maß": told_meaning("thickness_um mm"), "Dicke": None}
    found = meanings_of(["Dicke", "Maß"], told=told)
    assert {name: str(meaning) for name, meaning in found.items()} == {"Maß": "thickness_um mm"}
    for text in ("nothing", "thickness_um kg", ""):
        with pytest.raises(ValueError, match="is no"):
            told_meaning(text)


def test_an_article_beside_a_material_asks_no_stock() -> None:
    assert job_of({"Art.-Nr.": 4711}) == {"sheets": [{"article": "4711"}]}
    assert job_of({"Art.-Nr.": 4711, "Sorte": "pet"}) == {"sheets": [{"material": "pet"}]}
    found = meanings_of(["Art.-Nr.", "Sorte"])
    assert list(of_jobs(found, told={"Art.-Nr.": found["Art.-Nr."]})) == ["Art.-Nr.", "Sorte"]


def test_units_in_a_row_of_their_own() -> None:
    assert with_units(["Sorte", "Dicke"], ["", "[mm]"]) == ["Sorte", "Dicke [mm]"]
    for below in (["pet", "mm"], ["", ""], ["", "kg"], ["", "1"]):
        assert with_units(["Sorte", "Dicke"], below) is None


@pytest.mark.parametrize(
    ("head", "cell", "field", "value"),
    [
        ("Dicke [mm]", "0,76", "thickness_um", 760),
        ("Dicke [mm]", "0,76 mm", "thickness_um", 760),
        ("Dicke [mm]", "120 µm", "thickness_um", 120),
        ("Dicke", "12 pt", "thickness_um", 304.8),
        ("Dicke [mm]", 0.1, "thickness_um", 100),
        ("Dicke [µm]", "1.234,5", "thickness_um", 1234.5),
        ("Dicke [µm]", "1,234.5", "thickness_um", 1234.5),
        ("Dicke [µm]", "1 234,5", "thickness_um", 1234.5),
        ("Dicke [µm]", "1'234.5", "thickness_um", 1234.5),
        ("Dicke [µm]", "1.234.567", "thickness_um", 1234567),
        ("Dicke [µm]", "1e2", "thickness_um", 100),
        ("Dicke [µm]", ",5", "thickness_um", 0.5),
        ("Dicke [µm]", "0.125", "thickness_um", 0.125),
        ("Grammatur", "80 gsm", "grammage_gsm", 80),
        ("Grammatur", "0.08 kg/m²", "grammage_gsm", 80),
        ("Grammatur", "#N/A", "grammage_gsm", "#N/A"),
        ("Grammatur", "1,2,3", "grammage_gsm", "1,2,3"),
        ("Grammatur", "1e999", "grammage_gsm", "1e999"),
        ("Sorte", 4711, "material", "4711"),
        ("plies", "2", "plies", 2),
        ("plies", "2 mm", "plies", "2 mm"),
    ],
)
def test_a_number_in_any_writing(head: str, cell: Any, field: str, value: object) -> None:
    assert job_of({head: cell}) == {"sheets": [{field: value}]}


@pytest.mark.parametrize(("cell", "value"), [("68 °F", 20), ("293.15 K", 20), ("20 °C", 20), ("20", 20)])
def test_temperatures_have_their_zero(cell: str, value: float) -> None:
    job = job_of({"temperature_min_c": cell})
    assert job["environment"]["temperature_min_c"] == pytest.approx(value)


@pytest.mark.parametrize(
    ("decimal", "told", "cell", "value"),
    [
        ("comma", False, "1,234", 1.234),
        ("comma", True, "1.234", 1234),
        ("point", False, "1.234", 1.234),
        ("point", True, "1,234", 1234),
        ("comma", False, "1.234", None),
        ("point", False, "1,234", None),
        (None, False, "1,234", None),
        (None, False, "1.234", None),
    ],
)
def test_a_mark_before_three_digits_may_be_either(decimal: Any, told: bool, cell: str, value: float | None) -> None:
    row = {"thickness_um": cell}
    if value is not None:
        assert job_of(row, decimal=decimal, told=told) == {"sheets": [{"thickness_um": value}]}
        return
    with pytest.raises(RowError) as raised:
        job_of(row, decimal=decimal, told=told)
    (fault,) = raised.value.faults
    assert (fault.pointer, fault.detail) == ("thickness_um", "It may be 1234 or 1.234.")


@pytest.mark.parametrize(
    ("head", "cell", "says"),
    [("Dicke", "0,1", "No unit is told."), ("Dicke [mm]", "80 g/m²", "'g/m²' is no unit of thickness_um.")],
)
def test_what_is_not_clear_is_told_with_its_column(head: str, cell: str, says: str) -> None:
    with pytest.raises(RowError) as raised:
        job_of({head: cell, "Grammatur": "80 mm"})
    assert [(fault.pointer, fault.detail) for fault in raised.value.faults] == [
        (head, says),
        ("Grammatur", "'mm' is no unit of grammage_gsm."),
    ]
    assert "mm" in str(raised.value.faults[0].expected)
