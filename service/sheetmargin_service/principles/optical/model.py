"""Infrared light through the sheet: attenuation from the open path, 10 lg of power, in dB.

Both windows diffuse, so that one sheet passes Kubelka and Munk's T and two pass T^2 / (1 - R0^2) by Stokes' relations
(kubelka_munk, adding). Air between the sheets does not count: it only spreads the light sideways. Print does:
ink that is black in the infrared takes from the light what it covers. Coefficients are the library's for the near
infrared, where dyes and most coloured inks are clear.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import HALF_WIDTH_95
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.gap_limits import (
    level_settings,
    too_narrow,
    too_thick,
)
from sheetmargin_service.principles.kubelka_munk import face_layer, filter_layer, scattering_layer
from sheetmargin_service.principles.layer_stack import Layer, add, stack
from sheetmargin_service.principles.optical.parameters import OpticalParameters
from sheetmargin_service.principles.protocol import (
    Fact,
    Receiver,
    Settings,
    SignalDistribution,
    SignalTable,
)
from sheetmargin_service.principles.signal_grid import SignalGrid
from sheetmargin_service.principles.signals import (
    SMALL,
    UNUSABLE_SIGMA,
    Readings,
    States,
    lot_moves,
    moved_by,
    open_readings,
    relative_thickness_deviation,
)

Array = NDArray[np.float64]

GRID = SignalGrid(low=-10.0, step=0.05, count=2000)
LEAST_SIDE_MM = 3.0
"""Least way from a window to the sheet beyond its flutter (a choice: a crumpled sheet must not touch)."""
SCATTERING_FACTORS = np.array([1.0, 0.8, 1.25, 1.0, 1.0])
ABSORPTION_FACTORS = np.array([1.0, 1.0, 1.0, 0.5, 2.0])
"""How far a grade's coefficients may lie from the library's, absorption in the infrared most (typical, from memory)."""
CLEAR = 0.2
"""Below this scattering s w a layer is clear and its two faces are polished (a choice, stated)."""
REFRACTIVE_INDEX = 1.5
"""Most plastics and glass are within 0.1 (CRC Handbook, from memory)."""
INK_TRANSMISSION = 0.05
"""Full tone of carbon black ink in the near infrared: density 1.3 (typical, from memory)."""
COVERAGE, COVERAGE_WEIGHT = np.array([0.0, 0.1, 0.3]), np.array([0.6, 0.3, 0.1])
"""Mean cover with such ink over the spot: plain paper, text, pictures (illustrative)."""
BARE = np.zeros(1)
"""Cover of a sheet without print."""
PRINTED_FAMILIES = ("paper", "board")
DARK_DB = 300.0
"""Attenuation that stands for no light at all."""
NEARLY_OPEN_DB = 1.0
"""A sheet that takes less from the light is called transparent: no band edge on a 1 dB grid parts it from none."""
FLOOR_MARGIN_DB = 3.0
"""No band edge comes nearer to the floor or to overload: there one sheet more is at most 3 dB away."""


@dataclass(frozen=True, kw_only=True)
class OpticalModel:
    """One class under given conditions. N settings: the gaps that fit the line."""

    detector_class: DetectorClass
    parameters: OpticalParameters
    conditions: Conditions
    gap_mm: Array

    @cached_property
    def settings(self) -> Settings:
        return level_settings(self.gap_mm)

    @cached_property
    def _floor_db(self) -> Array:
        """Attenuation at which the floor is reached, (N,): the open path falls with the square of the gap."""
        return self.parameters.floor_db - self._open_db

    @property
    def _open_db(self) -> Array:
        """By how much the open path is weaker than at the reference gap, (N,)."""
        return np.asarray(20.0 * np.log10(self.settings.gap_mm / self.parameters.reference_gap_mm))

    @cached_property
    def _overload_db(self) -> Array:
        """Attenuation below which the receiver is overloaded, (N,); 0 where the open path does not reach that."""
        return np.maximum(self.parameters.overload_db - self._open_db, 0.0) * (self.parameters.overload_db > 0.0)

    def _own_moves(self, count: int) -> dict[str, Array]:
        """Resolution, and drift since taught (ageing, dust, temperature), (count,) each."""
        drift, noise = self.parameters.drift_db / HALF_WIDTH_95, self.parameters.resolution_db
        return {"drift": np.full(count, drift), "noise": np.full(count, noise)}

    @cached_property
    def receiver(self) -> Receiver:
        highest = self._floor_db - FLOOR_MARGIN_DB
        return Receiver(
            lowest_edge=np.where(self._overload_db > 0.0, self._overload_db + FLOOR_MARGIN_DB, 0.0),
            highest_edge=highest,
            widest_band=float(highest.max()),
        )

    def refuses(self, sheet: Sheet) -> Fact | None:
        for layer in sheet.layers:
            if layer.material is not None and layer.material.optical is None:
                return Fact(code="optics-unknown", values={"material": layer.material.id})
        attenuation = float(_decibel(_plies(sheet, covers=[BARE] * sheet.plies).passed[0, 0]))
        passed = 10.0 ** (-0.1 * attenuation)
        values = {"transmission_pct": float(f"{100.0 * passed:.2g}"), "attenuation_db": round(attenuation, 2)}
        if attenuation < NEARLY_OPEN_DB:
            return Fact(code="transparent", values={**values, "least_db": NEARLY_OPEN_DB})
        highest = float(self.receiver.highest_edge.max())
        if attenuation > highest:
            return Fact(code="opaque", values={**values, "highest_db": round(highest, 1)})
        return too_thick(sheet, self.settings, clearance_mm=self.conditions.flutter_mm)

    def signal_table(self, sheet: Sheet) -> SignalTable:
        return self._states(sheet, np.arange(len(self.gap_mm))).signal_table()

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        return self._states(sheet, np.array([setting])).distribution()

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        one, two = (
            float(_plies(sheet, covers=[BARE] * count).passed[0, 0]) for count in (sheet.plies, sheet.double_plies)
        )
        facts = [
            Fact(
                code="diffuse-transmission",
                values={
                    "wavelength_nm": self.parameters.wavelength_nm,
                    "single_pct": float(f"{100.0 * one:.2g}"),
                    "double_pct": float(f"{100.0 * two:.2g}"),
                },
            )
        ]
        if _printed(sheet):
            covers = [COVERAGE[-1:], *[BARE] * (sheet.plies - 1)]
            printed = float(_plies(sheet, covers=covers).passed[0, 0])
            facts.append(
                Fact(
                    code="print-moves-signal",
                    values={
                        "coverage_pct": round(100.0 * float(COVERAGE[-1])),
                        "shift_db": round(float(_decibel(np.asarray(printed / one))), 1),
                        "step_db": round(float(_decibel(np.asarray(two / one))), 1),
                    },
                )
            )
        return tuple(facts)

    def _readings(
        self, sheet: Sheet, settings: NDArray[np.intp], *, covers: Sequence[Array], weights: Array
    ) -> Readings:
        def read(thickness: float) -> Array:
            return _decibel(_plies(sheet, covers=[BARE] * len(covers), thickness=thickness).passed[:, :1])

        spot = self.parameters.spot_diameter_mm
        thickness = relative_thickness_deviation(sheet, spot_mm=spot) / float(np.sqrt(len(covers)))
        position = self.parameters.position_db_per_mm * self.conditions.flutter_mm / HALF_WIDTH_95
        floor = 10.0 ** (-0.1 * self._floor_db[settings])
        power = _plies(sheet, covers=covers).passed[:, None, :] + floor[:, None]
        # Near the floor a change of the light behind it moves the reading by its share only.
        share = 1.0 - floor / (power @ weights)
        moves = {"thickness": share * moved_by(read, {"thickness": thickness})["thickness"]}
        bulk = share * moved_by(read, {"thickness": SMALL})["thickness"] / SMALL
        moves |= lot_moves(sheet, bulk=bulk, denser=np.zeros_like(bulk))
        narrow = too_narrow(sheet, self.settings.gap_mm[settings], clearance_mm=self.conditions.flutter_mm)
        return Readings(
            values=np.maximum(_decibel(power), self._overload_db[settings, None]),
            weights=weights,
            moves={
                **moves,
                **self._own_moves(len(settings)),
                "position": share * position,
                "no-room": np.where(narrow, UNUSABLE_SIGMA, 0.0),
            },
        )

    def _states(self, sheet: Sheet, settings: NDArray[np.intp]) -> States:
        cover, weight = (COVERAGE, COVERAGE_WEIGHT) if _printed(sheet) else (BARE, np.ones(1))
        below = [BARE] * (sheet.plies - 1)
        first, second = (grid.ravel() for grid in np.meshgrid(cover, cover))
        count = len(settings)
        return States(
            no_sheet=open_readings(values=self._overload_db[settings], moves=self._own_moves(count)),
            single=self._readings(sheet, settings, covers=[cover, *below], weights=weight),
            double=self._readings(
                sheet,
                settings,
                covers=[first, *[BARE] * (sheet.double_plies - 2), second],
                weights=np.outer(weight, weight).ravel(),
            ),
            fewer=self._readings(sheet, settings, covers=[cover, *below[1:]], weights=weight)
            if sheet.fewer_plies
            else None,
            nodes="print",
            variants="optical-constants",
        )


def _printed(sheet: Sheet) -> bool:
    return any(layer.material is not None and layer.material.family in PRINTED_FAMILIES for layer in sheet.layers)


def _plies(sheet: Sheet, *, covers: Sequence[Array], thickness: float = 0.0) -> Layer[Array]:
    """Plies upon one another, ply i printed over `covers[i]` (M,) of the spot: (V, M). `thickness`: relative change."""
    solid = stack([_layer(layer, thickness=thickness) for layer in sheet.layers])
    hole = sheet.open_area_fraction
    ply = Layer(
        passed=hole + (1.0 - hole) * solid.passed, front=(1.0 - hole) * solid.front, back=(1.0 - hole) * solid.back
    )
    return stack([add(filter_layer(passed=1.0 - cover * (1.0 - INK_TRANSMISSION)), ply) for cover in covers])


def _layer(layer: SheetLayer, *, thickness: float) -> Layer[Array]:
    """One layer of a sheet in every variant, (V, 1); a clear one with its two polished faces."""
    if layer.material is None:
        return filter_layer(passed=np.ones((len(SCATTERING_FACTORS), 1)))
    optical = layer.material.optical
    assert optical is not None
    mass = layer.density_kg_m3 * layer.thickness_um * 1e-6
    body = scattering_layer(
        scattering_m2_per_kg=optical.scattering_m2_per_kg * SCATTERING_FACTORS[:, None],
        absorption_m2_per_kg=optical.absorption_m2_per_kg * ABSORPTION_FACTORS[:, None],
        mass_kg_per_m2=np.asarray(mass * (1.0 + thickness)),
    )
    if optical.scattering_m2_per_kg * mass > CLEAR:
        return body
    face = face_layer(refractive_index=REFRACTIVE_INDEX)
    return stack([face, body, face])


def _decibel(passed: Array) -> Array:
    """Attenuation in dB of a power ratio, at most `DARK_DB`."""
    return np.asarray(-10.0 * np.log10(np.maximum(passed, 10.0 ** (-0.1 * DARK_DB))))
