"""Plans: each class by itself, the fewest for a list, and why the others are left out."""

from __future__ import annotations

import numpy as np
import pytest
from sheetmargin_service.detectors.catalogue import reference_catalogue
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.spec import DoubleSpec, SheetSpec
from sheetmargin_service.prediction.principles.base import Fact
from sheetmargin_service.selection import plans
from sheetmargin_service.selection.admission import admitted
from sheetmargin_service.selection.answer import Window
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.defaults import conditions_of
from sheetmargin_service.selection.job import Job, Line, Require, Targets
from sheetmargin_service.selection.listing import list_of
from sheetmargin_service.selection.plans import nearest_miss, plans_for_list, plans_for_sheet, posts_of, unused
from sheetmargin_service.selection.ranking import Plan, ranked
from sheetmargin_service.selection.search import Choice
from sheetmargin_service.selection.stations import Question, alignment_of, build_station, details_at, too_narrow, unfit
from sheetmargin_service.selection.targets import targets_of

CATALOGUE, LIBRARY = reference_catalogue(), load_library()
PAPER = SheetSpec(material="copy-paper", grammage_gsm=80.0)
LIGHT = SheetSpec(material="offset-paper", grammage_gsm=90.0)
CARD = SheetSpec(material="pvc-rigid", thickness_um=760.0)
BOARD = SheetSpec(material="coated-board", grammage_gsm=250.0)
FILM = SheetSpec(material="pet", thickness_um=12.0)
FOIL = SheetSpec(material="aluminium", thickness_um=7.0)


def posts(*sheets, **job):
    asked = Job(sheets=sheets, **job)
    conditions, _ = conditions_of(asked)
    targets, _ = targets_of(asked.targets)
    resolved = tuple(resolve_sheet(s, LIBRARY) for s in sheets)
    question = Question(job=asked, sheets=resolved, conditions=conditions, targets=targets)
    return [p for p in posts_of(question, admitted(asked, CATALOGUE)) if not isinstance(p, Fact)]


SOUND = {"principles": ("ultrasonic",)}


def test_one_sheet_has_one_plan_a_class_or_a_reason():
    found = posts(PAPER, **SOUND)
    each = plans_for_sheet(found)
    assert len(each) == len(found)
    assert {type(p) for p in each} == {Plan, Fact}
    for place, plan in zip(found, each, strict=True):
        if isinstance(plan, Plan):
            assert [st.post.detector_class.id for st in plan.stations] == [place.detector_class.id]


def test_a_list_that_one_band_holds_is_one_station():
    best = ranked(plans_for_list(posts(PAPER, LIGHT, **SOUND)))[0]
    assert len(best.stations) == 1
    assert sorted(best.stations[0].served) == [0, 1]


def test_a_list_that_no_band_holds_has_two_profiles_on_one_pair():
    job = {"classes": ("ultrasonic-300k",), "line": Line(max_tilt_deg=10.0)}
    best = plans_for_list(posts(PAPER, CARD, **job))[0]
    assert [st.post.detector_class.id for st in best.stations] == ["ultrasonic-300k"] * 2
    assert len({st.choice.setting for st in best.stations}) == 1
    assert best.stations[0].high < best.stations[1].low or best.stations[0].high != best.stations[1].high


def test_what_no_class_serves_is_left_out_with_its_reason():
    best = plans_for_list(posts(PAPER, FILM, **SOUND))[0]
    assert sorted(i for st in best.stations for i in st.served) == [0]
    assert best.left_out[1].code == "one-looks-like-two"
    assert best.left_out[1].values["detector_class"]


def test_each_sheet_is_served_once_or_left_out():
    for plan in plans_for_list(posts(PAPER, CARD, FILM, BOARD, **SOUND)):
        served = [i for st in plan.stations for i in st.served]
        assert sorted([*served, *plan.left_out]) == [0, 1, 2, 3]


