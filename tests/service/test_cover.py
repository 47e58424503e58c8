"""The cover of a job list against brute force, and its behaviour on lists of a real size."""

from itertools import chain, combinations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.cover import covers
from support.candidates import candidates_of


def subsets(items, most):
    return chain.from_iterable(combinations(items, size) for size in range(1, min(most, len(items)) + 1))


def brute_force(candidates, barred):
    """Every set of positions with every set of profiles, compared by the whole list of aims.

    More positions or profiles than sheets are never needed.
    """
    rows = list(zip(candidates.classes, candidates.positions, candidates.profiles, strict=True))
    all_positions = sorted({(c, p) for c, p, _ in rows})
    all_profiles = sorted({(c, q) for c, _, q in rows})
    sheets = candidates.margin.shape[1]
    best = None
    for positions in subsets(all_positions, sheets):
        for profiles in subsets(all_profiles, sheets):
            classes = sorted({c for c, _ in positions})
            if classes != sorted({c for c, _ in profiles}):
                continue
            if any(group <= set(classes) for group in barred):
                continue
            usable = [i for i, (c, p, q) in enumerate(rows) if (c, p) in positions and (c, q) in profiles]
            if not usable:
                continue
            margin = candidates.margin[usable]
            greatest = margin.max(axis=0)
            served = np.isfinite(greatest)
            if not served.any():
                continue
            worst = greatest[served].min()
            counts = ((~served).sum(), len(classes), len(positions), len(profiles))
            key = (*counts, -worst, classes, list(positions), list(profiles))
            if best is None or key < best[0]:
                assignment = tuple(
                    usable[int(margin[:, s].argmax())] if served[s] else None for s in range(len(served))
                )
                best = (key, assignment)
    return best


@st.composite
def small_tables(draw):
    sheets = draw(st.integers(1, 4))
    keys = [(c, (float(p), 0.0), q) for c in "ABC" for p in range(2) for q in ("x", "y")]
    chosen = draw(st.lists(st.sampled_from(keys), min_size=1, max_size=len(keys), unique=True))
    margins = st.dictionaries(st.integers(0, sheets - 1), st.integers(1, 4).map(float), max_size=sheets)
    return candidates_of({key: draw(margins) for key in chosen}, sheets)


def check(candidates, limit):
    """Each cover in turn is the best without the classes of those before."""
    found = list(covers(candidates, limit=limit))
    barred = []
    for cover in [*found, *[None] * (limit - len(found))]:
        check_one(candidates, cover, barred)
        if cover is None:
            return
        barred.append(set(cover.classes))


def check_one(candidates, cover, barred):
    expected = brute_force(candidates, barred)
    if expected is None:
        assert cover is None
        return
    key, assignment = expected
    assert cover.assignment == assignment
    assert len(cover.unserved) == key[0]
    assert list(cover.classes) == key[5]
    assert cover.worst == -key[4]


@settings(max_examples=80, deadline=None)
@given(small_tables())
def test_covers_are_those_of_brute_force(candidates):
    check(candidates, 4)


@st.composite
def crowded_tables(draw):
    """One class with many positions and profiles, in which several of each are needed and ties are common."""
    sheets = draw(st.integers(3, 5))
    keys = [("A", (float(p), 0.0), q) for p in range(4) for q in "wxyz"]
    return candidates_of(
        {
            key: draw(st.dictionaries(st.integers(0, sheets - 1), st.sampled_from([1.0, 2.0]), max_size=2))
            for key in keys
        },
        sheets,
    )


@settings(max_examples=25, deadline=None)
@given(crowded_tables())
def test_many_positions_and_profiles_of_one_class(candidates):
    check(candidates, 1)


