"""What decides an ultrasonic reading, as codes with numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sheetmargin_service.acoustics.beam import half_angle_rad
from sheetmargin_service.acoustics.porous import PorousSheet, pore_fluid
from sheetmargin_service.acoustics.standing_waves import ripple_db
from sheetmargin_service.acoustics.trapped_air import critical_film_m
from sheetmargin_service.materials.sheet import Sheet
from sheetmargin_service.materials.stiffness import elastic_constants
from sheetmargin_service.principles.protocol import Fact
from sheetmargin_service.principles.ultrasonic.films import share_below
from sheetmargin_service.principles.ultrasonic.responses import Case, SheetModel

if TYPE_CHECKING:
    from sheetmargin_service.principles.ultrasonic.class_model import UltrasonicModel

LIMP_DB = 3.0
"""A sheet whose level is this near the mass law is told as limp."""


def facts_of(class_model: UltrasonicModel, sheet: Sheet, setting: int) -> tuple[Fact, ...]:
    """The physics behind one class, one sheet and one setting, what applies of it."""
    single = float(class_model.single_db(sheet)[setting])
    found = [_mass_law(class_model, sheet, single), _resonance(class_model, sheet), _tilt(class_model, sheet, setting)]
    found += [
        _trapped_air(sheet),
        _film_resonance(class_model, sheet),
        _ripple(class_model, single, setting),
        _beam(class_model),
    ]
    return tuple(fact for fact in found if fact is not None)


def _mass_law(class_model: UltrasonicModel, sheet: Sheet, single_db: float) -> Fact | None:
    mass = 1e-3 * sheet.grammage_gsm * sheet.plies
    ratio = np.pi * class_model.parameters.frequency_hz * mass / class_model.pair.air.impedance_pa_s_per_m
    limp = float(10.0 * np.log10(1.0 + ratio**2))
    if abs(limp - single_db) > LIMP_DB:
        return None
    return Fact(
        code="mass-law",
        values={"mass_law_db": round(limp, 1), "single_db": round(single_db, 1), "grammage_gsm": sheet.grammage_gsm},
        source="mass law at normal incidence: Fahy and Gardonio, Sound and Structural Vibration, chapter 5",
    )


def _resonance(class_model: UltrasonicModel, sheet: Sheet) -> Fact | None:
    """The half-wave resonance through the thickness of a sheet of one layer, where the detector works near it."""
    layer = sheet.layers[0]
    if len(sheet.layers) > 1 or layer.material is None:
        return None
    c33 = elastic_constants(material=layer.material, density_kg_m3=layer.density_kg_m3)[2].real
    resonance = float(np.sqrt(c33 / layer.density_kg_m3) / (2e-6 * layer.thickness_um))
    if not 0.5 < class_model.parameters.frequency_hz / resonance < 2.0:
        return None
    return Fact(
        code="thickness-resonance",
        values={
            "resonance_khz": round(1e-3 * resonance, 0),
            "frequency_khz": round(1e-3 * class_model.parameters.frequency_hz, 0),
        },
        source="half-wave resonance, f = c/(2 h)",
    )


def _tilt(class_model: UltrasonicModel, sheet: Sheet, setting: int) -> Fact | None:
    settings = class_model.settings
    tilt = float(settings.tilt_deg[setting])
    square = np.flatnonzero((settings.tilt_deg == 0.0) & (settings.gap_mm == settings.gap_mm[setting]))
    if tilt == 0.0 or not len(square):
        return None
    mean = class_model.single_db(sheet)
    return Fact(
        code="tilt-gain",
        values={
            "tilt_deg": round(tilt, 0),
            "single_square_db": round(float(mean[square[0]]), 1),
            "single_db": round(float(mean[setting]), 1),
        },
        source="plate and beam as calculated; coincidence: Cremer, Heckl and Ungar, Structure-Borne Sound",
    )


def _trapped_air(sheet: Sheet) -> Fact | None:
    if sheet.contact in ("bonded", "water-film"):
        return None
    air = sheet.trapped_air
    return Fact(
        code="trapped-air",
        values={"p5_um": air.p5_um, "p50_um": air.p50_um, "p95_um": air.p95_um},
        source=air.source,
    )


def _film_resonance(class_model: UltrasonicModel, sheet: Sheet) -> Fact | None:
    if sheet.contact != "air" or sheet.plies > 1:
        return None
    critical = float(
        critical_film_m(
            mass_kg_m2=1e-3 * sheet.grammage_gsm,
            air=class_model.pair.air,
            frequency_hz=class_model.parameters.frequency_hz,
        )
    )
    share = float(share_below(sheet.trapped_air, film_m=2.0 * critical))
    if share < 1e-3 or _air_of_pores_m(class_model, sheet) > critical:
        return None
    return Fact(
        code="film-resonance",
        values={"critical_film_um": round(1e6 * critical, 2), "share_pct": round(100.0 * share, 1)},
        source="mass-air-mass resonance: Fahy and Gardonio, Sound and Structural Vibration, chapter 5",
    )


def _air_of_pores_m(class_model: UltrasonicModel, sheet: Sheet) -> float:
    """Thickness of the isothermal film that gives way to a pressure as much as the pores of the two faces about it:
    each face as a half-space of pores, |flow over pressure| = 1/|Z|, against w d/p0. Where it is more than the film
    itself, the pores' air and friction hold the film, which then resonates no longer."""
    model = SheetModel(sheet=sheet, air=class_model.pair.air, cases=(Case(),))
    angular = 2.0 * np.pi * class_model.parameters.frequency_hz
    total = 0.0
    for face in (model.layers[0], model.layers[-1]):
        if isinstance(face, PorousSheet):
            fluid = pore_fluid(sheet=face, air=class_model.pair.air, frequency_hz=class_model.parameters.frequency_hz)
            impedance = np.abs(np.sqrt(np.asarray(fluid.density_kg_m3 * fluid.bulk_modulus_pa))).item()
            total += class_model.pair.air.pressure_pa / (angular * impedance)
    return total


def _ripple(class_model: UltrasonicModel, single_db: float, setting: int) -> Fact | None:
    settings = class_model.settings
    swing = ripple_db(np.minimum(class_model.bounce_amplitude(single_db), 0.95))
    square = np.flatnonzero((settings.tilt_deg == 0.0) & (settings.gap_mm == settings.gap_mm[setting]))
    if not len(square) or swing[square[0]] < 1.0:
        return None
    return Fact(
        code="standing-wave",
        values={
            "ripple_square_db": round(float(swing[square[0]]), 1),
            "ripple_db": round(float(swing[setting]), 1),
            "tilt_deg": round(float(settings.tilt_deg[setting]), 0),
        },
        source="image sources through the angular spectrum, as calculated",
    )


def _beam(class_model: UltrasonicModel) -> Fact:
    p = class_model.parameters
    radius = 1e-3 * p.face_radius_mm
    return Fact(
        code="beam",
        values={
            "half_angle_deg": round(
                float(np.degrees(half_angle_rad(wavenumber_per_m=class_model.pair.wavenumber_per_m, radius_m=radius))),
                1,
            ),
            "near_field_mm": round(1e3 * radius**2 * class_model.pair.wavenumber_per_m / (2.0 * np.pi), 0),
            "gap_min_mm": p.gap_min_mm,
            "gap_max_mm": p.gap_max_mm,
        },
        source="circular piston: Kinsler and others, Fundamentals of Acoustics, chapter 7",
    )
