"""Two sheets with a film of air between them.

The film is thermo-viscous. Walls a distance d apart hold its temperature, and its motion along them, so that pressure
sees the bulk modulus K and motion along the film the density rho_x,

    K = rho c^2 / [g - (g - 1)(1 - tanh(y)/y)],   y = sqrt(i w d^2/(4 alpha))
    rho_x = rho / (1 - tanh(x)/x),                x = sqrt(i w d^2/(4 nu)),

with g the heat capacity ratio: isothermal and viscous when narrow, adiabatic and free when wide. Motion across the film
is that of its walls and sees the plain density rho.

References: slit: Stinson, JASA 89, 550 (1991); Allard and Atalla, Propagation of Sound in Porous Media, 2nd edition,
section 4.7; films between plates: Beltman, J. Sound Vib. 227, 555 (1999), the low reduced frequency model. The gas is
a continuum: slip at the walls is left out (effective viscosity lower by 6 mean free paths over d, a sixth at 2 um).

Two sheets never lie evenly: over the beam's spot the film's thickness varies, and the receiver averages the pressure.
What the film does to two sheets enters 1/T2 linearly (`Film`), as good as linear in its thickness too as long as it is
thin, so that the mean over a normal variation is that of 1/(a + b u), u standard normal:

    <1/(a + b u)> = F(z)/a,   F(z) = -i sqrt(pi) z w(z),   z = a/(sqrt(2) b), turned into the upper half-plane,

with w the Faddeeva function. Where the film is a good part of a wavelength its round trips fall out of step instead: a
normal phase of standard deviation s per passage leaves b = e^(-2 s^2) of a single trip, and b^(n^2) of n trips one
after another. With x what one trip of the even film leaves,

    <T2> = T2 (1 - x) (1 + x b + x^2 b^4 + x^3 b^9 + ...),

the rest of which, once b^(n^2) falls fast or hardly at all, is a geometric series.

Reference: mean of a pole over a normal variable: NIST Digital Library of Mathematical Functions, 7.7.2; mean of a phase
over one: the characteristic function of the normal distribution.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sheetmargin_service.acoustics.air import Air, cosine
from sheetmargin_service.acoustics.blocks import Complex, ComplexArray, Real, map_blocks
from sheetmargin_service.acoustics.fluid import FluidLayer, fluid_response
from sheetmargin_service.acoustics.response import Response, StackResponse

_FAR_POLE = 0.2
_WIDE = (0.09, 0.11)
"""Thicknesses in wavelengths between which a film goes from linear in its thickness to the sum of its round trips: both
are within 0.15 dB there, at any angle."""
_TRIPS = 8
"""Round trips of a wide film that are added up one by one."""


def film_layer(*, air: Air, thickness_m: Real, frequency_hz: Real) -> FluidLayer:
    """A film of air of thickness > 0 between two walls; `thickness_m` and `frequency_hz` broadcast."""
    square = 0.5j * np.pi * frequency_hz * np.square(thickness_m)
    return FluidLayer(
        thickness_m=thickness_m,
        density_kg_m3=air.density_kg_m3,
        in_plane_density_kg_m3=air.density_kg_m3 / _core_share(square / air.kinematic_viscosity_m2_per_s),
        bulk_modulus_pa=_film_modulus(air, square),
    )


def _film_modulus(air: Air, square: ComplexArray) -> ComplexArray:
    """Bulk modulus of a film, between isothermal and adiabatic, by i w d^2/4."""
    ratio, thermal = air.heat_capacity_ratio, _core_share(square / air.thermal_diffusivity_m2_per_s)
    return np.asarray(air.bulk_modulus_pa / (ratio - (ratio - 1.0) * thermal))


@dataclass(frozen=True, kw_only=True)
class Film:
    """What lies between two sheets, as they meet it: with r and t of the film between half-spaces of air and the factor
    f of the air that it takes the place of, 1/(t f), r/(t f) and (r^2 - t^2)/(t f). Arrays that broadcast.

    `uneven`: how its thickness varies within the spot; t^2 in the third is then what the first round trip leaves of it.
    """

    through: ComplexArray
    back: ComplexArray
    around: ComplexArray
    uneven: Uneven | None = None


@dataclass(frozen=True, kw_only=True)
class Uneven:
    """A film whose thickness varies within the spot: what one standard deviation of it changes of `Film`, the share
    b = e^(-2 s^2) that a round trip keeps, and how far it is wide, 0 to 1. Arrays that broadcast with `Film`'s."""

    through: ComplexArray
    back: ComplexArray
    around: ComplexArray
    kept: ComplexArray
    wide: NDArray[np.float64]


