"""A material given wholly by the caller."""

from __future__ import annotations

from sheetmargin.contract.job import Custom

from sheetmargin_service.errors import Filled, QuestionError
from sheetmargin_service.materials.material import (
    Interval,
    Isotropic,
    MassSpread,
    Material,
    Sourced,
    TransverselyIsotropic,
    TrappedAir,
    UsualThickness,
)
from sheetmargin_service.materials.sheet import Assumption

CUSTOM = "custom"
GIVEN = "given by the caller"
TYPICAL = "typical, from memory"

# Defaults where the caller knows less: wide, as nothing is known of the material.
LOSS_FACTOR = 0.05
LOSS_UNCERTAINTY_PCT = 50.0
MODULUS_UNCERTAINTY_PCT = 20.0
MASS_TOLERANCE_PCT = 5.0
FORMATION_PCT = 4.0
DENSITY_UNCERTAINTY_PCT = 5.0
LOOSE_SHARE = 0.02
LOOSE_MAX_UM = 1_000.0
TRAPPED_AIR = TrappedAir(
    p5_um=4.0, p50_um=20.0, p95_um=100.0, loose_share=LOOSE_SHARE, loose_max_um=LOOSE_MAX_UM, source=TYPICAL
)

_CONSTANTS = {
    "isotropic constants": ("youngs_modulus_gpa", "poisson_ratio"),
    "transversely isotropic constants": ("c11_gpa", "c13_gpa", "c33_gpa", "c55_gpa"),
    "wave speeds": ("longitudinal_speed_m_per_s", "shear_speed_m_per_s"),
}


def custom_material(custom: Custom, *, prefix: str) -> tuple[Material, tuple[Assumption, ...]]:
    """The caller's material and the defaults it took. `prefix` is the pointer of the custom object, with its slash."""
    assumptions: list[Assumption] = []

    def given(name: str, *, default: float) -> float:
        value: float | None = getattr(custom, name)
        if value is not None:
            return value
        assumptions.append(
            Assumption(code="custom-default", field=prefix + name, value=default, values={}, source=TYPICAL)
        )
        return default

    density = custom.density_kg_m3
    modulus_pct = given("modulus_uncertainty_pct", default=MODULUS_UNCERTAINTY_PCT)
    elastic = _elastic(custom, density_kg_m3=density, uncertainty_pct=modulus_pct, prefix=prefix)
    loss = given("loss_factor", default=LOSS_FACTOR)
    loss_pct = given("loss_uncertainty_pct", default=LOSS_UNCERTAINTY_PCT)
    tolerance = MASS_TOLERANCE_PCT if custom.mass_tolerance_pct is None else custom.mass_tolerance_pct
    material = Material(
        id=CUSTOM,
        name={"en": "custom material", "de": "eigenes Material"},
        synonyms={},
        family="custom",
        density_kg_m3=_given(density, pct=DENSITY_UNCERTAINTY_PCT),
        elastic=elastic,
        loss_factor=_given(loss, pct=loss_pct),
        mass=MassSpread(
            tolerance_pct=tolerance,
            formation_pct=FORMATION_PCT,
            source=GIVEN if custom.mass_tolerance_pct is not None else TYPICAL,
        ),
        trapped_air=_trapped_air(custom, prefix=prefix),
        thickness_um=UsualThickness(range=(1.0, 20_000.0), source=GIVEN),
    )
    return material, tuple(assumptions)


def _around(value: float, *, pct: float) -> Interval:
    return Interval(low=value * (1 - pct / 100), nominal=value, high=value * (1 + pct / 100))


def _given(value: float, *, pct: float) -> Sourced:
    return Sourced(**vars(_around(value, pct=pct)), source=GIVEN)


