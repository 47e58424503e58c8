"""The curve over films of air."""

from __future__ import annotations

import numpy as np
import pytest
from sheetmargin_service.measurement.film_curve import LOG_FILM, film_curve

ROWS = np.zeros(1, dtype=np.intp)


def test_it_passes_through_the_table_and_keeps_straight_lines_straight():
    table = (3.0 - 8.7 * LOG_FILM)[None]
    for log_film in (LOG_FILM[0], LOG_FILM[7], -9.123, LOG_FILM[-1]):
        curve = film_curve(np.array([log_film]))
        if LOG_FILM[1] < log_film < LOG_FILM[-2]:
            assert curve.slope(table, ROWS)[0] == pytest.approx(-8.7, rel=1e-9)
        assert curve.value(table, ROWS)[0] == pytest.approx(3.0 - 8.7 * log_film, abs=1e-9)


def test_slope_is_the_derivative():
    table = np.sin(2.0 * LOG_FILM)[None]
    at = np.linspace(LOG_FILM[0] + 0.01, LOG_FILM[-1] - 0.01, 50)
    rows = np.zeros(50, dtype=np.intp)
    step = 1e-6
    numeric = (film_curve(at + step).value(table, rows) - film_curve(at - step).value(table, rows)) / (2.0 * step)
    np.testing.assert_allclose(film_curve(at).slope(table, rows), numeric, atol=1e-6)
    np.testing.assert_allclose(film_curve(at).value(table, rows), np.sin(2.0 * at), atol=0.02)


def test_beyond_the_table_it_is_level():
    table = np.arange(len(LOG_FILM), dtype=float)[None]
    curve = film_curve(np.array([LOG_FILM[0] - 1.0, LOG_FILM[-1] + 1.0]))
    rows = np.zeros(2, dtype=np.intp)
    np.testing.assert_allclose(curve.value(table, rows), [0.0, len(LOG_FILM) - 1.0])
    np.testing.assert_allclose(curve.slope(table, rows), 0.0)
