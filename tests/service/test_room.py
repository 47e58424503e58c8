"""Whether heads have room: bodies and cables against the clearances, point by point, and what an answer makes of it."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin.contract.job import Job, Line
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin_service.detectors.model import CABLE_EXIT_MM, Housing
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.messages.names import Reader
from sheetmargin_service.messages.say import say
from sheetmargin_service.mounting.space import MountingSpace
from sheetmargin_service.principles import principle_of
from sheetmargin_service.principles.catalogues import reference_catalogue
from sheetmargin_service.principles.protocol import Settings
from sheetmargin_service.selection.recommend import recommend

CATALOGUE, LIBRARY = reference_catalogue(), load_library()
PAPER = SheetSpec(material="copy-paper", grammage_gsm=80.0)
STEEL = SheetSpec(material="steel", thickness_um=800.0)
CLASSES = {c.id: c for c in CATALOGUE.classes}


def answer(sheet, *, catalogue=CATALOGUE, limit=20, **line):
    return recommend(Job(sheets=(sheet,), limit=limit, line=Line(**line)), catalogue=catalogue, library=LIBRARY)


def named(found):
    return {setup.detector_class.id for r in found.recommendations for setup in r.setups}


def why(found, class_id):
    return next(r for r in (*found.ruled_out, *found.alternatives) if r.detector_class == class_id)


def highest_mm(distance_mm, tilt_deg, housing):
    """Height of the highest point of a head that stands so far from the sheet: its face's rim and the end of its
    cable's bend, all round."""
    t, turn = np.radians(tilt_deg), np.linspace(0.0, 2.0 * np.pi, 721)
    return max(
        float(np.max(along * np.cos(t) - 0.5 * housing.width_mm * np.sin(t) * np.cos(turn)))
        for along in (distance_mm, distance_mm + housing.length_mm + housing.cable_exit_mm)
    )


@settings(max_examples=200, deadline=None)
@given(
    above=st.floats(5, 200),
    below=st.floats(5, 200),
    gap=st.floats(15, 100),
    tilt=st.floats(0, 60),
    cable=st.floats(0, 60),
)
def test_a_pair_fits_with_bodies_and_cables_or_not_at_all(above, below, gap, tilt, cable):
    housing = Housing(thread="M18", pitch_mm=1.0, length_mm=60.0, width_mm=18.0, cable_exit_mm=cable)
    here = MountingSpace(
        line=Line(clearance_above_mm=above, clearance_below_mm=below),
        flutter_mm=1.0,
        flutter_deg=1.0,
        sheet_mm=0.1,
        rim_mm=9.0,
        behind_mm=housing.depth_mm,
    )
    emitter = here.emitter_distance_mm(gap_mm=gap, tilt_deg=tilt)
    least = here.least_mm(tilt_deg=tilt)
    # Every place of the sheet between the faces, whether both heads stand within the clearances there.
    places = np.linspace(least, gap - least, 400) if gap >= 2 * least else []
    free = [x for x in places if highest_mm(x, tilt, housing) <= below and highest_mm(gap - x, tilt, housing) <= above]
    if emitter is None:
        assert not free
        told = here.misfit(Settings(gap_mm=np.array([gap]), tilt_deg=np.array([tilt])))
        if told.code == "no-room-for-head":
            assert told.values["needed_mm"] >= told.values["available_mm"]
        else:
            assert gap < 2 * least
    else:
        assert highest_mm(emitter, tilt, housing) <= below + 1e-6
        assert highest_mm(gap - emitter, tilt, housing) <= above + 1e-6


@pytest.mark.parametrize("clearance_mm", [14.0, 20.0, 28.0, 60.0])
def test_no_head_is_offered_where_its_body_does_not_fit(clearance_mm):
    found = answer(PAPER, clearance_above_mm=clearance_mm, clearance_below_mm=clearance_mm)
    for r in found.recommendations:
        for setup in r.setups:
            housing = CLASSES[setup.detector_class.id].housing
            tilt = setup.geometry.tilt_deg.nominal if setup.geometry.tilt_deg else 0.0
            head = highest_mm(0.0, tilt, housing)
            if setup.detector_class.id != "thickness-roller":
                head += 0.5 * setup.geometry.gap_mm.nominal * np.cos(np.radians(tilt))
            assert head <= clearance_mm
            if setup.mounting is not None:
                assert setup.mounting.fits
                assert max(setup.mounting.above.needed_mm, setup.mounting.below.needed_mm) <= clearance_mm
    for r in (*found.ruled_out, *found.alternatives):
        if r.code.startswith("no-room"):
            assert r.values["needed_mm"] > r.values["available_mm"]


