"""Cp, Cpk, tolerance factors: the handbook's examples, exact laws, and coverage."""

import numpy as np
import pytest
from scipy import stats

from reelmark.errors import BadValue
from reelmark.measure import capability as cap


def test_the_handbook_s_example() -> None:
    """e-Handbook 6.1.6 (reference notes 2.2): USL 20, LSL 8, mean 16, s 2."""
    found = cap.capability(16, 2, 50, 8, 20)
    assert (found.cp, found.cpk, found.cpu, found.cpl) == pytest.approx((1.0, 2 / 3, 2 / 3, 4 / 3))
    assert found.outside == pytest.approx(stats.norm.sf(2) + stats.norm.sf(4))


def test_lower_bounds_of_cpk() -> None:
    """Cpk 1.33, n 50, 95 %: Bissell 1.096, exact 1.093 (reference notes 2.2)."""
    assert cap.cpk_lower(1.33, 50, exact=False) == pytest.approx(1.096, abs=6e-4)
    exact = cap.cpk_lower(1.33, 50)
    assert exact == pytest.approx(1.093, abs=6e-4)
    # by its definition, with the library's own law
    assert stats.nct.sf(3 * np.sqrt(50) * 1.33, 49, 3 * np.sqrt(50) * exact) == pytest.approx(0.05, abs=1e-9)


def test_bounds_hold_as_often_as_they_say() -> None:
    """Upper limit only, true Cpk 1: 500 samples of 20; binomial sd 1 %."""
    x = np.random.default_rng(1).normal(size=(500, 20))
    seen = (3 - x.mean(1)) / (3 * x.std(1, ddof=1))
    exact = np.mean([cap.cpk_lower(float(c), 20) <= 1 for c in seen])
    assert exact == pytest.approx(0.95, abs=0.03)
    two = [cap.capability(float(m), float(s), 20, upper=3) for m, s in zip(x.mean(1), x.std(1, ddof=1), strict=True)]
    assert np.mean([c.cpk_low <= 1 <= c.cpk_high for c in two]) == pytest.approx(0.95, abs=0.03)


def test_cp_interval_is_the_chi2_one() -> None:
    found = cap.capability(0, 1, 30, -3, 3, level=0.9)
    assert (found.cp_low, found.cp_high) == pytest.approx(tuple(np.sqrt(stats.chi2.ppf([0.05, 0.95], 29) / 29)))


def test_one_limit_leaves_cp_open() -> None:
    found = cap.capability(16, 2, 50, upper=20)
    assert np.isnan(found.cp)
    assert np.isnan(found.cpl)
    assert found.cpk == pytest.approx(2 / 3)


def test_fewer_effective_readings_widen_the_interval() -> None:
    many, few = cap.capability(16, 2, 50, 8, 20), cap.capability(16, 2, 12.5, 8, 20)
    assert few.cpk_low < many.cpk_low
    assert few.cpk_exact < many.cpk_exact


def test_tolerance_factors_of_the_handbook() -> None:
    """n 43, 90 % with 99 %: exact 1.8740, approximate 1.8752, two-sided 2.2173; (30, 95/95) 2.2198 (notes 2.2)."""
    assert cap.one_sided_factor(43, 0.90, 0.99) == pytest.approx(1.8740, abs=6e-5)
    assert cap.one_sided_factor_approximate(43, 0.90, 0.99) == pytest.approx(1.8752, abs=6e-5)
    assert cap.two_sided_factor(43, 0.90, 0.99) == pytest.approx(2.2173, abs=6e-5)
    assert cap.one_sided_factor(30, 0.95, 0.95) == pytest.approx(2.2198, abs=6e-5)


def test_two_sided_factor_covers() -> None:
    """Of 4000 samples of 30, 95 % must hold 90 % of all between mean +- k sd; Howe is good to about 1 % in k."""
    x = np.random.default_rng(2).normal(size=(4000, 30))
    k, m, s = cap.two_sided_factor(30, 0.90, 0.95), x.mean(1), x.std(1, ddof=1)
    held = stats.norm.cdf(m + k * s) - stats.norm.cdf(m - k * s) >= 0.90
    assert held.mean() == pytest.approx(0.95, abs=0.015)


def test_readings_without_a_distribution() -> None:
    """95/95: 59, two-sided 93; 99 % share with 95 %: 299 (reference notes 2.2)."""
    assert cap.least_largest(0.95, 0.95) == 59
    assert cap.least_extremes(0.95, 0.95) == 93
    assert cap.least_largest(0.99, 0.95) == 299


@pytest.mark.parametrize(
    "call",
    [
        lambda: cap.capability(16, 2, 50),
        lambda: cap.capability(16, 2, 50, 20, 8),
        lambda: cap.capability(16, 0, 50, 8, 20),
        lambda: cap.capability(16, 2, 2, 8, 20),
        lambda: cap.one_sided_factor(1, 0.9, 0.9),
        lambda: cap.one_sided_factor_approximate(2, 0.9, 0.99),
        lambda: cap.two_sided_factor(10, 1.0, 0.9),
    ],
)
def test_what_has_no_answer_is_refused(call) -> None:
    with pytest.raises(BadValue):
        call()