def test_a_position_of_its_own_is_settled_for_its_sheets():
    """A class that stands in one position for a list stands as well as it would for those sheets alone: within a
    step of the greatest margin."""
    found = posts(BOARD, FOIL, require=Require(contactless=True))
    best = ranked(plans_for_list(found))[0]
    assert len({st.post.detector_class.id for st in best.stations}) == 2
    for st in best.stations:
        surveys = [st.post.surveys[i] for i in st.served]
        worst = choose_bands(surveys, st.post.bench.receiver, step=st.post.principle.band_step).worst
        assert worst[st.choice.setting] >= np.max(worst[st.post.allowed]) - st.post.principle.band_step


def test_margins_of_several_principles_are_listed_in_spreads():
    one = list_of(posts(BOARD, CARD, **SOUND)).candidates.margin
    several = list_of(posts(BOARD, CARD, require=Require(contactless=True))).candidates.margin
    assert np.max(several[np.isfinite(several)]) < 10.0
    assert np.max(one[np.isfinite(one)]) > 2.0


def test_ways_are_in_order_and_serve_someone():
    listed = list_of(posts(PAPER, CARD, **SOUND))
    c = listed.candidates
    ids = list(zip(c.classes, c.positions, c.profiles, strict=True))
    assert ids == sorted(ids)
    assert np.all(np.isfinite(c.margin).any(axis=1))
    assert np.all(c.margin[np.isfinite(c.margin)] > 0.0)
    for way, profile in zip(listed.ways, c.profiles, strict=True):
        assert profile == f"{int(way.band[0]):06d}-{int(way.band[1]):06d}"


def test_a_class_that_could_serve_is_not_needed_rather_than_at_fault():
    """Its reason is no failure: it would serve by itself."""
    places = {p.detector_class.id: p for p in posts(PAPER, BOARD, **SOUND)}
    fact = unused(places["ultrasonic-400k"])
    assert fact.code == "not-needed"
    assert fact.values["of"] == 2
    assert fact.values["sheets"] >= 1


def test_a_class_that_serves_none_says_why_at_the_nearest():
    places = {p.detector_class.id: p for p in posts(FILM, PAPER, **SOUND)}
    fact = unused(places["ultrasonic-180k-high-output"])
    assert fact.code == "overload"
    assert fact.values["sheet"] in (0, 1)


def test_the_nearest_miss_is_the_nearest():
    """Of two classes, the one with the greater margin, even though it is below zero."""
    found = posts(FILM, PAPER, **SOUND)
    assert nearest_miss(found, 0).code in ("one-looks-like-two", "narrow-band")
    by_class = {p.detector_class.id: nearest_miss([p], 0) for p in found}
    assert nearest_miss(found, 0) in by_class.values()


def test_a_sheet_that_nothing_senses_says_so():
    assert nearest_miss(posts(PAPER, FOIL, principles=("capacitive",)), 1).code == "conductive-sheet"


def test_counted_plies_that_fail_say_why():
    """What stops the class, not how many plies it would tell."""
    form = SheetSpec(material="copy-paper", grammage_gsm=80.0, plies=5, double=DoubleSpec(kind="one-ply-more"))
    (fact,) = plans_for_sheet(posts(form, classes=("ultrasonic-300k",)))
    assert isinstance(fact, Fact)
    assert fact.code == "below-noise"
    assert fact.values["single_p99"] > fact.values["highest_edge"]


@pytest.mark.parametrize("ordered", [False, True])
def test_an_ordered_list_serves_the_same_sheets(ordered):
    found = plans_for_list(posts(PAPER, CARD, LIGHT, ordered=ordered, **SOUND))
    assert sorted(i for st in found[0].stations for i in st.served) == [0, 1, 2]


def test_a_gated_pair_stands_clear_of_its_own_echo():
    """Twice the way from a face to the sheet takes sound 100 us at 17.2 mm in air of 20 to 25 degrees; a steady tone
    has no gate to wait for."""
    gated, steady = posts(PAPER, classes=("ultrasonic-180k", "ultrasonic-220k-continuous"))
    least = gated.place.face_to_sheet_min_mm
    assert least == pytest.approx(17.2, abs=0.2)
    assert gated.bench.settings.gap_mm[gated.allowed].min() >= 2.0 * least
    assert gated.bench.settings.gap_mm.min() < 2.0 * least
    assert steady.place.face_to_sheet_min_mm == 0.0
    assert steady.bench.settings.gap_mm[steady.allowed].min() == steady.bench.settings.gap_mm.min()