def even_film(film: Response, *, factor: Complex = 1.0) -> Film:
    """A film from its response; `factor` as in `Film`."""
    scale = 1.0 / (film.transmission * factor)
    square = film.reflection * film.reflection - film.transmission * film.transmission
    return Film(through=scale, back=film.reflection * scale, around=square * scale)


def film_response(*, air: Air, thickness_m: Real, frequency_hz: Real, sin_theta: Complex) -> Response:
    """An even film of air between half-spaces of air; arguments broadcast."""
    layer = film_layer(air=air, thickness_m=thickness_m, frequency_hz=frequency_hz)
    return fluid_response(layer=layer, air=air, frequency_hz=frequency_hz, sin_theta=sin_theta)


def flat_film(*, air: Air, thickness_m: Real, frequency_hz: Real, sin_theta: Complex) -> Film:
    """An even film of air with the air that it takes the place of; arguments broadcast."""
    response = film_response(air=air, thickness_m=thickness_m, frequency_hz=frequency_hz, sin_theta=sin_theta)
    phase = 2.0 * np.pi / air.sound_speed_m_per_s * frequency_hz * thickness_m * cosine(sin_theta)
    return even_film(response, factor=np.exp(1j * phase))


def uneven_film(*, air: Air, thickness_m: Real, variation: float, frequency_hz: Real, sin_theta: Complex) -> Film:
    """A film of air whose thickness varies within the spot by a relative standard deviation `variation`, with the air
    that it takes the place of; arguments broadcast."""
    wavelengths = np.asarray(frequency_hz * thickness_m / air.sound_speed_m_per_s)
    phase = 2.0 * np.pi * wavelengths * cosine(sin_theta)
    kept = np.exp(-2.0 * np.square(variation * phase))

    def film(ratio: float) -> Film:
        response = film_response(
            air=air, thickness_m=ratio * thickness_m, frequency_hz=frequency_hz, sin_theta=sin_theta
        )
        factor = np.exp(1j * ratio * phase)
        plain = even_film(response, factor=factor)
        around = plain.around + response.transmission / factor * (1.0 - kept)
        return Film(through=plain.through, back=plain.back, around=around)

    mean, thinner, thicker = film(1.0), film(1.0 - variation), film(1.0 + variation)
    uneven = Uneven(
        through=0.5 * (thicker.through - thinner.through),
        back=0.5 * (thicker.back - thinner.back),
        around=0.5 * (thicker.around - thinner.around),
        kept=np.asarray(kept),
        wide=np.interp(wavelengths, _WIDE, (0.0, 1.0)),
    )
    return replace(mean, uneven=uneven)


def double_transmission(
    *, first: Response | StackResponse, second: Response | StackResponse, film: Film, factor: Complex = 1.0
) -> ComplexArray:
    """Pressure transmission from the lower face of `first` to the upper face of `second`, `film` between them, with the
    air that the film takes the place of; the mean over the spot if the film is uneven.

    All three are responses between half-spaces of air (`fluid_response` of a film or of plain air), so the film's own
    impedance enters through its reflection. Shapes broadcast: give the film's thickness an axis of its own.

        T2 = T T' t / (1 - (R + R') r + R R' (r^2 - t^2))

    with R above the first, R' below the second, r and t of the film; in plain air t = e^(-i kz d), r = 0. `factor`
    multiplies the result, on arrays no larger than those of the sheets.
    """
    lower, upper = first.reflection_above, second.reflection_below
    pair = first.transmission * second.transmission * factor, lower + upper, lower * upper
    films: tuple[NDArray[Any], ...] = (film.through, film.back, film.around)
    if film.uneven is not None:
        u = film.uneven
        films = (*films, u.through, u.back, u.around, u.kept, u.wide)
    # Cases of the sheets inside of films, so that what is large is read once.
    (result,) = map_blocks(_transmit, *(_swapped(array) for array in (*pair, *films)), results=1)
    return _swapped(result)


