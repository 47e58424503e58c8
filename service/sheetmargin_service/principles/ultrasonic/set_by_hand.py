"""What setting a pair by hand leaves of its gap and its tilt: the same for a job, but not known of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.beam import half_angle_rad
from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import HALF_WIDTH_95
from sheetmargin_service.principles.gap_limits import ALIGNED_HALF_ANGLES, GAP_SET_MM
from sheetmargin_service.principles.ultrasonic.pair import Pair, Row
from sheetmargin_service.principles.ultrasonic.tilts import Run

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class SetByHand:
    """The pairs of a row as they are set. Arrays over all of the row's settings (N,)."""

    row: Row
    run: Run

    @cached_property
    def _deviations(self) -> tuple[Array, Array]:
        """Standard deviations of gap in mm and of tilt in degrees; 0 of what is not set by hand."""
        gaps = [GAP_SET_MM * (len(pair.operator.gap_m) > 1) for pair in self.row.pairs]
        tilts = [_left_deg(pair) * bool(pair.tilt_deg.any()) for pair in self.row.pairs]
        return self.row.per_setting(gaps) / HALF_WIDTH_95, self.row.per_setting(tilts) / HALF_WIDTH_95

    def moves(self, attenuation_db: Array) -> Mapping[str, tuple[Array, Array]]:
        """Slope and bend (N,) of an attenuation (N,) over what is drawn for gap and tilt."""
        gap, tilt = self._deviations
        slope, curvature = self.run.slope_and_curvature(attenuation_db)
        by_gap = [
            _over_gap(pair, attenuation_db[settings])
            for pair, settings in zip(self.row.pairs, self.row.settings, strict=True)
        ]
        return {
            "gap": (gap * np.concatenate(by_gap), np.zeros_like(gap)),
            "tilt": (tilt * slope, 0.5 * tilt**2 * curvature),
        }


def _left_deg(pair: Pair) -> float:
    """The angle that is left of a face, with 95 %."""
    radius_m = 1e-3 * pair.parameters.face_radius_mm
    half_angle = half_angle_rad(wavenumber_per_m=pair.wavenumber_per_m, radius_m=radius_m)
    return ALIGNED_HALF_ANGLES * float(np.degrees(half_angle))


def _over_gap(pair: Pair, level: Array) -> Array:
    """Derivative of a level (N,) of one pair by the gap in mm."""
    gap_mm = 1e3 * pair.operator.gap_m
    if len(gap_mm) < 2:
        return np.zeros_like(level)
    by_gap: Array = np.asarray(np.gradient(level.reshape(len(gap_mm), -1), gap_mm, axis=0))
    return by_gap.ravel()
