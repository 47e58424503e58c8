"""The band of the signal that counts as one sheet, and the margins it leaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.prediction.principles.base import Receiver, Survey

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Bands:
    """Band edges and margins at N settings, all (N,)."""

    low: Array
    high: Array
    no_sheet: Array
    single: Array
    double: Array

    @property
    def worst(self) -> Array:
        return np.minimum(np.minimum(self.no_sheet, self.single), self.double)


def margins(survey: Survey, *, low: Array, high: Array) -> tuple[Array, Array, Array]:
    """Margins of no sheet, one and two for given edges: the least distance of p1-p99 to an edge.

    Two sheets may lie on either side of the band: bonded, they can read stronger than one.
    """
    no_sheet = low - survey.no_sheet.p99
    if survey.fewer is not None:
        no_sheet = np.minimum(no_sheet, low - survey.fewer.p99)
    single = np.minimum(survey.single.p1 - low, high - survey.single.p99)
    double = np.maximum(survey.double.p1 - high, low - survey.double.p99)
    return no_sheet, single, double


def choose_bands(surveys: Sequence[Survey], receiver: Receiver, *, step: int) -> Bands:
    """The band at each setting that makes the worst margin over all sheets greatest, on a grid of `step`.

    Each edge lies midway between the states it divides, moved only as far as the receiver demands.
    """
    weaker = [s.double.p50 >= s.single.p50 for s in surveys]
    single_low = np.min([s.single.p1 for s in surveys], axis=0)
    single_high = np.max([s.single.p99 for s in surveys], axis=0)
    above = np.min([np.where(w, s.double.p1, np.inf) for s, w in zip(surveys, weaker, strict=True)], axis=0)
    below = np.max([below_band(s, weaker=w) for s, w in zip(surveys, weaker, strict=True)], axis=0)
    low_ideal = 0.5 * (below + single_low)
    room = single_low - low_ideal
    high_ideal = np.where(np.isfinite(above), 0.5 * (single_high + above), single_high + np.maximum(room, step))
    # A band below the overload is none, and must not pass for one that only just fails.
    above_overload = step * np.ceil(receiver.lowest_edge / step) + step
    high = np.maximum(step * np.round(high_ideal / step), above_overload)
    high = np.minimum(high, step * np.floor(receiver.highest_edge / step))
    lowest = np.maximum(receiver.lowest_edge, high - receiver.widest_band)
    low = np.maximum(step * np.round(low_ideal / step), step * np.ceil(lowest / step))
    low = np.minimum(low, high - step)
    each = [margins(s, low=low, high=high) for s in surveys]
    no_sheet, single, double = (np.min([m[k] for m in each], axis=0) for k in range(3))
    return Bands(low=low, high=high, no_sheet=no_sheet, single=single, double=double)


def below_band(survey: Survey, *, weaker: NDArray[np.bool_]) -> Array:
    """Upper end of what lies below the band: no sheet, a ply too few, and two sheets that read stronger than one."""
    ends = [survey.no_sheet.p99, np.where(weaker, -np.inf, survey.double.p99)]
    if survey.fewer is not None:
        ends.append(survey.fewer.p99)
    return np.asarray(np.max(ends, axis=0))
