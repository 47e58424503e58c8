"""The best setting of one class, and how far it may move."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from sheetmargin_service.principles.protocol import Spread
from sheetmargin_service.principles.ultrasonic.spreads import GRID
from sheetmargin_service.selection.bands import choose_bands, margins
from sheetmargin_service.selection.search import NO_SLACK, Search, Sharing, Slack, choice_at, receiver_at
from support.principle_cases import CONDITIONS, class_model, sheet
from support.stand_in_model import StandIn

MADE = StandIn()
ALL = np.ones(MADE.count, dtype=bool)


def at(gap_mm, tilt_deg):
    s = MADE.settings
    return int(np.flatnonzero((s.gap_mm == gap_mm) & (s.tilt_deg == tilt_deg))[0])


def two_with_contrast(**by_setting):
    """Two sheets 20 dB above one at 40 dB, and more at some settings ('g40t10': 30)."""
    contrast = np.full(MADE.count, 20.0)
    for name, value in by_setting.items():
        gap, tilt = name[1:].split("t")
        contrast[at(float(gap), float(tilt))] = value
    return MADE.signal_table(single=40.0, double=40.0 + contrast)


def search(made, *groups, allowed, slack=NO_SLACK):
    """The settings for groups of surveys, a band for each."""
    sharing = tuple(Sharing(signal_tables=group, receiver=made.receiver, step=1) for group in groups)
    return Search(class_model=made, groups=sharing, allowed=allowed, step=1, slack=slack)


def chosen(made, signal_tables, *, allowed, slack=NO_SLACK):
    """The best setting for sheets in one band, and how far it may move."""
    found = search(made, signal_tables, allowed=allowed, slack=slack)
    bands = found.groups[0].whole
    band = float(bands.low[found.best]), float(bands.high[found.best])
    return choice_at(made, signal_tables, found.best, allowed=allowed, band=band)


def test_the_greatest_margin_wins():
    choice = chosen(MADE, {0: two_with_contrast(g50t20=40.0)}, allowed=ALL)
    assert choice.setting == at(50.0, 20.0)


def test_among_equals_no_tilt_and_the_middle_of_the_gaps():
    choice = chosen(MADE, {0: two_with_contrast()}, allowed=ALL)
    assert choice.setting == at(40.0, 0.0)


def test_nearly_equal_gives_way_to_no_tilt():
    """1.6 dB of contrast are 0.8 dB of margin, less than a step; 4 dB are more."""
    assert chosen(MADE, {0: two_with_contrast(g40t20=21.6)}, allowed=ALL).setting == at(40.0, 0.0)
    assert chosen(MADE, {0: two_with_contrast(g40t20=24.0)}, allowed=ALL).setting == at(40.0, 20.0)


def test_only_what_is_allowed_is_chosen():
    allowed = MADE.settings.gap_mm == 20.0
    choice = chosen(MADE, {0: two_with_contrast(g50t20=40.0)}, allowed=allowed)
    assert MADE.settings.gap_mm[choice.setting] == 20.0


def test_the_worst_sheet_decides():
    signal_tables = {0: two_with_contrast(g20t0=60.0), 1: two_with_contrast(g60t0=40.0, g20t0=10.0)}
    choice = chosen(MADE, signal_tables, allowed=ALL)
    assert choice.setting != at(20.0, 0.0)


def test_groups_have_bands_of_their_own():
    """Light and heavy stock share no band; with a band each, the setting that suits both is found."""
    light = MADE.signal_table(single=30.0, double=np.where(ALL, 50.0, 0.0))
    heavy = MADE.signal_table(single=60.0, double=np.where(MADE.settings.gap_mm == 30.0, 90.0, 75.0))
    shared = search(MADE, {0: light}, {1: heavy}, allowed=ALL).best
    together = choose_bands([light, heavy], MADE.receiver, step=1).worst[shared]
    apart = [choose_bands([s], MADE.receiver, step=1).worst[shared] for s in (light, heavy)]
    assert together < 0.0 < min(apart)


def peaked(gap_mm=40.0, tilt_deg=0.0, *, by_mm=0.0, by_deg=0.0, made=MADE, contrast=30.0):
    """Two sheets that stand out most at one place, and so much less by the mm and the degree away from it."""
    s = made.settings
    fall = by_mm * np.abs(s.gap_mm - gap_mm) + by_deg * np.abs(s.tilt_deg - tilt_deg)
    return made.signal_table(single=40.0, double=40.0 + np.maximum(contrast - fall, 0.0))


FINE = StandIn(gaps_mm=(20.0, 25.0, 30.0, 35.0, 40.0), tilts_deg=tuple(np.arange(0.0, 50.0, 5.0)))
ANYWHERE = np.ones(FINE.count, dtype=bool)
HAND = Slack(gap_mm=1.0, tilt_deg=2.5)


def place(made, setting):
    return float(made.settings.gap_mm[setting]), float(made.settings.tilt_deg[setting])


def test_off_square_the_middle_of_the_region_is_chosen():
    """From 20 to 40 degrees all is the same: 30, and not 20, where a little less would be too little."""
    s = FINE.settings
    good = (s.tilt_deg >= 20.0) & (s.tilt_deg <= 40.0) & (s.gap_mm >= 25.0)
    signal_table = FINE.signal_table(single=40.0, double=np.where(good, 70.0, 50.0))
    assert place(FINE, search(FINE, {0: signal_table}, allowed=ANYWHERE).best) == (30.0, 30.0)


def test_of_two_regions_the_straighter_is_chosen_and_no_gap_between_them():
    s = FINE.settings
    good = ((s.tilt_deg == 15.0) & (s.gap_mm <= 30.0)) | ((s.tilt_deg >= 30.0) & (s.tilt_deg <= 40.0))
    signal_table = FINE.signal_table(single=40.0, double=np.where(good, 70.0, 50.0))
    assert place(FINE, search(FINE, {0: signal_table}, allowed=ANYWHERE).best) == (25.0, 15.0)
    apart = (s.tilt_deg == 0.0) & (s.gap_mm != 35.0)
    signal_table = FINE.signal_table(single=40.0, double=np.where(apart, 70.0, 50.0))
    assert place(FINE, search(FINE, {0: signal_table}, allowed=ANYWHERE).best) == (25.0, 0.0)


def test_a_small_margin_is_not_given_away():
    """0.4 of 1 dB for room in the gap is no bargain; 0.4 of 10 is."""
    for contrast, best in ((10.0, 20.0), (28.0, 30.0)):
        signal_table = peaked(20.0, by_mm=0.04, contrast=contrast)
        assert MADE.settings.gap_mm[search(MADE, {0: signal_table}, allowed=ALL).best] == best, contrast


def test_hands_are_given_their_room_in_gap():
    """Best at the least gap, which is the end of every window there."""
    signal_table = peaked(20.0, by_mm=0.5, made=FINE)
    plainly, by_hand = (search(FINE, {0: signal_table}, allowed=ANYWHERE, slack=slack) for slack in (NO_SLACK, HAND))
    assert place(FINE, plainly.best) == (20.0, 0.0)
    assert place(FINE, by_hand.best) == (25.0, 0.0)
    assert not by_hand.can_be_set_at(plainly.best)


def test_hands_are_given_their_room_at_the_greatest_tilt():
    signal_table = peaked(30.0, 45.0, by_mm=0.5, by_deg=1.0, made=FINE)
    plainly, by_hand = (search(FINE, {0: signal_table}, allowed=ANYWHERE, slack=slack) for slack in (NO_SLACK, HAND))
    assert place(FINE, plainly.best) == (30.0, 45.0)
    assert place(FINE, by_hand.best) == (30.0, 40.0)


def test_square_on_is_no_end():
    """Down to where the window of tilts reaches square on, a pair may lean either way."""
    signal_table = peaked(30.0, 0.0, by_mm=0.5, by_deg=0.5, made=FINE)
    found = search(FINE, {0: signal_table}, allowed=ANYWHERE, slack=HAND)
    assert place(FINE, found.best) == (30.0, 0.0)
    choice = chosen(FINE, {0: signal_table}, allowed=ANYWHERE, slack=HAND)
    assert choice.tilt.min == choice.tilt.nominal == 0.0
    assert choice.room.tilt_deg == choice.tilt.max >= HAND.tilt_deg


def test_where_hands_have_no_room_anywhere_the_margin_decides():
    narrow = peaked(30.0, 20.0, by_mm=0.5, by_deg=8.0, made=FINE, contrast=30.0)
    found = search(FINE, {0: narrow}, allowed=ANYWHERE, slack=HAND)
    assert place(FINE, found.best) == (30.0, 20.0)
    assert not found.can_be_set


def test_a_pair_that_is_not_set_by_hand_may_stand_at_an_end():
    signal_table = peaked(20.0, by_mm=0.5, made=FINE)
    assert search(FINE, {0: signal_table}, allowed=ANYWHERE).can_be_set_at(0)


def test_what_is_tried_next_is_another_tilt_by_its_margin():
    signal_table = peaked(30.0, 20.0, by_mm=0.2, by_deg=0.5, made=FINE, contrast=40.0)
    found = search(FINE, {0: signal_table}, allowed=ANYWHERE, slack=HAND)
    tried = [place(FINE, at) for at in found.others()]
    assert place(FINE, found.best) == (30.0, 20.0)
    assert [tilt for _, tilt in tried] == [10.0, 30.0, 5.0, 35.0, 0.0, 40.0]
    flat = StandIn(tilts_deg=(0.0,), tilts=False)
    gaps = search(flat, {0: peaked(20.0, by_mm=0.2, made=flat)}, allowed=np.ones(5, dtype=bool))
    assert [place(flat, at)[0] for at in gaps.others()] == [30.0, 40.0, 50.0, 60.0]


def test_a_band_that_came_out_otherwise_moves_what_can_be_set():
    """An edge 6 dB higher than was searched leaves the window no room on one side."""
    signal_table = peaked(30.0, 0.0, by_mm=1.0, made=FINE)
    found = search(FINE, {0: signal_table}, allowed=ANYWHERE, slack=HAND)
    bands = found.groups[0].whole
    low, high = int(bands.low[found.best]), int(bands.high[found.best])
    assert found.with_band(found.best, (low, high)).can_be_set_at(found.best)
    assert not found.with_band(found.best, (low, high + 12)).can_be_set_at(found.best)


def test_a_window_ends_where_half_the_margin_is_left():
    """Two sheets fall off to both sides of 40 mm: by 6 dB in 10 mm. Margin 6, half of it gone after 5 mm."""
    fall = 0.6 * np.abs(MADE.settings.gap_mm - 40.0)
    signal_table = MADE.signal_table(single=40.0, double=60.0 - fall)
    choice = choice_at(MADE, {0: signal_table}, at(40.0, 0.0), allowed=ALL, band=(22.0, 50.0))
    assert (choice.gap.nominal, choice.gap.min, choice.gap.max) == (40.0, 35.0, 45.0)


def test_a_window_stops_at_what_is_not_allowed():
    allowed = MADE.settings.gap_mm <= 40.0
    choice = choice_at(MADE, {0: two_with_contrast()}, at(40.0, 0.0), allowed=allowed, band=(22.0, 50.0))
    assert (choice.gap.min, choice.gap.max) == (20.0, 40.0)


def test_a_window_ends_where_the_receiver_has_an_edge_no_more():
    """The lowest edge rises by 4 dB in 10 mm and passes the band's, 22 dB, half way from 40 to 50 mm."""
    receiver = replace(MADE.receiver, lowest_edge=20.0 + 0.4 * (MADE.settings.gap_mm - 40.0))
    model = SimpleNamespace(settings=MADE.settings, receiver=receiver)
    signal_table = MADE.signal_table(single=40.0, double=60.0)
    choice = choice_at(model, {0: signal_table}, at(40.0, 0.0), allowed=ALL, band=(22.0, 50.0))
    assert (choice.gap.nominal, choice.gap.max) == (40.0, 45.0)