def test_heads_longer_than_the_clearance_are_ruled_out_unless_they_reach_through_the_frame():
    tight = {"clearance_above_mm": 28.0, "clearance_below_mm": 28.0}
    within, through = answer(PAPER, **tight), answer(PAPER, **tight, body_through_frame=True)
    long = {c.id for c in CATALOGUE.classes if c.principle == "ultrasonic" and c.housing.depth_mm > 28.0}
    assert {c.id for c in CATALOGUE.classes if c.principle == "ultrasonic"} - long == {
        "ultrasonic-300k-fork",
        "ultrasonic-400k-flat",
    }
    assert not long & named(within)
    assert {why(within, name).code for name in long} == {"no-room-for-head"}
    # The flat one is short enough; half of the fork's 40 mm and its 20 mm of body are not.
    assert "ultrasonic-400k-flat" in named(within)
    assert why(within, "ultrasonic-300k-fork").code == "no-room-for-head"
    assert "ultrasonic-500k" in named(through)
    setups = [setup for r in through.recommendations for setup in r.setups if setup.mounting is not None]
    for setup in setups:
        codes = {note.code for note in setup.mounting.notes}
        assert "body-through-frame" in codes
        assert "heads-with-cables" not in codes
    # Too tight even for the faces: told so.
    faces = answer(PAPER, clearance_above_mm=2.0, clearance_below_mm=2.0, body_through_frame=True)
    assert why(faces, "ultrasonic-500k").code == "no-room-for-face"


def test_a_room_that_is_enough_at_one_side_alone_is_none_for_a_pair():
    found = answer(PAPER, clearance_above_mm=300.0, clearance_below_mm=20.0)
    out = (*found.ruled_out, *found.alternatives)
    needed = {r.detector_class: r.values for r in out if r.code.startswith("no-room")}
    assert all(values["needed_mm"] > values["available_mm"] == 20.0 for values in needed.values())
    # Whatever is as long as the room below has none there: a pair with shorter bodies alone serves.
    pairs = [c for c in CATALOGUE.classes if c.demands.access == "both-sides"]
    assert {c.id for c in pairs if c.housing.depth_mm >= 20.0} <= set(needed)
    assert named(found) == {"ultrasonic-400k-flat"}
    told = why(found, "ultrasonic-500k")
    assert (told.values["side"], told.values["available_mm"]) == ("below", 20.0)
    for language, word in (("en", "below the sheet"), ("de", "unter dem Bogen")):
        assert word in say(told.code, told.values, reader=Reader(language=language))


def test_a_class_whose_cable_is_not_told_is_given_the_usual_one_and_says_so():
    classes = tuple(replace(c, housing=replace(c.housing, cable_exit_mm=None)) for c in CATALOGUE.classes)
    own = replace(CATALOGUE, classes=classes)
    needed = 11.8 + 50.0 + CABLE_EXIT_MM
    codes = {
        free: [n for n in answer(PAPER, catalogue=own, limit=1, **line).assumptions if n.code == "cable-exit-assumed"]
        for free, line in {
            "given": {"clearance_above_mm": needed + 20, "clearance_below_mm": needed + 20},
            "through": {
                "clearance_above_mm": needed + 20,
                "clearance_below_mm": needed + 20,
                "body_through_frame": True,
            },
            "unknown": {},
        }.items()
    }
    assert [n.values["cable_exit_mm"] for n in codes["given"]] == [CABLE_EXIT_MM]
    assert codes["through"] == codes["unknown"] == []
    # The reference class with its 20 mm has room where 5 mm more have none.
    tight = {"clearance_above_mm": 75.0, "clearance_below_mm": 75.0, "max_tilt_deg": 0.0}
    assert "ultrasonic-500k" not in named(answer(PAPER, catalogue=own, **tight))
    assert "ultrasonic-500k" in named(answer(PAPER, **tight))


def test_a_roller_has_something_to_run_on_or_is_ruled_out():
    tight = answer(STEEL, clearance_below_mm=1.0)
    assert "thickness-roller" not in named(tight)
    told = why(tight, "thickness-roller")
    assert (told.code, told.values["available_mm"]) == ("no-room-for-support", 1.0)
    assert told.values["needed_mm"] == CLASSES["thickness-roller"].parameters.support_mm
    # A bed carries it whatever the room below; without one it has nothing, however much room there is.
    assert "thickness-roller" in named(answer(STEEL, clearance_below_mm=1.0, bed=True))
    assert why(answer(STEEL, bed=False), "thickness-roller").code == "nothing-to-run-on"
    assert "thickness-roller" in named(answer(STEEL, clearance_below_mm=100.0))


def test_a_roller_whose_bed_is_not_known_says_what_it_needs():
    def reasons(**line):
        found = recommend(
            Job(sheets=(STEEL,), classes=("thickness-roller",), line=Line(**line)), catalogue=CATALOGUE, library=LIBRARY
        )
        return {n.code for n in found.recommendations[0].reasons}

    assert "bed-unknown" in reasons()
    assert "bed-unknown" not in reasons(bed=True)


def test_a_roller_needs_its_own_room_above():
    found = answer(STEEL, clearance_above_mm=60.0, bed=True)
    told = why(found, "thickness-roller")
    assert (told.code, told.values["side"]) == ("no-room-for-head", "above")
    assert told.values["needed_mm"] == CLASSES["thickness-roller"].housing.depth_mm


