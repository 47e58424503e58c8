"""What a quote needs of the selection: filters, order lines, and what was taken for parameters that nobody knows."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from sheetmargin.contract.answer import Answer
from sheetmargin.contract.job import Job, Line, Require
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.detectors.ingress import is_rating, protects
from sheetmargin_service.materials.library import Library, load_library
from sheetmargin_service.principles.catalogues import read_catalogue, reference_catalogue
from sheetmargin_service.selection.class_filter import admitted
from sheetmargin_service.selection.recommend import recommend
from support.catalogues import OWN

CATALOGUE = read_catalogue(name="own", text=OWN, reference=reference_catalogue().classes)
PAPER = SheetSpec(material="copy-paper", grammage_gsm=120)
PLATE = SheetSpec(material="pvc-rigid", thickness_um=760)


@pytest.fixture(scope="module")
def library() -> Library:
    return load_library()


def ask(library: Library, *sheets: SheetSpec, **changes: Any) -> Answer:
    return recommend(Job(sheets=sheets, **changes), catalogue=CATALOGUE, library=library)


@pytest.mark.parametrize(
    ("require", "ids"),
    [
        ({}, {"own-180", "own-400"}),
        ({"housing": ("M12",)}, {"own-400"}),
        ({"output": ("npn", "push-pull")}, {"own-180", "own-400"}),
        ({"output": ("npn",)}, {"own-400"}),
        ({"supply": ("24 V DC",)}, {"own-400"}),
        ({"supply": ("24 V DC", "10 to 30 V DC")}, {"own-180", "own-400"}),
        ({"ingress": "IP67"}, {"own-180", "own-400"}),
        ({"ingress": "IP65"}, {"own-400"}),
        ({"ingress": "IP68"}, set()),
        ({"temperature_max_c": 40.0}, {"own-180", "own-400"}),
        ({"temperature_max_c": 40.1}, {"own-180"}),
        ({"temperature_min_c": 0.0}, {"own-180", "own-400"}),
        ({"temperature_min_c": -5.0}, set()),
        ({"contactless": False}, set()),
    ],
)
def test_filters(require: dict[str, Any], ids: set[str]) -> None:
    job = Job(sheets=(PAPER,), require=Require(**require))
    assert {c.id for c in admitted(job, CATALOGUE)} == ids


@pytest.mark.parametrize(
    ("rating", "wanted", "meets"),
    [
        ("IP65", "IP65", True),
        ("IP65", "IP54", True),
        ("IP65", "IP66", False),
        ("IP54", "IP65", False),
        ("IP67", "IP54", True),
        ("IP67", "IP65", False),
        ("IP68", "IP67", True),
        ("IP67", "IP68", False),
        ("IP69K", "IP67", False),
        ("IP69", "IP69K", True),
        ("IP66/IP68", "IP65", True),
        ("IP66/IP68", "IP65/IP67", True),
        ("IP68", "IP65/IP67", False),
    ],
)
def test_ingress_by_the_rules_of_iec_60529(rating: str, wanted: str, meets: bool) -> None:
    """IEC 60529, clause 6: numerals up to 6 imply the lower ones, immersion does not imply jets."""
    assert is_rating(rating)
    assert protects(rating, wanted=wanted) == meets


@pytest.mark.parametrize("text", ["", "IP", "IP6", "65", "IP655", "IP75", "ip65", "IP65/", "IP65 IP67", "IP6X"])
def test_what_is_no_rating(text: str) -> None:
    assert not is_rating(text)


def lines(answer: Answer, rank: int = 0) -> list[dict[str, int]]:
    return [{o.role: o.quantity for o in setup.order_items} for setup in answer.recommendations[rank].setups]


def test_the_order_is_for_this_set_up(library: Library) -> None:
    one_lane = ask(library, PAPER, classes=("own-180",))
    (setup,) = one_lane.recommendations[0].setups
    assert setup.geometry.tilt_deg is not None
    bracket = "tilting-bracket" if setup.geometry.tilt_deg.nominal else "bracket"
    assert lines(one_lane) == [{"emitter": 1, "receiver": 1, "evaluation-unit": 1, "cable": 2, bracket: 2}]
    part_numbers = {o.role: o.part_number for o in setup.order_items}
    assert part_numbers["emitter"] == "T-100-E"


@pytest.mark.parametrize(("lanes", "units"), [(1, 1), (4, 1), (5, 2)])
def test_every_lane_has_its_pair(library: Library, lanes: int, units: int) -> None:
    answer = ask(library, PAPER, classes=("own-180",), line=Line(lanes=lanes, lane_pitch_mm=2000.0))
    (order,) = lines(answer)
    assert (order["emitter"], order["receiver"], order["evaluation-unit"]) == (lanes, lanes, units)


def test_tilted_and_upright_brackets(library: Library) -> None:
    """A board that wants a tilt, on a machine with room for it and without."""
    board = SheetSpec(material="coated-board", grammage_gsm=400)
    found: Counter[bool] = Counter()
    for limit_deg in (0.0, 45.0):
        answer = ask(library, board, classes=("own-180",), line=Line(max_tilt_deg=limit_deg))
        for recommendation in answer.recommendations:
            for setup in recommendation.setups:
                assert setup.geometry.tilt_deg is not None
                tilted = setup.geometry.tilt_deg.nominal != 0.0
                roles = {o.role for o in setup.order_items}
                assert ("tilting-bracket" in roles) == tilted
                assert ("bracket" in roles) == (not tilted)
                found[tilted] += 1
    assert found[True] >= 1


def test_a_pair_that_is_set_anew_is_ordered_once(library: Library) -> None:
    answer = ask(library, SheetSpec(material="newsprint", grammage_gsm=45), PLATE, classes=("own-180",))
    for recommendation in answer.recommendations:
        ordered: Counter[str] = Counter()
        for setup in recommendation.setups:
            for line in setup.order_items:
                ordered[line.role] += line.quantity
        assert ordered["emitter"] == 1
        assert ordered["cable"] == 2
    assert answer.recommendations
    assert max(len(r.setups) for r in answer.recommendations) >= 2


def test_what_was_taken_from_the_reference_is_told(library: Library) -> None:
    answer = ask(library, PAPER)
    named = {s.detector_class.id for r in answer.recommendations for s in r.setups}
    notes = [n for n in answer.assumptions if n.code == "filled-from-reference"]
    assert [n.values["detector_class"] for n in notes] == sorted(named & {"own-180"})
    for note in notes:
        assert note.values["reference_class"] == "ultrasonic-180k"
        assert note.values["count"] == 12
        assert "noise_db" in str(note.values["parameters"])
    assert notes


def test_classes_of_an_owner_are_not_illustrative(library: Library) -> None:
    codes = {n.code for n in ask(library, PAPER).cautions}
    assert "illustrative-class" not in codes
    assert "not-a-safety-device" in codes
    assert replace(CATALOGUE, name="x").version == ask(library, PAPER).catalogue_version
