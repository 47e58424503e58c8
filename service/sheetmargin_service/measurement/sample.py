"""A sample as a fit sees it: a `custom` sheet whose mass, stiffness, loss and trapped air can be moved.

What is moved and what comes back are the same kind of thing, a sheet that any call takes, so that nothing is lost
between the fit and what is computed from it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from math import exp, log, sinh

import numpy as np
from sheetmargin.contract.job import Custom, Layer
from sheetmargin.contract.job import Sheet as SheetSpec
from sheetmargin.contract.job import TrappedAir as TrappedAirSpec

from sheetmargin_service.constants import HALF_WIDTH_95, Z95
from sheetmargin_service.errors import QuestionError
from sheetmargin_service.materials.custom import CUSTOM
from sheetmargin_service.materials.library import Library
from sheetmargin_service.materials.material import Interval, Isotropic, Material, SoftSolid, TransverselyIsotropic
from sheetmargin_service.materials.resolve import resolve_sheet
from sheetmargin_service.materials.sheet import Sheet, SheetLayer
from sheetmargin_service.materials.stiffness import elastic_constants

GPA = 1e9
DIGITS = 5
UNCERTAINTY_LIMIT_PCT = 95.0
"""Widest half width that a custom material can state."""
LOSS_LIMIT, POISSON_LIMIT = 2.0, 0.4999
"""Greatest loss factor and Poisson's ratio that a custom material can have."""
REACH = 4.0
"""Standard deviations beyond which nothing is believed."""
AIR_SIGMA = log(1.5)
WIDTH_SIGMA = 0.3
"""Standard deviations of the logarithm of the median of the trapped air and of its width, before any reading: a typical
distribution may be off by half, and a third wider or narrower (choices, stated)."""


@dataclass(frozen=True, kw_only=True)
class Parameter:
    """One thing that a fit moves: its value by the library, and the standard deviation of its logarithm."""

    name: str
    nominal: float
    sigma: float

    def at(self, x: float) -> float:
        """The value `x` standard deviations from the library's, of which at most `REACH` are followed."""
        return self.nominal * exp(self.sigma * min(max(x, -REACH), REACH))


@dataclass(frozen=True, kw_only=True)
class Sample:
    """A sheet in its `custom` form, and what a fit may move of it: `solid` always, `air` where doubles were read."""

    spec: SheetSpec
    sheet: Sheet
    solid: tuple[Parameter, Parameter, Parameter]
    air: tuple[Parameter, Parameter]

    def moved(self, *, mass: float, stiffness: float, loss: float) -> SheetSpec:
        """The sheet with its mass, its moduli and its loss factors times so much."""
        spec = self.spec
        if spec.layers is not None:
            layers = tuple(
                replace(
                    layer, grammage_gsm=_times(layer.grammage_gsm, mass), custom=_moved(layer.custom, stiffness, loss)
                )
                for layer in spec.layers
            )
            return replace(spec, layers=layers)
        return replace(spec, grammage_gsm=_times(spec.grammage_gsm, mass), custom=_moved(spec.custom, stiffness, loss))


def sample_of(spec: SheetSpec, library: Library) -> Sample:
    """The sample of a sheet; QuestionError for one that cannot be, or that no custom sheet stands for."""
    library_sheet = resolve_sheet(spec, library)
    _check(library_sheet)
    spec = as_custom(spec, library_sheet)
    sheet = resolve_sheet(spec, library)
    mass = [layer.thickness_um * layer.density_kg_m3 for layer in sheet.layers]
    materials = [layer.material for layer in library_sheet.layers if layer.material is not None]
    return Sample(
        spec=spec,
        sheet=sheet,
        solid=(
            Parameter(name="grammage_gsm", nominal=sheet.grammage_gsm, sigma=_mass_sigma(library_sheet)),
            Parameter(
                name="stiffness_factor",
                nominal=1.0,
                sigma=float(np.average([_stiffness_sigma(m) for m in materials], weights=mass)),
            ),
            Parameter(
                name="loss_factor",
                nominal=float(np.average([_loss_of(layer) for layer in sheet.layers], weights=mass)),
                sigma=float(np.average([_sigma(m.loss_factor) for m in materials], weights=mass)),
            ),
        ),
        air=(
            Parameter(name="trapped_air_um", nominal=sheet.trapped_air.p50_um, sigma=AIR_SIGMA),
            Parameter(
                name="trapped_air_width",
                nominal=log(sheet.trapped_air.p95_um / sheet.trapped_air.p5_um) / (2.0 * Z95),
                sigma=WIDTH_SIGMA,
            ),
        ),
    )


