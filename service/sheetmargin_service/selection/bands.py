"""The band of the signal that counts as one sheet, and the margins it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property
from sheetmargin_service.principles.protocol import Receiver, SignalTable

Array = NDArray[np.float64]

DECIMALS = 1
"""Decimals of signals and margins; ranking happens after rounding."""


@dataclass(frozen=True, kw_only=True)
class Bands:
    """Band edges and margins at N settings, all (N,)."""

    low: Array
    high: Array
    no_sheet: Array
    single: Array
    double: Array

    @cached_property
    def worst(self) -> Array:
        return np.minimum(np.minimum(self.no_sheet, self.single), self.double)


def margins(signal_table: SignalTable, *, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """Margins of no sheet, one and two for given edges: the least distance of p1-p99 to an edge.

    Two sheets may lie on either side of the band: bonded, they can read stronger than one.
    """
    no_sheet = low - signal_table.no_sheet.p99
    if signal_table.fewer is not None:
        no_sheet = np.minimum(no_sheet, low - signal_table.fewer.p99)
    single = np.minimum(signal_table.single.p1 - low, high - signal_table.single.p99)
    double = np.maximum(signal_table.double.p1 - high, low - signal_table.double.p99)
    return no_sheet, single, double


def choose_bands(signal_tables: Sequence[SignalTable], receiver: Receiver, *, step: float) -> Bands:
    """The band at each setting that makes the worst margin over all sheets greatest, on a grid of `step`.

    Each edge lies midway between the states it divides, moved only as far as the receiver demands. Where the other
    margins are smaller than that of no sheet, the lower edge then comes down as far as costs none of them, and leaves
    no sheet its own spread: what is lighter than planned must read as a sheet, and one band serves more stock.
    """
    weaker = [s.double.p50 >= s.single.p50 for s in signal_tables]
    single_low = reduce(np.minimum, [s.single.p1 for s in signal_tables])
    single_high = reduce(np.maximum, [s.single.p99 for s in signal_tables])
    above = reduce(np.minimum, [np.where(w, s.double.p1, np.inf) for s, w in zip(signal_tables, weaker, strict=True)])
    below = reduce(np.maximum, [below_band(s, weaker=w) for s, w in zip(signal_tables, weaker, strict=True)])
    low_ideal = 0.5 * (below + single_low)
    room = np.maximum(single_low - low_ideal, step)
    high_ideal = np.where(np.isinf(above), single_high + room, 0.5 * (single_high + above))
    # A band below the overload is none, and must not pass for one that only just fails.
    above_overload = step * np.ceil(receiver.lowest_edge / step) + step
    high = np.maximum(step * np.round(high_ideal / step), above_overload)
    high = np.minimum(high, step * np.floor(receiver.highest_edge / step))
    lowest = np.maximum(receiver.lowest_edge, high - receiver.widest_band)
    low = np.maximum(step * np.round(low_ideal / step), step * np.ceil(lowest / step))
    low = np.minimum(low, high - step)
    others = reduce(np.minimum, [np.minimum(*margins(s, low=low, high=high)[1:]) for s in signal_tables])
    nothing = signal_tables[0].no_sheet
    left = np.maximum(others, nothing.p99 - nothing.p50)
    nearest = step * np.ceil(np.maximum(below + left, lowest) / step)
    low = np.where(others > 0.0, np.minimum(low, nearest), low)
    each = zip(*(margins(s, low=low, high=high) for s in signal_tables), strict=True)
    no_sheet, single, double = (reduce(np.minimum, state) for state in each)
    return Bands(low=low, high=high, no_sheet=no_sheet, single=single, double=double)


def below_band(signal_table: SignalTable, *, weaker: NDArray[np.bool_]) -> Array:
    """Upper end of what lies below the band: no sheet, a ply too few, and two sheets that read stronger than one."""
    below = np.maximum(signal_table.no_sheet.p99, np.where(weaker, -np.inf, signal_table.double.p99))
    return below if signal_table.fewer is None else np.maximum(below, signal_table.fewer.p99)
