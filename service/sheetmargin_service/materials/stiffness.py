"""Complex elastic constants of a material, with its losses and within its intervals."""

from __future__ import annotations

from typing import Literal

from sheetmargin_service.materials.material import Interval, Isotropic, Material, SoftSolid, TransverselyIsotropic

Variant = Literal["nominal", "soft", "stiff", "low_loss", "high_loss"]
VARIANTS: tuple[Variant, ...] = ("nominal", "soft", "stiff", "low_loss", "high_loss")

GPA = 1e9


def elastic_constants(
    *, material: Material, density_kg_m3: float, variant: Variant = "nominal"
) -> tuple[complex, complex, complex, complex]:
    """(c11, c13, c33, c55) in Pa for the time factor e^(+i w t): a loss factor eta multiplies a modulus by 1 + i eta.

    `soft` and `stiff` move all moduli together to the ends of their intervals (positive definiteness is checked there
    when the library is loaded), `low_loss` and `high_loss` the loss factor. The moduli of a transversely isotropic
    material are taken in proportion to `density_kg_m3`, as fibre networks have it near their usual density; those of
    other solids do not depend on it. Shear and compression share one loss factor, except in a soft solid.
    """
    loss = _at(material.loss_factor, {"low_loss": "low", "high_loss": "high"}.get(variant, "nominal"))
    place = {"soft": "low", "stiff": "high"}.get(variant, "nominal")
    match material.elastic:
        case Isotropic(youngs_modulus_gpa=young, poisson_ratio=nu):
            shear = _at(young, place) * GPA / (2 * (1 + nu)) * (1 + 1j * loss)
            return _isotropic(lame=2 * shear * nu / (1 - 2 * nu), shear=shear)
        case SoftSolid(bulk_modulus_gpa=bulk, shear_modulus_gpa=modulus, bulk_loss_factor=bulk_loss):
            shear = _at(modulus, place) * GPA * (1 + 1j * loss)
            return _isotropic(lame=_at(bulk, place) * GPA * (1 + 1j * bulk_loss) - 2 * shear / 3, shear=shear)
        case TransverselyIsotropic(c11_gpa=c11, c13_gpa=c13, c33_gpa=c33, c55_gpa=c55):
            scale = GPA * density_kg_m3 / material.density_kg_m3.nominal * (1 + 1j * loss)
            return _at(c11, place) * scale, _at(c13, place) * scale, _at(c33, place) * scale, _at(c55, place) * scale


def _at(interval: Interval, place: str) -> float:
    return {"low": interval.low, "nominal": interval.nominal, "high": interval.high}[place]


def _isotropic(*, lame: complex, shear: complex) -> tuple[complex, complex, complex, complex]:
    c11 = lame + 2 * shear
    return c11, lame, c11, shear
