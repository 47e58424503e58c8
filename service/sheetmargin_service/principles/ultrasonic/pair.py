"""A detector pair in given air, before any sheet: its operators, its open path and its bounces."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from weakref import WeakValueDictionary

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air, absorption_db_per_m, humid_air
from sheetmargin_service.acoustics.beam import open_path_coupling, open_path_db
from sheetmargin_service.acoustics.contour import Contour, contour_for
from sheetmargin_service.acoustics.operators import Operator, gaussian_band, transmission_operator
from sheetmargin_service.acoustics.standing_waves import gate_share, mirror_bounce
from sheetmargin_service.cached import cached_property
from sheetmargin_service.principles.ultrasonic.films import Films
from sheetmargin_service.principles.ultrasonic.parameters import UltrasonicParameters
from sheetmargin_service.principles.ultrasonic.tilts import greatest_tilt_deg, searched_tilts_deg

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Indices = NDArray[np.intp]

GAPS = 9
"""Gaps searched over the class's range; its tilts are in `tilts`."""
BAND_NODES = 5
"""Frequencies over the band. In one 17.5 % wide: one sheet within 0.15 dB of 21, two within 0.4, of papers, boards,
metals and glass; plywood of 3 mm at 400 kHz within 0.6 and 1.3, two plates of polycarbonate there within 0.7."""


