"""The best setting of one class for a set of sheets."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import reduce
from math import ceil, floor, inf, isfinite

import numpy as np
from numpy.typing import NDArray
from sheetmargin.contract.mounting import Window

from sheetmargin_service.cached import cached_property
from sheetmargin_service.principles.protocol import ClassModel, Receiver, SignalTable
from sheetmargin_service.selection.bands import Bands, choose_bands, margins
from sheetmargin_service.selection.regions import nearest_the_centre, run_about

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]
NEARLY_EQUAL, GIVEN_AWAY = 1.0, 0.25
"""Margins within one step of the greatest count as equal, so that the simpler setting wins; of a small one no more than
this share is given away, or what rounding hides."""
ALIKE = 0.25
"""Settings next to each other whose margins differ by no more than this part of a step read alike."""
PARTS = 256
"""Edges of bands are sought in so many parts of the step that they are set in: what rounding one wins or loses is luck,
and no reason to stand elsewhere."""
TOLD = 0.1
"""Margins are told to a tenth."""
_NO_MORE = 1e-6
"""Distances this near to each other are equal."""


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One setting of a class, and how far it may move; `installed`: as it stands already, so that it may not move."""

    setting: int
    gap: Window
    tilt: Window | None
    installed: bool = False

    @property
    def room(self) -> Slack:
        """How far gap and tilt may move either way. A window that reaches square on has no end there: a pair may lean
        the other way as well."""
        gap, tilt = self.gap, self.tilt
        gap_mm = min(gap.nominal - gap.min, gap.max - gap.nominal)
        if tilt is None:
            return Slack(gap_mm=gap_mm)
        below = tilt.nominal - tilt.min if tilt.min > 0.0 else inf
        return Slack(gap_mm=gap_mm, tilt_deg=min(below, tilt.max - tilt.nominal))


@dataclass(frozen=True, kw_only=True)
class Slack:
    """So much of a gap and a tilt, either way; 0 of what is not set by hand."""

    gap_mm: float = 0.0
    tilt_deg: float = 0.0

    def holds(self, other: Slack) -> bool:
        """Whether there is room in it for another."""
        return self.gap_mm >= other.gap_mm - _NO_MORE and self.tilt_deg >= other.tilt_deg - _NO_MORE


NO_SLACK = Slack()


@dataclass(frozen=True, kw_only=True)
class Sharing:
    """Sheets that share a band, by their index, before a receiver."""

    signal_tables: Mapping[int, SignalTable]
    receiver: Receiver
    step: int

    @cached_property
    def bands(self) -> Bands:
        """The band that suits them at every setting, its edges where they are best."""
        return choose_bands(list(self.signal_tables.values()), self.receiver, step=self.step / PARTS)

    @cached_property
    def whole(self) -> Bands:
        """The same as it is set."""
        return choose_bands(list(self.signal_tables.values()), self.receiver, step=self.step)


