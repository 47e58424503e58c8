"""How a sheet's distance from the faces moves its level."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.standing_waves import gate_share, mirror_bounce
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters

Array = NDArray[np.float64]


def standing_wave_db(
    parameters: UltrasonicParameters,
    air: Air,
    *,
    gap_mm: float,
    tilt_deg: float,
    position_mm: Array,
    attenuation_db: float,
) -> Array:
    """What the bounces between both faces and a sheet add to its attenuation, by its distance from the middle.

    `acoustics.standing_waves`: 1/((1 - r b1)(1 - r b2)) of the first arrival, the sheet sending back what it does not
    pass.
    """
    p = parameters
    sent_back = p.face_reflection * np.sqrt(1.0 - 10.0 ** (-0.1 * max(attenuation_db, 0.0)))
    factor = np.ones(len(position_mm), dtype=np.complex128)
    for sign in (1.0, -1.0):
        path_m = 1e-3 * (gap_mm + 2.0 * sign * position_mm)
        bounce = sent_back * mirror_bounce(
            radius_m=1e-3 * p.face_radius_mm,
            frequency_hz=p.frequency_hz,
            gap_m=path_m,
            tilt_rad=np.array([np.radians(tilt_deg)]),
            sound_speed_m_per_s=air.sound_speed_m_per_s,
        )
        if p.gate_us is not None:
            bounce = bounce * gate_share(
                gate_s=1e-6 * p.gate_us, path_m=path_m, sound_speed_m_per_s=air.sound_speed_m_per_s
            )
        factor *= 1.0 - bounce
    return np.asarray(20.0 * np.log10(np.abs(factor)))
