"""Root sum square against worked examples, and against draws."""

from __future__ import annotations

import numpy as np
import pytest
from sheetmargin_service.principles.thickness.model import root_sum_square


@pytest.mark.parametrize(
    ("parts", "combined", "digit"),
    [
        pytest.param(
            (25.0, 9.7, 2.9, 16.6), 32.0, 0.5, id="JCGM 100:2008 H.1.4, end gauge, nm (from memory), first order only"
        ),
        pytest.param((0.10, 0.05, 0.03, 0.05), 0.126, 5e-4, id="metricmech.com, spacer and ring in a bore, mm (read)"),
        pytest.param((0.20, 0.10, 0.15), 0.269, 5e-4, id="three parts, mm (read in a worked RSS example)"),
        pytest.param((0.33, 0.29, 0.25), 0.51, 5e-3, id="micrometer at 21.5 mm, um (read, JCGM 100 guide)"),
        pytest.param((0.1,) * 10, 0.316, 5e-4, id="ten parts of 0.1 mm (read in a worked RSS example)"),
    ],
)
def test_worked_examples(parts, combined, digit):
    assert root_sum_square(*parts) == pytest.approx(combined, abs=digit)


def test_against_draws():
    parts = np.array([2.0, 5.0 / np.sqrt(2.0), 2.5])
    rng = np.random.default_rng(1)
    runout = 5.0 * np.sin(2 * np.pi * rng.random(400_000))
    drawn = rng.normal(0, 2.0, 400_000) + runout + rng.normal(0, 2.5, 400_000)
    assert root_sum_square(*parts) == pytest.approx(drawn.std(), rel=5e-3)