@dataclass(frozen=True, kw_only=True)
class Search:
    """The settings of a class for groups of sheets, each group in a band of its own.

    A setting is the better the greater the worst margin of any sheet; margins within a step count as equal. Such
    settings are a region of gaps and tilts: what is chosen is square on where the region reaches that, and its middle
    else, so that neither a small change of the job nor of the setting falls out of it. `slack`: what setting by hand
    leaves. Where that does not fit into the window there, only settings where it does are looked at, if there are any.
    `off`: how far the edges of a band came to lie from those that were searched, once a setting was looked at in full.
    """

    class_model: ClassModel
    groups: tuple[Sharing, ...]
    allowed: Flags
    step: int
    slack: Slack = NO_SLACK
    off: tuple[int, int] = (0, 0)

    @cached_property
    def worst(self) -> Array:
        """The worst margin at each setting, (N,)."""
        return np.where(self.allowed, reduce(np.minimum, [group.bands.worst for group in self.groups]), -np.inf)

    @cached_property
    def best(self) -> int:
        """The setting to try first."""
        plainly = self.by_margin
        if self.worst[plainly] <= 0.0 or self.can_be_set_at(plainly) or not len(self._that_can_be_set):
            return plainly
        return self._middle(self._that_can_be_set, settable=True)

    @cached_property
    def by_margin(self) -> int:
        """The best setting by its margin, whether or not it can be set by hand."""
        return self._middle(self._nearly_equal(self.worst))

    @property
    def can_be_set(self) -> bool:
        """Whether there is a setting with a margin that can be set by hand."""
        return self.can_be_set_at(self.best) or len(self._that_can_be_set) > 0

    def others(self) -> Iterator[int]:
        """What to try where the best setting turns out to miss a target: the best of each tilt, of a class without
        tilts each gap. Those with the greatest margin come first; that can be set by hand, where any can. The tilts
        next to its own read as it does, unless their margin says otherwise."""
        worst, best = self.worst, self.best
        tried = set(range(len(worst)))
        if self._tilts > 1:
            by_tilt = [np.where(self._column == column, worst, -np.inf) for column in range(self._tilts)]
            tried = {self._middle(self._nearly_equal(margin)) for margin in by_tilt if np.isfinite(margin).any()}
            own = self._column[best]
            alike = worst[best] + ALIKE * self.step
            tried = {at for at in tried if abs(self._column[at] - own) > 1 or worst[at] > alike}
        for at in sorted(tried - {best}, key=lambda at: (-worst[at], at)):
            if worst[at] > 0.0 and (self.can_be_set_at(at) or not self.can_be_set):
                yield at

    def corners(self) -> list[int]:
        """What to look at where the best setting serves nothing, though its states are not wholly mixed up: to first
        order no other is better, but targets far from each other are missed elsewhere by less. The least gap and the
        middle one at its tilt, and the middle gap at the greatest."""
        allowed, best = np.flatnonzero(self.allowed), self.best
        same = allowed[self._column[allowed] == self._column[best]]
        tilted = allowed[self._column[allowed] == self._column[allowed].max()]
        found = (same[0], same[len(same) // 2], tilted[len(tilted) // 2])
        return [at for at in dict.fromkeys(int(at) for at in found) if at != best]

    def can_be_set_at(self, setting: int) -> bool:
        """Whether a setting can be set by hand as exactly as its window asks, the bands as they are there."""
        if self.slack == NO_SLACK:
            return True
        for group in self.groups:
            low, high = group.whole.low[setting], group.whole.high[setting]
            band = float(low) + self.off[0], float(high) + self.off[1]
            choice = choice_at(self.class_model, group.signal_tables, setting, allowed=self.allowed, band=band)
            if not choice.room.holds(self.slack):
                return False
        return True

    def with_band(self, setting: int, band: tuple[int, int]) -> Search:
        """The same, the edges of bands everywhere as far from those searched as a band is at a setting."""
        bands = self.groups[0].whole
        return replace(self, off=(band[0] - int(bands.low[setting]), band[1] - int(bands.high[setting])))

    @cached_property
    def _that_can_be_set(self) -> Indices:
        """The best of those that can be set by hand, nearly equal ones of them."""
        found: list[int] = []
        for at in np.argsort(-self.worst, kind="stable").tolist():
            if self.worst[at] <= 0.0 or (found and self.worst[at] < self._least(float(self.worst[found[0]]))):
                break
            if self.can_be_set_at(at):
                found.append(at)
        return np.array(sorted(found), dtype=np.intp)

    def _nearly_equal(self, worst: Array) -> Indices:
        return np.flatnonzero(worst >= self._least(float(worst.max())))

    def _least(self, greatest: float) -> float:
        """The margin from which one is nearly equal to the greatest."""
        given = NEARLY_EQUAL * self.step
        if greatest > 0.0:
            given = min(given, max(GIVEN_AWAY * greatest, TOLD))
        return greatest - given

    @cached_property
    def _tilts(self) -> int:
        """Tilts to a gap: settings have the gap as the major axis."""
        again = np.flatnonzero(self.class_model.settings.tilt_deg[1:] == self.class_model.settings.tilt_deg[0])
        return int(again[0]) + 1 if len(again) else len(self.worst)

    @cached_property
    def _column(self) -> Indices:
        return np.arange(len(self.worst)) % self._tilts

    def _middle(self, good: Indices, *, settable: bool = False) -> int:
        """Of some settings the middle of the tilts next to each other from the least on, and of the gaps next to the
        best one there.

        Each counts as far as its margin is above that from which one is nearly equal: what comes or goes at an end
        moves the middle by nothing. `settable`: only of gaps that can be set by hand.
        """
        settings, width = self.class_model.settings, self._tilts
        best = {int(column): self._greatest(good[self._column[good] == column]) for column in self._column[good]}
        tilt = min(best)
        if settings.tilt_deg[tilt] > 0.0:
            tilts = run_about(best, tilt)
            least = self._least(float(self.worst[good].max()))
            above = np.array([self.worst[best[tilt]] for tilt in tilts]) - least + _NO_MORE
            tilt = nearest_the_centre(tilts, settings.tilt_deg, above)
        start = best[tilt]
        least = self._least(float(self.worst[start]))
        alike = np.flatnonzero((self._column == tilt) & (self.worst >= least)).tolist()
        gaps = {at // width for at in alike if at == start or not settable or self.can_be_set_at(at)}
        run = run_about(gaps, start // width)
        above = self.worst[np.array(run) * width + tilt] - least + _NO_MORE
        return nearest_the_centre(run, settings.gap_mm[::width], above) * width + tilt

    def _greatest(self, settings: Indices) -> int:
        return int(settings[np.argmax(self.worst[settings])])


def choice_at(
    class_model: ClassModel,
    signal_tables: Mapping[int, SignalTable],
    setting: int,
    *,
    allowed: Flags,
    band: tuple[float, float],
) -> Choice:
    """One setting, and how far gap and tilt may move from it with the band as it is."""
    low, high = np.asarray(band[0]), np.asarray(band[1])
    each = (margin for s in signal_tables.values() for margin in margins(s, low=low, high=high))
    held = np.where(allowed, reduce(np.minimum, each), -np.inf)
    spare = np.minimum(low - class_model.receiver.lowest_edge, class_model.receiver.highest_edge - high)
    settings = class_model.settings
    return Choice(
        setting=setting,
        gap=_window(settings.gap_mm, held, spare, same=settings.tilt_deg, setting=setting, decimals=0),
        tilt=_window(settings.tilt_deg, held, spare, same=settings.gap_mm, setting=setting, decimals=0)
        if settings.tilts
        else None,
    )


def _window(axis: Array, held: Array, spare: Array, *, same: Array, setting: int, decimals: int) -> Window:
    """How far one coordinate may move with the other and the band fixed until half the margin is left, or an edge of
    the band comes to where the receiver has none: `spare` is how far both lie within.

    Linear between the grid's points, rounded inwards.
    """
    line = np.flatnonzero(same == same[setting])
    line = line[np.argsort(axis[line])]
    x, y, z = axis[line].tolist(), held[line].tolist(), spare[line].tolist()
    start = line.tolist().index(setting)
    nominal = round(x[start], 1)
    least = 0.5 * y[start]
    if least <= 0.0 or z[start] < 0.0:
        return Window(nominal=nominal, min=nominal, max=nominal)
    ends = []
    for direction in (-1, 1):
        at = start
        while 0 <= at + direction < len(x) and y[at + direction] >= least and z[at + direction] >= 0.0:
            at += direction
        end = x[at]
        beyond = at + direction
        if 0 <= beyond < len(x) and isfinite(y[beyond]):
            shares = [(y[at] - least) / (y[at] - y[beyond])] if y[beyond] < least else []
            shares += [z[at] / (z[at] - z[beyond])] if z[beyond] < 0.0 else []
            end += (x[beyond] - x[at]) * min(shares)
        ends.append(end)
    scale = 10.0**decimals
    return Window(
        nominal=x[start],
        min=min(x[start], ceil(ends[0] * scale - 1e-9) / scale),
        max=max(x[start], floor(ends[1] * scale + 1e-9) / scale),
    )


def receiver_at(receiver: Receiver, setting: int) -> Receiver:
    """The receiver's limits at one setting."""
    s = slice(setting, setting + 1)
    return Receiver(
        lowest_edge=receiver.lowest_edge[s], highest_edge=receiver.highest_edge[s], widest_band=receiver.widest_band
    )
