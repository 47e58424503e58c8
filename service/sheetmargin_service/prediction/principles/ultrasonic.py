"""Sound through the sheet: attenuation from the open path, in dB.

The level of one sheet and of two comes from the plane-wave response of the sheet (acoustics.plate and its relatives) through
the finite beam (acoustics.operators); bounces between faces and sheet, trapped air, mass, formation, flutter, drift and air
make its spread; bypass and noise limit what can be read.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from sheetmargin_service.acoustics.air import Air, absorption_db_per_m, humid_air
from sheetmargin_service.acoustics.beam import open_path_db
from sheetmargin_service.acoustics.operators import (
    Operator,
    amplitudes,
    gaussian_band,
    level_db,
    transmission_operator,
)
from sheetmargin_service.detectors.model import DetectorClass, UltrasonicParameters
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.stiffness import VARIANTS
from sheetmargin_service.prediction.conditions import Conditions
from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.principles.base import (
    Bench,
    Detail,
    Fact,
    Receiver,
    Settings,
    Span,
    Spread,
    Survey,
)
from sheetmargin_service.prediction.receiver import add_powers_db, floor_matrix
from sheetmargin_service.prediction.responses import VARIANT_WEIGHTS, Case, SheetModel, mass_step, survey_cases
from sheetmargin_service.prediction.trapped_air import Films, film_weights

Array = NDArray[np.float64]
GAPS = 9
TILTS_DEG = np.arange(0.0, 46.0, 5.0)
"""Settings searched: nine gaps over the class's range, tilts in steps of 5 degrees."""
Z99 = 2.3263478740408408
HALF_WIDTH_95 = 1.959963984540054
LEAST_CLEARANCE_MM = 3.0
"""Least way from a face's rim to the sheet beyond its flutter (a choice: a crumpled sheet must not touch)."""
GRID = SignalGrid(low=-20.0, step=0.25, count=720)


@lru_cache(maxsize=64)
def _operator(parameters: UltrasonicParameters) -> Operator:
    """The class's beam operator in the standard's reference air (20 degrees C, 50 %).

    A few degrees change the wavelength by a per cent or so: the same as moving within the class's own band.
    """
    frequency, weight = gaussian_band(centre_hz=parameters.frequency_hz, bandwidth_hz=parameters.bandwidth_hz)
    return transmission_operator(
        radius_m=parameters.face_radius_mm * 1e-3,
        frequency_hz=frequency,
        band_weight=weight,
        gap_m=np.linspace(parameters.gap_min_mm, parameters.gap_max_mm, GAPS) * 1e-3,
        tilt_rad=np.radians(TILTS_DEG),
        sound_speed_m_per_s=humid_air().sound_speed_m_per_s,
    )


