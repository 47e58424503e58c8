"""The band that counts as one sheet, and the margins it leaves."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from sheetmargin_service.principles.protocol import Receiver, SignalTable, Span
from sheetmargin_service.selection.bands import choose_bands, margins


def span(p1, p50, p99):
    return Span(**{name: np.array([float(v)]) for name, v in (("p1", p1), ("p50", p50), ("p99", p99))})


def signal_table(single, double, none=(-4, 0, 4), fewer=None):
    return SignalTable(
        no_sheet=span(*none),
        single=span(*single),
        double=span(*double),
        fewer=None if fewer is None else span(*fewer),
    )


def receiver(lowest=1.0, highest=120.0, widest=200.0):
    return Receiver(lowest_edge=np.array([lowest]), highest_edge=np.array([highest]), widest_band=widest)


PAPER = signal_table((40, 44, 48), (60, 78, 100))


def test_margins_are_distances_to_the_nearer_edge():
    found = margins(PAPER, low=np.array([22.0]), high=np.array([54.0]))
    assert [float(m[0]) for m in found] == [18.0, 6.0, 6.0]


def test_a_margin_is_negative_where_a_state_crosses():
    found = margins(PAPER, low=np.array([42.0]), high=np.array([62.0]))
    assert [float(m[0]) for m in found] == [38.0, -2.0, -2.0]


def test_two_sheets_may_lie_below_the_band():
    bonded = signal_table((50, 54, 58), (30, 34, 38))
    found = margins(bonded, low=np.array([44.0]), high=np.array([64.0]))
    assert [float(m[0]) for m in found] == [40.0, 6.0, 6.0]


def test_a_ply_too_few_limits_the_lower_edge():
    form = signal_table((80, 84, 88), (110, 115, 120), fewer=(40, 44, 60))
    no_sheet, _, _ = margins(form, low=np.array([70.0]), high=np.array([99.0]))
    assert float(no_sheet[0]) == 10.0


def test_the_upper_edge_lies_midway_and_the_lower_comes_down():
    """54 lies 6 from one sheet at 48 and from two at 60. Midway the lower edge would be at 22, with 18 to either side:
    it comes down to where no sheet at 4 has the 6 that the others have, for they set the worst."""
    bands = choose_bands([PAPER], receiver(), step=1)
    assert (float(bands.low[0]), float(bands.high[0])) == (10.0, 54.0)
    assert float(bands.worst[0]) == 6.0


def test_the_lower_edge_leaves_no_sheet_its_own_spread():
    """Of no sheet that spreads by 9 above its middle, 9 are left above that, though the others have 6."""
    bands = choose_bands([signal_table((40, 44, 48), (60, 78, 100), none=(-9, 0, 9))], receiver(), step=1)
    assert float(bands.low[0]) == 18.0


def test_the_lower_edge_stays_midway_where_no_sheet_has_the_least_room():
    """20 to 40 and 48 to 100: 10 either side of 30, 26 either side of 74."""
    bands = choose_bands([signal_table((40, 44, 48), (100, 110, 120), none=(-20, 0, 20))], receiver(), step=1)
    assert (float(bands.low[0]), float(bands.high[0])) == (30.0, 74.0)


@pytest.mark.parametrize("seed", range(8))
def test_no_band_is_better_than_the_chosen_one(seed):
    """Against every band of a 1 dB grid, for one to three sheets: within the step that rounding costs."""
    rng = np.random.default_rng(seed)
    signal_tables = []
    for _ in range(int(rng.integers(1, 4))):
        one = np.sort(rng.uniform(30, 60, 3))
        signal_tables.append(signal_table(tuple(one), tuple(one[2] + np.sort(rng.uniform(2, 40, 3)))))
    limits = receiver(lowest=float(rng.uniform(1, 20)), highest=float(rng.uniform(70, 110)))
    chosen = choose_bands(signal_tables, limits, step=1)
    best = -np.inf
    for low, high in product(range(1, 110), repeat=2):
        if low < high and low >= limits.lowest_edge[0] and high <= limits.highest_edge[0]:
            each = [np.min(margins(s, low=np.array([low]), high=np.array([high]))) for s in signal_tables]
            best = max(best, min(each))
    assert chosen.worst[0] <= best + 1e-9
    assert chosen.worst[0] >= best - 1.0


def test_the_band_of_several_sheets_holds_them_all():
    card = signal_table((50, 54, 58), (80, 90, 99))
    bands = choose_bands([PAPER, card], receiver(), step=1)
    assert float(bands.high[0]) == 59.0
    assert float(bands.single[0]) == min(40 - float(bands.low[0]), 1.0)


def test_the_receiver_bounds_the_band():
    noisy = choose_bands([PAPER], receiver(highest=50.4), step=1)
    assert float(noisy.high[0]) == 50.0
    loud = choose_bands([PAPER], receiver(lowest=30.2), step=1)
    assert float(loud.low[0]) == 31.0
    narrow = choose_bands([PAPER], receiver(widest=20.0), step=1)
    assert float(narrow.high[0] - narrow.low[0]) == 20.0


def test_a_band_is_never_empty():
    """Where overload lies above all that is read, one step is left and the margin says that it will not do."""
    bands = choose_bands([PAPER], receiver(lowest=90.0, highest=91.0), step=1)
    assert np.all(bands.low < bands.high)
    assert float(bands.worst[0]) < 0.0


def test_a_band_does_not_slip_below_the_overload():
    """Light stock before a strong pair: 15 to 24 dB, overload at 47. The margin tells how far off it is."""
    bands = choose_bands([signal_table((15, 20, 24), (14, 30, 40))], receiver(lowest=46.6), step=1)
    assert (float(bands.low[0]), float(bands.high[0])) == (47.0, 48.0)
    assert float(bands.single[0]) == 15.0 - 47.0


def test_without_two_sheets_above_the_band_is_open_as_far_as_below():
    bonded = signal_table((50, 54, 58), (30, 34, 38))
    bands = choose_bands([bonded], receiver(), step=1)
    assert (float(bands.low[0]), float(bands.high[0])) == (44.0, 64.0)


def test_edges_are_on_the_grid_of_the_step():
    bands = choose_bands([signal_table((40.3, 44, 48.7), (61.2, 78, 100))], receiver(), step=5)
    assert float(bands.low[0]) % 5 == 0
    assert float(bands.high[0]) % 5 == 0
