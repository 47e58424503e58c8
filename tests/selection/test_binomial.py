"""Chances of counts against scipy.stats, a general library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from sheetmargin_service.selection.binomial import log_binomial

COUNTS, RATES = np.arange(8), np.array([0.0, 1e-9, 1e-3, 0.3, 1.0 - 1e-9, 1.0])


@pytest.mark.parametrize("trials", [1, 5, 7, 300, 30_000])
def test_log_binomial(trials: int) -> None:
    found = log_binomial(COUNTS[:, None], trials, RATES)
    wanted = binom.logpmf(COUNTS[:, None], trials, RATES)
    assert found == pytest.approx(wanted, rel=1e-9, abs=1e-9)
    assert np.exp(found).sum(axis=0)[:3] == pytest.approx(binom.cdf(COUNTS[-1], trials, RATES[:3]), rel=1e-9)
