"""Diffuse light in a sheet that scatters and absorbs: Kubelka and Munk's two fluxes.

Kubelka and Munk, Ein Beitrag zur Optik der Farbanstriche, Z. techn. Phys. 12, 593, 1931; Kubelka, New contributions to
the optics of intensely light-scattering materials, J. Opt. Soc. Am. 38, 448, 1948. With scattering s and absorption k
per mass, mass per area w and b = sqrt(k (k + 2 s)):
    T  = b / [(k + s) sinh(b w) + b cosh(b w)]      R0 = s sinh(b w) / [(k + s) sinh(b w) + b cosh(b w)].
They give Kubelka's T^2 = (R_inf - R0)(1/R_inf - R0) with R_inf = 1 + k/s - sqrt((k/s)^2 + 2 k/s).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.principles.layer_stack import Layer

Array = NDArray[np.float64]

LEAST_ABSORPTION = 1e-9
"""m2/kg, in place of none at all, where the formulas are 0/0; the true limit is T = 1/(1 + s w)."""


def scattering_layer(
    *, scattering_m2_per_kg: Array, absorption_m2_per_kg: Array, mass_kg_per_m2: Array
) -> Layer[Array]:
    """What a layer passes and sends back of diffuse light, over black. The arguments broadcast."""
    s, k = scattering_m2_per_kg, np.maximum(absorption_m2_per_kg, LEAST_ABSORPTION)
    b = np.sqrt(k * (k + 2.0 * s))
    # Both hyperbolic functions over e^(b w)/2, so that an opaque sheet underflows instead of overflowing.
    once = np.exp(-b * mass_kg_per_m2)
    sinh, cosh = -np.expm1(-2.0 * b * mass_kg_per_m2), 1.0 + once**2
    denominator = (k + s) * sinh + b * cosh
    back = s * sinh / denominator
    return Layer(passed=2.0 * b * once / denominator, front=back, back=back)


def reflectance_of_stack(*, scattering_m2_per_kg: float, absorption_m2_per_kg: float) -> float:
    """R_inf, what a pile too thick to see through sends back: s/(k + s + b), the usual form without cancellation."""
    s, k = scattering_m2_per_kg, absorption_m2_per_kg
    return float(s / (k + s + np.sqrt(k * (k + 2.0 * s))))


def face_layer(*, refractive_index: float) -> Layer[Array]:
    """A polished face at normal incidence: Fresnel's ((n - 1)/(n + 1))^2 sent back, the rest passed."""
    reflected = np.asarray(((refractive_index - 1.0) / (refractive_index + 1.0)) ** 2)
    return Layer(passed=1.0 - reflected, front=reflected, back=reflected)


def filter_layer(*, passed: Array) -> Layer[Array]:
    """A film of ink: it absorbs and scatters nothing back."""
    return Layer(passed=passed, front=np.zeros_like(passed), back=np.zeros_like(passed))
