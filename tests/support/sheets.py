"""Random sheets for tests of properties that hold for every sheet."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st
from sheetmargin_service.acoustics.plate import ElasticPlate


@st.composite
def elastic_plates(draw: st.DrawFn, *, lossless: bool = False) -> ElasticPlate:
    """Transversely isotropic sheets from tissue to steel plate, stable (a positive stored energy) and passive.

    One loss factor for all stiffnesses, so that the loss is positive whatever the deformation.
    """
    c33 = 10.0 ** draw(st.floats(7.0, 11.3))
    c11 = c33 * 10.0 ** draw(st.floats(0.0, 2.0))
    c55 = c33 * draw(st.floats(0.1, 3.0))
    c13 = np.sqrt(c11 * c33) * draw(st.floats(-0.3, 0.95))
    loss = 1.0 + 1j * (0.0 if lossless else draw(st.floats(1e-4, 0.5)))
    return ElasticPlate(
        thickness_m=10.0 ** draw(st.floats(-5.3, -2.0)),
        density_kg_m3=10.0 ** draw(st.floats(2.3, 4.0)),
        c11_pa=c11 * loss,
        c13_pa=c13 * loss,
        c33_pa=c33 * loss,
        c55_pa=c55 * loss,
    )


frequencies_hz = st.floats(60e3, 500e3)
sines = st.one_of(st.just(0.0), st.floats(0.0, 0.999))