@dataclass(frozen=True, kw_only=True)
class UltrasonicBench:
    """One ultrasonic class under given conditions. N settings: those that fit the line."""

    detector_class: DetectorClass
    conditions: Conditions
    operator: Operator
    keep: NDArray[np.intp]

    @property
    def parameters(self) -> UltrasonicParameters:
        assert isinstance(self.detector_class.parameters, UltrasonicParameters)
        return self.detector_class.parameters

    @cached_property
    def air(self) -> Air:
        return self.conditions.mean_air()

    @cached_property
    def settings(self) -> Settings:
        gap, tilt = _all_settings(self.operator)
        return Settings(gap_mm=gap[self.keep], tilt_deg=tilt[self.keep])

    @cached_property
    def _open_db(self) -> Array:
        """Open path relative to the one at the reference gap, (N,)."""
        p = self.parameters
        gap = self.operator.gap_m
        level = open_path_db(
            wavenumber_per_m=2.0 * np.pi * p.frequency_hz / self.air.sound_speed_m_per_s,
            radius_m=p.face_radius_mm * 1e-3,
            gap_m=gap,
            reference_gap_m=p.reference_gap_mm * 1e-3,
            absorption_db_per_m=float(absorption_db_per_m(frequency_hz=p.frequency_hz, air=self.air)),
        )
        return np.repeat(level, len(self.operator.tilt_rad))[self.keep]

    @cached_property
    def receiver(self) -> Receiver:
        p = self.parameters
        overload, noise = p.overload_db + self._open_db, p.noise_db + self._open_db
        return Receiver(
            lowest_edge=np.maximum(overload, 0.0) + 1.0,
            highest_edge=np.minimum(overload + p.gain_range_db + p.span_db, noise),
            widest_band=p.span_db,
        )

    @cached_property
    def _common_variance(self) -> Array:
        """Variance in dB^2 of what moves every state alike: drift since taught, and the air's absorption, (N,)."""
        p = self.parameters
        per_m = [float(absorption_db_per_m(frequency_hz=p.frequency_hz, air=air)) for air in self.conditions.corner_airs()]
        swing = (max(per_m) - min(per_m)) * self.settings.gap_mm * 1e-3
        return np.asarray((p.drift_db / HALF_WIDTH_95) ** 2 + swing**2 / 12.0)

    def refuses(self, sheet: Sheet) -> Fact | None:
        return None

    @cached_property
    def _floors_db(self) -> tuple[Array, Array]:
        """Bypass and noise as attenuations of the open path, (N,) each."""
        return self.parameters.bypass_db + self._open_db, self.parameters.noise_db + self._open_db

    @cached_property
    def _films(self) -> Films:
        return Films(air=self.air, frequency_hz=self.operator.frequency_hz, sin_theta=self._sine)

    @cached_property
    def _sine(self) -> Array:
        return self.operator.sin_theta

    def _double_db(
        self, sheet: Sheet, cases: tuple[Case, ...], films: NDArray[np.intp], operator: Operator
    ) -> Array:
        """Attenuation of two sheets, (C, D, settings of the operator)."""
        model = SheetModel(sheet=sheet, air=self.air, cases=cases)

        def response(frequency: Array, sine: Array) -> NDArray[np.complex128]:
            return model.double(self._films, films, frequency, self._sine if sine.ndim == 1 else sine)

        through = amplitudes(operator=operator, response=response, floor_db=-self.parameters.bypass_db)
        return -level_db(operator=operator, amplitude=through)

    def _single(self, sheet: Sheet) -> _Single:
        model = SheetModel(sheet=sheet, air=self.air, cases=survey_cases(sheet))
        through = amplitudes(
            operator=self.operator, response=model.single, floor_db=-self.parameters.bypass_db
        )
        attenuation = -level_db(operator=self.operator, amplitude=through)
        variants, (lighter, heavier) = attenuation[: len(VARIANT_WEIGHTS)], attenuation[len(VARIANT_WEIGHTS) :]
        slope = (heavier - lighter) / (2.0 * mass_step(sheet))
        spread = np.hypot(sheet.mass_tolerance_pct / HALF_WIDTH_95, sheet.formation_pct) / 100.0
        mean = VARIANT_WEIGHTS @ variants
        return _Single(
            variants=variants[:, self.keep],
            mean=mean[self.keep],
            variance=(
                (slope * spread) ** 2 + self._flutter_variance(variants[0])
            )[self.keep],
            model_variance=(VARIANT_WEIGHTS @ (variants - mean) ** 2)[self.keep],
        )

    def _flutter_variance(self, attenuation: Array) -> Array:
        """Variance from the angle of the sheet, (all settings): by slope, and by curvature where there is no tilt."""
        tilts = np.degrees(self.operator.tilt_rad)
        by_tilt = attenuation.reshape(-1, len(tilts))
        sigma = self.conditions.flutter_deg / HALF_WIDTH_95
        deviation = np.abs(np.gradient(by_tilt, tilts, axis=1)) * sigma
        deviation[:, 0] = np.abs(by_tilt[:, 1] - by_tilt[:, 0]) * (sigma / (tilts[1] - tilts[0])) ** 2
        return np.asarray(deviation.ravel() ** 2)

    def survey(self, sheet: Sheet) -> Survey:
        one = self._single(sheet)
        films, weight = film_weights(sheet.trapped_air)
        double = self._double_db(sheet, (Case(),), films, self.operator)[0][:, self.keep]
        single_sigma = np.sqrt(self._common_variance + one.variance + one.model_variance)
        # The masses of two sheets vary apart; what the model does not know is the same for both.
        double_sigma = np.sqrt(self._common_variance + 2.0 * one.variance + 4.0 * one.model_variance)
        spread = Z99 * np.sqrt(self._common_variance)
        single = [add_powers_db(one.mean + z * single_sigma, *self._floors_db) for z in (-Z99, 0.0, Z99)]
        pair = [
            add_powers_db(mixture_quantile(double, weight, double_sigma, q), *self._floors_db) for q in (0.01, 0.5, 0.99)
        ]
        return Survey(
            no_sheet=Span(p1=-spread, p50=np.zeros_like(spread), p99=spread),
            single=Span(p1=single[0], p50=single[1], p99=single[2]),
            double=Span(p1=pair[0], p50=pair[1], p99=pair[2]),
        )

    def detail(self, sheet: Sheet, setting: int) -> Detail:
        one = self._single(sheet)
        films, weight = film_weights(sheet.trapped_air)
        variants = tuple(Case(variant=v) for v in VARIANTS)
        double = self._double_db(sheet, variants, films, at_setting(self.operator, int(self.keep[setting])))[:, :, 0]
        single = one.variants[:, setting, None]
        variance = float(one.variance[setting])
        return Detail(
            no_sheet=self._spread(np.zeros((1, 1)), np.ones(1), 0.0, setting, weights=np.ones(1), floor=False),
            single=self._spread(single, np.ones(1), variance, setting, weights=VARIANT_WEIGHTS),
            double=self._spread(double, weight, 2.0 * variance, setting, weights=VARIANT_WEIGHTS),
        )

    def _spread(
        self, nodes: Array, node_weights: Array, variance: float, setting: int, *, weights: Array, floor: bool = True
    ) -> Spread:
        """Nodes (V, M) of true attenuation, blurred, read by the receiver, and moved by what moves every state."""
        rows = np.ones(len(nodes))
        pmf = GRID.blur(GRID.bin_nodes(nodes, node_weights), np.sqrt(variance) * rows)
        if floor:
            pmf = pmf @ self._floor_matrix(setting)
        return Spread(variants=GRID.blur(pmf, np.sqrt(self._common_variance[setting]) * rows), weights=weights)

    def _floor_matrix(self, setting: int) -> Array:
        bypass, noise = self._floors_db
        return floor_matrix(GRID, bypass_db=float(bypass[setting]), noise_db=float(noise[setting]))

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        return ()