def test_without_margin_there_is_no_window():
    signal_table = MADE.signal_table(single=40.0, double=44.0)
    choice = choice_at(MADE, {0: signal_table}, at(40.0, 10.0), allowed=ALL, band=(22.0, 42.0))
    assert choice.gap.min == choice.gap.max == 40.0
    assert choice.tilt.min == choice.tilt.max == 10.0


def test_a_principle_without_tilt_has_no_window_of_tilt():
    flat = StandIn(tilts_deg=(0.0,), tilts=False)
    signal_table = flat.signal_table(single=40.0, double=60.0)
    assert chosen(flat, {0: signal_table}, allowed=np.ones(5, dtype=bool)).tilt is None


def test_percentiles_of_a_spread():
    found = Spread(nominal=np.array([50.0]), weights=np.ones((1, 1)), blur=3.0).span(GRID)
    assert [float(p[0]) for p in (found.p1, found.p50, found.p99)] == pytest.approx([43.02, 50.0, 56.98], abs=0.1)


def test_one_setting_of_a_receiver():
    r = receiver_at(replace(MADE.receiver, lowest_edge=np.arange(15.0)), 4)
    assert r.lowest_edge.tolist() == [4.0]


WINDOWS = [
    ("ultrasonic-300k", sheet("copy-paper", grammage_gsm=80)),
    ("ultrasonic-180k", sheet("pvc-rigid", thickness_um=760)),
    ("ultrasonic-400k", sheet("coated-paper", grammage_gsm=150)),
    ("ultrasonic-220k-continuous", sheet("coated-board", grammage_gsm=250)),
]


