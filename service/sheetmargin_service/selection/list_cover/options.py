"""Every way to set a class, as candidates for a list of sheets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.selection.bands import DECIMALS, below_band
from sheetmargin_service.selection.class_result import ClassResult
from sheetmargin_service.selection.list_cover.candidates import Candidates, profile_of

Array = NDArray[np.float64]
MOST_EDGES = 128
"""Upper edges tried over the range in which the sheets lie, where a step of the band is finer than that."""


@dataclass(frozen=True, kw_only=True)
class Option:
    """A class at one setting with one band."""

    setting: int
    band: tuple[float, float]


@dataclass(frozen=True, kw_only=True)
class Options:
    """The ways, and the table of whom they serve, in the same order."""

    options: tuple[Option, ...]
    candidates: Candidates


def list_of(class_result: ClassResult) -> Options:
    """All options of a class that serve any sheet, margins to first order.

    For each setting and upper edge, the lower edge midway between what lies below and the sheets that fit.
    """
    if not class_result.signal_tables:
        return _listed(class_result, [])
    indices = sorted(class_result.signal_tables)
    signal_tables = [class_result.signal_tables[i] for i in indices]
    step, receiver, settings = (
        class_result.principle.band_step,
        class_result.class_model.receiver,
        class_result.class_model.settings,
    )
    weaker = np.stack([s.double.p50 >= s.single.p50 for s in signal_tables])[..., None]
    p1, p99 = (np.stack([getattr(s.single, p) for s in signal_tables])[..., None] for p in ("p1", "p99"))
    double_p1 = np.stack([s.double.p1 for s in signal_tables])[..., None]
    below = np.stack([below_band(s, weaker=w[:, 0]) for s, w in zip(signal_tables, weaker, strict=True)])[..., None]
    # Where two read stronger than one, nothing lies above: as much room there as below.
    high = _edges(p99, np.where(weaker, double_p1, p99 + np.maximum(step, 0.5 * (p1 - below))), step=step)
    # A sheet that no band tells apart has no say in where the others' lies.
    fits = (below < p1) & (p99 < high) & (~weaker | (high < double_p1))
    under = np.max(np.where(fits, below, -np.inf), axis=0)
    over = np.min(np.where(fits, p1, np.inf), axis=0)
    with np.errstate(invalid="ignore"):
        low = step * np.round(0.5 * (under + over) / step)
    lowest = np.maximum(receiver.lowest_edge[:, None], high - receiver.widest_band)
    low = np.maximum(low, step * np.ceil(lowest / step))
    margin = np.minimum(np.minimum(low - below, p1 - low), high - p99)
    margin = np.round(np.where(weaker, np.minimum(margin, double_p1 - high), margin), DECIMALS)
    usable = class_result.allowed[:, None] & (high <= receiver.highest_edge[:, None]) & np.isfinite(low)
    margin = np.where(usable & (margin > 0.0), margin, -np.inf)
    setting, edge = np.nonzero(np.isfinite(margin).any(axis=0))
    rows = np.full((len(setting), len(class_result.resolved_job.sheets)), -np.inf)
    rows[:, indices] = margin[:, setting, edge].T
    gaps, tilts = settings.gap_mm.round(1).tolist(), settings.tilt_deg.round(1).tolist()
    found = []
    for at, lower, upper, row in zip(
        setting.tolist(), low[setting, edge].tolist(), high[edge].tolist(), rows, strict=True
    ):
        option = Option(setting=at, band=(lower, upper))
        found.append(((tilts[at], gaps[at]), profile_of(lower, upper), option, row))
    return _listed(class_result, sorted(found, key=lambda row: row[:2]))


def _listed(class_result: ClassResult, rows: Sequence[tuple[tuple[float, float], str, Option, Array]]) -> Options:
    return Options(
        options=tuple(row[2] for row in rows),
        candidates=Candidates(
            classes=(class_result.detector_class.id,) * len(rows),
            positions=tuple(row[0] for row in rows),
            profiles=tuple(row[1] for row in rows),
            margin=np.array([row[3] for row in rows]).reshape(len(rows), len(class_result.resolved_job.sheets)),
        ),
    )


def _edges(low: Array, high: Array, *, step: int) -> Array:
    """Upper edges to try: the whole grid between the least and the greatest place, or at most `MOST_EDGES` over it.

    These grow by one factor: what the sheets of a list read may lie decades apart, and a thick one must not take the
    edges from the thin.
    """
    first, last = step * np.ceil(low.min() / step), step * np.floor(high.max() / step)
    count = int(max(last - first, 0) / step) + 1
    if count <= MOST_EDGES:
        return np.asarray(first + step * np.arange(count))
    grown = np.geomspace(max(first, step), last, MOST_EDGES - 1)
    return np.unique(step * np.round(np.append(grown, first) / step))
