"""Basis weights, calipers and areas of the North American paper trade against the published conversions."""

import pytest
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sizes import gsm_per_pound

# Conversion factors in g/m2 per pound: TAPPI TIP 0404-36 and the makers' conversion tables, which print 3.76, 2.70,
# 2.19, 1.81, 1.48 and 1.63 (from memory); a thousand square feet: 4.882 by the definitions of pound and foot.
PRINTED_FACTORS = {
    "bond": (3.76, 0.005),
    "cover": (2.70, 0.005),
    "bristol": (2.19, 0.005),
    "index": (1.81, 0.005),
    "text": (1.48, 0.005),
    "tag": (1.63, 0.005),
    "msf": (4.882, 0.0005),
}


@pytest.mark.parametrize(("basis", "printed"), PRINTED_FACTORS.items())
def test_factor_rounds_to_the_printed_one(basis: str, printed: tuple[float, float]) -> None:
    factor, half_digit = printed
    assert gsm_per_pound(basis) == pytest.approx(factor, abs=half_digit)


# The trade's own equivalents: 20 lb bond = 75 g/m2, 80 lb cover = 216 g/m2, 110 lb index = 199 g/m2,
# 100 lb text = 148 g/m2 (printed on every conversion chart; computed from the basic sizes).
@pytest.mark.parametrize(
    ("material", "pounds", "basis", "gsm"),
    [
        ("copy-paper", 20, "bond", 75.2),
        ("coated-board", 80, "cover", 216.3),
        ("card-stock", 110, "index", 198.9),
        ("coated-paper", 100, "text", 148.0),
    ],
)
def test_basis_weight_of_a_sheet(material: str, pounds: float, basis: str, gsm: float) -> None:
    spec = SheetSpec(material=material, basis_weight_lb=pounds, basis=basis)  # type: ignore[arg-type]
    assert resolve_sheet(spec, load_library()).grammage_gsm == pytest.approx(gsm, abs=0.05)


def test_points_and_inches() -> None:
    # A caliper point is a thousandth of an inch: 10 pt = 254 um, 0.030 in (an ISO/IEC 7810 card) = 762 um.
    library = load_library()
    card = resolve_sheet(SheetSpec(material="card-stock", caliper_pt=10), library)
    assert card.thickness_um == pytest.approx(254.0, rel=1e-12)
    plastic = resolve_sheet(SheetSpec(material="pvc-rigid", thickness_in=0.030), library)
    assert plastic.thickness_um == pytest.approx(762.0, rel=1e-12)
