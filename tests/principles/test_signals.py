"""Readings of every state: by hand, on states of a few numbers."""

from __future__ import annotations

import numpy as np
import pytest
from sheetmargin_service.principles.signals import Readings, States, taught


def readings(*means: float, **moves: float) -> Readings:
    """Variants (V,) with two nodes about each mean, at one setting; moves by cause."""
    return Readings(
        values=np.array(means)[:, None, None] + np.array([-1.0, 1.0]),
        weights=np.array([0.5, 0.5]),
        moves={name.replace("_", "-"): np.array([move]) for name, move in moves.items()},
    )


def test_what_a_receiver_is_taught_on_reads_its_nominal_value() -> None:
    """Its variants move every state against it, by their means; so does what is the same for all of a job."""
    single = readings(10.0, 8.0, 13.0, lot_mass=0.7, formation=0.3, flutter=0.4, drift=0.2)
    states = States(
        no_sheet=readings(0.0, 0.0, 0.0, drift=0.2),
        single=single,
        double=readings(20.0, 16.0, 26.0, lot_mass=1.1, formation=0.6, drift=0.2),
        fewer=None,
        nodes="trapped-air",
        variants="constants",
    )
    found = taught(states, single)
    assert found.fewer is None
    for state, means, lot in (
        (found.single, [10.0, 10.0, 10.0], 0.0),
        (found.double, [20.0, 18.0, 23.0], 0.4),
        (found.no_sheet, [0.0, 2.0, -3.0], -0.7),
    ):
        assert state.values.shape == (3, 1, 2)
        assert state.values.mean(axis=2).ravel() == pytest.approx(means)
        assert np.ptp(state.values, axis=2).ravel() == pytest.approx([2.0, 2.0, 2.0])
        assert state.moves["lot-mass"] == pytest.approx([lot])
        # That sheet against the others: what differs from sheet to sheet, neither of the lot nor common to all.
        assert np.ravel(state.moves["taught-sheet"]) == pytest.approx([0.5] * 3)
        assert state.moves["drift"] == pytest.approx([0.2])
    assert found.double.moves["formation"] == pytest.approx([0.6])