def _swapped(array: ComplexArray) -> ComplexArray:
    """Its third and fourth axes from behind the other way round, where it has three and more."""
    array = np.asarray(array)
    if array.ndim < 3:
        return array
    return np.swapaxes(array if array.ndim > 3 else array[None], -4, -3)


def double_halves(
    *, first: Response | StackResponse, second: Response | StackResponse, film: Response
) -> tuple[ComplexArray, ComplexArray]:
    """Two functions that share the poles of the transmission of two alike sheets with an even film between them: what
    the sheets do together and against each other, which lie close where the film couples them little.

    With x the roots of x^2 - (R + R') r x + R R' (r^2 - t^2), which for a sheet and its mirror image are R (r +- t),
    they are sqrt(T T')/(1 - x); their product times t is `double_transmission`.
    """
    lower, upper = first.reflection_above, second.reflection_below
    mean, r, t = 0.5 * (lower + upper), film.reflection, film.transmission
    apart = np.sqrt(mean * mean * r * r - lower * upper * (r * r - t * t))
    # The root that goes on smoothly over angle is the one near R t.
    apart *= np.where((apart * np.conj(mean * t)).real < 0.0, -1.0, 1.0)
    # T T' = T^2: transmission is the same both ways.
    one = first.transmission
    return np.asarray(one / (1.0 - mean * r - apart)), np.asarray(one / (1.0 - mean * r + apart))


def double_response(*, first: Response | StackResponse, second: Response | StackResponse, film: Film) -> StackResponse:
    """Transmission as `double_transmission` of an even film and both reflections, so that a stack can be built sheet by
    sheet."""
    lower, upper = first.reflection_above, second.reflection_below
    scale = 1.0 / (film.through - (lower + upper) * film.back + lower * upper * film.around)
    return StackResponse(
        transmission=first.transmission * second.transmission * scale,
        reflection_below=first.reflection_below + first.transmission**2 * (film.back - upper * film.around) * scale,
        reflection_above=second.reflection_above + second.transmission**2 * (film.back - lower * film.around) * scale,
    )


def mass_air_mass_frequency_hz(
    *, first_mass_kg_m2: Real, second_mass_kg_m2: Real, gap_m: Real, bulk_modulus_pa: Real
) -> NDArray[np.float64]:
    """Resonance of two limp sheets on the air between them, square on: sqrt(K/d (1/m + 1/m'))/(2 pi).

    For wide air K is `Air.bulk_modulus_pa`; 60 sqrt((m + m')/(m m' d)) of the handbooks of building acoustics.
    """
    stiffness = bulk_modulus_pa / gap_m
    return np.asarray(np.sqrt(stiffness * (1.0 / first_mass_kg_m2 + 1.0 / second_mass_kg_m2)) / (2.0 * np.pi))


def critical_film_m(*, mass_kg_m2: Real, air: Air, frequency_hz: Real) -> NDArray[np.float64]:
    """Film thickness d0 = 2 Re K(d0)/(m w^2) at which two limp sheets of mass m each resonate at the frequency.

    Below it the pair moves as one sheet of double mass; near it a double may be as loud as one sheet.
    """
    scale = 2.0 / (mass_kg_m2 * np.square(2.0 * np.pi * np.asarray(frequency_hz)))
    thickness = np.asarray(scale * air.pressure_pa)
    # K rises by 40 % over a decade of d, so each step cuts the error to a quarter or less.
    for _ in range(8):
        thickness = scale * _film_modulus(air, 0.5j * np.pi * frequency_hz * np.square(thickness)).real
    return np.asarray(thickness)


