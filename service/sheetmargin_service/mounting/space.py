"""How far from the sheet the two faces may stand, between the clearances and a sheet in flutter.

Distances are along the beam, from a face's centre to the sheet's mid-plane. The rim is the housing's front edge. A head
stays within the clearance on its side, with its body and its cable; where bodies may reach through the frame, with its
front edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, cos, floor, inf, radians, sin, tan

import numpy as np
from sheetmargin.contract.job import Line
from sheetmargin.contract.mounting import Room, Window

from sheetmargin_service.principles.gap_limits import no_room
from sheetmargin_service.principles.protocol import Fact, Settings

SAFE_FLUTTER = 2.0
"""Faces keep clear of this many times the flutter's half width (a choice): that holds 95 %, 1.96 standard deviations of
a normal spread, but a sheet that strikes a face is a jam. Twice it is passed by one in ten thousand."""
TILT_STEP_DEG = 0.5


@dataclass(frozen=True, kw_only=True)
class MountingSpace:
    """The machine round one pair of housings.

    `sheet_mm`: thickness of the thickest sheet, so that a double reaches that far from the mid-plane on either side.
    `face_to_sheet_min_mm`: what the principle asks for (a gate's echo); 0 for nothing. `behind_mm`: how far behind its
    face a head takes room, as wide as its rim.
    """

    line: Line
    flutter_mm: float
    flutter_deg: float
    sheet_mm: float
    rim_mm: float
    face_to_sheet_min_mm: float = 0.0
    behind_mm: float = 0.0

    @property
    def _turn_rad(self) -> float:
        return radians(SAFE_FLUTTER * self.flutter_deg)

    @property
    def _rise_mm(self) -> float:
        return SAFE_FLUTTER * self.flutter_mm + self.sheet_mm

    def least_mm(self, *, tilt_deg: float) -> float:
        """Least distance at which the rim's nearest point clears a double in flutter."""
        angle = radians(tilt_deg) + self._turn_rad
        clear = (self.rim_mm * sin(angle) + self._rise_mm * cos(self._turn_rad)) / cos(angle)
        return max(self.face_to_sheet_min_mm, clear)

    def rim_to_sheet_mm(self, *, distance_mm: float, tilt_deg: float) -> float:
        """Free height under the rim's nearest point; negative where a double in flutter strikes it."""
        tilt = radians(tilt_deg)
        height = distance_mm * cos(tilt) - self.rim_mm * sin(tilt)
        across = distance_mm * sin(tilt) + self.rim_mm * cos(tilt)
        return height - across * tan(self._turn_rad) - self._rise_mm

    def room(self, clearance_mm: float | None, *, distance_mm: float, tilt_deg: float) -> Room:
        """What the head's far point takes of the clearance on its side."""
        needed = self._reach_mm(distance_mm, tilt_deg=tilt_deg)
        return Room(
            available_mm=clearance_mm,
            needed_mm=needed,
            spare_mm=None if clearance_mm is None else clearance_mm - needed,
        )

    def emitter_distance_mm(self, *, gap_mm: float, tilt_deg: float) -> float | None:
        """The emitter's distance, as near to half the gap as the clearances allow; None where the pair does not fit."""
        least = self.least_mm(tilt_deg=tilt_deg)
        low = max(least, gap_mm - self._most_mm(self.line.clearance_above_mm, tilt_deg=tilt_deg))
        high = min(self._most_mm(self.line.clearance_below_mm, tilt_deg=tilt_deg), gap_mm - least)
        return min(max(0.5 * gap_mm, low), high) if low <= high else None

    def gap_limits(self, *, tilt_deg: float) -> tuple[float, float]:
        """Least and greatest gap at which the pair fits at one tilt; the least above the greatest where none does."""
        least = self.least_mm(tilt_deg=tilt_deg)
        most = [
            self._most_mm(clearance, tilt_deg=tilt_deg)
            for clearance in (self.line.clearance_below_mm, self.line.clearance_above_mm)
        ]
        return (2.0 * least, sum(most)) if min(most) >= least else (inf, 0.0)

    def beside_one_another(self) -> Fact | None:
        """Why heads of several lanes do not fit side by side; None where they do, or the job does not tell."""
        pitch_mm, width_mm = self.line.lane_pitch_mm, 2.0 * self.rim_mm
        if self.line.lanes == 1 or pitch_mm is None or pitch_mm >= width_mm:
            return None
        return Fact(code="no-room-beside", values={"pitch_mm": pitch_mm, "width_mm": width_mm})

    def misfit(self, settings: Settings) -> Fact:
        """Why no setting leaves room for the heads, told of what lacks most: one side, or both together."""
        free = {"above": self.line.clearance_above_mm, "below": self.line.clearance_below_mm}
        given = {side: clearance for side, clearance in free.items() if clearance is not None}
        tilts, gap = np.unique(settings.tilt_deg).tolist(), float(settings.gap_mm.min())
        least = min(self._reach_mm(self.least_mm(tilt_deg=tilt), tilt_deg=tilt) for tilt in tilts)
        asked = [(side, least, clearance) for side, clearance in given.items()]
        if len(given) == len(free):
            both = min(2.0 * self._reach_mm(0.5 * gap, tilt_deg=tilt) for tilt in tilts)
            asked.append(("above-and-below", both, sum(given.values())))
        side, needed, available = min(asked, key=lambda one: one[2] - one[1], default=("", 0.0, 0.0))
        if needed > available:
            through = self.line.body_through_frame
            return no_room(side=side, needed_mm=needed, available_mm=available, through_frame=through)
        return Fact(code="does-not-fit", values={"gap_min_mm": round(gap, 1)})

    def usable_gap(self, gap: Window, *, tilt_deg: float) -> Window:
        """As much of a gap's window as fits at one tilt; the nominal alone where that does not fit."""
        if self.emitter_distance_mm(gap_mm=gap.nominal, tilt_deg=tilt_deg) is None:
            return Window(nominal=gap.nominal, min=gap.nominal, max=gap.nominal)
        least, most = self.gap_limits(tilt_deg=tilt_deg)
        return Window(
            nominal=gap.nominal,
            min=min(gap.nominal, max(gap.min, ceil(10.0 * least) / 10.0)),
            max=max(gap.nominal, gap.max if most == inf else min(gap.max, floor(10.0 * most) / 10.0)),
        )

    def usable_tilt(self, tilt: Window, *, gap_mm: float) -> Window:
        """As much of a tilt's window as fits at one gap, in steps of 0.5 degree; else the nominal alone."""

        def fits(tilt_deg: float) -> bool:
            return self.emitter_distance_mm(gap_mm=gap_mm, tilt_deg=tilt_deg) is not None

        def furthest(end: float) -> float:
            if self.line.clearance_above_mm is None and self.line.clearance_below_mm is None and fits(end):
                return end  # nothing but the sheet is in the way, and the more the further the pair leans
            steps = ceil(abs(end - tilt.nominal) / TILT_STEP_DEG)
            reached = tilt.nominal
            for step in range(1, steps + 1):
                angle = tilt.nominal + (end - tilt.nominal) * step / steps
                if not fits(angle):
                    break
                reached = angle
            return reached

        if not fits(tilt.nominal):
            return Window(nominal=tilt.nominal, min=tilt.nominal, max=tilt.nominal)
        return Window(nominal=tilt.nominal, min=furthest(tilt.min), max=furthest(tilt.max))

    def _reach_mm(self, distance_mm: float, *, tilt_deg: float) -> float:
        """Height of the head's far point over the sheet's mid-plane."""
        tilt = radians(tilt_deg)
        return (distance_mm + self.behind_mm) * cos(tilt) + self.rim_mm * sin(tilt)

    def _most_mm(self, clearance_mm: float | None, *, tilt_deg: float) -> float:
        """Greatest distance at which the head's far point is still within the clearance."""
        if clearance_mm is None:
            return inf
        tilt = radians(tilt_deg)
        return (clearance_mm - self.rim_mm * sin(tilt)) / cos(tilt) - self.behind_mm
