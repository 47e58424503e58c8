"""Doubles that cling, and how many of them have no air between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sheetmargin_service.principles.draws import drawn
from sheetmargin_service.principles.ultrasonic.blocking import blocked_share
from support.principle_cases import sheet

COATED = sheet("coated-paper", grammage_gsm=135)


@pytest.mark.parametrize(
    ("a_sheet", "low_ppm", "high_ppm"),
    [
        (sheet("copy-paper", grammage_gsm=80), 1.0, 100.0),
        (COATED, 10.0, 1000.0),
        (sheet("pet", thickness_um=50), 100.0, 10_000.0),
    ],
)
def test_a_third_of_what_clings_has_no_air(a_sheet, low_ppm, high_ppm):
    """Static and burrs leave it: 5 to 95 % of the draws lie within a third of each end."""
    low, high = np.interp([-1.6449, 1.6449], *map(np.sort, (drawn("blocked"), blocked_share(a_sheet))))
    assert [1e6 * low, 1e6 * high] == pytest.approx([low_ppm / 3.0, high_ppm / 3.0], rel=0.1)


def test_what_is_known_to_block_has_none_and_what_does_not_block_does_not():
    assert blocked_share(replace(COATED, blocks=True)).max() > 0.05
    assert not blocked_share(replace(COATED, blocks=False)).any()
    assert not blocked_share(sheet("steel", thickness_um=800)).any()
