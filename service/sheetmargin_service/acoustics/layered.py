"""A sheet of several layers: any number of elastic and fluid layers, asymmetric allowed, in air.

Welded elastic layers are joined by the recursive stiffness matrix (Rokhlin and Wang, JASA 112, 822, 2002), which holds
for any thickness and frequency, where a product of transfer matrices overflows. Of a run of welded layers, its bottom
face under a pressure p, is kept

    traction on the top face = S U + g p,        w times the normal motion of the bottom face = -g U + e p,

with U = w (-i ux, uz) of the top face, which makes S symmetric and an impedance. A further layer on top, of symmetric
and antisymmetric stiffness Ks and Ka, P = (Ks + Ka)/2, M = (Ks - Ka)/2, D = diag(1, -1), N = (D S D + P)^-1, makes it

    S' = P - M N M,      g' = -M N D g,      e' = e + g D N D g.

In the notation of `plate`, with f_j = p_j tan(w p_j h/2) for Ks and -p_j cot(w p_j h/2) for Ka, a layer has

    d = e_1 f_1 + e_2 f_2,   e_1,2 = c33/2 -+ (Y - c33 (p_1^2 + p_2^2)/2)/delta
    Y = rho - c55 s,   delta = p_2^2 - p_1^2
    K11 = -c33 c55 f_1 f_2/d,   K22 = c33 Y/d,   K12 = -sqrt(s) (c55 - (c13 + c55) Y (f_2 - f_1)/(delta d)).

P and M are written out in the decaying exponentials, so that M keeps its relative accuracy when a layer is thick. Runs
of welded layers and fluid layers meet at faces free of shear and are joined by their reflections in air.

Where layers of a run have pores, their frames are welded and their pores, one after another, are a second path beside
them, as in `porous`. A layer without pores closes those that end at it: air still enters them from the face outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import groupby, takewhile

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air, surface_admittance
from sheetmargin_service.acoustics.blocks import Complex, ComplexArray, Real, map_blocks
from sheetmargin_service.acoustics.fluid import FluidLayer, fluid_response
from sheetmargin_service.acoustics.plate import ElasticPlate, plate_response, vertical_slownesses
from sheetmargin_service.acoustics.porous import PorousSheet, pore_fluid, porous_response
from sheetmargin_service.acoustics.response import Response, StackResponse, beside, combined

# Arrays that describe one layer to `_stiffness`.
_LAYER_ARRAYS = 13


@dataclass(frozen=True, kw_only=True)
class Stack:
    """Layers of one sheet from the bottom face to the top. Touching solid layers, with pores or without, are welded."""

    layers: tuple[ElasticPlate | PorousSheet | FluidLayer, ...]

    def __post_init__(self) -> None:
        if not self.layers:
            raise ValueError("a stack needs at least one layer")


def stack_response(*, stack: Stack, air: Air, frequency_hz: Real, sin_theta: Complex) -> StackResponse:
    """Reflection from both sides and transmission of `stack` in `air`; arguments and layers' fields broadcast."""
    parts: list[Response | StackResponse] = []
    for fluid, run in groupby(stack.layers, key=lambda layer: isinstance(layer, FluidLayer)):
        layers = list(run)
        if fluid:
            parts.extend(
                fluid_response(layer=layer, air=air, frequency_hz=frequency_hz, sin_theta=sin_theta)
                for layer in layers
                if isinstance(layer, FluidLayer)
            )
        else:
            parts.append(
                _solid_response(
                    layers=[layer for layer in layers if not isinstance(layer, FluidLayer)],
                    air=air,
                    frequency_hz=frequency_hz,
                    sin_theta=sin_theta,
                )
            )
    whole = _joined(parts)
    return StackResponse(
        transmission=whole.transmission,
        reflection_below=whole.reflection_below,
        reflection_above=whole.reflection_above,
    )


def _joined(parts: Sequence[Response | StackResponse]) -> Response | StackResponse:
    return reduce(lambda below, above: join(below=below, above=above), parts)


def join(*, below: Response | StackResponse, above: Response | StackResponse) -> StackResponse:
    """Two sheets that touch without a bond: the limit of a vanishing layer of air between them."""
    return combined(_join, below, above)


def _solid_response(
    *, layers: list[ElasticPlate | PorousSheet], air: Air, frequency_hz: Real, sin_theta: Complex
) -> Response | StackResponse:
    """A run of welded layers, those with pores too."""
    if len(layers) == 1 and isinstance(layers[0], PorousSheet):
        return porous_response(sheet=layers[0], air=air, frequency_hz=frequency_hz, sin_theta=sin_theta)
    frames = [layer.frame if isinstance(layer, PorousSheet) else layer for layer in layers]
    whole = _welded_response(layers=frames, air=air, frequency_hz=frequency_hz, sin_theta=sin_theta)
    pores = _pores_response(layers=layers, air=air, frequency_hz=frequency_hz, sin_theta=sin_theta)
    return whole if pores is None else beside(whole, pores)