@dataclass(frozen=True, kw_only=True)
class _Single:
    """Attenuation of one sheet at N settings: by variant (V, N), its mean, and its variances (N,)."""

    variants: Array
    mean: Array
    variance: Array
    model_variance: Array


def at_setting(operator: Operator, setting: int) -> Operator:
    """The operator of one setting alone."""
    s = slice(setting, setting + 1)
    return replace(
        operator, coarse=operator.coarse[..., s], fine=operator.fine[..., s], weight=operator.weight[..., s]
    )


def mixture_quantile(nodes: Array, weights: Array, sigma: Array, probability: float) -> Array:
    """Quantile (N,) of a mixture of Gaussians at `nodes` (D, N) with `weights` (D,) and one `sigma` (N,), to 0.01 sigma."""
    low, high = nodes.min(axis=0) - 6.0 * sigma, nodes.max(axis=0) + 6.0 * sigma
    for _ in range(16):
        middle = 0.5 * (low + high)
        below = weights @ ndtr((middle - nodes) / sigma) < probability
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray(0.5 * (low + high))


def _all_settings(operator: Operator) -> tuple[Array, Array]:
    gap, tilt = np.meshgrid(operator.gap_m * 1e3, np.degrees(operator.tilt_rad), indexing="ij")
    return gap.ravel(), tilt.ravel()


class Ultrasonic:
    """The principle: every class of it works in the same way."""

    id = "ultrasonic"
    quantity = "attenuation"
    unit = "dB"
    band_step = 1
    grid = GRID

    def bench(self, detector_class: DetectorClass, conditions: Conditions) -> Bench | Fact:
        p = detector_class.parameters
        assert isinstance(p, UltrasonicParameters)
        operator = _operator(p)
        gap, tilt = _all_settings(operator)
        angle = np.radians(tilt)
        face = 0.5 * gap * np.cos(angle)
        rim = p.face_radius_mm * np.sin(angle)
        fits = (tilt <= conditions.max_tilt_deg) & (face - rim >= conditions.flutter_mm + LEAST_CLEARANCE_MM)
        for clearance in (conditions.clearance_above_mm, conditions.clearance_below_mm):
            if clearance is not None:
                fits &= face + rim <= clearance
        if not fits.any():
            return Fact(
                code="does-not-fit",
                values={
                    "gap_min_mm": p.gap_min_mm,
                    "clearance_above_mm": conditions.clearance_above_mm,
                    "clearance_below_mm": conditions.clearance_below_mm,
                },
            )
        return UltrasonicBench(
            detector_class=detector_class, conditions=conditions, operator=operator, keep=np.flatnonzero(fits)
        )


PRINCIPLE = Ultrasonic()