def test_a_one_sided_head_takes_the_side_that_has_room():
    foil = SheetSpec(material="aluminium", thickness_um=300.0)
    name = "eddy-current-one-sided-1k"
    for line in ({"clearance_below_mm": 1.0}, {"clearance_above_mm": 1.0, "clearance_below_mm": 200.0}):
        assert name in named(answer(foil, **line))
    told = why(answer(foil, clearance_above_mm=30.0, clearance_below_mm=1.0), name)
    assert (told.code, told.values["side"], told.values["available_mm"]) == ("no-room-for-head", "above", 30.0)


def test_more_room_never_takes_a_class_away():
    """It stays, or an easier one that reads the same has room as well and is named in its place."""
    answers = [answer(PAPER, clearance_above_mm=mm, clearance_below_mm=mm) for mm in (20, 60, 75, 90, 120, 200)]
    for one, other in pairwise(answers):
        for name in named(one) - named(other):
            told = why(other, name)
            assert told.code == "same-as-another"
            assert told.values["other"] in named(other)
            assert told.values["effort"] < told.values["own_effort"]
            assert CLASSES[told.values["other"]].parameters == CLASSES[name].parameters


@pytest.mark.parametrize("flutter_mm", [0.0, 5.0, 20.0, 40.0])
def test_no_pair_is_offered_that_its_own_mounting_calls_too_near_the_sheet(flutter_mm):
    for sheet in (PAPER, STEEL):
        found = answer(sheet, flutter_mm=flutter_mm)
        mounted = [s.mounting for r in found.recommendations for s in r.setups if s.mounting is not None]
        assert all(mounting.fits for mounting in mounted)
    told = why(answer(STEEL, flutter_mm=40.0), "thickness-laser")
    assert told.code == "does-not-fit"


def test_lanes_nearer_than_a_head_is_wide_have_no_room_for_it():
    found = answer(PAPER, lanes=2, lane_pitch_mm=15.0)
    assert named(found)
    assert all(CLASSES[name].housing.width_mm <= 15.0 for name in named(found))
    told = why(found, "ultrasonic-300k")
    assert (told.code, told.values) == ("no-room-beside", {"pitch_mm": 15.0, "width_mm": 18.0})
    # As wide as a head, they stand side by side; one lane has no neighbour.
    assert "ultrasonic-300k" in named(answer(PAPER, lanes=2, lane_pitch_mm=18.0))
    assert "ultrasonic-300k" in named(answer(PAPER, lanes=1, lane_pitch_mm=15.0))


def only(class_id, **line):
    found = recommend(
        Job(sheets=(PAPER,), classes=(class_id,), line=Line(**line)), catalogue=CATALOGUE, library=LIBRARY
    )
    return found.recommendations[0]


def test_a_beam_over_the_sheets_edge_is_for_a_trial():
    free = only("ultrasonic-400k")
    (setup,) = free.setups
    least = setup.mounting.distances.edge_least_mm
    assert (free.verdict, only("ultrasonic-400k", edge_distance_mm=least).verdict) == ("suitable", "suitable")
    # A little nearer, the pair stands nearer to the sheet, where its beam is narrower.
    nearer = only("ultrasonic-400k", edge_distance_mm=least - 0.03)
    assert nearer.verdict == "suitable"
    assert nearer.setups[0].geometry.gap_mm.max < setup.geometry.gap_mm.nominal
    over = only("ultrasonic-400k", edge_distance_mm=3.0)
    assert over.verdict == "trial-needed"
    (told,) = (note for note in over.reasons if note.code == "beam-over-edge")
    assert told.values["edge_mm"] == 3.0 < told.values["least_mm"]
    assert over.setups[0].mounting.distances.edge_least_mm == pytest.approx(told.values["least_mm"], abs=0.05)
    assert over.sheets == free.sheets


EDGE = ("beam-over-edge", "edge-in-reach")


@pytest.mark.parametrize("class_id", ["ultrasonic-180k", "capacitive-200k"])
def test_a_sheet_narrower_than_what_is_sensed_is_for_a_trial(class_id):
    """Of a sheet whose width is told the axis is at most half of it from an edge."""
    for line in ({"sheet_width_mm": 12.0}, {"sheet_width_mm": 400.0, "edge_distance_mm": 6.0}):
        narrow = only(class_id, **line)
        (told,) = (note for note in narrow.reasons if note.code in EDGE)
        assert told.values["edge_mm"] == 6.0 < told.values["least_mm"]
        assert narrow.verdict == "trial-needed"
    assert not any(note.code in EDGE for note in only(class_id, sheet_width_mm=400.0).reasons)


@pytest.mark.parametrize(
    ("class_id", "reach_mm"),
    [
        ("capacitive-200k", 20.0),
        ("eddy-current-10k", 12.5 + 15.0),
        ("eddy-current-one-sided-1k", 12.5 + 0.5),
        ("optical-850", 5.0),
        ("thickness-roller", 5.0),
        ("thickness-laser", 0.25),
    ],
)
def test_how_far_a_class_without_a_beam_of_sound_senses(class_id, reach_mm):
    c = CLASSES[class_id]
    gap_mm = 1.0 if c.principle == "eddy-current-one-sided" else 30.0
    assert principle_of(c).reach_mm(c.parameters, gap_mm=gap_mm) == pytest.approx(reach_mm)
