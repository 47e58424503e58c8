"""Sheet gauges against their published tables."""

import pytest
from sheetmargin.contract.job import Gauge
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sizes import gauge_thickness_um

STEEL = load_library().get("steel")
ALUMINIUM = load_library().get("aluminium")

# Manufacturers' Standard Gauge, nominal ounces per square foot of the old US Standard Gauge (Machinery's Handbook,
# from memory). The thickness is that weight over 41.82 lb per square foot and inch: an independent route to the table.
OUNCES_PER_SQUARE_FOOT = {
    3: 160, 4: 150, 5: 140, 6: 130, 7: 120, 8: 110, 9: 100, 10: 90, 11: 80, 12: 70, 13: 60, 14: 50, 15: 45, 16: 40,
    17: 36, 18: 32, 19: 28, 20: 24, 21: 22, 22: 20, 23: 18, 24: 16, 25: 14, 26: 12, 27: 11, 28: 10, 29: 9, 30: 8,
    31: 7, 32: 6.5, 33: 6, 34: 5.5, 35: 5, 36: 4.5, 37: 4.25, 38: 4,
}  # fmt: skip


@pytest.mark.parametrize(("number", "ounces"), OUNCES_PER_SQUARE_FOOT.items())
def test_steel_gauge_is_its_weight(number: int, ounces: float) -> None:
    inches = gauge_thickness_um(Gauge(system="steel", number=number), STEEL) / 25_400
    assert inches == pytest.approx(ounces / 16 / 41.82, abs=0.00006)


def test_steel_gauge_20_is_0_0359_inch() -> None:
    assert gauge_thickness_um(Gauge(system="steel", number=20), STEEL) == pytest.approx(0.0359 * 25_400)


# American wire (Brown and Sharpe) gauge, ASTM B258 table, inches.
@pytest.mark.parametrize(
    ("number", "inches"),
    [(0, 0.3249), (4, 0.2043), (10, 0.1019), (16, 0.0508), (18, 0.0403), (20, 0.0320), (24, 0.0201), (36, 0.0050)],
)
def test_aluminium_gauge(number: int, inches: float) -> None:
    um = gauge_thickness_um(Gauge(system="aluminium", number=number), ALUMINIUM)
    assert um / 25_400 == pytest.approx(inches, abs=0.00005)


def test_film_gauge_100_is_one_mil() -> None:
    pet = load_library().get("pet")
    assert gauge_thickness_um(Gauge(system="film", number=100), pet) == pytest.approx(25.4, rel=1e-12)
    assert gauge_thickness_um(Gauge(system="film", number=48), pet) == pytest.approx(12.2, abs=0.05)


def test_the_same_number_differs_by_system() -> None:
    library = load_library()
    steel = resolve_sheet(SheetSpec(material="steel", sheet_gauge=Gauge(system="steel", number=20)), library)
    brass = resolve_sheet(SheetSpec(material="brass", sheet_gauge=Gauge(system="aluminium", number=20)), library)
    assert steel.thickness_um == pytest.approx(911.9, abs=0.1)
    assert brass.thickness_um == pytest.approx(811.8, abs=0.2)
