"""The best setting of one class for a set of sheets."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.principles.base import Bench, Receiver, Span, Spread, Survey
from sheetmargin_service.selection.answer import Window
from sheetmargin_service.selection.bands import choose_bands, margins

Array = NDArray[np.float64]
NEARLY_EQUAL = 1.0
"""Margins within one step of this count as equal, so that the simpler setting wins."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One setting of a class, and how far it may move."""

    setting: int
    gap: Window
    tilt: Window | None


def best_setting(bench: Bench, surveys: Mapping[int, Survey], *, allowed: NDArray[np.bool_], step: int) -> Choice:
    """The setting of `best_shared_setting` for sheets in one band."""
    setting = best_shared_setting(bench, [surveys], allowed=allowed, step=step)
    bands = choose_bands(
        [survey.at(setting) for survey in surveys.values()], receiver_at(bench.receiver, setting), step=step
    )
    band = float(bands.low[0]), float(bands.high[0])
    return choice_at(bench, surveys, setting, allowed=allowed, band=band)


def best_shared_setting(
    bench: Bench, groups: Sequence[Mapping[int, Survey]], *, allowed: NDArray[np.bool_], step: int
) -> int:
    """The allowed setting with the greatest worst margin over all sheets, each group in a band of its own; nearly equal
    ones give way to the simpler: no tilt, then the middle of the widest run of gaps."""
    each = [choose_bands(list(group.values()), bench.receiver, step=step).worst for group in groups]
    worst = np.where(allowed, np.min(each, axis=0), -np.inf)
    good = worst >= worst.max() - NEARLY_EQUAL * step
    settings = bench.settings
    tilt = settings.tilt_deg[good].min()
    row = np.flatnonzero(good & (settings.tilt_deg == tilt))
    middle = 0.5 * (settings.gap_mm[row].min() + settings.gap_mm[row].max())
    return int(row[np.argmin(np.abs(settings.gap_mm[row] - middle))])


def choice_at(
    bench: Bench,
    surveys: Mapping[int, Survey],
    setting: int,
    *,
    allowed: NDArray[np.bool_],
    band: tuple[float, float],
) -> Choice:
    """One setting, and how far gap and tilt may move from it with the band as it is."""
    low, high = np.asarray(band[0]), np.asarray(band[1])
    each = [np.min(margins(s, low=low, high=high), axis=0) for s in surveys.values()]
    fits = allowed & (low >= bench.receiver.lowest_edge) & (high <= bench.receiver.highest_edge)
    held = np.where(fits, np.min(each, axis=0), -np.inf)
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
    x, y = axis[line], held[line]
    start = int(np.flatnonzero(line == setting)[0])
    nominal = round(float(axis[setting]), 1)
    least = 0.5 * y[start]
    if least <= 0.0:
        return Window(nominal=nominal, min=nominal, max=nominal)
    ends = []
    for direction in (-1, 1):
        at = start
        while 0 <= at + direction < len(x) and y[at + direction] >= least:
            at += direction
        end = x[at]
        if 0 <= at + direction < len(x) and np.isfinite(y[at + direction]):
            end += (x[at + direction] - x[at]) * (y[at] - least) / (y[at] - y[at + direction])
        ends.append(end)
    nominal = float(axis[setting])
    scale = 10.0**decimals
    return Window(
        nominal=nominal,
        min=min(nominal, float(np.ceil(ends[0] * scale - 1e-9) / scale)),
        max=max(nominal, float(np.floor(ends[1] * scale + 1e-9) / scale)),
    )


def span_of(grid: SignalGrid, spread: Spread) -> Span:
    """Percentiles of one spread, each (1,)."""
    p1, p50, p99 = grid.quantiles(spread.predictive, (0.01, 0.5, 0.99)).T
    return Span(p1=p1, p50=p50, p99=p99)


def receiver_at(receiver: Receiver, setting: int) -> Receiver:
    """The receiver's limits at one setting."""
    s = slice(setting, setting + 1)
    return Receiver(
        lowest_edge=receiver.lowest_edge[s], highest_edge=receiver.highest_edge[s], widest_band=receiver.widest_band
    )
