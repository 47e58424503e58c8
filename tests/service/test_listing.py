"""Every way to set a class for a list of sheets."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from sheetmargin_service.selection.list_cover.options import MOST_EDGES, _edges, list_of
from support.stand_in_model import StandIn

BENCH = StandIn(gaps_mm=(20.0, 40.0), tilts_deg=(0.0, 10.0))


def class_result(signal_tables, *, name="one", principle="ultrasonic", class_model=BENCH, allowed=None, step=1):
    """As much of a post as a list looks at."""
    return SimpleNamespace(
        class_model=class_model,
        signal_tables=dict(enumerate(signal_tables)),
        allowed=np.ones(class_model.count, dtype=bool) if allowed is None else allowed,
        detector_class=SimpleNamespace(id=name),
        principle=SimpleNamespace(id=principle, band_step=step),
        resolved_job=SimpleNamespace(sheets=tuple(range(len(signal_tables)))),
    )


PAPER = BENCH.signal_table(single=44.0, double=78.0)
CARD = BENCH.signal_table(single=67.0, double=99.0)


def best(listed, sheet):
    return float(np.max(listed.candidates.margin[:, sheet]))


def test_one_sheet_alone_has_the_margin_of_its_best_band():
    """44 and 78, 4 either way: an edge at 61 leaves 13; below, 22 leaves 18."""
    assert best(list_of(class_result([PAPER])), 0) == 13.0


def test_two_sheets_that_one_band_holds_share_a_way():
    light = BENCH.signal_table(single=48.0, double=80.0)
    listed = list_of(class_result([PAPER, light]))
    assert np.any(np.isfinite(listed.candidates.margin).all(axis=1))


def test_two_sheets_that_no_band_holds_share_none():
    """Two papers read 74 at p1, one card to 71: an edge between holds both; with paper at 64 none does."""
    close = BENCH.signal_table(single=44.0, double=66.0)
    listed = list_of(class_result([close, CARD]))
    assert not np.any(np.isfinite(listed.candidates.margin).all(axis=1))
    assert np.all(np.isfinite(listed.candidates.margin).any(axis=0))


def test_settings_that_do_not_fit_are_no_ways():
    allowed = BENCH.settings.gap_mm == 40.0
    listed = list_of(class_result([PAPER], allowed=allowed))
    assert {p[1] for p in listed.candidates.positions} == {40.0}


def test_a_band_stays_within_the_receiver():
    strong = StandIn(gaps_mm=(20.0, 40.0), tilts_deg=(0.0, 10.0), lowest=35.0, highest=55.0)
    listed = list_of(class_result([PAPER], class_model=strong))
    assert listed.options
    assert all(35.0 <= way.band[0] < way.band[1] <= 55.0 for way in listed.options)
    assert not list_of(class_result([CARD], class_model=strong)).options


def test_a_sheet_whose_two_read_weaker_lies_above_them():
    """Bonded, two read 20 below one: the lower edge divides them."""
    bonded = BENCH.signal_table(single=60.0, double=40.0)
    listed = list_of(class_result([bonded]))
    assert best(listed, 0) == pytest.approx(6.0, abs=0.1)
    assert all(
        44.0 < one.band[0] < 56.0
        for one, row in zip(listed.options, listed.candidates.margin, strict=True)
        if row[0] > 0
    )


def test_a_small_margin_stays_above_zero():
    """Rounding must not turn a way that serves into one that does not."""
    listed = list_of(class_result([BENCH.signal_table(single=44.0, double=52.3)]))
    finite = listed.candidates.margin[np.isfinite(listed.candidates.margin)]
    assert np.all(finite > 0.0)


def test_a_sheet_that_no_band_tells_apart_moves_no_edge():
    """Two of it read like one of it and like two of the paper: the paper's bands are what they are without it."""
    hopeless = BENCH.signal_table(single=80.0, double=80.0)
    alone, beside = list_of(class_result([PAPER])), list_of(class_result([PAPER, hopeless]))
    assert best(beside, 0) == best(alone, 0)
    stronger = BENCH.signal_table(single=80.0, double=79.0)
    assert best(list_of(class_result([PAPER, stronger])), 0) == best(alone, 0)


def test_edges_lie_as_close_for_thin_sheets_as_for_thick():
    """A plate that reads thirty times as much leaves the papers their bands."""
    wide = StandIn(gaps_mm=(20.0, 40.0), tilts_deg=(0.0, 10.0), lowest=0.0, highest=1e5)
    thin, plate = wide.signal_table(single=44.0, double=78.0), wide.signal_table(single=3000.0, double=6000.0)
    assert best(list_of(class_result([thin, plate], class_model=wide)), 0) > 0.8 * best(
        list_of(class_result([thin], class_model=wide)), 0
    )


def test_edges_are_the_grid_or_as_many_as_are_tried():
    assert _edges(np.array([40.2]), np.array([44.9]), step=1).tolist() == [41.0, 42.0, 43.0, 44.0]
    many = _edges(np.array([0.0]), np.array([5000.0]), step=1)
    assert len(many) <= MOST_EDGES
    assert (many[0], many[-1]) == (0.0, 5000.0)
    assert np.all(np.diff(many[many > 100.0]) / many[many > 100.0][:-1] < 0.1)
