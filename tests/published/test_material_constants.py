"""Elastic, electric and dielectric constants of the library against published ones."""

import pytest
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.material import TransverselyIsotropic
from sheetmargin_service.materials.stiffness import ENDS, elastic_constants

LIBRARY = load_library()

# Density kg/m3, longitudinal and shear speed m/s: ElasticMatrix (open MATLAB package), src-pw/materialList.m, read.
ELASTIC_MATRIX = {
    "pet": (1350, 2200, 1000),
    "pc": (1180, 2300, 1100),
    "pmma": (1150, 2700, 1330),
    "aluminium": (2700, 6400, 3100),
    "steel": (7870, 5890, 3240),
    "copper": (8900, 4700, 2260),
    "glass": (2500, 5570, 3430),
}

# Longitudinal speeds m/s: 45MG thickness gauge manual (Olympus, 2015), appendix B, table 28, read; brass, copper, lead,
# nickel, acrylic in another edition of the same table. Taken at some MHz, where polymers are stiffest.
VELOCITY_TABLE = {
    "pmma": 2730,
    "brass": 4430,
    "copper": 4660,
    "lead": 2160,
    "nickel": 5630,
    "pa-66": 2600,
    "pe-hd": 2460,
    "pe-ld": 2080,
    "ps": 2340,
    "pvc-rigid": 2395,
    "rubber": 1610,
    "silicon": 9620,
    "silicone-rubber": 1485,
    "steel": 5890,
    "stainless-steel": 5740,
    "titanium": 6100,
    "zinc": 4170,
}