def real_size(seed, *, sheets=50, classes=20):
    """A job list of sheets between light and heavy, and classes that each span a part of it: invented, of a real size.

    A way serves a sheet whose level lies in its band while the double's lies beyond.
    """
    rng = np.random.default_rng(seed)
    level, contrast = rng.uniform(10.0, 95.0, sheets), rng.uniform(8.0, 25.0, sheets)
    helped = rng.uniform(0.0, 0.4, sheets)
    entries = {}
    for c in range(classes):
        noise, overload = rng.uniform(55.0, 115.0), rng.uniform(0.0, 50.0)
        for gap in np.linspace(15.0, 60.0, 10):
            for tilt in np.linspace(0.0, 45.0, 10):
                here = level - helped * tilt + 0.05 * abs(gap - 40.0)
                for band in range(5):
                    low = overload + (noise - overload) * band / 8.0
                    high = min(low + 35.0, noise)
                    margin = np.minimum(np.minimum(here - low, high - here), here + contrast - high)
                    served = np.flatnonzero(margin > 1.0)
                    entries[f"class-{c:02d}", (gap, tilt), f"band-{band}"] = {
                        int(s): round(float(margin[s]), 1) for s in served
                    }
    return candidates_of(entries, sheets)


def test_a_list_of_real_size():
    candidates = real_size(1)
    found = list(covers(candidates, limit=3))
    servable = np.isfinite(candidates.margin).any(axis=0)
    assert set(found[0].unserved) == set(np.flatnonzero(~servable))
    for cover in found:
        served = [(s, row) for s, row in enumerate(cover.assignment) if row is not None]
        margins = [candidates.margin[row, s] for s, row in served]
        assert min(margins) == cover.worst > 0
        assert {candidates.classes[row] for row in cover.rows} == set(cover.classes)
    by_aims = [(len(cover.unserved), len(cover.classes)) for cover in found]
    assert by_aims == sorted(by_aims)
    assert len({cover.classes for cover in found}) == 3


def test_the_order_of_the_sheets_does_not_matter():
    candidates = real_size(2, sheets=12, classes=5)
    order = np.random.default_rng(0).permutation(12)
    shuffled = Candidates(
        classes=candidates.classes,
        positions=candidates.positions,
        profiles=candidates.profiles,
        margin=candidates.margin[:, order],
    )
    for here, there in zip(covers(candidates, limit=4), covers(shuffled, limit=4), strict=True):
        assert (here.classes, here.worst, here.rows) == (there.classes, there.worst, there.rows)
        assert there.assignment == tuple(here.assignment[s] for s in order)


def test_nothing_serves():
    assert list(covers(candidates_of({("A", (1.0, 0.0), "x"): {}}, 2), limit=5)) == []


def test_alternatives_end_when_no_class_is_left():
    candidates = candidates_of(
        {("A", (1.0, 0.0), "x"): {0: 5.0, 1: 4.0}, ("B", (1.0, 0.0), "x"): {0: 9.0}, ("C", (1.0, 0.0), "x"): {0: 7.0}},
        2,
    )
    # A alone serves both; without it one sheet is left over, and B leaves the other more than C.
    assert [cover.classes for cover in covers(candidates, limit=5)] == [("A",), ("B",), ("C",)]
    assert [cover.unserved for cover in covers(candidates, limit=5)] == [(), (1,), (1,)]


def test_more_sheets_than_bits():
    with pytest.raises(ValueError, match="at most 62"):
        candidates_of({("A", (1.0, 0.0), "x"): {0: 1.0}}, 63)


@pytest.mark.parametrize(
    ("classes", "message"), [(("B", "A"), "in the order"), (("A", "A"), "each once"), (("A",), "shape")]
)
def test_candidates_out_of_order(classes, message):
    count = len(classes)
    with pytest.raises(ValueError, match=message):
        Candidates(classes=classes, positions=((1.0, 0.0),) * count, profiles=("x",) * count, margin=np.zeros((2, 3)))


def test_of_classes_alike_in_number_and_positions_the_one_with_fewer_profiles_comes_first():
    """Class A holds the greater margins, with a profile for each sheet."""
    place = (0.0, 0.0)
    made = candidates_of(
        {("A", place, "x"): {0: 9.0}, ("A", place, "y"): {1: 9.0}, ("B", place, "z"): {0: 1.0, 1: 1.0}}, 2
    )
    assert [cover.classes for cover in covers(made, limit=2)] == [("B",), ("A",)]
