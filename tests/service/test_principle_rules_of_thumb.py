"""What every engineer knows of the principles has to come out of the physics."""

from __future__ import annotations

import pytest
from sheetmargin.contract.job import Job
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.selection.class_filter import FILTERED
from sheetmargin_service.selection.recommend import recommend


def outcome(spec, *principles):
    """Classes in the order of their rank with their verdicts, and the codes of those of the principles rejected."""
    answer = recommend(
        Job(sheets=(spec,), principles=principles, limit=30), catalogue=reference_catalogue(), library=load_library()
    )
    ranked = {r.setups[0].detector_class.id: r.verdict for r in answer.recommendations}
    return ranked, {r.detector_class: r.code for r in (*answer.ruled_out, *answer.alternatives) if r.code != FILTERED}


@pytest.mark.parametrize(
    ("material", "thickness_um", "suitable"),
    [
        ("aluminium", 1000, "eddy-current-10k"),
        ("copper", 600, "eddy-current-10k"),
        ("brass", 800, "eddy-current-10k"),
        ("steel", 1000, "eddy-current-1k"),
        ("stainless-steel", 1000, "eddy-current-10k"),
    ],
)
def test_metal_above_half_a_millimetre_is_for_eddy_currents_of_a_suitable_frequency(material, thickness_um, suitable):
    ranked, rejected = outcome(
        SheetSpec(material=material, thickness_um=thickness_um), "eddy-current", "capacitive", "optical"
    )
    assert next(iter(ranked)).startswith("eddy-current")
    assert ranked[suitable] == "suitable"
    assert {rejected["capacitive-200k"], rejected["optical-850"]} == {"conductive-sheet", "opaque"}


def test_the_wrong_frequency_sees_nothing_or_everything_alike():
    _, stainless = outcome(SheetSpec(material="stainless-steel", thickness_um=1000), "eddy-current")
    assert stainless["eddy-current-80"] == "too-transparent"
    _, steel = outcome(SheetSpec(material="steel", thickness_um=1000), "eddy-current")
    assert steel["eddy-current-100k"] == "below-noise"


@pytest.mark.parametrize(("material", "thickness_um"), [("pe-ld", 50), ("pet", 75), ("bopp", 60)])
def test_thin_film_is_for_high_frequency_ultrasound(material, thickness_um):
    ranked, _ = outcome(SheetSpec(material=material, thickness_um=thickness_um), "ultrasonic", "optical")
    assert next(iter(ranked)) in ("ultrasonic-400k", "ultrasonic-500k")


@pytest.mark.parametrize(
    ("material", "grammage_gsm"), [("cotton-fabric", 150), ("polyester-fabric", 100), ("nonwoven", 40)]
)
def test_textiles_are_for_none_of_the_acoustic_ones(material, grammage_gsm):
    """None is more likely to do than not: a trial of a cloth that happens to be dense is all that may be left, of the
    higher frequencies alone, in whatever housing."""
    spec = SheetSpec(material=material, grammage_gsm=grammage_gsm)
    answer = recommend(
        Job(sheets=(spec,), principles=("ultrasonic",), limit=30),
        catalogue=reference_catalogue(),
        library=load_library(),
    )
    left = {r.setups[0].detector_class.id: r for r in answer.recommendations}
    assert {r.verdict for r in left.values()} <= {"trial-needed"}
    assert all(r.chance < 0.5 for r in left.values())
    assert all(r.setups[0].detector_class.frequency_khz >= 220.0 for r in left.values())
    _, rejected = outcome(spec, "ultrasonic")
    acoustic = {c.id for c in reference_catalogue().classes if c.principle == "ultrasonic"}
    assert set(rejected) == acoustic - set(left)


def test_paper_is_for_most_but_eddy_currents():
    ranked, rejected = outcome(SheetSpec(material="copy-paper", grammage_gsm=80))
    assert {name.rsplit("-", 1)[0].split("-")[0] for name in ranked} >= {"ultrasonic", "capacitive", "thickness"}
    assert {code for name, code in rejected.items() if name.startswith("eddy")} == {"not-conductive"}
