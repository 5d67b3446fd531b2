"""What a row of readings is asked first: certified lag-one values, closed forms, refusals."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from reelmark.errors import BadValue
from reelmark.measure import series
from reelmark.measure.anova import centred, effective_scans


def ar1(n: int, phi: float, seed: int) -> np.ndarray:
    """AR(1) readings of sd 1 about 0, from the start."""
    e = np.random.default_rng(seed).normal(size=n + 200) * np.sqrt(1 - phi**2)
    return np.asarray(lfilter([1.0], [1.0, -phi], e))[200:]


def numacc(base: float) -> np.ndarray:
    """NIST StRD NumAcc2-4: base, then base -.1, base +.1, 500 times (definition: reference notes 2.2)."""
    tenth = round(base * 10)
    return np.array([tenth, *[tenth - 1, tenth + 1] * 500]) / 10


# Certified sd and lag-one correlation of NumAcc1-4: reference notes 2.2 (NIST StRD, from memory).
@pytest.mark.parametrize(
    ("x", "sd", "r1", "digits"),
    [
        (np.array([10000001.0, 10000003.0, 10000002.0]), 1.0, -0.5, 15),
        (numacc(1.2), 0.1, -0.999, 14),
        (numacc(1000000.2), 0.1, -0.999, 9),
        (numacc(10000000.2), 0.1, -0.999, 8),
    ],
)
def test_certified_spread_and_lag_of_hard_sums(x: np.ndarray, sd: float, r1: float, digits: int) -> None:
    d = centred(x)[1]
    assert np.sqrt(d @ d / (len(x) - 1)) == pytest.approx(sd, rel=10.0**-digits)
    if len(x) >= 8:
        assert series.lag_one(x).phi == pytest.approx(r1, abs=1e-6)
        assert series.lag_one(x).significant


def test_the_one_pass_formula_fails_where_two_passes_hold() -> None:
    x = numacc(10000000.2)
    square = (np.sum(x * x) - len(x) * x.mean() ** 2) / (len(x) - 1)
    assert not abs(np.sqrt(max(square, 0.0)) / 0.1 - 1) < 0.01  # reference notes 2.2: NaN or no digit


def test_uncorrelated_readings_pass_as_often_as_asked() -> None:
    """5 % of white rows must be called correlated; 600 rows: sd .9 %."""
    called = sum(series.lag_one(np.random.default_rng(i).normal(size=120)).significant for i in range(600))
    assert 0.02 < called / 600 < 0.08


@pytest.mark.parametrize("phi", [0.0, 0.25, 0.5, 0.75])
def test_phi_is_found_with_and_without_steps(phi: float) -> None:
    x = ar1(20_000, phi, 3)
    assert series.lag_one(x).phi == pytest.approx(phi, abs=0.03)
    stepped = x + 4.0 * (np.arange(len(x)) // 4000)
    assert series.phi_by_differences(stepped) == pytest.approx(phi, abs=0.04)
    assert series.lag_one(stepped).phi > 0.9  # the plain one takes the steps for correlation


@pytest.mark.parametrize(("phi", "share"), [(0.25, 0.866), (0.5, 0.707), (0.75, 0.501)])
def test_differences_see_a_share_of_a_correlated_sigma(phi: float, share: float) -> None:
    """Reference notes 1.5: simulation .866, .707, .501; closed form sqrt(1 - phi)."""
    assert series.sigma_by_differences(ar1(40_000, phi, 5)) == pytest.approx(share, abs=0.015)
    assert series.Lag(phi, 0.1, True, 100).narrow == pytest.approx(share, abs=0.0015)


def test_robust_sigmas_hold_with_wild_readings_and_steps() -> None:
    x = np.random.default_rng(1).normal(size=20_000)
    assert series.sigma_by_mad(x) == pytest.approx(1, abs=0.02)
    wild = np.where(np.arange(len(x)) % 10 == 0, 1e6, x)
    assert series.sigma_by_mad(wild) < 1.25 < np.std(wild)
    assert series.sigma_by_differences(x + 10.0 * (np.arange(len(x)) > 9000)) == pytest.approx(1, abs=0.03)


@given(st.floats(0, 0.95), st.integers(2, 10_000))
def test_correlated_readings_are_worth_fewer_never_more(phi: float, n: int) -> None:
    assert 1 <= series.effective(n, phi) <= n
    assert series.effective(n, -phi) == n
    assert series.effective(n, phi) == pytest.approx(max(1, n * (1 - phi) / (1 + phi)))


def test_effective_scans_by_two_ways_match_the_closed_form() -> None:
    """m (1 - phi)/(1 + phi): 20 000 scans of phi .5 are worth 6667."""
    x = ar1(20_000, 0.5, 9)
    assert effective_scans(x) == pytest.approx(6667, rel=0.05)
    assert effective_scans(x, "batch") == pytest.approx(6667, rel=0.3)  # variance of 141 batch means: sd 12 %


@pytest.mark.parametrize(
    ("x", "said"),
    [
        ([1.0], "needs 2"),
        ([[1.0, 2.0]], "not a table"),
        ([1.0, float("nan"), 2.0], "1 of 3 readings are not finite"),
        ([1.0, float("inf")], "not finite"),
    ],
)
def test_a_row_that_cannot_be_judged_is_refused(x: list[float], said: str) -> None:
    with pytest.raises(BadValue, match=said):
        series.row("readings", x)


def test_a_table_of_one_lane_is_refused() -> None:
    with pytest.raises(BadValue, match="has 1 columns"):
        series.table("readings", np.ones((5, 1)))
    with pytest.raises(BadValue, match="two directions"):
        series.table("readings", np.ones(5))


def test_scipy_is_loaded_by_what_needs_it_only() -> None:
    script = "import sys, pkgutil, importlib, reelmark.measure as m\n"
    script += (
        "names = [importlib.import_module(f'{m.__name__}.{one.name}') for one in pkgutil.iter_modules(m.__path__)]\n"
    )
    script += "print(len(names) > 9, 'scipy' in sys.modules)"
    run = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, timeout=60)
    assert run.stdout.strip() == "True False"
