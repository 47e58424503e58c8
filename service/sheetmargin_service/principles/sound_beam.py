"""A pair's beam of sound, as mounting, timing and alignment know it."""

from __future__ import annotations

from dataclasses import dataclass

from sheetmargin_service.acoustics.beam import half_angle_rad


@dataclass(frozen=True, kw_only=True)
class SoundBeam:
    """What mounting needs to know of a pair's sound. `bypass_db`: its own bypass below its open path, positive."""

    wavenumber_per_m: float
    face_radius_mm: float
    absorption_db_per_m: float
    bypass_db: float

    @property
    def half_angle_rad(self) -> float:
        """Angle from the axis at which one face's directivity is 3 dB down."""
        return half_angle_rad(wavenumber_per_m=self.wavenumber_per_m, radius_m=1e-3 * self.face_radius_mm)
