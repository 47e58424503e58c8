"""A list in its order, against every sequence there is."""

from itertools import pairwise, product

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from sheetmargin.contract.answer import Changeovers
from sheetmargin_service.selection.list_cover.candidates import Candidates
from sheetmargin_service.selection.list_cover.changeovers import cheapest_run
from support.candidates import candidates_of


def changes(candidates, rows):
    classes = positions = profiles = 0
    for a, b in pairwise(rows):
        if candidates.classes[a] != candidates.classes[b]:
            classes += 1
        else:
            positions += candidates.positions[a] != candidates.positions[b]
            profiles += candidates.profiles[a] != candidates.profiles[b]
    return classes, positions, profiles


def brute_force(candidates):
    servable = [s for s in range(candidates.margin.shape[1]) if np.isfinite(candidates.margin[:, s]).any()]
    ways = [np.flatnonzero(np.isfinite(candidates.margin[:, s])).tolist() for s in servable]
    return min(
        (*changes(candidates, rows), -min(candidates.margin[r, s] for s, r in zip(servable, rows, strict=True)), rows)
        for rows in product(*ways)
    )


@st.composite
def small_tables(draw):
    sheets = draw(st.integers(1, 4))
    keys = [(c, (float(p), 0.0), q) for c in "AB" for p in range(2) for q in ("x", "y")]
    chosen = draw(st.lists(st.sampled_from(keys), min_size=1, max_size=len(keys), unique=True))
    margins = st.dictionaries(st.integers(0, sheets - 1), st.integers(1, 4).map(float), max_size=sheets)
    return candidates_of({key: draw(margins) for key in chosen}, sheets)


@settings(max_examples=150, deadline=None)
@given(small_tables())
def test_run_is_the_one_of_brute_force(candidates):
    run = cheapest_run(candidates)
    if not np.isfinite(candidates.margin).any():
        assert run is None
        return
    classes, positions, profiles, worst, rows = brute_force(candidates)
    assert tuple(row for row in run.assignment if row is not None) == rows
    assert run.changeovers == Changeovers(detector_class=classes, geometry=positions, profile=profiles)
    assert run.worst == -worst
    assert [s in run.unserved for s in range(candidates.margin.shape[1])] == [
        not np.isfinite(column).any() for column in candidates.margin.T
    ]


def test_a_class_change_is_put_off_and_the_order_decides():
    # A serves light, B heavy, both the middle: light, middle, heavy, middle, light changes twice, sorted once.
    serves = {("A", (1.0, 0.0), "x"): {"light", "middle"}, ("B", (1.0, 0.0), "x"): {"heavy", "middle"}}

    def run(order):
        entries = {key: {s: 5.0 for s, kind in enumerate(order) if kind in kinds} for key, kinds in serves.items()}
        return cheapest_run(candidates_of(entries, len(order)))

    mixed = run(["light", "middle", "heavy", "middle", "light"])
    assert mixed.changeovers.detector_class == 2
    assert mixed.assignment == (0, 0, 1, 0, 0)
    assert run(["light", "light", "middle", "middle", "heavy"]).changeovers.detector_class == 1


def test_a_sheet_that_nothing_serves_is_passed_over():
    run = cheapest_run(candidates_of({("A", (1.0, 0.0), "x"): {0: 5.0, 2: 3.0}}, 3))
    assert run.assignment == (0, None, 0)
    assert run.unserved == (1,)
    assert run.changeovers == Changeovers(detector_class=0, geometry=0, profile=0)
    assert run.worst == 3.0


def test_a_long_list_over_many_ways():
    rng = np.random.default_rng(7)
    keys = [(f"c{c:02d}", (float(p), 0.0), f"q{q}") for c in range(20) for p in range(100) for q in range(5)]
    margin = np.where(rng.random((len(keys), 50)) < 0.2, np.round(rng.uniform(0.1, 20.0, (len(keys), 50)), 1), -np.inf)
    candidates = Candidates(
        classes=tuple(k[0] for k in keys),
        positions=tuple(k[1] for k in keys),
        profiles=tuple(k[2] for k in keys),
        margin=margin,
    )
    run = cheapest_run(candidates)
    assert run.unserved == ()
    assert changes(candidates, run.assignment) == (
        run.changeovers.detector_class,
        run.changeovers.geometry,
        run.changeovers.profile,
    )
    assert run.worst == min(margin[row, sheet] for sheet, row in enumerate(run.assignment))