def as_custom(spec: SheetSpec, sheet: Sheet) -> SheetSpec:
    """The sheet with its materials written out as custom ones, the library's intervals and trapped air with them."""
    air = sheet.trapped_air
    trapped = TrappedAirSpec(p5=air.p5_um, p50=air.p50_um, p95=air.p95_um)
    common = SheetSpec(
        label=spec.label,
        plies=spec.plies,
        grammage_tolerance_pct=sheet.mass_tolerance_pct,
        thickness_tolerance_pct=sheet.thickness_tolerance_pct,
        air_permeance_um_per_pa_s=sheet.permeance_um_per_pa_s,
        open_area_pct=100.0 * sheet.open_area_fraction or None,
        double=spec.double,
    )
    customs = [_custom(layer, trapped) for layer in sheet.layers]
    if len(customs) == 1:
        return replace(common, material="custom", custom=customs[0], grammage_gsm=sheet.grammage_gsm)
    return replace(
        common,
        layers=tuple(
            Layer(material="custom", custom=custom, grammage_gsm=1e-3 * layer.thickness_um * layer.density_kg_m3)
            for layer, custom in zip(sheet.layers, customs, strict=True)
        ),
    )


def with_knowledge(
    spec: SheetSpec, *, modulus_pct: float, loss_pct: float, trapped: TrappedAirSpec | None = None
) -> SheetSpec:
    """The custom sheet with how well its moduli and losses are known, its trapped air, and every number rounded."""

    def known(custom: Custom | None) -> Custom | None:
        assert custom is not None
        return replace(
            custom,
            modulus_uncertainty_pct=modulus_pct,
            loss_uncertainty_pct=loss_pct,
            trapped_air_um=trapped or custom.trapped_air_um,
        )

    if spec.layers is not None:
        spec = replace(spec, layers=tuple(replace(layer, custom=known(layer.custom)) for layer in spec.layers))
    else:
        spec = replace(spec, custom=known(spec.custom))
    return _rounded(spec)


def half_width_pct(sigma: float) -> float:
    """Half width in per cent of the interval about a value that holds 90 %, its logarithm known to `sigma`."""
    return min(100.0 * sinh(Z95 * sigma), UNCERTAINTY_LIMIT_PCT)


def _check(sheet: Sheet) -> None:
    if sheet.plies > 1:
        raise QuestionError(
            code="several-plies",
            field="sheet/plies",
            detail="A sheet of several plies cannot be fitted as a whole.",
            expected="the readings of one ply and of two",
        )
    if any(layer.material is None for layer in sheet.layers):
        raise QuestionError(
            code="not-fitted",
            field="sheet",
            detail="A sheet with cells of air inside cannot be fitted.",
            expected="a sheet of one or more solid layers",
        )