def span(material_id: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """c33 and c55 from soft to stiff, in Pa."""
    material = LIBRARY.get(material_id)
    soft, stiff = (
        elastic_constants(material=material, density_kg_m3=material.density_kg_m3.nominal, variant=variant)
        for variant in ENDS["stiffness"]
    )
    return (soft[2].real, stiff[2].real), (soft[3].real, stiff[3].real)


@pytest.mark.parametrize("material_id", ELASTIC_MATRIX)
def test_wave_speeds_of_an_open_package_lie_within_the_intervals(material_id: str) -> None:
    density, longitudinal, shear = ELASTIC_MATRIX[material_id]
    known = LIBRARY.get(material_id).density_kg_m3
    (soft33, stiff33), (soft55, stiff55) = span(material_id)
    assert known.low <= density <= known.high
    assert soft33 <= density * longitudinal**2 <= stiff33
    assert soft55 <= density * shear**2 <= stiff55


@pytest.mark.parametrize("material_id", VELOCITY_TABLE)
def test_thickness_gauge_speeds_lie_within_the_intervals(material_id: str) -> None:
    (soft33, stiff33), _ = span(material_id)
    modulus = LIBRARY.get(material_id).density_kg_m3.nominal * VELOCITY_TABLE[material_id] ** 2
    assert soft33 <= modulus <= stiff33


# Milk carton, 780 kg/m3, all nine constants by ultrasound: Mann, Baum and Habeger, Tappi J. 63(2):163, 1980
# (GPa, from memory): in-plane 8.01 and 3.84, C33 0.042, C13 0.092, C23 0.091, C44 0.099, C55 0.137.
def test_milk_carton() -> None:
    material = LIBRARY.get("liquid-packaging-board")
    elastic = material.elastic
    assert isinstance(elastic, TransverselyIsotropic)
    assert material.density_kg_m3.nominal == 780
    for interval, values in (
        (elastic.c11_gpa, (8.01, 3.84)),
        (elastic.c13_gpa, (0.092, 0.091)),
        (elastic.c33_gpa, (0.042,)),
        (elastic.c55_gpa, (0.099, 0.137)),
    ):
        for value in values:
            assert interval.low <= value <= interval.high


# Resistivity in ohm m at 20 C of pure metals: CRC Handbook of Chemistry and Physics (from memory). Alloys lie above.
@pytest.mark.parametrize(
    ("material_id", "pure", "most"),
    [
        ("aluminium", 2.65e-8, 1.25),
        ("copper", 1.678e-8, 1.05),
        ("nickel", 6.93e-8, 1.1),
        ("titanium", 4.2e-7, 1.3),
        ("zinc", 5.9e-8, 1.1),
        ("lead", 2.08e-7, 1.05),
        ("magnesium", 4.39e-8, 2.5),
    ],
)
def test_resistivity(material_id: str, pure: float, most: float) -> None:
    resistivity = LIBRARY.get(material_id).electrical.resistivity_ohm_m
    assert resistivity is not None
    assert pure <= resistivity <= most * pure


# Resistivity ranges of alloys in ohm m: ASM Metals Handbook (from memory): cartridge brass 28 % IACS, austenitic
# stainless 0.69 to 0.74 uohm m, low-carbon steel 0.13 to 0.18 uohm m.
@pytest.mark.parametrize(
    ("material_id", "low", "high"),
    [("brass", 6.0e-8, 7.0e-8), ("stainless-steel", 6.9e-7, 7.4e-7), ("steel", 1.3e-7, 1.8e-7)],
)
def test_resistivity_of_alloys(material_id: str, low: float, high: float) -> None:
    resistivity = LIBRARY.get(material_id).electrical.resistivity_ohm_m
    assert resistivity is not None
    assert low <= resistivity <= high


# Relative permittivity near 1 MHz: CRC Handbook and von Hippel, Dielectric Materials and Applications (from memory).
@pytest.mark.parametrize(
    ("material_id", "value"),
    [
        ("pet", 3.2),
        ("pe-ld", 2.26),
        ("ptfe", 2.1),
        ("ps", 2.55),
        ("pmma", 2.76),
        ("glass", 6.9),
        ("silicon", 11.7),
        ("alumina", 9.4),
    ],
)
def test_permittivity(material_id: str, value: float) -> None:
    permittivity = LIBRARY.get(material_id).electrical.permittivity
    assert permittivity is not None
    assert permittivity.low <= value <= permittivity.high


# Conductivity in % IACS: matmake.com, electrical conductivity of aluminium alloys, read. Hard drawn 5056-H38, of wire
# and rivets, has 27 and is none of the library's sheets.
@pytest.mark.parametrize(
    "iacs_pct",
    [64.5, 61.3, 59.0, 50.0, 40.0, 41.0, 42.0, 35.0, 29.0, 31.0, 34.0],
    ids=["1199", "1050", "1100", "3003-O", "3003-H18", "3003-H14", "3004", "5052", "5083", "5182", "5454"],
)
def test_aluminium_sheet_alloys(iacs_pct: float) -> None:
    resistivity = LIBRARY.get("aluminium").electrical.resistivity
    assert resistivity is not None
    assert resistivity.low <= 1.0 / (0.01 * iacs_pct * 58.0e6) <= resistivity.high


# Silicon, a cubic crystal: 130 GPa along <100> and 169 along <110> in the (100) plane (memsnet.org, MEMS-talk, K.
# Williams after Brantley, J. Appl. Phys. 44, 534, 1973, read); C11 166, C12 64, C44 80 GPa (the same list, G. C.
# Johnson, read, rounded to 0.5 %), so that 1/E along <111> is S44/3 + (S11 + 2 S12)/3: 188 GPa.
def test_silicon_in_every_direction() -> None:
    c11, c12, c44 = 166.0, 64.0, 80.0
    s11, s12 = (c11 + c12) / ((c11 - c12) * (c11 + 2 * c12)), -c12 / ((c11 - c12) * (c11 + 2 * c12))
    stiffest = 3.0 / (1.0 / c44 + s11 + 2.0 * s12)
    assert stiffest == pytest.approx(188.0, abs=1.0)
    young = LIBRARY.get("silicon").elastic.youngs_modulus_gpa
    for modulus in (130.0, 169.0, stiffest):
        assert young.low <= modulus <= 1.005 * young.high


# Silicone rubbers by ultrasound, density kg/m3 and speed m/s: Cafarelli et al., J. Ultrasound 19, 251 (2016), table 2,
# read: pure and filled with 2 to 8 % of alumina.
@pytest.mark.parametrize(("density", "speed"), [(1063, 973.6), (1081, 986.2), (1109, 978.9), (1161, 968.1)])
def test_silicone_rubber(density: float, speed: float) -> None:
    (soft, stiff), _ = span("silicone-rubber")
    assert soft <= density * speed**2 <= stiff
