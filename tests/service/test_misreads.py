"""How often a state is read as another: runs of readings, and the decision against a million plain draws."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from scipy.special import ndtr
from sheetmargin_service.prediction.grid import SignalGrid
from sheetmargin_service.prediction.principles.base import Detail, Spread
from sheetmargin_service.prediction.principles.ultrasonic.films import AIR_FACTOR, _moved
from sheetmargin_service.prediction.principles.ultrasonic.spreads import GRID
from sheetmargin_service.selection.misreads import FLOOR_PPM, Readings, misreads_of, run_chance
from support.principle_cases import bench, sheet
from support.sampling import Sampler

DRAWS = 1_000_000


def enumerated(p: float, readings: int, run: int) -> float:
    """Chance of a run by every sequence of readings."""
    total = 0.0
    for sequence in product((True, False), repeat=readings):
        if any(all(sequence[start : start + run]) for start in range(readings - run + 1)):
            hits = sum(sequence)
            total += p**hits * (1.0 - p) ** (readings - hits)
    return total


@pytest.mark.parametrize(("readings", "run"), [(1, 1), (5, 1), (6, 2), (10, 3), (12, 4), (4, 4), (3, 4)])
def test_run_chance_is_that_of_every_sequence(readings, run):
    chances = np.array([0.0, 1e-6, 0.01, 0.3, 0.5, 0.9, 0.999, 1.0])
    found = run_chance(one=chances, readings=readings, run=run)
    assert found == pytest.approx([enumerated(p, readings, run) for p in chances], rel=1e-9, abs=1e-14)


def test_run_chance_beyond_where_it_is_counted_one_by_one():
    """At 1000 readings by a Markov chain over the length of the run so far."""
    for p, run in ((0.02, 1), (0.1, 2), (0.3, 4), (0.001, 2)):
        chain = np.zeros((run + 1, run + 1))
        chain[:run, 0] = 1.0 - p
        chain[np.arange(run), np.arange(run) + 1] = p
        chain[run, run] = 1.0
        expected = np.linalg.matrix_power(chain, 1000)[0, run]
        assert float(run_chance(one=np.array([p]), readings=1000, run=run)[0]) == pytest.approx(expected, rel=1e-6)


def test_run_chance_rises_with_readings_and_falls_with_the_run():
    p = np.linspace(0.01, 0.99, 20)
    by_readings = np.stack([run_chance(one=p, readings=n, run=2) for n in (2, 5, 20, 200)])
    by_run = np.stack([run_chance(one=p, readings=20, run=n) for n in (1, 2, 5)])
    assert np.all(np.diff(by_readings, axis=0) >= 0.0)
    assert np.all(np.diff(by_run, axis=0) <= 0.0)


def test_fewer_readings_than_a_run_never_decide():
    assert np.all(run_chance(one=np.ones(3), readings=1, run=2) == 0.0)


def gaussian(mean: float, sigma: float, *, grid: SignalGrid = GRID) -> Spread:
    pmf = grid.spread(np.array([[mean]]), np.ones(1), np.array([sigma]))
    return Spread(variants=pmf, weights=np.ones(1))


def detail_of(single: Spread, double: Spread, fewer: Spread | None = None) -> Detail:
    return Detail(no_sheet=gaussian(0.0, 1.5), single=single, double=double, fewer=fewer)


READ = Readings(single=20, double=20, no_sheet=20, run=2)


def test_steady_signals_are_read_as_they_lie():
    """Without noise all readings of a sheet agree: the tails of the distributions themselves."""
    detail = detail_of(gaussian(45.0, 2.0), gaussian(58.0, 3.0))
    found = misreads_of(detail, GRID, low=38.0, high=51.0, readings=READ)
    assert found.single_as_double.estimate == pytest.approx(1e6 * ndtr(-3.0), rel=0.03)
    assert found.single_as_no_sheet.estimate == pytest.approx(1e6 * ndtr(-3.5), rel=0.05)
    assert found.double_as_single.estimate == pytest.approx(1e6 * ndtr(-7.0 / 3.0), rel=0.02)
    assert found.no_sheet_as_single.estimate == FLOOR_PPM


def test_nothing_below_the_floor_is_claimed():
    detail = detail_of(gaussian(45.0, 1.5), gaussian(80.0, 3.0))
    found = misreads_of(detail, GRID, low=25.0, high=62.0, readings=READ)
    for misread in vars(found).values():
        assert misread.floored
        assert misread.low == misread.estimate == misread.high == FLOOR_PPM


def test_an_interval_holds_its_variants():
    spread = Spread(
        variants=np.concatenate([gaussian(m, 2.0).variants for m in (45.0, 47.0, 43.0)]),
        weights=np.array([0.5, 0.25, 0.25]),
    )
    found = misreads_of(detail_of(spread, gaussian(70.0, 3.0)), GRID, low=30.0, high=52.0, readings=READ)
    low, middle, high = (1e6 * ndtr(-(52.0 - m) / 2.0) for m in (43.0, 45.0, 47.0))
    assert found.single_as_double.low == pytest.approx(low, rel=0.1)
    assert found.single_as_double.high == pytest.approx(high, rel=0.03)
    assert found.single_as_double.estimate == pytest.approx(0.5 * middle + 0.25 * (low + high), rel=0.03)


def test_a_ply_too_few_read_as_right_counts_where_it_is_the_worse():
    few = detail_of(gaussian(45.0, 1.5), gaussian(70.0, 3.0), fewer=gaussian(30.0, 3.0))
    found = misreads_of(few, GRID, low=38.0, high=60.0, readings=READ)
    assert found.no_sheet_as_single.estimate == pytest.approx(1e6 * ndtr(-8.0 / 3.0), rel=0.03)


def test_a_double_that_reads_on_neither_side_is_taken_for_one():
    """Two sheets that read stronger than one are caught below the band."""
    found = misreads_of(detail_of(gaussian(45.0, 1.5), gaussian(30.0, 2.0)), GRID, low=36.0, high=60.0, readings=READ)
    assert found.double_as_no_sheet.estimate == pytest.approx(1e6 * (1.0 - ndtr(-3.0)), rel=1e-3)
    assert found.double_as_single.estimate == pytest.approx(1e6 * ndtr(-3.0), rel=0.05)


def test_too_few_readings_miss_every_double():
    found = misreads_of(
        detail_of(gaussian(45.0, 1.5), gaussian(80.0, 2.0)),
        GRID,
        low=30.0,
        high=60.0,
        readings=Readings(single=1, double=1, no_sheet=1, run=2),
    )
    assert found.double_as_single.estimate == pytest.approx(1e6)
    assert found.single_as_double.estimate == FLOOR_PPM


def compared(class_id, a_sheet, gap_mm, tilt_deg, low, high, readings):
    """Rates per million of the nominal case: by quadrature, and by plain draws."""
    made = bench(class_id)
    s = made.settings
    setting = int(np.argmin(np.abs(s.gap_mm - gap_mm) + 10.0 * np.abs(s.tilt_deg - tilt_deg)))
    detail = made.detail(a_sheet, setting)
    nominal = Detail(
        no_sheet=detail.no_sheet,
        single=replace(detail.single, variants=detail.single.variants[:1], weights=np.ones(1)),
        double=replace(detail.double, variants=detail.double.variants[:1], weights=np.ones(1)),
    )
    found = misreads_of(nominal, GRID, low=low, high=high, readings=readings)
    sampler = Sampler(made, a_sheet, setting)
    one = sampler.shares_ppm(sampler.single(DRAWS), low=low, high=high, readings=readings.single, run=readings.run)
    two = sampler.shares_ppm(sampler.double(DRAWS), low=low, high=high, readings=readings.double, run=readings.run)
    quadrature = {
        "single_as_double": found.single_as_double.estimate,
        "single_as_no_sheet": found.single_as_no_sheet.estimate,
        "double_as_single": found.double_as_single.estimate,
        "double_as_no_sheet": found.double_as_no_sheet.estimate,
    }
    plain = {
        "single_as_double": one["above"],
        "single_as_no_sheet": one["below"],
        "double_as_single": two["neither"],
        "double_as_no_sheet": two["below"],
    }
    return quadrature, plain


FEW = Readings(single=8, double=8, no_sheet=8, run=2)
MANY = Readings(single=20, double=20, no_sheet=20, run=3)
TIGHT = sheet("copy-paper", grammage_gsm=80, air_permeance_um_per_pa_s=1e-4)
CASES = {
    "paper": ("ultrasonic-300k", sheet("copy-paper", grammage_gsm=80), 35.0, 0.0, 40.0, 49.0, FEW),
    "paper in ripple": ("ultrasonic-220k-continuous", TIGHT, 40.0, 0.0, 33.0, 52.0, FEW),
    "porous paper in ripple": (
        "ultrasonic-220k-continuous",
        sheet("copy-paper", grammage_gsm=80),
        40.0,
        0.0,
        33.0,
        52.0,
        FEW,
    ),
    "coated paper": ("ultrasonic-400k", sheet("coated-paper", grammage_gsm=150), 26.0, 0.0, 47.0, 60.0, MANY),
    "card": ("ultrasonic-180k", sheet("pvc-rigid", thickness_um=760), 45.0, 0.0, 58.0, 69.0, FEW),
    "card, tilted": ("ultrasonic-180k", sheet("pvc-rigid", thickness_um=760), 45.0, 30.0, 43.0, 57.0, FEW),
    "greyboard": ("ultrasonic-300k", sheet("greyboard", thickness_um=1500), 35.0, 0.0, 45.0, 56.0, FEW),
    "steel near the floor": ("ultrasonic-180k", sheet("steel", thickness_um=800), 45.0, 10.0, 70.0, 92.0, FEW),
}


UNMET = {
    "porous paper in ripple": "doubles read as one sheet: 42 per million by quadrature, 127 by draws",
}


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=pytest.mark.xfail(strict=True, reason=UNMET[n])) if n in UNMET else n for n in CASES],
)
def test_rates_meet_a_million_plain_draws(name):
    """Each rate from about 100 per million up within three standard deviations of the draws and 8 per cent: what
    binning leaves, and films a ratio of 1.27 apart. Measured: up to 5 per cent beyond what the draws can tell."""
    quadrature, plain = compared(*CASES[name])
    compared_rates = 0
    for pair, expected in plain.items():
        found = quadrature[pair]
        print(f"{name:22s} {pair:20s} {found:10.1f} by quadrature {expected:10.1f} drawn")
        if expected >= 80.0:
            compared_rates += 1
            error = 3.0 * np.sqrt(expected * (1.0 - 1e-6 * expected))
            assert abs(found - expected) < error + 0.08 * min(expected, 1e6 - expected), pair
        else:
            assert found < 160.0, pair
    assert compared_rates >= 1


def test_air_that_is_believed_tighter_is_the_distribution_moved():
    """The alternatives of the air meet plain draws of the moved distribution."""
    class_id, a_sheet, gap_mm, _, low, high, readings = CASES["coated paper"]
    made = bench(class_id)
    setting = int(np.argmin(np.abs(made.settings.gap_mm - gap_mm) + made.settings.tilt_deg))
    found = misreads_of(made.detail(a_sheet, setting), GRID, low=low, high=high, readings=readings)
    sampler = Sampler(made, a_sheet, setting)
    tighter = sampler.double(DRAWS, _moved(a_sheet.trapped_air, 1.0 / AIR_FACTOR))
    worst = sampler.shares_ppm(tighter, low=low, high=high, readings=readings.double, run=readings.run)["neither"]
    assert found.double_as_single.high == pytest.approx(worst, rel=0.1, abs=3.0 * np.sqrt(worst))


@pytest.mark.parametrize("run", [1, 2, 3])
def test_a_run_that_is_all_but_sure_comes_however_many_readings(run):
    """Where hardly any sequence is without a run, rounding must not turn what is left of it into a chance of none."""
    chances = np.linspace(0.2, 1.0, 4001)
    found = run_chance(one=chances, readings=30_000, run=run)
    assert np.all(found > 1.0 - 1e-9)
