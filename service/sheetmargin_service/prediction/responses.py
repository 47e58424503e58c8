"""From a sheet to its reflection and transmission, with what the model does not know as variants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air
from sheetmargin_service.acoustics.operators import displaced_air
from sheetmargin_service.acoustics.plate import ElasticPlate, plate_response
from sheetmargin_service.acoustics.response import Response
from sheetmargin_service.acoustics.trapped_air import double_transmission
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.stiffness import VARIANTS, Variant, elastic_constants
from sheetmargin_service.prediction.trapped_air import FILM_M, Films

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
VARIANT_WEIGHTS = np.array([0.4, 0.15, 0.15, 0.15, 0.15])
"""How far each of `VARIANTS` is believed: the nominal case most, the four ends of the intervals alike (a choice, stated)."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One sheet that has a response of its own: a variant of the library's numbers, and a mass factor."""

    variant: Variant = "nominal"
    mass_factor: float = 1.0


@dataclass(frozen=True, kw_only=True)
class SheetModel:
    """Plane-wave responses of one sheet and of two, for C cases, in given air."""

    sheet: Sheet
    air: Air
    cases: tuple[Case, ...]

    def _by_case(self, values: NDArray[np.inexact], axes: int) -> NDArray[np.inexact]:
        """Values (C,) with `axes` axes behind them."""
        return values.reshape(-1, *(1,) * axes)

    @property
    def thickness_m(self) -> Array:
        """Thickness of one sheet, (C,)."""
        return np.array([self.sheet.thickness_um * 1e-6 * case.mass_factor for case in self.cases])

    def response(self, frequency_hz: Array, sin_theta: Array, *, axes: int = 2) -> Response:
        """Reflection and transmission from face to face: C cases, then `axes` axes that broadcast with the arguments."""
        layer = self.sheet.layers[0]
        assert layer.material is not None
        constants = np.array(
            [
                elastic_constants(material=layer.material, density_kg_m3=layer.density_kg_m3, variant=case.variant)
                for case in self.cases
            ]
        )
        c11, c13, c33, c55 = (self._by_case(constants[:, k], axes) for k in range(4))
        plate = ElasticPlate(
            thickness_m=self._by_case(self.thickness_m, axes),
            density_kg_m3=layer.density_kg_m3,
            c11_pa=c11,
            c13_pa=c13,
            c33_pa=c33,
            c55_pa=c55,
        )
        return plate_response(plate=plate, air=self.air, frequency_hz=frequency_hz, sin_theta=sin_theta)

    def single(self, frequency_hz: Array, sin_theta: Array) -> Complex:
        """Transmission of one sheet with the air it displaces, (C, F, S)."""
        transmission = self.response(frequency_hz, sin_theta).transmission
        return transmission * self._displaced(self._by_case(self.thickness_m, 2), frequency_hz, sin_theta)

    def double(self, films: Films, index: NDArray[np.intp], frequency_hz: Array, sin_theta: Array) -> Complex:
        """Transmission of two such sheets with the films `index` (D,) between them, (C, D, F, S)."""
        one = self.response(frequency_hz, sin_theta, axes=3)
        transmission = double_transmission(first=one, second=one, film=films.response(index, sin_theta))
        thickness = 2.0 * self._by_case(self.thickness_m, 3) + FILM_M[index, None, None]
        return transmission * self._displaced(thickness, frequency_hz, sin_theta)

    def _displaced(self, thickness_m: NDArray[np.inexact], frequency_hz: Array, sin_theta: Array) -> Complex:
        return displaced_air(
            frequency_hz=frequency_hz,
            sin_theta=sin_theta,
            thickness_m=thickness_m,
            sound_speed_m_per_s=self.air.sound_speed_m_per_s,
        )


def mass_step(sheet: Sheet) -> float:
    """Relative step of mass by which slopes are taken: one standard deviation, at least 1 %."""
    return max(sheet.mass_tolerance_pct / 100.0 / 1.959963984540054, 0.01)


def survey_cases(sheet: Sheet) -> tuple[Case, ...]:
    """The five variants, then the nominal sheet one step of mass lighter and heavier."""
    step = mass_step(sheet)
    return (*(Case(variant=v) for v in VARIANTS), Case(mass_factor=1.0 - step), Case(mass_factor=1.0 + step))
