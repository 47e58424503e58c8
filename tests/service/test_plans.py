"""Plans: each class by itself, the fewest for a list, and why the others are left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin.contract.job import Double, Line, Require, Targets
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.mounting import Window
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.selection import plans
from sheetmargin_service.selection.bands import choose_bands
from sheetmargin_service.selection.class_result import distributions_at
from sheetmargin_service.selection.configured_pair import build_configured_pair
from sheetmargin_service.selection.list_cover.candidates import profile_of
from sheetmargin_service.selection.list_cover.options import list_of
from sheetmargin_service.selection.plans import plans_for_list, plans_for_sheet
from sheetmargin_service.selection.ranking import Plan, ranked
from sheetmargin_service.selection.search import Choice
from sheetmargin_service.selection.slack import alignment_of, too_narrow
from sheetmargin_service.selection.targets import ORDER
from sheetmargin_service.selection.why_not import unfit, why_not
from support.class_results import class_results
from support.principle_cases import class_model

PAPER = SheetSpec(material="copy-paper", grammage_gsm=80.0)
LIGHT = SheetSpec(material="offset-paper", grammage_gsm=90.0)
CARD = SheetSpec(material="pvc-rigid", thickness_um=760.0)
BOARD = SheetSpec(material="coated-board", grammage_gsm=250.0)
FILM = SheetSpec(material="pet", thickness_um=12.0)
FOIL = SheetSpec(material="aluminium-foil", thickness_um=7.0)


SOUND = {"principles": ("ultrasonic",)}
CLINGING = Targets(double_as_single=20_000.0)
"""More doubles passed than there are cards that cling to each other, which no set-up tells from one."""


def plans_of(*sheets, **job):
    """Plans for a list, the best first."""
    return ranked(plans_for_list(class_results(*sheets, **job))[0])


def refused(*sheets, **job):
    """Why classes without a plan have none."""
    return plans_for_list(class_results(*sheets, **job))[1]


def test_one_sheet_has_one_plan_a_class_or_a_reason():
    found = class_results(PAPER, **SOUND)
    each = plans_for_sheet(found)
    assert len(each) == len(found)
    assert {type(p) for p in each} == {Plan, Fact}
    for place, plan in zip(found, each, strict=True):
        if isinstance(plan, Plan):
            assert [st.class_result.detector_class.id for st in plan.configured_pairs] == [place.detector_class.id]


def test_a_list_that_one_band_holds_is_one_configured_pair():
    best = plans_of(PAPER, LIGHT, **SOUND)[0]
    assert len(best.configured_pairs) == 1
    assert sorted(best.configured_pairs[0].served) == [0, 1]


def test_a_list_that_no_band_holds_has_two_profiles_on_one_pair():
    job = {"classes": ("ultrasonic-300k",), "line": Line(max_tilt_deg=10.0), "targets": CLINGING}
    best = plans_of(PAPER, CARD, **job)[0]
    assert [st.class_result.detector_class.id for st in best.configured_pairs] == ["ultrasonic-300k"] * 2
    assert len({st.choice.setting for st in best.configured_pairs}) == 1
    assert (
        best.configured_pairs[0].high < best.configured_pairs[1].low
        or best.configured_pairs[0].high != best.configured_pairs[1].high
    )


def test_what_no_class_serves_is_left_out_with_its_reason():
    best = plans_of(PAPER, FILM, **SOUND)[0]
    assert sorted(i for st in best.configured_pairs for i in st.served) == [0]
    assert best.left_out[1].code == "one-looks-like-two"
    assert best.left_out[1].values["detector_class"]


def test_each_sheet_is_served_once_or_left_out():
    for plan in plans_of(PAPER, CARD, FILM, BOARD, **SOUND):
        served = [i for st in plan.configured_pairs for i in st.served]
        assert sorted([*served, *plan.left_out]) == [0, 1, 2, 3]


def test_a_position_of_its_own_is_settled_for_its_sheets():
    """A class that stands in one position for a list stands as well as it would for those sheets alone: within a
    step of the greatest margin."""
    best = plans_of(BOARD, FOIL, require=Require(contactless=True))[0]
    assert len({st.class_result.detector_class.id for st in best.configured_pairs}) == 2
    for st in best.configured_pairs:
        signal_tables = [st.class_result.signal_tables[i] for i in st.served]
        worst = choose_bands(
            signal_tables, st.class_result.class_model.receiver, step=st.class_result.principle.band_step
        ).worst
        assert worst[st.choice.setting] >= np.max(worst[st.class_result.allowed]) - st.class_result.principle.band_step


def test_ways_are_in_order_and_serve_someone():
    listed = list_of(class_results(PAPER, CARD, classes=("ultrasonic-300k",))[0])
    c = listed.candidates
    ids = list(zip(c.classes, c.positions, c.profiles, strict=True))
    assert ids == sorted(ids)
    assert np.all(np.isfinite(c.margin).any(axis=1))
    assert np.all(c.margin[np.isfinite(c.margin)] > 0.0)
    for way, profile in zip(listed.options, c.profiles, strict=True):
        assert profile == profile_of(*way.band)


def test_a_class_that_serves_none_says_why_at_the_nearest():
    fact = refused(FILM, PAPER, **SOUND)["ultrasonic-75k-high-output"]
    assert fact.code == "overload"
    assert fact.values["sheet"] in (0, 1)


def test_what_no_class_serves_is_told_of_the_class_that_comes_nearest():
    """The same reason in every plan, whatever its own classes say of the sheet."""
    facts = [plan.left_out[0] for plan in plans_of(FILM, PAPER, **SOUND)]
    assert len(facts) > 1
    assert all(fact == facts[0] for fact in facts)
    assert facts[0].code in ("one-looks-like-two", "narrow-band", "target-missed")


def test_a_sheet_that_nothing_senses_says_so():
    assert plans_of(PAPER, FOIL, principles=("capacitive",))[0].left_out[1].code == "conductive-sheet"


def test_a_plan_tells_its_own_classes_reason_where_another_class_serves_the_sheet():
    for plan in plans_of(PAPER, FOIL):
        if 1 in plan.left_out and {st.class_result.principle.id for st in plan.configured_pairs} == {"capacitive"}:
            assert plan.left_out[1].code == "conductive-sheet"
            return
    raise AssertionError("no capacitive class serves the paper by itself")


def test_before_a_large_catalogue_a_long_list_asks_the_nearest_classes(monkeypatch):
    """No sheet loses the class that comes nearest to it; the others are told as not needed."""
    whole = plans_of(PAPER, FOIL)
    monkeypatch.setattr(plans, "MOST_LOOKED_AT", 4)
    few, failed = plans_for_list(class_results(PAPER, FOIL))
    assert ranked(few)[0].left_out.keys() == whole[0].left_out.keys()
    assert len(few) < len(whole)
    assert "not-needed" in {fact.code for fact in failed.values()}


def test_counted_plies_that_fail_say_why():
    """What stops the class, not how many plies it would tell."""
    form = SheetSpec(material="copy-paper", grammage_gsm=80.0, plies=5, double=Double(kind="one-ply-more"))
    (fact,) = plans_for_sheet(class_results(form, classes=("ultrasonic-300k",)))
    assert isinstance(fact, Fact)
    assert fact.code == "below-noise"
    assert fact.values["single_p99"] > fact.values["highest_edge"]


@pytest.mark.parametrize("keep_sequence", [False, True])
def test_an_ordered_list_serves_the_same_sheets(keep_sequence):
    found = plans_of(PAPER, CARD, LIGHT, keep_sequence=keep_sequence, **SOUND)
    assert sorted(i for st in found[0].configured_pairs for i in st.served) == [0, 1, 2]


def test_a_gated_pair_stands_clear_of_its_own_echo():
    """Twice the way from a face to the sheet takes sound 39 us at 6.7 mm in air of 20 to 25 degrees, and the least gap
    of the class leaves it; a steady tone has no gate to wait for."""
    gated, steady = class_results(PAPER, classes=("ultrasonic-180k", "ultrasonic-220k-continuous"))
    least = gated.space.face_to_sheet_min_mm
    assert least == pytest.approx(6.7, abs=0.1)
    assert gated.class_model.settings.gap_mm[gated.allowed].min() >= 2.0 * least
    assert steady.space.face_to_sheet_min_mm == 0.0
    assert steady.class_model.settings.gap_mm[steady.allowed].min() == steady.class_model.settings.gap_mm.min()


def test_a_gated_pair_off_the_middle_keeps_its_nearer_face_clear_of_the_echo():
    tight = Line(clearance_above_mm=45.0, clearance_below_mm=6.0, body_through_frame=True)
    plan = plans_for_sheet(class_results(PAPER, classes=("ultrasonic-300k",), line=tight))[0]
    assert isinstance(plan, Plan)
    mounting = plan.configured_pairs[0].mounting
    assert mounting is not None
    assert mounting.fits
    nearest = min(mounting.emitter_to_sheet_mm, mounting.receiver_to_sheet_mm)
    assert nearest >= plan.configured_pairs[0].class_result.space.face_to_sheet_min_mm > 4.0


@pytest.mark.parametrize(
    ("tilt", "gap", "settable"),
    [
        ((44.0, 45.0, 45.0), (30.0, 40.0, 50.0), False),
        ((18.0, 20.0, 22.0), (30.0, 40.0, 50.0), True),
        ((19.0, 20.0, 30.0), (30.0, 40.0, 50.0), False),  # a degree below, of the two that aligning leaves
        ((10.0, 20.0, 21.0), (30.0, 40.0, 50.0), False),
        ((0.0, 0.0, 2.5), (30.0, 40.0, 50.0), True),  # it may lean either way
        ((0.0, 1.0, 5.0), (30.0, 40.0, 50.0), True),
        ((0.0, 0.0, 1.5), (30.0, 40.0, 50.0), False),
        ((0.0, 0.0, 0.0), (30.0, 40.0, 50.0), False),
        ((18.0, 20.0, 22.0), (40.0, 40.0, 40.0), False),
        ((18.0, 20.0, 22.0), (40.0, 40.0, 50.0), False),
        ((18.0, 20.0, 22.0), (30.0, 40.0, 40.5), False),
        ((18.0, 20.0, 22.0), (39.0, 40.0, 41.0), True),
    ],
)
def test_a_setting_keeps_what_setting_leaves_from_the_ends_of_its_window(tilt, gap, settable):
    class_result = class_results(PAPER, classes=("ultrasonic-300k",))[0]
    windows = [Window(min=low, nominal=at, max=high) for low, at, high in (gap, tilt)]
    choice = Choice(setting=0, gap=windows[0], tilt=windows[1])
    fact = too_narrow(class_result, choice, alignment_of(class_result, choice))
    assert (fact is None) == settable
    if fact is not None:
        assert fact.values["tilt_left_deg"] == pytest.approx(1.6, abs=0.2)


def test_a_gap_that_a_bracket_gives_is_not_set():
    class_result = class_results(PAPER, classes=("capacitive-200k",))[0]
    at = Window(min=3.0, nominal=3.0, max=3.0)
    choice = Choice(setting=0, gap=at, tilt=None)
    assert too_narrow(class_result, choice, alignment_of(class_result, choice)) is None


def test_a_pair_of_one_gap_and_one_that_is_kept_square_are_not_set_in_these():
    at = Window(min=40.0, nominal=40.0, max=40.0)
    wide, square = Window(min=18.0, nominal=20.0, max=22.0), Window(min=0.0, nominal=0.0, max=0.0)
    class_result = class_results(PAPER, classes=("ultrasonic-300k",))[0]
    fixed = replace(class_result, class_model=class_model("ultrasonic-300k", gap_min_mm=40.0, gap_max_mm=40.0))
    choice = Choice(setting=0, gap=at, tilt=wide)
    assert too_narrow(fixed, choice, alignment_of(fixed, choice)) is None
    assert too_narrow(class_result, choice, alignment_of(class_result, choice)) is not None
    kept = class_results(PAPER, classes=("ultrasonic-300k",), line=Line(max_tilt_deg=2.0))[0]
    choice = Choice(setting=0, gap=Window(min=30.0, nominal=40.0, max=50.0), tilt=square)
    assert too_narrow(kept, choice, alignment_of(kept, choice)) is None


EVERY_KIND = [
    PAPER,
    CARD,
    BOARD,
    SheetSpec(material="coated-paper", grammage_gsm=135.0),
    SheetSpec(material="steel", thickness_um=800.0),
    SheetSpec(material="polycarbonate", thickness_um=1000.0),
]


@pytest.mark.parametrize("line", [Line(), Line(clearance_above_mm=18.0, clearance_below_mm=25.0)])
@pytest.mark.parametrize("spec", EVERY_KIND, ids=lambda spec: spec.material)
def test_what_is_suitable_can_be_set_by_hand(spec, line):
    """Pairs whose gap and tilt are set: as their windows are told, and within what is searched."""
    for plan in plans_for_sheet(class_results(spec, line=line, **SOUND)):
        if isinstance(plan, Plan) and plan.verdict == "suitable":
            configured_pair = plan.configured_pairs[0]
            s, room = configured_pair.class_result.class_model.settings, configured_pair.choice.room
            gap, tilt = configured_pair.choice.gap.nominal, configured_pair.choice.tilt.nominal
            if len(set(s.gap_mm)) > 1:  # the gap of heads on one bracket is not set
                assert room.gap_mm >= 1.0
                assert s.gap_mm.min() + 1.0 <= gap <= s.gap_mm.max() - 1.0
            assert room.tilt_deg >= configured_pair.alignment.angle_deg_1db
            assert tilt <= s.tilt_deg.max() - configured_pair.alignment.angle_deg_1db


@pytest.mark.parametrize(
    ("spec", "name"),
    [
        (PAPER, "ultrasonic-120k"),
        (SheetSpec(material="steel", thickness_um=800.0), "eddy-current-1k"),
        (SheetSpec(material="aluminium", thickness_um=130.0), "eddy-current-one-sided-1k"),
        (SheetSpec(material="aluminium", thickness_um=150.0), "eddy-current-one-sided-1k"),
        (SheetSpec(material="steel", thickness_um=800.0), "ultrasonic-180k-high-output"),
    ],
)
def test_no_setting_that_is_suitable_is_missed(spec, name):
    """Every setting looked at in full: where one is suitable, so is the one that was found."""
    (class_result,) = class_results(spec, classes=(name,))
    everywhere = [at for at in range(len(class_result.class_model.settings.gap_mm)) if class_result.allowed[at]]
    every = distributions_at([(class_result, at, [0]) for at in everywhere])
    verdicts = [
        build_configured_pair(class_result, at, distributions).served[0].judgement.verdict
        for at, distributions in zip(everywhere, every, strict=True)
    ]
    assert "suitable" in verdicts
    (plan,) = plans_for_sheet([class_result])
    assert isinstance(plan, Plan)
    assert plan.verdict == "suitable"


STEEL = SheetSpec(material="steel", thickness_um=800.0)


@pytest.mark.parametrize(
    "spec",
    [SheetSpec(material="greyboard", thickness_um=800.0), SheetSpec(material="coated-paper", grammage_gsm=135.0)],
)
def test_a_calmer_sheet_gets_no_worse_a_verdict(spec):
    for calm, wild in zip(
        plans_for_sheet(class_results(spec, line=Line(flutter_mm=0.0, flutter_deg=0.0))),
        plans_for_sheet(class_results(spec, line=Line(flutter_mm=1.0, flutter_deg=1.0))),
        strict=True,
    ):
        verdicts = [plan.verdict if isinstance(plan, Plan) else "unsuitable" for plan in (calm, wild)]
        assert ORDER[verdicts[0]] <= ORDER[verdicts[1]]


def test_a_line_at_a_walk_is_no_worse_than_one_at_a_run():
    stream = {"sheet_length_mm": 500.0, "sheet_spacing_mm": 100.0}
    slow, fast = (
        plans_for_sheet(class_results(STEEL, line=Line(speed_m_per_min=speed, **stream))) for speed in (1.0, 10.0)
    )
    for one, other in zip(slow, fast, strict=True):
        verdicts = [plan.verdict if isinstance(plan, Plan) else "unsuitable" for plan in (one, other)]
        assert ORDER[verdicts[0]] <= ORDER[verdicts[1]]


STRICT = Targets(double_as_single=10.0, single_as_double=10.0)


TISSUE = SheetSpec(material="tissue", grammage_gsm=18.0)
FIBREBOARD = SheetSpec(material="mdf", thickness_um=3000.0)
FEW_STOPS = Targets(single_as_double=10.0)


@pytest.mark.parametrize("keep_sequence", [False, True])
@pytest.mark.parametrize(
    "sheets",
    [
        (TISSUE, FIBREBOARD),
        (
            SheetSpec(material="offset-paper", grammage_gsm=150.0),
            STEEL,
            SheetSpec(material="folding-boxboard", grammage_gsm=300.0),
        ),
    ],
)
def test_what_a_class_serves_alone_it_serves_in_a_list(sheets, keep_sequence):
    """Found to first order, or with less margin than none: a sheet of a list is looked at as it is when asked alone."""
    by_trial = 0
    for class_result in class_results(*sheets, targets=FEW_STOPS, keep_sequence=keep_sequence):
        plans, _ = plans_for_list([class_result])
        served = {i for plan in plans for pair in plan.configured_pairs for i in pair.served}
        for i, spec in enumerate(sheets):
            alone = class_results(spec, classes=(class_result.detector_class.id,), targets=FEW_STOPS)
            (plan,) = plans_for_sheet(alone) if alone else (None,)
            assert i in served or not isinstance(plan, Plan), (class_result.detector_class.id, i)
            by_trial += isinstance(plan, Plan) and plan.verdict == "trial-needed"
    assert by_trial > 0


@pytest.mark.parametrize("keep_sequence", [False, True])
def test_what_another_class_would_serve_is_not_left_out(keep_sequence):
    """A sheet that the best plan leaves out is served by no class asked for it alone."""
    job = {"targets": STRICT, "keep_sequence": keep_sequence, **SOUND}
    for index in plans_of(PAPER, CARD, BOARD, FILM, **job)[0].left_out:
        alone = class_results((PAPER, CARD, BOARD, FILM)[index], targets=STRICT, **SOUND)
        assert {type(plan) for plan in plans_for_sheet(alone)} == {Fact}


def test_sheets_that_no_band_holds_have_one_each_in_the_same_position():
    job = {"classes": ("ultrasonic-300k",), "line": Line(max_tilt_deg=10.0), "targets": CLINGING}
    best = plans_of(SheetSpec(material="bible-paper", grammage_gsm=40.0), CARD, **job)[0].configured_pairs[0]
    distributions = distributions_at([(best.class_result, best.choice.setting, [0, 1])])[0]
    assert unfit(build_configured_pair(best.class_result, best.choice.setting, distributions))
    configured_pairs, failed = plans._configured_pairs(best.class_result, best.choice.setting, distributions, {})
    assert sorted(i for st in configured_pairs for i in st.served) == [0, 1]
    assert not failed
    assert len({(st.low, st.high) for st in configured_pairs}) == 2


def test_a_sheet_alone_has_no_band_to_share():
    """A band of its own that it crosses misses a target: no other sheet's band is in its way."""
    (class_result,) = class_results(PAPER, classes=("ultrasonic-300k",))
    at = int(np.flatnonzero(class_result.allowed)[0])
    (distributions,) = distributions_at([(class_result, at, [0])])
    pair = build_configured_pair(class_result, at, distributions, band=(15, 38))
    assert unfit(pair) == [0]
    assert pair.served[0].worst < 0.0
    assert why_not(pair, 0).code == "target-missed"
