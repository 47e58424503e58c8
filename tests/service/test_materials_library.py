"""The library as a whole: size, sources, physics of every entry, names and search."""

import tomllib
from collections.abc import Iterator
from dataclasses import replace
from importlib import resources

import pytest
from sheetmargin_service.errors import FieldError
from sheetmargin_service.materials.constructions import construction_names, load_constructions
from sheetmargin_service.materials.library import Library, load_library, load_sources, read_entries
from sheetmargin_service.materials.material import Material
from sheetmargin_service.materials.stiffness import ENDS, NOMINAL, elastic_constants
from sheetmargin_service.tables import load_table, table_names

PACKAGE = "sheetmargin_service.materials"
LIBRARY = load_library()
MATERIALS = list(LIBRARY.materials.values())
CONTRACT_IDS = """
    newsprint copy-paper coated-paper tissue glassine kraft-paper tracing-paper card-stock folding-boxboard coated-board
    greyboard pet bopp pe-ld pe-hd pvc-soft pvc-rigid pa-6 cellophane pc pmma ps abs fr4 glass aluminium steel
    stainless-steel copper brass veneer silicon leather rubber adhesive-acrylic nonwoven
""".split()  # noqa: SIM905
BY_ID = {"argvalues": MATERIALS, "ids": [material.id for material in MATERIALS]}


def test_size() -> None:
    assert len(MATERIALS) >= 85
    assert len(load_constructions()) >= 20


@pytest.mark.parametrize(
    "material_id",
    CONTRACT_IDS,
)
def test_ids_of_the_contract(material_id: str) -> None:
    assert LIBRARY.get(material_id).id == material_id


def groups_with_numbers(table: object, where: str) -> Iterator[tuple[str, dict[str, object]]]:
    """Every table that directly holds a number or a list of numbers."""
    if not isinstance(table, dict):
        return
    values = [value for value in table.values() if not isinstance(value, dict | str)]
    flat = [item for value in values for item in (value if isinstance(value, list) else [value])]
    if any(isinstance(item, int | float) and not isinstance(item, bool) for item in flat):
        yield where, table
    for key, value in table.items():
        yield from groups_with_numbers(value, f"{where}.{key}")


def test_no_number_of_a_material_without_a_source() -> None:
    sources = load_sources()
    checked = 0
    for name in table_names(PACKAGE, "data/materials"):
        for material_id, entry in load_table(PACKAGE, name).items():
            for where, group in groups_with_numbers(entry, material_id):
                assert group.get("source") in sources, where
                checked += 1
    assert checked >= 6 * len(MATERIALS)


def test_no_construction_without_a_source() -> None:
    for construction in load_constructions().values():
        assert construction.source in load_sources().values(), construction.id


def test_other_tables_name_their_source() -> None:
    assert load_table(PACKAGE, "data/flutes.toml")["source"].strip()
    for name, table in load_table(PACKAGE, "data/sizes.toml").items():
        assert table["source"].strip(), name


def test_every_source_is_used() -> None:
    text = "".join(
        (resources.files(PACKAGE) / name).read_text()
        for name in [*table_names(PACKAGE, "data/materials"), "data/constructions.toml"]
    )
    for key in load_sources():
        assert f'source = "{key}"' in text, key


@pytest.mark.parametrize("material", **BY_ID)
def test_every_source_reaches_the_material(material: Material) -> None:
    named = {
        material.density_kg_m3.source,
        material.loss_factor.source,
        material.mass.source,
        material.thickness_um.source,
        material.elastic.source,
        material.trapped_air.source,
    }
    assert named <= set(material.sources)
    assert all(source.strip() for source in material.sources)


@pytest.mark.parametrize("material", **BY_ID)
def test_stiffness_is_passive_and_positive_definite(material: Material) -> None:
    for variant in (NOMINAL, *ENDS["stiffness"], *ENDS["loss"]):
        c11, c13, c33, c55 = elastic_constants(
            material=material, density_kg_m3=material.density_kg_m3.nominal, variant=variant
        )
        assert min(c11.real, c33.real, c55.real) > 0
        assert c11.real * c33.real > c13.real**2
        # Losses take energy only if the imaginary part is positive definite too (time factor e^(+i w t)).
        assert min(c11.imag, c33.imag, c55.imag) > 0
        assert c11.imag * c33.imag >= c13.imag**2


@pytest.mark.parametrize("material", **BY_ID)
def test_variants_bracket_the_nominal(material: Material) -> None:
    density = material.density_kg_m3.nominal
    by_name = {
        name: [
            elastic_constants(material=material, density_kg_m3=density, variant=variant)
            for variant in (low, NOMINAL, high)
        ]
        for name, (low, high) in ENDS.items()
    }
    for index in (0, 2, 3):
        soft, nominal, stiff = (c[index].real for c in by_name["stiffness"])
        assert soft <= nominal <= stiff
    low_loss, nominal_loss, high_loss = (c[3].imag for c in by_name["loss"])
    assert low_loss < nominal_loss < high_loss


