"""Levels stay where they were when something is made faster: the stored ones are held to 0.1 dB."""

from __future__ import annotations

import numpy as np
import pytest
from support.stored_levels import SHEETS, computed, stored

TOLERANCE_DB = 0.1


@pytest.mark.parametrize("name", SHEETS)
def test_levels_are_those_stored(name: str) -> None:
    before, now = stored()[name], computed(name)
    assert before.keys() == now.keys()
    for class_id, places in before.items():
        assert places.keys() == now[class_id].keys()
        for place, states in places.items():
            for state, kinds in states.items():
                for kind, levels in kinds.items():
                    moved = np.max(np.abs(np.subtract(now[class_id][place][state][kind], levels)))
                    assert moved <= TOLERANCE_DB, (class_id, place, state, kind, moved)
