"""How often a state is read as another: runs of readings, and the decision against a million plain draws."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.special import ndtr
from sheetmargin_service.principles import protocol
from sheetmargin_service.principles.draws import UNKNOWNS, drift_weights
from sheetmargin_service.principles.protocol import SignalDistribution, Spread
from sheetmargin_service.principles.ultrasonic import blocking, films, pair_group, responses
from sheetmargin_service.principles.ultrasonic.spreads import GRID
from sheetmargin_service.selection.misreads import FLOOR_PPM, Readings, misreads_of, rates_of, run_chance
from sheetmargin_service.selection.targets import PAIRS
from support.forget import forget_draws
from support.principle_cases import class_model, sheet
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


def gaussian(*means: float, sigma: float, common: float = 0.0) -> Spread:
    """A Gaussian in each of some draws."""
    beside = np.array(means)[:, None]
    return Spread(nominal=np.zeros(1), weights=np.ones((1, 1)), blur=sigma, common=common, beside=beside)


def distribution_of(single: Spread, double: Spread, fewer: Spread | None = None) -> SignalDistribution:
    return SignalDistribution(no_sheet=gaussian(0.0, sigma=1.5), single=single, double=double, fewer=fewer)


READ = Readings(single=20, double=20, no_sheet=20, run=2)


def read(distribution: SignalDistribution, *, low: float, high: float, readings: Readings = READ):
    return misreads_of(rates_of(distribution, GRID, low=low, high=high, readings=readings))


def test_steady_signals_are_read_as_they_lie():
    """Without noise all readings of a sheet agree: the tails of the distributions themselves."""
    found = read(distribution_of(gaussian(45.0, sigma=2.0), gaussian(58.0, sigma=3.0)), low=38.0, high=51.0)
    assert found.single_as_double.estimate == pytest.approx(1e6 * ndtr(-3.0))
    assert found.single_as_no_sheet.estimate == pytest.approx(1e6 * ndtr(-3.5))
    assert found.double_as_single.estimate == pytest.approx(1e6 * (ndtr(-7.0 / 3.0) - ndtr(-20.0 / 3.0)))
    assert found.no_sheet_as_single.estimate == FLOOR_PPM


def test_nothing_below_the_floor_is_claimed():
    found = read(distribution_of(gaussian(45.0, sigma=1.5), gaussian(80.0, sigma=3.0)), low=25.0, high=62.0)
    for misread in vars(found).values():
        assert misread.floored
        assert misread.low == misread.estimate == misread.mean == misread.high == FLOOR_PPM


def test_rates_are_told_over_the_draws():
    """Median, mean and 5 to 95 % of the rates in 101 draws whose means lie evenly from 43 to 47."""
    means = np.linspace(43.0, 47.0, 101)
    found = read(distribution_of(gaussian(*means, sigma=2.0), gaussian(70.0, sigma=3.0)), low=30.0, high=52.0)
    rates = 1e6 * ndtr(-(52.0 - means) / 2.0)
    told = found.single_as_double
    assert told.mean == pytest.approx(rates.mean())
    assert [told.low, told.estimate, told.high] == pytest.approx(np.quantile(rates, [0.05, 0.5, 0.95]), rel=0.02)


def test_no_more_than_all_are_misread():
    told = misreads_of(dict.fromkeys(PAIRS, np.ones((1, len(drift_weights())))))
    assert told.double_as_single.high == told.double_as_single.estimate == 1e6


def test_drift_is_between_teachings():
    """The mean over drift is that of one wider Gaussian; the median is that without drift."""
    found = read(distribution_of(gaussian(45.0, sigma=2.0, common=1.5), gaussian(70.0, sigma=3.0)), low=30.0, high=52.0)
    told = found.single_as_double
    assert told.mean == pytest.approx(1e6 * ndtr(-7.0 / np.hypot(2.0, 1.5)), rel=0.01)
    assert told.estimate == pytest.approx(1e6 * ndtr(-3.5), rel=0.01)
    assert told.high == pytest.approx(1e6 * ndtr(-(7.0 - 1.645 * 1.5) / 2.0), rel=0.1)


def test_a_ply_too_few_read_as_right_counts_where_it_is_the_worse():
    single, double, fewer = (gaussian(m, sigma=s) for m, s in ((45.0, 1.5), (70.0, 3.0), (30.0, 3.0)))
    found = read(distribution_of(single, double, fewer=fewer), low=38.0, high=60.0)
    assert found.no_sheet_as_single.estimate == pytest.approx(1e6 * ndtr(-8.0 / 3.0))


def test_a_double_that_reads_on_neither_side_is_taken_for_one():
    """Two sheets that read stronger than one are caught below the band."""
    found = read(distribution_of(gaussian(45.0, sigma=1.5), gaussian(30.0, sigma=2.0)), low=36.0, high=60.0)
    assert found.double_as_no_sheet.estimate == pytest.approx(1e6 * (1.0 - ndtr(-3.0)))
    assert found.double_as_single.estimate == pytest.approx(1e6 * ndtr(-3.0))


def test_too_few_readings_miss_every_double():
    distribution = distribution_of(gaussian(45.0, sigma=1.5), gaussian(80.0, sigma=2.0))
    few = Readings(single=1, double=1, no_sheet=1, run=2)
    found = read(distribution, low=30.0, high=60.0, readings=few)
    assert found.double_as_single.estimate == pytest.approx(1e6)
    assert found.single_as_double.estimate == FLOOR_PPM


def as_nominal(unknown: str) -> np.ndarray:
    """Draws that all are the nominal case."""
    assert unknown in UNKNOWNS
    return np.zeros(1)


@pytest.fixture
def nominal(monkeypatch):
    for module in (protocol, films, blocking, responses, pair_group):
        monkeypatch.setattr(module, "drawn", as_nominal)
    forget_draws()
    yield
    forget_draws()


def compared(class_id, a_sheet, gap_mm, tilt_deg, low, high, readings):
    """Mean rates per million of the nominal case over drift: by quadrature, and by plain draws."""
    made = class_model(class_id)
    s = made.settings
    setting = int(np.argmin(np.abs(s.gap_mm - gap_mm) + 10.0 * np.abs(s.tilt_deg - tilt_deg)))
    rates = rates_of(made.distribution(a_sheet, setting), GRID, low=low, high=high, readings=readings)
    quadrature = {pair: 1e6 * float(rate[0] @ drift_weights()) for pair, rate in rates.items()}
    sampler = Sampler(made, a_sheet, setting)
    one = sampler.shares_ppm(sampler.single(DRAWS), low=low, high=high, readings=readings.single, run=readings.run)
    doubles = sampler.double(DRAWS, clinging=float(blocking.blocked_share(a_sheet)[0]))
    two = sampler.shares_ppm(doubles, low=low, high=high, readings=readings.double, run=readings.run)
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


@pytest.mark.usefixtures("nominal")
@pytest.mark.parametrize("name", CASES)
def test_rates_meet_a_million_plain_draws(name):
    """Each rate from about 100 per million up within three standard deviations of the draws and 8 per cent: what
    binning leaves, and films a ratio of 1.27 apart."""
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


@pytest.mark.parametrize("run", [1, 2, 3])
def test_a_run_that_is_all_but_sure_comes_however_many_readings(run):
    """Where hardly any sequence is without a run, rounding must not turn what is left of it into a chance of none."""
    chances = np.linspace(0.2, 1.0, 4001)
    found = run_chance(one=chances, readings=30_000, run=run)
    assert np.all(found > 1.0 - 1e-9)