# Slowest and fastest through-thickness wave, m/s, of the kinds of sheet there are (typical, from memory): air-filled
# fibre and foam from some tens of m/s, dense solids to the 9-12 km/s of alumina.
SPEEDS = {
    "paper": (30, 800),
    "board": (100, 1500),
    "film": (400, 3200),
    "plastic": (400, 4000),
    "metal": (1900, 6600),
    "nonwoven": (20, 300),
    "textile": (20, 2600),
    "rubber": (900, 1800),
    "foam": (20, 2000),
    "glass": (5300, 5900),
    "wood": (200, 2000),
    "adhesive": (1200, 2000),
}


@pytest.mark.parametrize("material", **BY_ID)
def test_wave_speeds_are_those_of_the_kind(material: Material) -> None:
    density = material.density_kg_m3.nominal
    c11, _, c33, c55 = elastic_constants(material=material, density_kg_m3=density)
    through, shear, in_plane = ((c.real / density) ** 0.5 for c in (c33, c55, c11))
    low, high = SPEEDS.get(material.family, (20, 12_000))
    assert low <= through <= high
    assert shear < in_plane or material.family == "core"
    if material.family in ("paper", "board"):
        assert c11.real > 5 * c33.real


def test_fibre_networks_scale_with_density_and_solids_do_not() -> None:
    paper, film = LIBRARY.get("copy-paper"), LIBRARY.get("pet")
    light = elastic_constants(material=paper, density_kg_m3=700)
    dense = elastic_constants(material=paper, density_kg_m3=770)
    assert [b / a for a, b in zip(light, dense, strict=True)] == pytest.approx([1.1] * 4)
    assert elastic_constants(material=film, density_kg_m3=1350) == elastic_constants(material=film, density_kg_m3=1400)


def test_isotropic_constants_return_their_moduli() -> None:
    steel = LIBRARY.get("steel")
    c11, c13, c33, c55 = elastic_constants(material=steel, density_kg_m3=7850)
    assert c11 == c33
    assert c55 == pytest.approx((c11 - c13) / 2)
    young = c55 * (3 * c13 + 2 * c55) / (c13 + c55)
    assert young.real == pytest.approx(209e9)
    assert young.imag / young.real == pytest.approx(0.001)


def test_soft_solid_keeps_bulk_and_shear_apart() -> None:
    rubber = LIBRARY.get("rubber")
    c11, c13, _, c55 = elastic_constants(material=rubber, density_kg_m3=1200)
    bulk = c13 + 2 * c55 / 3
    assert bulk.real == pytest.approx(2.3e9)
    assert bulk.imag / bulk.real == pytest.approx(0.03)
    assert c55.imag / c55.real == pytest.approx(0.5)
    assert c11 == pytest.approx(bulk + 4 * c55 / 3)


# ---- names


@pytest.mark.parametrize(
    ("name", "material_id"),
    [
        ("Kopierpapier", "copy-paper"),
        ("BÜROPAPIER", "copy-paper"),
        ("Bueropapier", "copy-paper"),
        ("  office   paper ", "copy-paper"),
        ("Karton", "card-stock"),
        ("Blech", "steel"),
        ("alufolie", "aluminium-foil"),
        ("aluminum", "aluminium"),
        ("LDPE", "pe-ld"),
        ("pe_ld", "pe-ld"),
        ("Graupappe", "greyboard"),
        ("Furnier", "veneer"),
    ],
)
def test_names_resolve(name: str, material_id: str) -> None:
    assert LIBRARY.resolve(name) == material_id


def test_unknown_names_do_not_resolve() -> None:
    assert LIBRARY.resolve("unobtainium") is None
    assert LIBRARY.resolve("") is None


@pytest.mark.parametrize("material", **BY_ID)
def test_every_name_finds_its_material_first(material: Material) -> None:
    for name in (material.id, *material.name.values()):
        assert LIBRARY.search(name, 1)[0].material is material


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("coppy-paper", "copy-paper"),
        ("aluminim", "aluminium"),
        ("stainles-steel", "stainless-steel"),
        ("Kopierpapir", "copy-paper"),
        ("polycarbonat", "pc"),
        ("newsprnt", "newsprint"),
    ],
)
def test_misspelling_gets_the_right_suggestion_first(wrong: str, right: str) -> None:
    assert LIBRARY.suggest(wrong)[0] == right


