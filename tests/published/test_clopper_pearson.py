"""Bounds from trials against tabulated values and scipy's own interval."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom, binomtest
from sheetmargin_service.selection.trial import share_beyond_least, trials_for, upper_bound


# Zero failures by hand: n = ln(1 - confidence)/ln(1 - p), rounded up.
@pytest.mark.parametrize(
    ("bound", "confidence", "trials"),
    [(1e-3, 0.95, 2995), (1e-4, 0.95, 29956), (1e-3, 0.99, 4603), (1e-4, 0.99, 46050), (0.05, 0.95, 59)],
)
def test_zero_failures(bound, confidence, trials):
    assert trials_for(bound=bound, confidence=confidence) == trials


# Quantiles of chi-square at 95 % with 2(k + 1) degrees of freedom, halved: 2.996, 4.744, 6.296, 7.754, 9.154
# (tables of the Poisson upper limit, e.g. Pearson and Hartley, Biometrika Tables for Statisticians, table 7).
@pytest.mark.parametrize(("failures", "product"), [(0, 2.996), (1, 4.744), (2, 6.296), (3, 7.754), (4, 9.154)])
def test_poisson_limit(failures, product):
    assert trials_for(bound=1e-4, failures=failures) == pytest.approx(product / 1e-4, rel=3e-4)


@pytest.mark.parametrize("bound", [0.01, 1e-3, 1e-4])
def test_rule_of_three(bound):
    """Hanley and Lippman-Hand 1983: no failure in n trials bounds the probability at 95 % by about 3/n."""
    assert trials_for(bound=bound) == pytest.approx(3.0 / bound, rel=0.007)


# Clopper and Pearson's two-sided 95 % chart has one-sided 97.5 % limits; exact values as tabulated in
# Documenta Geigy, Scientific Tables (7th edition), "exact confidence limits for binomial p" (from memory).
@pytest.mark.parametrize(
    ("trials", "failures", "upper"),
    [(10, 0, 0.3085), (10, 1, 0.4450), (20, 0, 0.1684), (100, 0, 0.0362), (100, 5, 0.1128)],
)
def test_tabulated_upper_limits(trials, failures, upper):
    assert upper_bound(trials=trials, failures=failures, confidence=0.975) == pytest.approx(upper, abs=5e-5)


@given(trials=st.integers(1, 5000), share=st.floats(0, 1), confidence=st.sampled_from([0.9, 0.95, 0.99]))
def test_against_scipys_interval(trials, share, confidence):
    failures = round(share * trials)
    interval = binomtest(failures, trials, alternative="less").proportion_ci(confidence, method="exact")
    assert upper_bound(trials=trials, failures=failures, confidence=confidence) == pytest.approx(
        interval.high, rel=1e-9
    )


@given(bound=st.floats(1e-5, 0.5), failures=st.integers(0, 5))
def test_the_number_is_the_least_that_will_do(bound, failures):
    trials = trials_for(bound=bound, failures=failures)
    assert binom.cdf(failures, trials, bound) <= 0.05 * (1 + 1e-9)
    assert binom.cdf(failures, trials - 1, bound) > 0.05 * (1 - 1e-9)


def test_the_least_of_so_many_readings_bounds_a_share():
    """59 readings for 95 % at 95 % confidence, 299 for 99 %: Wilks, Ann. Math. Stat. 12, 91 (1941)."""
    for readings, share in ((59, 0.95), (299, 0.99)):
        assert share_beyond_least(readings=readings - 1) < share <= share_beyond_least(readings=readings)