def _pores_response(
    *, layers: list[ElasticPlate | PorousSheet], air: Air, frequency_hz: Real, sin_theta: Complex
) -> Response | StackResponse | None:
    """The pores of a run of welded layers by themselves; None where neither face has any."""

    def from_face(inwards: Sequence[ElasticPlate | PorousSheet]) -> list[Response]:
        open_layers = takewhile(lambda layer: isinstance(layer, PorousSheet), inwards)
        return [
            fluid_response(
                layer=pore_fluid(sheet=layer, air=air, frequency_hz=frequency_hz),
                air=air,
                frequency_hz=frequency_hz,
                sin_theta=sin_theta,
            )
            for layer in open_layers
            if isinstance(layer, PorousSheet)
        ]

    below = from_face(layers)
    if len(below) == len(layers):
        return _joined(below)
    above = from_face(layers[::-1])[::-1]
    if not below and not above:
        return None
    # A wall: no flow through it, and all of the sound back.
    return StackResponse(
        transmission=np.zeros((), dtype=np.complex128),
        reflection_below=_closed(_joined(below)) if below else np.ones((), dtype=np.complex128),
        reflection_above=_closed(_reversed(_joined(above))) if above else np.ones((), dtype=np.complex128),
    )


def _closed(pores: Response | StackResponse) -> ComplexArray:
    """Reflection from below where a wall lies on top."""
    return np.asarray(pores.reflection_below + pores.transmission**2 / (1.0 - pores.reflection_above))


def _reversed(part: Response | StackResponse) -> StackResponse:
    return StackResponse(
        transmission=part.transmission,
        reflection_below=part.reflection_above,
        reflection_above=part.reflection_below,
    )


def _welded_response(
    *, layers: list[ElasticPlate], air: Air, frequency_hz: Real, sin_theta: Complex
) -> Response | StackResponse:
    if len(layers) == 1:
        return plate_response(plate=layers[0], air=air, frequency_hz=frequency_hz, sin_theta=sin_theta)
    slowness = sin_theta / air.sound_speed_m_per_s
    coefficients = [
        array
        for layer in layers
        for array in (-2.0 * np.pi * frequency_hz * np.asarray(layer.thickness_m), *_coefficients(layer, slowness))
    ]
    transmission, reflection_below, reflection_above = map_blocks(
        _respond, surface_admittance(air=air, sin_theta=sin_theta), *coefficients, results=3
    )
    return StackResponse(
        transmission=transmission, reflection_below=reflection_below, reflection_above=reflection_above
    )


def _coefficients(layer: ElasticPlate, slowness: Complex) -> tuple[ComplexArray, ...]:
    """What the stiffness of a layer holds besides frequency and thickness, in the order of `_stiffness`."""
    root_1, root_2, difference = vertical_slownesses(plate=layer, slowness_s_per_m=slowness)
    c13, c33, c55 = layer.c13_pa, layer.c33_pa, layer.c55_pa
    minor = layer.c11_pa * c33 - c13 * c13
    square, delta = np.square(slowness), -2.0 * difference
    vertical = layer.density_kg_m3 - c55 * square
    # Y - c33 (p_1^2 + p_2^2)/2, without the difference of nearly equal terms.
    lean = 0.5 * layer.density_kg_m3 * (1.0 - c33 / c55) + square * (0.5 * minor / c55 - c13 - c55)
    skew = lean / delta
    a_1, a_2 = (0.5 * c33 - skew) * root_1, (0.5 * c33 + skew) * root_2
    along, across = c33 * c55 * root_1 * root_2, -c33 * vertical
    coupling = slowness * (c13 + c55) * vertical / delta
    shared = coupling * (root_2 * a_1 - root_1 * a_2)
    return (
        root_1,
        root_2,
        np.square(a_1 - a_2),
        4.0 * a_1 * a_2,
        along * a_1,
        along * a_2,
        across * a_1,
        across * a_2,
        np.asarray(-slowness * c55),
        2.0 * shared,
        coupling * (root_2 * a_2 - root_1 * a_1) - shared,
        coupling * (root_2 * a_1 + root_1 * a_2),
    )