def test_search() -> None:
    assert [match.material.id for match in LIBRARY.search("", 1_000)] == sorted(LIBRARY.materials)
    assert LIBRARY.search("folie", 50)
    assert {match.material.family for match in LIBRARY.search("folie", 50)} >= {"film"}
    assert len(LIBRARY.search("paper", 5)) == 5
    assert LIBRARY.search("zqxjkv", 5) == ()
    assert LIBRARY.search("copy" * 5_000, 3) == LIBRARY.search(("copy" * 5_000)[:100], 3)
    scores = [match.score for match in LIBRARY.search("karton", 20)]
    assert scores == sorted(scores, reverse=True)


def test_no_name_is_both_material_and_construction() -> None:
    for material in MATERIALS:
        for name in (material.id, *material.name.values(), *(w for words in material.synonyms.values() for w in words)):
            assert construction_names().resolve(name) is None, name


def test_two_materials_with_one_name_are_refused() -> None:
    pet, pen = LIBRARY.get("pet"), LIBRARY.get("pen")
    with pytest.raises(FieldError, match="names both"):
        Library({"pet": pet, "pen": replace(pen, name=pet.name)})


# ---- strict reading

ENTRY = """
name = { en = "thing", de = "Ding" }
synonyms = { en = [], de = [] }
family = "film"
density_kg_m3 = { range = [900.0, 1000.0, 1100.0], source = "memory" }
elastic = { kind = "transversely-isotropic", c11_gpa = [1.0, 2.0, 3.0], c13_gpa = [0.1, 0.2, 0.3], c33_gpa = [0.5, 0.6, 0.7], c55_gpa = [0.1, 0.2, 0.3], source = "memory" }
loss_factor = { range = [0.01, 0.02, 0.03], source = "memory" }
mass = { tolerance_pct = 4, formation_pct = 3, source = "memory" }
trapped_air = { um = [1.0, 2.0, 3.0, 4.0], loose_share = 0.02, source = "memory" }
thickness_um = { range = [10.0, 100.0], source = "memory" }
porous = { porosity = 0.5, tortuosity = 2.0, permeance_um_per_pa_s = [1.0, 3.0, 9.0], thickness_um = 80.0, source = "memory" }
electrical = { permittivity = [2.0, 3.0, 4.0], source = "memory" }
optical = { scattering_m2_per_kg = 1.0, absorption_m2_per_kg = 0.1, source = "memory" }
"""  # noqa: E501


def read(text: str) -> Material:
    entries = {"thing": tomllib.loads(text)}
    return read_entries(Material, entries, file="test", sources={"memory": "from memory"})["thing"]


def test_a_right_entry_is_read() -> None:
    thing = read(ENTRY)
    assert thing.density_kg_m3.nominal == 1000
    assert thing.sources == ("from memory",)
    assert thing.porous is not None
    assert thing.optical is not None


@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ('family = "film"', 'family = "foil"', "family"),
        ('family = "film"', 'family = "film"\ncolour = "red"', "unknown key"),
        ('source = "memory" }\nloss', 'source = "hearsay" }\nloss', "not in sources"),
        ("formation_pct = 3, ", "", "missing key 'formation_pct'"),
        ('formation_pct = 3, source = "memory"', "formation_pct = 3", "missing key 'source'"),
        ("[900.0, 1000.0, 1100.0]", "[900.0, 1200.0, 1100.0]", "do not fall"),
        ("[900.0, 1000.0, 1100.0]", "[900.0, 1100.0]", "3 numbers"),
        ("[900.0, 1000.0, 1100.0]", "[900.0, 1000.0, 1100.0, 1200.0]", "3 numbers"),
        ("[900.0, 1000.0, 1100.0]", "900.0", "unknown key 'range'"),
        ("[900.0, 1000.0, 1100.0]", "[900.0, nan, 1100.0]", "finite"),
        ("[900.0, 1000.0, 1100.0]", "[true, 1000.0, 1100.0]", "a number"),
        ("[900.0, 1000.0, 1100.0]", "[-1.0, 1000.0, 1100.0]", "expected at"),
        ("c13_gpa = [0.1, 0.2, 0.3]", "c13_gpa = [0.1, 0.2, 1.5]", "positive definite"),
        ('kind = "transversely-isotropic"', 'kind = "orthotropic"', "kind"),
        ('kind = "transversely-isotropic"', 'kind = "isotropic"', "expected one of"),
        ("[1.0, 2.0, 3.0, 4.0]", "[1.0, 2.0, 2.0, 4.0]", "p5 < p50"),
        ("porosity = 0.5", "porosity = 1.5", "expected at"),
        ('de = "Ding"', 'de = " "', "text"),
        ('en = "thing", ', "", "each of"),
        ("en = [], de", 'en = "x", de', "a list"),
        ("permittivity = [2.0, 3.0, 4.0]", "permitivity = [2.0, 3.0, 4.0]", "unknown key"),
    ],
)
def test_a_wrong_entry_is_refused(old: str, new: str, complaint: str) -> None:
    assert old in ENTRY
    with pytest.raises(FieldError, match=complaint):
        read(ENTRY.replace(old, new, 1))