@pytest.mark.parametrize(("class_id", "a_sheet"), WINDOWS, ids=lambda value: getattr(value, "material_id", value))
def test_windows_hold_what_they_claim(class_id, a_sheet):
    """The class made anew with gaps a third apart, so that the ends fall between the first grid's: half of the nominal
    margin is left at both ends of the window of gaps and everywhere between, within 0.5 dB."""
    made = class_model(class_id)
    allowed = np.ones(len(made.settings.gap_mm), dtype=bool)
    signal_table = made.signal_table(a_sheet)
    choice = chosen(made, {0: signal_table}, allowed=allowed)
    bands = choose_bands([signal_table], made.receiver, step=1)
    low, high = float(bands.low[choice.setting]), float(bands.high[choice.setting])
    nominal = float(bands.worst[choice.setting])
    p, tilt = made.parameters, float(made.settings.tilt_deg[choice.setting])
    finer = class_model(class_id, gap_min_mm=choice.gap.min, gap_max_mm=max(choice.gap.max, p.reference_gap_mm))
    found = np.min(margins(finer.signal_table(a_sheet), low=np.array(low), high=np.array(high)), axis=0)
    s = finer.settings
    within = np.isclose(s.tilt_deg, tilt) & (s.gap_mm <= choice.gap.max + 1e-6)
    assert nominal > 0.0
    assert within.sum() >= 3
    assert np.min(found[within]) >= 0.5 * nominal - 0.5


def test_a_narrow_frame_narrows_the_window():
    """A tilt that the machine does not allow is in no window."""
    narrow = class_model("ultrasonic-180k", conditions=replace(CONDITIONS, max_tilt_deg=12.0))
    a_sheet = sheet("pvc-rigid", thickness_um=760)
    allowed = np.ones(len(narrow.settings.gap_mm), dtype=bool)
    choice = chosen(narrow, {0: narrow.signal_table(a_sheet)}, allowed=allowed)
    assert choice.tilt.max <= 12.0
