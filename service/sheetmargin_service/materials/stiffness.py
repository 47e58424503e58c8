"""Complex elastic constants of a material, with its losses and within its intervals."""

from __future__ import annotations

from typing import NamedTuple

from sheetmargin_service.constants import Z95
from sheetmargin_service.materials.material import Interval, Isotropic, Material, SoftSolid, TransverselyIsotropic


class Variant(NamedTuple):
    """How far a stock lies from its material's nominal numbers: standard deviations of all its moduli, which move
    together, and of its loss factor. An interval is log-normal on either side of its nominal value, and holds 90 %."""

    stiffness: float = 0.0
    loss: float = 0.0


NOMINAL = Variant()
ENDS = {
    "stiffness": (Variant(stiffness=-Z95), Variant(stiffness=Z95)),
    "loss": (Variant(loss=-Z95), Variant(loss=Z95)),
}
"""Both ends of the intervals."""

GPA = 1e9


def elastic_constants(
    *, material: Material, density_kg_m3: float, variant: Variant = NOMINAL
) -> tuple[complex, complex, complex, complex]:
    """(c11, c13, c33, c55) in Pa for the time factor e^(+i w t): a loss factor eta multiplies a modulus by 1 + i eta.

    At the ends of the intervals positive definiteness is checked when the library is loaded. The moduli of a
    transversely isotropic material are taken in proportion to `density_kg_m3`, as fibre networks have it near their
    usual density; those of other solids do not depend on it. Shear and compression share one loss factor, except in a
    soft solid.
    """
    loss, place = _at(material.loss_factor, variant.loss), variant.stiffness
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


def _at(interval: Interval, deviations: float) -> float:
    end = interval.high if deviations > 0.0 else interval.low
    if deviations == 0.0 or interval.nominal == 0.0:
        return interval.nominal
    return float(interval.nominal * (end / interval.nominal) ** (abs(deviations) / Z95))


def _isotropic(*, lame: complex, shear: complex) -> tuple[complex, complex, complex, complex]:
    c11 = lame + 2 * shear
    return c11, lame, c11, shear