def _respond(admittance: ComplexArray, *arrays: ComplexArray) -> None:
    *coefficients, transmission, reflection_below, reflection_above = arrays
    # The bottom face itself: its traction is the pressure, whatever its motion.
    zero = np.zeros_like(transmission)
    state: tuple[ComplexArray, ...] = (zero, zero, zero, zero, zero - 1.0, zero)
    for first in range(0, len(coefficients), _LAYER_ARRAYS):
        state = _add_layer(_stiffness(*coefficients[first : first + _LAYER_ARRAYS]), state)
    s11, s12, s22, g1, g2, e = state
    # Free the top face of shear; then (Y + Yf) p = 2 Yf for a wave of unit pressure on one face.
    inverse = np.reciprocal(s11 * s22 - s12 * s12)
    u1, u2 = (s22 * g1 - s12 * g2) * inverse, (s11 * g2 - s12 * g1) * inverse
    below = 1j * (g1 * u1 + g2 * u2 + e) + admittance
    above = 1j * (s11 * inverse) + admittance
    across = 1j * u2
    scale = 2.0 * admittance / (below * above - across * across)
    np.multiply(-scale, across, out=transmission)
    np.subtract(scale * above, 1.0, out=reflection_below)
    np.subtract(scale * below, 1.0, out=reflection_above)


def _stiffness(
    travel: ComplexArray | NDArray[np.float64],
    root_1: ComplexArray,
    root_2: ComplexArray,
    determinant_product: ComplexArray,
    determinant_both: ComplexArray,
    along_1: ComplexArray,
    along_2: ComplexArray,
    across_1: ComplexArray,
    across_2: ComplexArray,
    shear: ComplexArray,
    coupling_both: ComplexArray,
    coupling_product: ComplexArray,
    coupling_through: ComplexArray,
) -> tuple[ComplexArray, ...]:
    """P11, P12, P22, -M11, M12 and M22 from the exponentials E_j = e^(-i w p_j h); in place, to spare the cache."""
    decay_1: ComplexArray = np.exp(travel * root_1)
    decay_2: ComplexArray = np.exp(travel * root_2)
    cross_1, cross_2 = decay_1 * decay_1, decay_2 * decay_2
    single_1, single_2 = 1.0 - cross_1, 1.0 - cross_2
    cross_1 += 1.0
    cross_2 += 1.0
    cross_1 *= single_2
    cross_2 *= single_1
    product = single_1 * single_2
    single_1 *= decay_2
    single_2 *= decay_1
    both = 1.0 - decay_1 * decay_2
    decay_1 -= decay_2
    decay_1 *= both
    both *= both
    q = np.reciprocal(determinant_product * product + determinant_both * both)

    p11, p22 = (along_1 * cross_2 + along_2 * cross_1) * q, (across_1 * cross_1 + across_2 * cross_2) * q
    p12 = shear + (both * coupling_both + product * coupling_product) * q
    q *= 2.0
    m11, m22 = (single_1 * along_1 + single_2 * along_2) * q, (single_2 * across_1 + single_1 * across_2) * q
    return p11, p12, p22, m11, decay_1 * coupling_through * q, m22


def _add_layer(stiffness: tuple[ComplexArray, ...], state: tuple[ComplexArray, ...]) -> tuple[ComplexArray, ...]:
    """One step of the recursion: S11, S12, S22, g1, g2 and e with a layer more."""
    p11, p12, p22, m11, m12, m22 = stiffness
    s11, s12, s22, g1, g2, e = state
    n22, n12, n11 = s11 + p11, s12 - p12, s22 + p22
    inverse = np.reciprocal(n11 * n22 - n12 * n12)
    n11 *= inverse
    n12 *= inverse
    n22 *= inverse
    h1, h2 = n11 * g1 - n12 * g2, n12 * g1 - n22 * g2
    x11, x21 = n12 * m12 - n11 * m11, n22 * m12 - n12 * m11
    x12, x22 = n11 * m12 + n12 * m22, n12 * m12 + n22 * m22
    return (
        p11 + m11 * x11 - m12 * x21,
        p12 + m11 * x12 - m12 * x22,
        p22 - m12 * x12 - m22 * x22,
        m11 * h1 - m12 * h2,
        np.negative(m12 * h1 + m22 * h2),
        e + g1 * h1 - g2 * h2,
    )


def _join(
    transmission_1: ComplexArray,
    below_1: ComplexArray,
    above_1: ComplexArray,
    transmission_2: ComplexArray,
    below_2: ComplexArray,
    above_2: ComplexArray,
    transmission: ComplexArray,
    reflection_below: ComplexArray,
    reflection_above: ComplexArray,
) -> None:
    scale = np.reciprocal(1.0 - above_1 * below_2)
    np.multiply(transmission_1 * transmission_2, scale, out=transmission)
    np.add(below_1, transmission_1 * transmission_1 * below_2 * scale, out=reflection_below)
    np.add(above_2, transmission_2 * transmission_2 * above_1 * scale, out=reflection_above)