def _custom(layer: SheetLayer, trapped: TrappedAirSpec) -> Custom:
    """A layer's material with its constants at the layer's density."""
    material = layer.material
    assert material is not None
    c11, c13, c33, c55 = elastic_constants(material=material, density_kg_m3=layer.density_kg_m3)
    constants: Mapping[str, float]
    loss = material.loss_factor.nominal
    match material.elastic:
        case Isotropic(youngs_modulus_gpa=young, poisson_ratio=poisson):
            constants = {"youngs_modulus_gpa": young.nominal, "poisson_ratio": poisson}
        case SoftSolid(bulk_modulus_gpa=bulk, shear_modulus_gpa=shear):
            # A custom solid has one loss factor: that of compression, which is what passes through a sheet.
            loss = c33.imag / c33.real
            total = 3.0 * bulk.nominal + shear.nominal
            constants = {
                "youngs_modulus_gpa": 9.0 * bulk.nominal * shear.nominal / total,
                "poisson_ratio": min((1.5 * bulk.nominal - shear.nominal) / total, POISSON_LIMIT),
            }
        case TransverselyIsotropic():
            stiffness = zip(("c11_gpa", "c13_gpa", "c33_gpa", "c55_gpa"), (c11, c13, c33, c55), strict=True)
            constants = {name: c.real / GPA for name, c in stiffness}
    return Custom(
        like=None if material.id == CUSTOM else material.id,
        density_kg_m3=layer.density_kg_m3,
        loss_factor=loss,
        mass_tolerance_pct=material.mass.tolerance_pct,
        modulus_uncertainty_pct=half_width_pct(_stiffness_sigma(material)),
        loss_uncertainty_pct=half_width_pct(_sigma(material.loss_factor)),
        trapped_air_um=trapped,
        **constants,
    )


def _moved(custom: Custom | None, stiffness: float, loss: float) -> Custom:
    assert custom is not None
    assert custom.loss_factor is not None
    return replace(
        custom,
        youngs_modulus_gpa=_times(custom.youngs_modulus_gpa, stiffness),
        c11_gpa=_times(custom.c11_gpa, stiffness),
        c13_gpa=_times(custom.c13_gpa, stiffness),
        c33_gpa=_times(custom.c33_gpa, stiffness),
        c55_gpa=_times(custom.c55_gpa, stiffness),
        loss_factor=min(custom.loss_factor * loss, LOSS_LIMIT),
    )


def _times(value: float | None, factor: float) -> float | None:
    return None if value is None else value * factor


def _mass_sigma(sheet: Sheet) -> float:
    """Of the logarithm of the mass where the beam meets the sheet: from sheet to sheet, from place to place, and the
    density where the mass was taken from it."""
    parts = [sheet.mass_tolerance_pct / 100.0 / HALF_WIDTH_95, sheet.formation_pct / 100.0 / HALF_WIDTH_95]
    if any(note.code == "grammage-from-density" for note in sheet.assumptions):
        parts += [_sigma(layer.material.density_kg_m3) for layer in sheet.layers if layer.material is not None]
    return float(np.linalg.norm(parts))


def _stiffness_sigma(material: Material) -> float:
    """Of the logarithm of the moduli, which move together: the mean over them."""
    elastic = material.elastic
    intervals = [value for field in fields(elastic) if isinstance(value := getattr(elastic, field.name), Interval)]
    return float(np.mean([_sigma(interval) for interval in intervals]))


def _sigma(interval: Interval) -> float:
    """Standard deviation of the logarithm of a quantity whose interval holds about 90 %."""
    return log(interval.high / interval.low) / (2.0 * Z95)


def _loss_of(layer: SheetLayer) -> float:
    assert layer.material is not None
    return layer.material.loss_factor.nominal


def _rounded(spec: SheetSpec) -> SheetSpec:
    """Every number to as many digits as mean something, so that what is returned is what is computed with."""
    rounded = _trimmed(spec)
    assert isinstance(rounded, SheetSpec)
    return rounded


def _trimmed(value: object) -> object:
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}")
    if isinstance(value, tuple):
        return tuple(_trimmed(item) for item in value)
    if is_dataclass(value) and not isinstance(value, type):
        return type(value)(**{f.name: _trimmed(getattr(value, f.name)) for f in fields(value)})
    return value
