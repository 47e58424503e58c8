"""An air-permeable sheet: sound goes through its pores and by the motion of its frame, side by side.

The pores hold an equivalent fluid (Johnson, Champoux and Allard) of porosity phi, tortuosity a, viscous length L and
thermal length L'. Per unit of the sheet's face,

    rho_e = a rho/phi [1 + sigma phi/(i w rho a) sqrt(1 + i w rho 4 a^2 eta/(sigma L phi)^2)]
    K_e = rho c^2/phi / [g - (g - 1)/(1 + 8 alpha/(i w L'^2) sqrt(1 + i w L'^2/(16 alpha)))]

with sigma the steady flow resistivity, eta the viscosity, alpha the thermal diffusivity of air. The air permeance is
the steady limit; it fixes the pore size, L = sqrt(8 eta a/(sigma phi)) as of round pores.

The two paths share the pressure on both faces, and their volume flows add: the surface admittances 1/Zs and 1/Za of
frame and pores add. This keeps energy and reciprocity and is exact for a thin sheet whose frame is driven by the whole
pressure difference (resistance in parallel with mass). Left out are the pores' air pressing on the frame from within,
the inertia of air dragged along by the frame (Biot's coupling), and slip in pores below a few micrometres.

References: Johnson, Koplik and Dashen, J. Fluid Mech. 176, 379 (1987); Champoux and Allard, J. Appl. Phys. 70, 1975
(1991); Allard and Atalla, Propagation of Sound in Porous Media, 2nd edition, chapter 5; permeable sheet that moves:
Ingard, Notes on Sound Absorption Technology (1994), chapter 2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sheetmargin_service.acoustics.air import Air, surface_admittance
from sheetmargin_service.acoustics.blocks import Complex, ComplexArray, Real, map_blocks
from sheetmargin_service.acoustics.fluid import FluidLayer, fluid_wave
from sheetmargin_service.acoustics.plate import ElasticPlate, partial_waves
from sheetmargin_service.acoustics.response import Response, impedance_shares, scatter


@dataclass(frozen=True, kw_only=True)
class PorousSheet:
    """A frame, dry and with the sheet's whole thickness and mean density, and its pores. Fields may be arrays.

    `thermal_length_ratio` is L'/L: 1 for round pores, 2 for fibres across the flow (Allard and Atalla, section 5.3.4).
    """

    frame: ElasticPlate
    permeance_um_per_pa_s: Real
    porosity: Real
    tortuosity: Real
    thermal_length_ratio: Real = 2.0


def flow_resistance_pa_s_per_m(*, permeance_um_per_pa_s: Real) -> Real:
    """Pressure over steady face velocity, the reciprocal of the air permeance of ISO 5636-1."""
    return 1e6 / permeance_um_per_pa_s


def pore_radius_m(*, sheet: PorousSheet, air: Air) -> Real:
    """Radius of round pores with the sheet's permeance, its viscous length L."""
    viscosity = air.kinematic_viscosity_m2_per_s * air.density_kg_m3
    resistance = flow_resistance_pa_s_per_m(permeance_um_per_pa_s=sheet.permeance_um_per_pa_s)
    return np.sqrt(8.0 * viscosity * sheet.tortuosity * sheet.frame.thickness_m / (resistance * sheet.porosity))


def pore_fluid(*, sheet: PorousSheet, air: Air, frequency_hz: Real) -> FluidLayer:
    """The equivalent fluid in the pores, alike in all directions; the sheet's fields and `frequency_hz` broadcast."""
    angular = 2j * np.pi * frequency_hz
    length = pore_radius_m(sheet=sheet, air=air)
    # sigma phi/(rho a) = 8 nu/L^2 by the choice of L.
    viscous = 8.0 * air.kinematic_viscosity_m2_per_s / np.square(length)
    density = (
        sheet.tortuosity * air.density_kg_m3 / sheet.porosity * (1.0 + viscous / angular * _root(angular, viscous))
    )
    thermal = 8.0 * air.thermal_diffusivity_m2_per_s / np.square(length * sheet.thermal_length_ratio)
    ratio = air.heat_capacity_ratio
    exchange = (ratio - 1.0) / (1.0 + thermal / angular * _root(angular, thermal))
    return FluidLayer(
        thickness_m=sheet.frame.thickness_m,
        density_kg_m3=density,
        in_plane_density_kg_m3=density,
        bulk_modulus_pa=air.bulk_modulus_pa / sheet.porosity / (ratio - exchange),
    )


def porous_response(*, sheet: PorousSheet, air: Air, frequency_hz: Real, sin_theta: Complex) -> Response:
    """Reflection and transmission of a permeable sheet in `air`; arguments and the sheet's fields broadcast."""
    slowness = sin_theta / air.sound_speed_m_per_s
    admittance = surface_admittance(air=air, sin_theta=sin_theta)
    root_1, root_2, weight_1, weight_2 = partial_waves(plate=sheet.frame, slowness_s_per_m=slowness)
    root_3, weight_3 = fluid_wave(
        layer=pore_fluid(sheet=sheet, air=air, frequency_hz=frequency_hz), slowness_s_per_m=slowness
    )
    transmission, reflection = map_blocks(
        _respond,
        -2.0 * np.pi * frequency_hz * sheet.frame.thickness_m,
        root_1,
        root_2,
        root_3,
        weight_1 * admittance,
        weight_2 * admittance,
        weight_3 * admittance,
        results=2,
    )
    return Response(transmission=transmission, reflection=reflection)


def _root(angular: Complex, rate: Real) -> Complex:
    """sqrt(1 + i w/(2 rate)): the passage from a steady profile in the pores to boundary layers on their walls."""
    return np.sqrt(1.0 + 0.5 * angular / rate)


def _respond(
    travel: ComplexArray,
    root_1: ComplexArray,
    root_2: ComplexArray,
    root_3: ComplexArray,
    weight_1: ComplexArray,
    weight_2: ComplexArray,
    weight_3: ComplexArray,
    transmission: ComplexArray,
    reflection: ComplexArray,
) -> None:
    shares_1, shares_2 = impedance_shares(travel * root_1, weight_1), impedance_shares(travel * root_2, weight_2)
    frame_s, frame_a, frame_d = (one + two for one, two in zip(shares_1, shares_2, strict=True))
    pores_s, pores_a, pores_d = impedance_shares(travel * root_3, weight_3)
    sum_s, sum_a = frame_s + pores_s, frame_a + pores_a
    frame, pores = frame_s * frame_a, pores_s * pores_a
    # Zs - Za from the differences of the paths, which keep their accuracy in a thick sheet.
    difference = (frame_d * pores + pores_d * frame) / (sum_s * sum_a)
    scatter(frame_s * pores_s / sum_s, frame_a * pores_a / sum_a, difference, transmission, reflection)