def _core_share(square: ComplexArray) -> ComplexArray:
    """1 - tanh(y)/y for y^2: the share of the film's motion, or of its temperature, that the walls leave."""
    root = np.sqrt(square)
    return np.asarray(1.0 - np.tanh(root) / root)


def _transmit(
    pair_t: ComplexArray,
    sum_r: ComplexArray,
    product_r: ComplexArray,
    through: ComplexArray,
    back: ComplexArray,
    around: ComplexArray,
    *uneven_and_result: NDArray[Any],
) -> None:
    *uneven, transmission = uneven_and_result
    bounces = _bounces(sum_r, product_r, through, back, around)
    if not uneven:
        np.divide(pair_t, bounces, out=transmission)
        return
    *changes, kept, wide = uneven
    far = wide > 0.0
    if not (wide >= 1.0).all():
        once = np.reciprocal(bounces)
        np.multiply(pair_t, once, out=transmission)
        once *= _bounces(sum_r, product_r, *changes)
        transmission *= _mean_of_pole(once)
    else:
        transmission[...] = 0.0
    if far.any():
        trip = product_r[far] * (np.square(back[far]) / through[far] - around[far])
        passage = bounces[far] + trip
        mean = pair_t[far] / passage * _mean_of_trips(trip / passage, kept[far])
        transmission[far] += wide[far] * (mean - transmission[far])


def _mean_of_trips(trip: ComplexArray, kept: ComplexArray) -> ComplexArray:
    """1 + x b + x^2 b^4 + x^3 b^9 + ..., from x b and b."""
    ratio, step = trip.copy(), np.square(kept)
    term: ComplexArray = np.ones_like(trip)
    mean: ComplexArray = np.zeros_like(trip)
    for _ in range(_TRIPS):
        mean += term
        term *= ratio
        ratio *= step
    return mean + term / (1.0 - ratio)


def _bounces(
    sum_r: ComplexArray, product_r: ComplexArray, through: ComplexArray, back: ComplexArray, around: ComplexArray
) -> ComplexArray:
    """1/T2 of two sheets, times T T'."""
    result: ComplexArray = product_r * around
    result -= sum_r * back
    result += through
    return result


def _mean_of_pole(ratio: ComplexArray) -> ComplexArray:
    """Mean of 1/(1 + q u) over a standard normal u, q off the real axis; within 3e-4, by its series, if q is small."""
    square = ratio * ratio
    mean: ComplexArray = 15.0 * square
    for coefficient in (3.0, 1.0):
        mean += coefficient
        mean *= square
    mean += 1.0
    near = np.square(ratio.real) + np.square(ratio.imag) > _FAR_POLE**2
    if near.any():
        z = np.sqrt(0.5) / ratio[near]
        z[z.imag < 0.0] *= -1.0
        mean[near] = -1j * np.sqrt(np.pi) * z * _faddeeva(z)
    return mean


def _coefficients(count: int) -> tuple[float, list[float]]:
    """Scale and coefficients of Weideman's expansion, the highest power first."""
    scale = float(np.sqrt(count / np.sqrt(2.0)))
    t = scale * np.tan(np.arange(-2 * count + 1, 2 * count) * np.pi / (4 * count))
    values = np.concatenate([[0.0], np.exp(-t * t) * (scale * scale + t * t)])
    return scale, (np.fft.fft(np.fft.fftshift(values)).real / (4 * count))[1 : count + 1][::-1].tolist()


_SCALE, _EXPANSION = _coefficients(16)


def _faddeeva(z: ComplexArray) -> ComplexArray:
    """w(z) in the upper half-plane, within 2e-6; `scipy.special.wofz` is exact and takes seven times as long.

    Weideman, SIAM J. Numer. Anal. 31, 1497 (1994), equation (38).
    """
    turned = 1j * z
    down = 1.0 / (_SCALE - turned)
    ratio = (_SCALE + turned) * down
    total: ComplexArray = np.full_like(ratio, _EXPANSION[0])
    for coefficient in _EXPANSION[1:]:
        total *= ratio
        total += coefficient
    total *= 2.0 * down
    total += 1.0 / np.sqrt(np.pi)
    total *= down
    return total
