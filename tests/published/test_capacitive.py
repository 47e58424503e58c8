"""Capacitive sensing against textbook capacitors, tabled permittivities and a field computed for itself."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import spsolve
from sheetmargin_service.materials.library import load_library
from sheetmargin_service.principles.capacitive.model import EPS_0, capacitance_f, loss_tangent


def test_dielectric_slab_between_plates():
    """Halliday, Resnick and Walker, Fundamentals of Physics, chapter on capacitance (solution read): 115 cm2, 1.24 cm
    apart, a slab of 0.780 cm and permittivity 2.61: 8.21 pF empty, 13.4 pF with it."""
    empty = capacitance_f(area_m2=115e-4, gap_m=0.0124, solid_m=0.0, equivalent_m=0.0)
    filled = capacitance_f(area_m2=115e-4, gap_m=0.0124, solid_m=0.0078, equivalent_m=0.0078 / 2.61)
    assert 1e12 * empty == pytest.approx(8.21, abs=0.005)
    assert 1e12 * filled == pytest.approx(13.4, abs=0.05)


def test_paper_in_a_gap_of_2_mm():
    """0.1 mm of permittivity 2.5 in 2 mm: C/C0 1.031 with one sheet and 1.064 with two, computed once by hand."""
    ratios = [
        float(
            capacitance_f(area_m2=1.0, gap_m=2e-3, solid_m=count * 1e-4, equivalent_m=count * 1e-4 / 2.5)
            / capacitance_f(area_m2=1.0, gap_m=2e-3, solid_m=0.0, equivalent_m=0.0)
        )
        for count in (1, 2)
    ]
    assert ratios == pytest.approx([1.031, 1.064], abs=5e-4)


def test_layers_in_series():
    """Two layers are worth two capacitors one after the other, and air as much as its own thickness."""
    whole = capacitance_f(area_m2=0.01, gap_m=5e-3, solid_m=3e-3, equivalent_m=1e-3 / 4 + 2e-3 / 2)
    parts = [EPS_0 * 0.01 / length for length in (1e-3 / 4, 2e-3 / 2, 2e-3)]
    assert whole == pytest.approx(1 / sum(1 / part for part in parts), rel=1e-12)


@pytest.mark.parametrize(
    ("material", "low", "high", "where"),
    [
        ("copy-paper", 1.3, 4.0, "ar5iv 2105.05877, Frequency-dependent capacitors using paper: 1.3 to 4.0"),
        ("pet", 2.8, 4.5, "thelen.us, dielectric of various materials: polyester film 2.8 to 4.5"),
        ("glass", 6.5, 7.7, "yb0ah table 21: window glass 7.6; soda-lime 6.5 to 7.7 from memory"),
        ("pc", 2.9, 3.2, "yb0ah table 21: polycarbonate 2.9 to 3.2"),
        ("pmma", 2.6, 3.5, "yb0ah table 21: Plexiglas 2.6 to 3.5"),
        ("ps", 2.4, 3.0, "yb0ah table 21: polystyrene 2.4 to 3.0"),
        ("pe-ld", 2.2, 2.5, "thelen.us: polyethylene 2.27 to 2.5"),
        ("bopp", 2.1, 2.3, "thelen.us: polypropylene 2.25"),
        ("ptfe", 2.0, 2.1, "thelen.us and yb0ah table 21: 2.1"),
        ("pvc-rigid", 2.8, 3.4, "thelen.us: polyvinyl chloride 2.8 to 3.4"),
        ("fr4", 4.3, 5.0, "thelen.us: 4.3 to 5.0"),
    ],
)
def test_permittivities_of_the_library_meet_the_tables(material, low, high, where):
    permittivity = load_library().get(material).electrical.permittivity
    assert low <= permittivity.nominal <= high, where


def test_metals_conduct_and_plastics_do_not():
    """Conduction over displacement current at 200 kHz: copper 1.7e-8 ohm m, PET 1e13 ohm m (tables, from memory)."""
    assert loss_tangent(resistivity_ohm_m=1.7e-8, permittivity=1.0, frequency_hz=200e3) > 1e10
    assert loss_tangent(resistivity_ohm_m=1e13, permittivity=3.3, frequency_hz=200e3) < 1e-6


GAP, HALF_WIDTH, GUARD = 16, 36, 16


def plates_f_per_m(*, sheet_height):
    """Capacitances per metre of two strips with free ends and a sheet between them, by finite volumes: of the whole
    inner faces, and of their middle, the outer `GUARD` cells being a guard.

    Half of the cross-section in cells, mirrored at the left, grounded at the other walls. A sheet of permittivity 3, 2
    cells thick, runs through the whole width, `sheet_height` cells above the middle (None: without a sheet). The charge
    comes from the flux that leaves the faces: no use is made of the series formula.
    """
    rows, columns = 3 * GAP, 90
    middle = rows // 2
    permittivity = np.ones((rows, columns))
    if sheet_height is not None:
        permittivity[middle + sheet_height - 1 : middle + sheet_height + 1] = 3.0
    index = np.arange((rows + 1) * (columns + 1)).reshape(rows + 1, columns + 1)
    # An edge between two nodes lies between two cells and carries half of each; at a wall one of them is not there.
    along = 0.5 * (np.pad(permittivity, ((1, 0), (0, 0))) + np.pad(permittivity, ((0, 1), (0, 0))))
    across = 0.5 * (np.pad(permittivity, ((0, 0), (1, 0))) + np.pad(permittivity, ((0, 0), (0, 1))))
    starts = np.concatenate([index[:, :-1].ravel(), index[:-1].ravel()])
    ends = np.concatenate([index[:, 1:].ravel(), index[1:].ravel()])
    weights = np.concatenate([along.ravel(), across.ravel()])
    both = (np.concatenate([starts, ends]), np.concatenate([ends, starts]))
    links = coo_array((np.tile(weights, 2), both), shape=(index.size, index.size)).tocsr()
    matrix = diags_array(links.sum(axis=1)).tocsr() - links
    fixed = np.full(index.size, np.nan)
    fixed[index[0]], fixed[index[-1]], fixed[index[:, -1]] = 0.0, 0.0, 0.0
    fixed[index[middle - GAP // 2, : HALF_WIDTH + 1]] = -0.5
    fixed[index[middle + GAP // 2, : HALF_WIDTH + 1]] = 0.5
    free = np.isnan(fixed)
    potential = np.where(free, 0.0, fixed)
    potential[free] = spsolve(matrix[free][:, free].tocsc(), -(matrix[free][:, ~free] @ potential[~free]))
    # What leaves the inner faces: potential differences to the next row, each edge with its own permittivity.
    field = across * np.diff(potential.reshape(index.shape), axis=0)
    inward = 0.5 * (field[middle - GAP // 2] + field[middle + GAP // 2 - 1])
    inner = HALF_WIDTH - GUARD
    return 2.0 * EPS_0 * inward[: HALF_WIDTH + 1].sum(), 2.0 * EPS_0 * (inward[:inner].sum() + 0.5 * inward[inner])


def test_where_the_sheet_runs_acts_with_the_square_of_the_shift():
    """Plates with free ends: a shift from the middle acts evenly, hence not to first order, and by its square; a guard
    leaves less than a hundredth of what the sheet adds, half-way from the middle to a plate."""
    whole, guarded = np.transpose([plates_f_per_m(sheet_height=height) for height in (-4, -2, 0, 2, 4)])
    _, empty = plates_f_per_m(sheet_height=None)
    assert whole[::-1] == pytest.approx(whole, rel=1e-9)
    moved = whole - whole[2]
    assert moved[4] / moved[3] == pytest.approx(4.0, rel=0.15)
    assert np.abs(guarded - guarded[2]).max() < 0.01 * (guarded[2] - empty)
    series = capacitance_f(area_m2=2.0 * (HALF_WIDTH - GUARD), gap_m=GAP, solid_m=2.0, equivalent_m=2.0 / 3.0)
    assert guarded[2] == pytest.approx(series, rel=1e-3)