@dataclass(frozen=True, kw_only=True)
class Pair:
    """Emitter and receiver of one class in given air. G gaps, N settings (gap major, tilt minor).

    `bounce` (N,): what one face hears of itself before a sheet midway that reflects all sound. `searched`: the operator
    of the settings that the class is searched at, on the same path; None where a pair is no class's.
    """

    parameters: UltrasonicParameters
    air: Air
    operator: Operator
    bounce: Complex
    searched: Operator | None = None

    @property
    def wavenumber_per_m(self) -> float:
        return 2.0 * np.pi * self.parameters.frequency_hz / self.air.sound_speed_m_per_s

    @cached_property
    def gap_mm(self) -> Array:
        """(N,)"""
        return np.repeat(self.operator.gap_m * 1e3, len(self.operator.tilt_rad))

    @cached_property
    def tilt_deg(self) -> Array:
        """(N,)"""
        return np.tile(np.degrees(self.operator.tilt_rad), len(self.operator.gap_m))

    def _per_setting(self, by_gap: Array) -> Array:
        return np.repeat(by_gap, len(self.operator.tilt_rad))

    @cached_property
    def open_db(self) -> Array:
        """Open path relative to the one at the reference gap, (N,)."""
        p = self.parameters
        return self._per_setting(
            open_path_db(
                wavenumber_per_m=self.wavenumber_per_m,
                radius_m=p.face_radius_mm * 1e-3,
                gap_m=self.operator.gap_m,
                reference_gap_m=p.reference_gap_mm * 1e-3,
                absorption_db_per_m=float(absorption_db_per_m(frequency_hz=p.frequency_hz, air=self.air)),
            )
        )

    @cached_property
    def bypass_db(self) -> Array:
        """Bypass, and what a gate lets in of the crosstalk, as one sound of their power: attenuations of the open path,
        (N,). Crosstalk comes with the burst, as early before the sound as a bounce off the sheet comes after it."""
        p, gap = self.parameters, self.operator.gap_m
        power = np.full(len(gap), 10.0 ** (-0.1 * p.bypass_db))
        if p.crosstalk_db is not None:
            power += self._share(gap) ** 2 * 10.0 ** (-0.1 * p.crosstalk_db)
        return self._per_setting(-10.0 * np.log10(power)) + self.open_db

    @cached_property
    def open_bounce(self) -> Array:
        """Relative amplitude of the first bounce between the faces in the open path, (N,)."""
        p, gap = self.parameters, self.operator.gap_m
        radius = p.face_radius_mm * 1e-3
        coupling = open_path_coupling(wavenumber_per_m=self.wavenumber_per_m, radius_m=radius, gap_m=gap)
        return self._per_setting(np.abs(coupling) ** 2 * p.face_reflection**2 * self._share(2.0 * gap))

    @cached_property
    def rigid_bounce(self) -> Array:
        """Relative amplitude of the bounce between one face and a sheet midway that reflects all sound, (N,)."""
        share = self._per_setting(self._share(self.operator.gap_m))
        return np.asarray(self.parameters.face_reflection * np.abs(self.bounce) * share)

    def _share(self, path_m: Array) -> Array:
        """Share of a bounce with a detour of `path_m` that the gate lets in."""
        p = self.parameters
        if p.gate_us is None:
            return np.ones_like(path_m)
        return gate_share(gate_s=p.gate_us * 1e-6, path_m=path_m, sound_speed_m_per_s=self.air.sound_speed_m_per_s)

    @cached_property
    def centre(self) -> Operator:
        """The operator at the centre of the band alone."""
        return self.operator.at_line(len(self.operator.frequency_hz) // 2)


@dataclass(frozen=True, kw_only=True)
class Row:
    """Pairs in the same air, with one path of integration, that are asked about a sheet together. Their settings (N,)
    stand one after another."""

    pairs: tuple[Pair, ...]
    _in_use: WeakValueDictionary[tuple[int, ...], Films] = field(
        default_factory=WeakValueDictionary, compare=False, repr=False
    )

    @property
    def air(self) -> Air:
        return self.pairs[0].air

    @cached_property
    def frequency_hz(self) -> Array:
        """Those of all pairs, rising: what several work at stands once, (F,)."""
        return np.unique(np.concatenate([pair.operator.frequency_hz for pair in self.pairs]))

    @cached_property
    def lines(self) -> tuple[Indices, ...]:
        """Each pair's places among the frequencies."""
        return tuple(np.searchsorted(self.frequency_hz, pair.operator.frequency_hz) for pair in self.pairs)

    @cached_property
    def centre_lines(self) -> Indices:
        """The places of the pairs' centre frequencies."""
        return np.unique([lines[len(lines) // 2] for lines in self.lines])

    @cached_property
    def sin_theta(self) -> Complex:
        return self.pairs[0].operator.sin_theta

    @cached_property
    def settings(self) -> tuple[Indices, ...]:
        """Each pair's places among the settings."""
        counts = [len(pair.gap_mm) for pair in self.pairs]
        return tuple(np.split(np.arange(sum(counts)), np.cumsum(counts)[:-1]))

    @cached_property
    def gap_mm(self) -> Array:
        """(N,), as what follows."""
        return np.concatenate([pair.gap_mm for pair in self.pairs])

    @cached_property
    def tilt_deg(self) -> Array:
        return np.concatenate([pair.tilt_deg for pair in self.pairs])

    @cached_property
    def open_db(self) -> Array:
        return np.concatenate([pair.open_db for pair in self.pairs])

    @cached_property
    def bypass_db(self) -> Array:
        return np.concatenate([pair.bypass_db for pair in self.pairs])

    @cached_property
    def open_bounce(self) -> Array:
        return np.concatenate([pair.open_bounce for pair in self.pairs])

    @cached_property
    def rigid_bounce(self) -> Array:
        return np.concatenate([pair.rigid_bounce for pair in self.pairs])

    def per_setting(self, values: Sequence[float]) -> Array:
        """One value for each pair, at each of its settings."""
        return np.repeat(values, [len(settings) for settings in self.settings])

    @cached_property
    def _films(self) -> Films:
        return Films(air=self.air, frequency_hz=self.frequency_hz, sin_theta=self.sin_theta)

    @cached_property
    def _centre_films(self) -> Films:
        return Films(air=self.air, frequency_hz=self.frequency_hz[self.centre_lines], sin_theta=self.sin_theta)

    def films(self, lines: Indices) -> Films:
        """Films at some of the frequencies: those of all centres at hand, others as long as a sheet has them."""
        if np.array_equal(lines, self.centre_lines):
            return self._centre_films
        key = tuple(lines.tolist())
        films = self._in_use.get(key)
        if films is None:
            films = self._in_use[key] = self._films.at_frequencies(lines)
        return films


def _compute(
    frequency_hz: float,
    bandwidth_hz: float,
    face_radius_mm: float,
    gap_mm: tuple[float, ...],
    tilt_deg: tuple[float, ...],
    *,
    contour: Contour | None = None,
) -> tuple[Operator, Complex]:
    """The operator of transmission over the band, and bounces at its centre, in air of 20 degrees C and 50 %.

    A few degrees change the wavelength by a per cent or so: the same as moving within the class's own band.
    """
    gap_m, tilt_rad = np.array(gap_mm) * 1e-3, np.radians(tilt_deg)
    frequency, weight = gaussian_band(centre_hz=frequency_hz, bandwidth_hz=bandwidth_hz, nodes=BAND_NODES)
    speed, radius_m = humid_air().sound_speed_m_per_s, face_radius_mm * 1e-3
    through = transmission_operator(
        radius_m=radius_m,
        frequency_hz=frequency,
        band_weight=weight,
        gap_m=gap_m,
        tilt_rad=tilt_rad,
        sound_speed_m_per_s=speed,
        contour=contour,
    )
    bounce = mirror_bounce(
        radius_m=radius_m, frequency_hz=frequency_hz, gap_m=gap_m, tilt_rad=tilt_rad, sound_speed_m_per_s=speed
    )
    return through, bounce


_searched = lru_cache(maxsize=1024)(_compute)
"""Those of the settings that are searched, for every class of a catalogue."""
_asked = lru_cache(maxsize=32)(_compute)
"""Those of settings that single questions ask for."""


def contour_of(parameters: UltrasonicParameters) -> Contour:
    """The path of integration that the settings of a class ask for."""
    frequency_hz, bandwidth_hz, _ = _beam(parameters)
    frequencies, _ = gaussian_band(centre_hz=frequency_hz, bandwidth_hz=bandwidth_hz, nodes=BAND_NODES)
    wavenumber = 2.0 * np.pi * float(np.max(frequencies)) / humid_air().sound_speed_m_per_s
    greatest = greatest_tilt_deg(frequency_hz=frequency_hz, face_radius_mm=parameters.face_radius_mm)
    return contour_for(gap_rad=wavenumber * 1e-3 * parameters.gap_max_mm, tilt_rad=float(np.radians(greatest)))


@lru_cache(maxsize=256)
def pair_in_air(parameters: UltrasonicParameters, air: Air) -> Pair:
    """The pair at the settings that are searched, computed once for each class and each air."""
    gaps = np.unique(np.round(np.linspace(parameters.gap_min_mm, parameters.gap_max_mm, GAPS), 1))
    tilts = searched_tilts_deg(frequency_hz=parameters.frequency_hz, face_radius_mm=parameters.face_radius_mm)
    operators = _searched(*_beam(parameters), tuple(gaps.tolist()), tuple(tilts.tolist()))
    return Pair(parameters=parameters, air=air, operator=operators[0], bounce=operators[1])


@lru_cache(maxsize=16)
def row_in_air(parameters: tuple[UltrasonicParameters, ...], air: Air) -> Row:
    """The pairs of some classes together."""
    return Row(pairs=tuple(pair_in_air(p, air) for p in parameters))


def pair_at(
    parameters: UltrasonicParameters, air: Air, *, gap_mm: tuple[float, ...], tilt_deg: tuple[float, ...]
) -> Pair:
    """The pair at every one of some gaps with every one of some tilts."""
    through, bounce = _asked(*_beam(parameters), gap_mm, tilt_deg)
    return Pair(parameters=parameters, air=air, operator=through, bounce=bounce)


def class_at(
    parameters: UltrasonicParameters, air: Air, *, gap_mm: tuple[float, ...], tilt_deg: tuple[float, ...]
) -> Pair:
    """The same of a class's own pair, within its gaps and tilts: what is read at a place is what a search reads there,
    whatever other places are asked for."""
    searched = pair_in_air(parameters, air).operator
    through, bounce = _asked(*_beam(parameters), gap_mm, tilt_deg, contour=searched.contour)
    return Pair(parameters=parameters, air=air, operator=through, bounce=bounce, searched=searched)


def _beam(p: UltrasonicParameters) -> tuple[float, float, float]:
    """Frequency, bandwidth and face. A steady tone has no width: its bandwidth is the receiver's."""
    return p.frequency_hz, 0.0 if p.drive == "continuous" else p.bandwidth_hz, p.face_radius_mm