def test_a_gated_pair_off_the_middle_keeps_its_nearer_face_clear_of_the_echo():
    tight = Line(clearance_above_mm=45.0, clearance_below_mm=24.0, body_through_frame=True)
    plan = plans_for_sheet(posts(PAPER, classes=("ultrasonic-300k",), line=tight))[0]
    assert isinstance(plan, Plan)
    mounting = plan.stations[0].mounting
    assert mounting is not None
    assert mounting.fits
    nearest = min(mounting.emitter_to_sheet_mm, mounting.receiver_to_sheet_mm)
    assert nearest >= plan.stations[0].post.place.face_to_sheet_min_mm > 10.0


@pytest.mark.parametrize(
    ("tilt", "gap", "settable"),
    [
        ((44.0, 45.0, 45.0), (30.0, 40.0, 50.0), False),  # a degree in all, of the two that aligning leaves
        ((18.0, 20.0, 22.0), (30.0, 40.0, 50.0), True),
        ((0.0, 0.0, 1.5), (30.0, 40.0, 50.0), True),  # three degrees: it may lean either way
        ((0.0, 0.0, 0.0), (30.0, 40.0, 50.0), False),
        ((18.0, 20.0, 22.0), (40.0, 40.0, 40.0), False),
    ],
)
def test_a_window_must_be_as_wide_as_what_setting_leaves(tilt, gap, settable):
    post = posts(PAPER, classes=("ultrasonic-300k",))[0]
    windows = [Window(min=low, nominal=at, max=high) for low, at, high in (gap, tilt)]
    choice = Choice(setting=0, gap=windows[0], tilt=windows[1])
    fact = too_narrow(post, choice, alignment_of(post, choice))
    assert (fact is None) == settable
    if fact is not None:
        assert fact.values["tilt_left_deg"] == pytest.approx(1.9, abs=0.2)


def test_a_gap_that_a_bracket_gives_is_not_set():
    post = posts(PAPER, classes=("capacitive-200k",))[0]
    at = Window(min=3.0, nominal=3.0, max=3.0)
    choice = Choice(setting=0, gap=at, tilt=None)
    assert too_narrow(post, choice, alignment_of(post, choice)) is None


STRICT = Targets(double_as_single=10.0, single_as_double=10.0)


@pytest.mark.parametrize("ordered", [False, True])
def test_what_another_class_would_serve_is_not_left_out(ordered, monkeypatch):
    """Found to first order, one class serves all; in full a sheet misses its target there, and has another pair."""
    found = posts(PAPER, CARD, BOARD, targets=STRICT, ordered=ordered, **SOUND)
    left_out = plans_for_list(found)[0].left_out
    for index in left_out:
        alone = posts((PAPER, CARD, BOARD)[index], targets=STRICT, **SOUND)
        assert {type(plan) for plan in plans_for_sheet(alone)} == {Fact}
    monkeypatch.setattr(plans, "MOST_AGAIN", 0)
    assert set(plans_for_list(found)[0].left_out) > set(left_out)


def test_sheets_that_no_band_holds_have_one_each_in_the_same_position():
    job = {"classes": ("ultrasonic-300k",), "line": Line(max_tilt_deg=10.0)}
    best = plans_for_list(posts(PAPER, CARD, **job))[0].stations[0]
    details = details_at([(best.post, best.choice.setting, [0, 1])])[0]
    assert unfit(build_station(best.post, best.choice.setting, details))
    stations, failed = plans._stations(best.post, best.choice.setting, details)
    assert sorted(i for st in stations for i in st.served) == [0, 1]
    assert not failed
    assert len({(st.low, st.high) for st in stations}) == 2
