"""Sheets that air passes, one and two on a film of air, against Biot's equations and the full ones of a viscous gas.

Of the sheets the service takes frame and pores as two paths side by side, of the film pressure as even across it. The
other route has neither: frame and pores coupled by Biot's equations in one global matrix, the pores round ones in
closed form, the film by collocation of the equations of Navier, Stokes and Fourier.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin_service.acoustics.air import humid_air
from sheetmargin_service.acoustics.layered import Stack, stack_response
from sheetmargin_service.acoustics.plate import ElasticPlate, plate_response
from sheetmargin_service.acoustics.porous import PorousSheet, porous_response
from sheetmargin_service.acoustics.response import Response, StackResponse
from sheetmargin_service.acoustics.trapped_air import double_transmission, flat_film
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.materials.stiffness import elastic_constants
from support.poroelastic import Poroelastic, solve_poroelastic

AIR = humid_air()
FILMS_M = (0.5e-6, 0.7e-6, 2e-6, 5e-6, 20e-6, 100e-6)
SINES = (0.0, 0.5)


def layer(material_id: str, *, tight: bool = False) -> tuple[PorousSheet | ElasticPlate, Poroelastic]:
    """A layer as the library has it at the thickness that its permeance is told for, for either route."""
    material = load_library().get(material_id)
    thin, thick = material.thickness_um.range
    thickness_um = material.porous.thickness_um if material.porous else np.sqrt(thin * thick)
    density = material.density_kg_m3.nominal
    c11, c13, c33, c55 = elastic_constants(material=material, density_kg_m3=density)
    frame = ElasticPlate(
        thickness_m=1e-6 * thickness_um, density_kg_m3=density, c11_pa=c11, c13_pa=c13, c33_pa=c33, c55_pa=c55
    )
    if tight or material.porous is None:
        # As good as no pores.
        return frame, Poroelastic(frame=frame, permeance_um_per_pa_s=1e-7, porosity=0.01, tortuosity=1.0)
    pores = {
        "permeance_um_per_pa_s": material.porous.permeance_um_per_pa_s.nominal,
        "porosity": material.porous.porosity,
        "tortuosity": material.porous.tortuosity,
    }
    return PorousSheet(frame=frame, **pores), Poroelastic(frame=frame, **pores)


def response(
    layers: list[PorousSheet | ElasticPlate], *, frequency_hz: float, sin_theta: float
) -> Response | StackResponse:
    at = {"air": AIR, "frequency_hz": frequency_hz, "sin_theta": sin_theta}
    if len(layers) > 1:
        return stack_response(stack=Stack(layers=tuple(layers)), **at)
    if isinstance(layers[0], PorousSheet):
        return porous_response(sheet=layers[0], **at)
    return plate_response(plate=layers[0], **at)


def two_db(one: Response | StackResponse, *, film_m: float, frequency_hz: float, sin_theta: float) -> float:
    film = flat_film(air=AIR, thickness_m=film_m, frequency_hz=frequency_hz, sin_theta=sin_theta)
    lone = np.exp(-2j * np.pi * frequency_hz / AIR.sound_speed_m_per_s * film_m * np.sqrt(1.0 - sin_theta**2))
    return db(double_transmission(first=one, second=one, film=film, factor=lone))


def db(transmission: object) -> float:
    return float(-20.0 * np.log10(np.abs(np.asarray(transmission))))


def deviations_db(names: tuple[str, ...], *, frequency_hz: float) -> tuple[float, float]:
    """Largest deviation in dB of one sheet, and of two over all films."""
    layers = [layer(name) for name in names]
    one, two = 0.0, 0.0
    for sine in SINES:
        at = {"frequency_hz": frequency_hz, "sin_theta": sine}
        sheet = response([service for service, _ in layers], **at)
        other = [biot for _, biot in layers]
        one = max(one, abs(db(sheet.transmission) - db(solve_poroelastic(other, air=AIR, **at)[1])))
        for film_m in FILMS_M:
            wanted = db(solve_poroelastic(other, air=AIR, film_m=film_m, **at)[1])
            two = max(two, abs(two_db(sheet, film_m=film_m, **at) - wanted))
    return one, two


FINE = ("sc-paper", "bible-paper", "ledger-paper", "copy-paper", "carbonless-paper", "envelope-paper", "offset-paper")
FINE += ("recycled-paper", "decor-paper", "kraft-paper", "cigarette-paper", "newsprint", "wrapping-tissue")
COARSE = ("testliner", "card-stock", "fluting-medium", "solid-board", "kraftliner", "greyboard", "wallpaper")
COARSE += ("tea-bag-paper",)
SOFT = {
    "sack-kraft": (0.5, 0.9),
    "wood-pulp-board": (0.8, 1.4),
    "blotting-paper": (0.9, 1.8),
    "tissue": (1.0, 2.2),
    "crepe-paper": (1.4, 3.0),
    "filter-paper": (2.6, 5.1),
}
"""Open sheets whose frame is soft, near a thickness resonance: there the air in the pores presses on the frame from
within, which the two paths leave out. A finding, told as it is, one sheet and two."""


def test_every_porous_paper_and_board_is_looked_at() -> None:
    library = load_library().materials.values()
    porous = {material.id for material in library if material.family in ("paper", "board") and material.porous}
    assert porous == {*FINE, *COARSE, *SOFT}


@pytest.mark.parametrize("frequency_hz", [75e3, 180e3, 300e3, 500e3])
@pytest.mark.parametrize("name", [*FINE, *COARSE, *SOFT])
def test_papers_and_boards_of_the_library(name: str, frequency_hz: float) -> None:
    """Largest found: fine papers 0.07 dB for one sheet and 0.12 dB for two, boards 0.29 and 0.61 dB, at 500 kHz."""
    one, two = deviations_db((name,), frequency_hz=frequency_hz)
    allowed = SOFT.get(name) or ((0.1, 0.15) if name in FINE else (0.3, 0.65))
    assert one <= allowed[0]
    assert two <= allowed[1]


@pytest.mark.parametrize("frequency_hz", [75e3, 180e3, 400e3])
@pytest.mark.parametrize(
    "names",
    [
        ("copy-paper", "glassine"),
        ("copy-paper", "offset-paper"),
        ("copy-paper", "glassine", "newsprint"),
        ("glassine", "copy-paper", "glassine"),
    ],
    ids=["face", "through", "faces", "enclosed"],
)
def test_welded_layers_with_pores_and_without(names: tuple[str, ...], frequency_hz: float) -> None:
    """Pores that go through, that end at a layer without any, that no air reaches: 0.1 and 0.25 dB; largest found 0.06
    and 0.20 dB, this on the resonance of the film between two sheets that are tight."""
    one, two = deviations_db(names, frequency_hz=frequency_hz)
    assert one <= 0.1
    assert two <= 0.25


def test_pores_of_a_face_soften_the_film() -> None:
    """Two sheets of copy paper, 80 g/m2, on 0.7 um at 300 kHz, the resonance of the film: some 35 dB if they were
    tight, and 66 to 72 dB with 2 to 8 um/(Pa s). One sheet changes by 0.1 to 0.7 dB."""
    tight, _ = layer("copy-paper", tight=True)
    at = {"frequency_hz": 300e3, "sin_theta": 0.0}
    assert isinstance(tight, ElasticPlate)
    frame = replace(tight, thickness_m=0.08 / tight.density_kg_m3)
    whole = response([frame], **at)
    assert two_db(whole, film_m=0.7e-6, **at) == pytest.approx(35.0, abs=1.0)
    for permeance in (2.0, 4.0, 8.0):
        pores = {"permeance_um_per_pa_s": permeance, "porosity": 0.48, "tortuosity": 3.0}
        sheet = response([PorousSheet(frame=frame, **pores)], **at)
        assert 0.1 < db(sheet.transmission) - db(whole.transmission) < 0.7
        two = two_db(sheet, film_m=0.7e-6, **at)
        assert 65.5 < two < 72.5
        _, other = solve_poroelastic([Poroelastic(frame=frame, **pores)], air=AIR, film_m=0.7e-6, **at)
        assert two == pytest.approx(db(other), abs=0.1)
