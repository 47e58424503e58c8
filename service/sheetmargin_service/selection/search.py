"""The best setting of one class for a set of sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from math import ceil, floor, isfinite

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.principles.base import Bench, Receiver, Span, Spread, Survey
from sheetmargin_service.selection.answer import Window
from sheetmargin_service.selection.bands import Bands, margins

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
NEARLY_EQUAL = 1.0
"""Margins within one step of this count as equal, so that the simpler setting wins."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One setting of a class, and how far it may move; `installed`: as it stands already, so that it may not move."""

    setting: int
    gap: Window
    tilt: Window | None
    installed: bool = False


def best_setting(bench: Bench, bands: Sequence[Bands], *, allowed: Flags, step: int) -> int:
    """The allowed setting with the greatest worst margin over all sheets, groups of them each in a band of its own;
    nearly equal ones give way to the simpler: no tilt, then the middle of the widest run of gaps."""
    worst = np.where(allowed, reduce(np.minimum, [group.worst for group in bands]), -np.inf)
    settings = bench.settings
    good = np.flatnonzero(worst >= worst.max() - NEARLY_EQUAL * step)
    tilt = settings.tilt_deg[good]
    row = good[tilt == tilt.min()]
    gap = settings.gap_mm[row]
    return int(row[np.argmin(np.abs(gap - 0.5 * (gap.min() + gap.max())))])


def choice_at(
    bench: Bench,
    surveys: Mapping[int, Survey],
    setting: int,
    *,
    allowed: Flags,
    band: tuple[float, float],
) -> Choice:
    """One setting, and how far gap and tilt may move from it with the band as it is."""
    low, high = np.asarray(band[0]), np.asarray(band[1])
    each = (margin for s in surveys.values() for margin in margins(s, low=low, high=high))
    fits = allowed & (low >= bench.receiver.lowest_edge) & (high <= bench.receiver.highest_edge)
    held = np.where(fits, reduce(np.minimum, each), -np.inf)
    settings = bench.settings
    return Choice(
        setting=setting,
        gap=_window(settings.gap_mm, held, same=settings.tilt_deg, setting=setting, decimals=0),
        tilt=_window(settings.tilt_deg, held, same=settings.gap_mm, setting=setting, decimals=0)
        if settings.tilts
        else None,
    )


def _window(axis: Array, held: Array, *, same: Array, setting: int, decimals: int) -> Window:
    """How far one coordinate may move with the other and the band fixed until half the margin is left.

    Linear between the grid's points, rounded inwards.
    """
    line = np.flatnonzero(same == same[setting])
    line = line[np.argsort(axis[line])]
    x, y = axis[line].tolist(), held[line].tolist()
    start = line.tolist().index(setting)
    nominal = round(x[start], 1)
    least = 0.5 * y[start]
    if least <= 0.0:
        return Window(nominal=nominal, min=nominal, max=nominal)
    ends = []
    for direction in (-1, 1):
        at = start
        while 0 <= at + direction < len(x) and y[at + direction] >= least:
            at += direction
        end = x[at]
        if 0 <= at + direction < len(x) and isfinite(y[at + direction]):
            end += (x[at + direction] - x[at]) * (y[at] - least) / (y[at] - y[at + direction])
        ends.append(end)
    scale = 10.0**decimals
    return Window(
        nominal=x[start],
        min=min(x[start], ceil(ends[0] * scale - 1e-9) / scale),
        max=max(x[start], floor(ends[1] * scale + 1e-9) / scale),
    )


def spans_of(grid: SignalGrid, spreads: Sequence[Spread]) -> list[Span]:
    """Percentiles of some spreads of one detail, each (1,)."""
    steady = np.stack([spread.weights @ spread.variants for spread in spreads])
    noise = spreads[0].noise
    quantiles = grid.quantiles(steady if noise is None else noise.read(steady), (0.01, 0.5, 0.99))
    return [Span(p1=q[:1], p50=q[1:2], p99=q[2:]) for q in quantiles]


def receiver_at(receiver: Receiver, setting: int) -> Receiver:
    """The receiver's limits at one setting."""
    s = slice(setting, setting + 1)
    return Receiver(
        lowest_edge=receiver.lowest_edge[s], highest_edge=receiver.highest_edge[s], widest_band=receiver.widest_band
    )