def _elastic(
    custom: Custom, *, density_kg_m3: float, uncertainty_pct: float, prefix: str
) -> Isotropic | TransverselyIsotropic:
    values = {name: getattr(custom, name) for names in _CONSTANTS.values() for name in names}
    kinds = [kind for kind, names in _CONSTANTS.items() if any(values[name] is not None for name in names)]
    choices = "; or ".join(", ".join(names) for names in _CONSTANTS.values())
    if not kinds:
        raise QuestionError(
            code="missing-field",
            field=prefix + "youngs_modulus_gpa",
            detail="Enter elastic constants or wave speeds of the own material.",
            expected=choices,
        )
    if len(kinds) > 1:
        fields = tuple(prefix + name for name in values if values[name] is not None)
        raise QuestionError(
            code="conflicting-fields",
            field=fields[0],
            also=fields[1:],
            detail="Give the own material by one set of constants only.",
            expected=choices,
        )
    names = _CONSTANTS[kinds[0]]
    for name in names:
        if values[name] is None:
            raise QuestionError(
                code="missing-field",
                field=prefix + name,
                detail="Enter the other constants of the set too.",
                expected=", ".join(names),
            )
    if kinds[0] == "isotropic constants":
        young, poisson = (values[name] for name in names)
        return Isotropic(youngs_modulus_gpa=_around(young, pct=uncertainty_pct), poisson_ratio=poisson, source=GIVEN)
    if kinds[0] == "wave speeds":
        return _from_speeds(values, density_kg_m3=density_kg_m3, uncertainty_pct=uncertainty_pct, prefix=prefix)
    c11, c13, c33, c55 = (values[name] for name in names)
    if c11 * c33 <= c13**2:
        raise QuestionError(
            code="unphysical",
            field=prefix + "c13_gpa",
            also=(prefix + "c11_gpa", prefix + "c33_gpa"),
            detail=Filled("c13 is {c13:g} GPa; in every solid c13² is less than c11·c33.", c13=c13),
            expected=Filled("c13 below {most:g} GPa", most=(c11 * c33) ** 0.5),
        )
    return TransverselyIsotropic(
        c11_gpa=_around(c11, pct=uncertainty_pct),
        c13_gpa=_around(c13, pct=uncertainty_pct),
        c33_gpa=_around(c33, pct=uncertainty_pct),
        c55_gpa=_around(c55, pct=uncertainty_pct),
        source=GIVEN,
    )


def _from_speeds(values: dict[str, float], *, density_kg_m3: float, uncertainty_pct: float, prefix: str) -> Isotropic:
    """Young's modulus and Poisson's ratio of an isotropic solid from its two wave speeds (any acoustics text)."""
    names = _CONSTANTS["wave speeds"]
    longitudinal, shear = (values[name] for name in names)
    ratio = (longitudinal / shear) ** 2
    # Poisson's ratio from 0 to 0.4999, as for given constants: squared ratios of 2 to 5001.
    if not 2.0 <= ratio <= 5_001.0:
        raise QuestionError(
            code="unphysical",
            field=prefix + names[0],
            also=(prefix + names[1],),
            detail=Filled("The longitudinal speed is {times:.3g} times the shear speed.", times=ratio**0.5),
            expected="a longitudinal speed of 1.4142 to 70 times the shear speed",
        )
    poisson = (ratio - 2) / (2 * (ratio - 1))
    young = 2 * density_kg_m3 * shear**2 * (1 + poisson) / 1e9
    return Isotropic(youngs_modulus_gpa=_around(young, pct=uncertainty_pct), poisson_ratio=poisson, source=GIVEN)


def _trapped_air(custom: Custom, *, prefix: str) -> TrappedAir:
    spec = custom.trapped_air_um
    if spec is None:
        return TRAPPED_AIR
    where = prefix + "trapped_air_um/"
    p5, p50, p95 = spec.p5, spec.p50, spec.p95
    if not p5 < p50 < p95:
        raise QuestionError(
            code="contradiction",
            field=where + "p50",
            also=(where + "p5", where + "p95"),
            detail=Filled("The percentiles {p5:g}, {p50:g}, {p95:g} do not rise.", p5=p5, p50=p50, p95=p95),
            expected="p5 < p50 < p95",
        )
    return TrappedAir(
        p5_um=p5,
        p50_um=p50,
        p95_um=p95,
        loose_share=LOOSE_SHARE,
        loose_max_um=max(LOOSE_MAX_UM, 2 * p95),
        source=GIVEN,
    )
