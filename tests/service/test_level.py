"""Stands of a set of classes, against every set of positions and profiles there is."""

from itertools import combinations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin_service.selection.list_cover.cover_at_margin import CoverAtMargin
from sheetmargin_service.selection.list_cover.set_cover import SetCover, masks_of

NEVER = -np.inf


@st.composite
def classes(draw):
    """Margins (P, Q, S) of one class or two, of which each sheet has a way in some."""
    sheets = draw(st.integers(1, 4))
    cell = st.lists(st.sampled_from([NEVER, NEVER, 1.0, 2.0]), min_size=sheets, max_size=sheets)
    sizes = draw(st.lists(st.tuples(st.integers(1, 4), st.integers(1, 3)), min_size=1, max_size=2))
    found = [np.array([[draw(cell) for _ in range(q)] for _ in range(p)]) for p, q in sizes]
    served = np.isfinite(np.concatenate([m.reshape(-1, sheets) for m in found]).max(axis=0))
    found[0][0, 0, ~served] = 1.0
    return found


def flat(margins, at_least):
    """Whether position p serves sheet s with profile q, through all classes."""
    p, q = (sum(m.shape[axis] for m in margins) for axis in (0, 1))
    serves = np.zeros((p, q, margins[0].shape[2]), dtype=bool)
    row = column = 0
    for m in margins:
        serves[row : row + m.shape[0], column : column + m.shape[1]] = m >= at_least
        row, column = row + m.shape[0], column + m.shape[1]
    return serves


def stands(serves, positions, profiles):
    """Every set of so many positions that serves all with some set of at most so many profiles, in order."""
    for stand in combinations(range(len(serves)), positions):
        some = serves[list(stand)].any(axis=0)
        if any(some[list(q)].any(axis=0).all() for q in combinations(range(len(some)), min(profiles, len(some)))):
            yield stand


@settings(max_examples=100, deadline=None)
@given(classes(), st.sampled_from([1.0, 2.0]))
def test_stands_are_those_of_brute_force(margins, at_least):
    lowest, level = CoverAtMargin(margins, NEVER), CoverAtMargin(margins, at_least)
    positions = lowest.fewest_positions(most=8)
    every = flat(margins, 1.0)
    assert positions == next(n for n in range(1, 9) if any(stands(every, n, every.shape[1])))
    profiles = lowest.fewest_profiles(positions)
    assert profiles == next(n for n in range(1, 9) if any(stands(every, positions, n)))
    found = list(stands(flat(margins, at_least), positions, profiles))
    assert level.serves(positions, profiles) == bool(found)
    if found:
        assert tuple(level.first_stand(positions, profiles)) == found[0]


@settings(max_examples=100, deadline=None)
@given(st.lists(st.lists(st.booleans(), min_size=5, max_size=5), min_size=1, max_size=7))
def test_a_set_cover_is_the_fewest_of_brute_force(rows):
    serves = np.array(rows)
    cover = SetCover(masks_of(serves), 0b11111)
    covering = [
        places
        for count in range(1, 6)
        for places in combinations(range(len(rows)), min(count, len(rows)))
        if serves[list(places)].any(axis=0).all()
    ]
    expected = min(map(len, covering), default=None)
    assert cover.fewest(most=5) == expected
    if expected is not None:
        assert tuple(cover.first(expected)) == next(places for places in covering if len(places) == expected)


def test_masks_have_a_bit_for_each_sheet_up_to_the_last():
    serves = np.zeros((2, 62), dtype=bool)
    serves[0, [0, 9]] = serves[1, 61] = True
    assert masks_of(serves).tolist() == [0b1000000001, 1 << 61]
