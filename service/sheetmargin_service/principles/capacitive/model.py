"""Capacitive: what a dielectric sheet adds to the capacitance of two parallel electrodes, in fF.

Layers in series between guarded plates of area A (any electrostatics text):
    1/C = sum(t_i / eps_i) / (eps_0 A),  the air's share being gap - sum(t_i) whatever lies above and what below.

Where the sheet runs does not matter to first order. Between ideal plates it does not matter at all, because the two
air layers enter by their sum alone. Real plates end, so their field is not quite uniform; a thin sheet at height z
adds, by first-order perturbation of the stored energy at constant voltage V,
    dC = (eps_0 / V^2) int over the sheet of [(eps - 1) |E_t|^2 + (1 - 1/eps) |E_n|^2] dv,
with E the field of the empty plates along and across the sheet. Equal plates make |E|^2 even about the middle of the
gap, hence d(dC)/dz = 0 there: a shift acts with its square. A small lean, by the same symmetry, does so too.

Moisture moves the permittivity of anything that takes it up, and a sheet that conducts is no dielectric: refused. A gap
g that moves by dg moves every state by C dg / g: the bracket with its warmth, dust on an electrode with what it takes
of the gap, the air with its own permittivity. None of these is the sheet's, and against a thin film they are not small.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air, saturation_pressure_pa
from sheetmargin_service.cached import cached_property
from sheetmargin_service.constants import HALF_WIDTH_95
from sheetmargin_service.detectors.model import DetectorClass
from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.principles.capacitive.parameters import CapacitiveParameters
from sheetmargin_service.principles.conditions import Conditions
from sheetmargin_service.principles.gap_limits import (
    level_settings,
    too_narrow,
    too_thick,
)
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
    uniform_deviation,
)

Array = NDArray[np.float64]

EPS_0 = 8.8541878128e-12
"""Electric constant in F/m (CODATA 2018)."""
WATER_PERMITTIVITY = 78.4
"""Water at 25 degrees C (CRC Handbook, from memory)."""
SORPTION_PCT_PER_RH_PCT = 0.11
"""Moisture content of cellulose over relative humidity, between 30 and 70 % (typical, from memory)."""
GREATEST_LOSS_TANGENT = 0.1
"""Above this ratio of conduction to displacement current a sheet is no dielectric (a choice, stated)."""
GRID = SignalGrid(low=-100.0, step=0.5, count=8000)
FEMTO = 1e15
LARGEST_FILL = 0.95
"""Share of the gap that is computed as filled at most: more has no room and is marked as such."""
WATER_FILM_M = 10e-6
"""Water between two wet sheets (typical, from memory)."""
LOT_MOISTURE_PCT = 2.0
"""How far the moisture content of a lot lies from its grade's, with 95 %: papers and boards are sold at 7 +- 2 and
8 +- 2 % by mass (rose-paper.com, paper moisture content and equilibrium moisture)."""
GAP_SET_MM = 0.1
"""A gap is set by a gauge, to a tenth of a millimetre, with 95 % (common practice, no source)."""
CLEAN_UM, DUSTY_UM = 10.0, 50.0
"""Dust that lies on an electrode between two cleanings, with 95 % (typical, from memory)."""
DUST_SHARE = 0.4
"""Share of its height by which dust shortens the gap: 1 - 1/eps of a loose layer of 1.6 (typical, from memory)."""
CHARGE_UC_PER_M2 = 5.0
"""Charge of a film as it comes, with 95 %: a dissipater leaves about 1, air breaks down at 27 (30 kV/cm; Robinson, How
To Use Electrostatic Fieldmeters, Paper, Film and Foil Converter, November 2010)."""
CHARGED_FAMILIES = ("film", "plastic")
"""Paper and board conduct well enough to lose a charge within seconds above 30 % relative humidity (typical, from
memory)."""


def capacitance_f(
    *, area_m2: float, gap_m: Array | float, solid_m: Array | float, equivalent_m: Array | float
) -> Array:
    """Capacitance of plates with `solid_m` of layers between them that are worth `equivalent_m` = sum(t / eps) of air.

    Shapes broadcast.
    """
    return np.asarray(EPS_0 * area_m2 / (gap_m - solid_m + equivalent_m))


def air_permittivity(air: Air) -> float:
    """Permittivity of humid air: the square of its refractive index at radio frequencies (ITU-R P.453-14, eq. 6)."""
    kelvin = air.temperature_c + 273.15
    water = 0.01 * air.relative_humidity_pct / 100.0 * saturation_pressure_pa(air.temperature_c)
    dry = 10.0 * air.pressure_kpa - water
    refractivity = 77.6 * dry / kelvin + 72.0 * water / kelvin + 3.75e5 * water / kelvin**2
    return float((1.0 + 1e-6 * refractivity) ** 2)


def loss_tangent(*, resistivity_ohm_m: float, permittivity: float, frequency_hz: float) -> float:
    """Conduction over displacement current, 1 / (w eps_0 eps rho)."""
    return float(1.0 / (2.0 * np.pi * frequency_hz * EPS_0 * permittivity * resistivity_ohm_m))


def moisture_sensitivity(*, density_kg_m3: float) -> float:
    """Relative change of permittivity for one unit of moisture by mass: ln(eps_water) rho / rho_water.

    Lichtenecker's logarithmic mixing rule (Phys. Z. 27, 115, 1926), the water taking the place of air in the pores.
    Conduction through the water, strongest at low frequency, comes on top.
    """
    return float(np.log(WATER_PERMITTIVITY) * density_kg_m3 / 1000.0)


@dataclass(frozen=True, kw_only=True)
class CapacitiveModel:
    """One class under given conditions. N settings: the gaps that fit the line."""

    detector_class: DetectorClass
    parameters: CapacitiveParameters
    conditions: Conditions
    gap_mm: Array

    @cached_property
    def settings(self) -> Settings:
        return level_settings(self.gap_mm)

    @property
    def _area_m2(self) -> float:
        return self.parameters.electrode_width_mm * self.parameters.electrode_length_mm * 1e-6

    @cached_property
    def _open_ff(self) -> Array:
        """Capacitance without a sheet, (N,)."""
        gap = self.settings.gap_mm * 1e-3
        return FEMTO * capacitance_f(area_m2=self._area_m2, gap_m=gap, solid_m=0.0, equivalent_m=0.0)

    def _own_moves(self, settings: NDArray[np.intp]) -> dict[str, Array]:
        """Noise, and what moves the open gap and its air, each over the settings."""
        p, c = self.parameters, self.conditions
        per_um = self._open_ff[settings] * 1e-3 / self.settings.gap_mm[settings]
        dust_um = DUST_SHARE * (DUSTY_UM if c.dusty else CLEAN_UM if c.dusty is None else 0.0)
        airs = [air_permittivity(air) for air in c.corner_airs()]
        return {
            "gap-drift": per_um * p.gap_drift_um / HALF_WIDTH_95,
            "bracket": per_um * p.bracket_um_per_k * uniform_deviation(c.temperature_min_c, c.temperature_max_c),
            "dust": per_um * dust_um / HALF_WIDTH_95,
            "air": self._open_ff[settings] * uniform_deviation(min(airs), max(airs)),
            "noise": np.full(len(settings), p.resolution_ff),
        }

    def _static_ff(self, sheet: Sheet, *, count: int) -> float:
        """What the charges of plies that come as they like add to a reading, as a standard deviation."""
        if not any(layer.material and layer.material.family in CHARGED_FAMILIES for layer in sheet.layers):
            return 0.0
        p = self.parameters
        charge = 1e-6 * CHARGE_UC_PER_M2 / HALF_WIDTH_95 * self._area_m2 * float(np.sqrt(count))
        return float(FEMTO * charge * 10.0 ** (-0.05 * p.static_rejection_db) / p.drive_v)

    @cached_property
    def receiver(self) -> Receiver:
        top = GRID.centres[-1]
        return Receiver(
            lowest_edge=np.zeros_like(self._open_ff),
            highest_edge=np.full_like(self._open_ff, top),
            widest_band=float(top),
        )

    def refuses(self, sheet: Sheet) -> Fact | None:
        for layer in sheet.layers:
            refused = self._refuses_layer(layer)
            if refused is not None:
                return refused
        return too_thick(sheet, self.settings, clearance_mm=self.conditions.flutter_mm)

    def _refuses_layer(self, layer: SheetLayer) -> Fact | None:
        if layer.material is None:
            return None
        electrical = layer.material.electrical
        if electrical.resistivity_ohm_m is not None:
            tangent = loss_tangent(
                resistivity_ohm_m=electrical.resistivity_ohm_m,
                permittivity=electrical.permittivity.nominal if electrical.permittivity else 1.0,
                frequency_hz=self.parameters.frequency_hz,
            )
            if tangent > GREATEST_LOSS_TANGENT:
                return Fact(
                    code="conductive-sheet",
                    values={
                        "material": layer.material.id,
                        "resistivity_uohm_m": float(f"{1e6 * electrical.resistivity_ohm_m:.3g}"),
                        "decades": round(float(np.log10(tangent)), 1),
                    },
                )
        if electrical.permittivity is None:
            return Fact(code="permittivity-unknown", values={"material": layer.material.id})
        return None

    def signal_table(self, sheet: Sheet) -> SignalTable:
        return self._states(sheet, np.arange(len(self.gap_mm))).signal_table()

    def distribution(self, sheet: Sheet, setting: int) -> SignalDistribution:
        return self._states(sheet, np.array([setting])).distribution()

    def facts(self, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
        at = np.array([setting])
        single, double = (
            float(self._rise_ff(sheet, at, count=count)[0, 0]) for count in (sheet.plies, sheet.double_plies)
        )
        moisture = HALF_WIDTH_95 * self._moisture_deviation
        shift = float(self._rise_ff(sheet, at, count=sheet.plies, moisture=moisture)[0, 0]) - single
        facts = [
            Fact(
                code="capacitance-rise",
                values={
                    "open_ff": round(float(self._open_ff[setting])),
                    "single_ff": round(single, 1),
                    "double_ff": round(double, 1),
                },
            ),
            Fact(code="position-independent", values={"flutter_mm": self.conditions.flutter_mm}),
        ]
        if shift > 0.0:
            values = {"moisture_pct": round(100.0 * moisture, 1), "shift_ff": round(shift, 1)}
            facts.append(Fact(code="moisture-moves-signal", values={**values, "step_ff": round(double - single, 1)}))
        return tuple(facts)

    @property
    def _moisture_deviation(self) -> float:
        """Standard deviation of the moisture content by mass: that of its lot, and what the air's humidity adds."""
        c = self.conditions
        humidity = uniform_deviation(c.relative_humidity_min_pct, c.relative_humidity_max_pct)
        return float(np.hypot(SORPTION_PCT_PER_RH_PCT * humidity, LOT_MOISTURE_PCT / HALF_WIDTH_95)) / 100.0

    def _rise_ff(
        self,
        sheet: Sheet,
        settings: NDArray[np.intp],
        *,
        count: int,
        thickness: float = 0.0,
        density: float = 0.0,
        moisture: float = 0.0,
        wider_mm: float = 0.0,
    ) -> Array:
        """Rise of capacitance (V, N) by `count` plies; `thickness` is a relative change, `density` one of the same
        mass, `moisture` one by mass, `wider_mm` one of the gap as it was set.

        Air between two sheets is air like that above and below: it does not count, and holes count as that much less of
        solid. Water between them does count.
        """
        solid, equivalent = 0.0, np.zeros(1)
        for layer in sheet.layers:
            if layer.material is not None:
                height = layer.thickness_um * 1e-6 * (1.0 - sheet.open_area_fraction) * (1.0 + thickness - density)
                solid += count * height
                equivalent = equivalent + count * height / _permittivities(layer, denser=density, moisture=moisture)
        if sheet.contact == "water-film" and count > sheet.plies:
            solid += WATER_FILM_M
            equivalent = equivalent + WATER_FILM_M / WATER_PERMITTIVITY
        gap = (self.settings.gap_mm[settings] + wider_mm) * 1e-3
        filled = capacitance_f(
            area_m2=self._area_m2,
            gap_m=gap,
            solid_m=np.minimum(solid, LARGEST_FILL * gap),
            equivalent_m=equivalent[:, None],
        )
        opened = capacitance_f(area_m2=self._area_m2, gap_m=gap, solid_m=0.0, equivalent_m=0.0)
        return np.asarray(FEMTO * (filled - opened))

    def _readings(self, sheet: Sheet, settings: NDArray[np.intp], *, count: int) -> Readings:
        def read(**moved: float) -> Array:
            return self._rise_ff(sheet, settings, count=count, **moved)

        spot = min(self.parameters.electrode_width_mm, self.parameters.electrode_length_mm)
        own = relative_thickness_deviation(sheet, spot_mm=spot) / float(np.sqrt(count))
        steps = {"thickness": own, "moisture": self._moisture_deviation}
        if self.parameters.gap_max_mm > self.parameters.gap_min_mm:
            steps["wider_mm"] = GAP_SET_MM / HALF_WIDTH_95
        moves = moved_by(read, steps)
        lot = moved_by(read, {"thickness": SMALL, "density": SMALL})
        moves |= lot_moves(sheet, bulk=lot["thickness"] / SMALL, denser=lot["density"] / SMALL)
        narrow = too_narrow(sheet, self.settings.gap_mm[settings], clearance_mm=self.conditions.flutter_mm)
        return Readings(
            values=read()[..., None],
            weights=np.ones(1),
            moves={
                **moves,
                **self._own_moves(settings),
                "static": np.full(len(settings), self._static_ff(sheet, count=count)),
                "no-room": np.where(narrow, UNUSABLE_SIGMA, 0.0),
            },
        )

    def _states(self, sheet: Sheet, settings: NDArray[np.intp]) -> States:
        return States(
            no_sheet=open_readings(values=np.zeros(len(settings)), moves=self._own_moves(settings)),
            single=self._readings(sheet, settings, count=sheet.plies),
            double=self._readings(sheet, settings, count=sheet.double_plies),
            fewer=self._readings(sheet, settings, count=sheet.fewer_plies) if sheet.fewer_plies else None,
            nodes="trapped-air",
            variants="permittivity",
        )


def _permittivities(layer: SheetLayer, *, denser: float, moisture: float) -> Array:
    """Nominal, low and high permittivity (V,) of a layer whose density and moisture are changed: its logarithm is taken
    in proportion to density."""
    material = layer.material
    assert material is not None
    permittivity = material.electrical.permittivity
    assert permittivity is not None
    density_factor = (1.0 + denser) * layer.density_kg_m3 / material.density_kg_m3.nominal
    values = np.array([permittivity.nominal, permittivity.low, permittivity.high]) ** density_factor
    if material.electrical.moisture_content_pct == 0.0:
        return values
    return np.asarray(values * np.exp(moisture_sensitivity(density_kg_m3=layer.density_kg_m3) * moisture))
