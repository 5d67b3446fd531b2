"""Control charts: constants against printed tables, worked examples, limits that hold on correlated readings."""

import numpy as np
import pytest
from scipy import stats
from scipy.signal import lfilter

from reelmark.errors import BadValue
from reelmark.measure import charts
from reelmark.measure.constants import c4, constants, d2_star

# n: d2 d3 c4 A2 D3 D4 B3 B4, reference notes 2.1 (printed tables "Factors for control charts" agree to .0007).
PRINTED = {
    2: (1.128379, 0.852502, 0.797885, 1.87997, 0, 3.26653, 0, 3.26653),
    3: (1.692569, 0.888368, 0.886227, 1.02333, 0, 2.57459, 0, 2.56817),
    4: (2.058751, 0.879808, 0.921318, 0.72860, 0, 2.28205, 0, 2.26605),
    5: (2.325929, 0.864082, 0.939986, 0.57682, 0, 2.11450, 0, 2.08900),
    6: (2.534413, 0.848040, 0.951533, 0.48325, 0, 2.00383, 0.03036, 1.96964),
    7: (2.704357, 0.833205, 0.959369, 0.41928, 0.07571, 1.92429, 0.11769, 1.88231),
    8: (2.847201, 0.819831, 0.965030, 0.37253, 0.13617, 1.86383, 0.18509, 1.81491),
    10: (3.077505, 0.797051, 0.972659, 0.30826, 0.22302, 1.77698, 0.28371, 1.71629),
}
# e-Handbook 6.3.2.2, 6.3.2.4, 6.3.2.3 by public test suites that quote it (reference notes 2.2).
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
EWMA_X = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *FLOW]
EWMA_Z = [50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33]
EWMA_Z += [50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99]
CUSUM_X = [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600]
CUSUM_X += [324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]


@pytest.mark.parametrize("n", PRINTED)
def test_constants_agree_with_printed_tables(n: int) -> None:
    k = constants(n)
    assert (k.d2, k.d3, k.c4, k.A2, k.D3, k.D4, k.B3, k.B4) == pytest.approx(PRINTED[n], abs=1e-3)
    assert (k.d2, k.d3, k.c4) == pytest.approx(PRINTED[n][:3], abs=1e-6)
    assert k.A3 * k.c4 * np.sqrt(n) == pytest.approx(3)


def test_constants_agree_with_closed_forms_and_far_tables() -> None:
    """n = 2: 2/sqrt(pi) and sqrt(2 - 4/pi); n = 3: 3/sqrt(pi).  n = 25: 3.9306, .7084, .9896 (reference notes 2.1)."""
    assert constants(2).d2 == pytest.approx(2 / np.sqrt(np.pi), abs=1e-9)
    assert constants(2).d3 == pytest.approx(np.sqrt(2 - 4 / np.pi), abs=1e-9)
    assert constants(3).d2 == pytest.approx(3 / np.sqrt(np.pi), abs=1e-9)
    k = constants(25)
    assert (k.d2, k.d3, k.c4) == pytest.approx((3.9306, 0.7084, 0.9896), abs=6e-5)


def test_constants_of_large_groups_agree_with_an_independent_library() -> None:
    """d2 is the mean of the studentised range on endless degrees of freedom, of 40 here."""
    w = np.linspace(0, 12, 4001)
    beyond = 1 - stats.studentized_range.cdf(w[::20], 40, 1e6)
    assert constants(40).d2 == pytest.approx(np.trapezoid(beyond, w[::20]), abs=1e-3)
    assert c4(999) == pytest.approx(1 - 1 / (4 * 999), abs=1e-6)  # c4 = 1 - 1/(4 df) + ..., closed form


def test_d2_star_gives_the_printed_study_factors() -> None:
    """K1 .5908 (3 trials), K2 .5231 (3 operators), K3 .3146 (10 parts): AIAG manual, from memory."""
    assert 1 / constants(3).d2 == pytest.approx(0.5908, abs=6e-5)
    assert 1 / d2_star(3, 1) == pytest.approx(0.5231, abs=6e-5)
    assert 1 / d2_star(10, 1) == pytest.approx(0.3146, abs=6e-5)


@pytest.mark.parametrize("n", [1, 1001])
def test_subgroups_out_of_range_are_refused(n: int) -> None:
    with pytest.raises(BadValue, match="2 to 1000"):
        constants(n)


@pytest.mark.parametrize(("d2", "upper", "lower"), [(1.128, 55.8041, 45.8159), (None, 55.8024, 45.8176)])
def test_individuals_example(d2: float | None, upper: float, lower: float) -> None:
    """e-Handbook 6.3.2.2: mean 50.81, with the printed d2 and with the exact one (reference notes 2.2)."""
    chart = charts.individuals(FLOW, d2=d2)
    assert float(chart.centre) == pytest.approx(50.81)
    assert (float(chart.upper), float(chart.lower)) == pytest.approx((upper, lower), abs=6e-5)
    assert not chart.outside.any()


def test_ewma_example() -> None:
    """e-Handbook 6.3.2.4: all 20 values, limits of long running, and no signal with limits exact in time either."""
    chart = charts.ewma(EWMA_X, 0.3, 50, 2.0539, exact=False)
    assert chart.points == pytest.approx(EWMA_Z, abs=0.005)
    assert chart.upper[0] == pytest.approx(52.5884, abs=3e-4)
    assert chart.lower[0] == pytest.approx(47.4115, abs=3e-4)
    assert not chart.outside.any()
    assert not charts.ewma(EWMA_X, 0.3, 50, 2.0539).outside.any()


def test_cusum_example() -> None:
    """e-Handbook 6.3.2.3: all 40 values; groups (from 1) 14 to 20 signal, high only."""
    chart = charts.cusum(CUSUM_X, 325, 0.3175, 4.1959)
    high, low = np.zeros(20), np.zeros(20)
    high[12:] = [3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04]
    low[[3, 6, 7, 8, 9, 10]] = [0.33, 0.56, 0.72, 0.17, 0.25, 0.31]
    high[4], low[1] = 0.03, 0.01  # by hand: 325.350 - 325.3175, and 324.6825 - 324.675
    assert chart.high == pytest.approx(high, abs=0.0051)  # exact ties lie .005 off the printed value
    assert chart.low == pytest.approx(low, abs=0.0051)
    assert np.flatnonzero(chart.rises).tolist() == list(range(13, 20))
    assert not chart.falls.any()
    assert chart.begun(13) == 12


def test_cusum_without_a_loop_is_the_recursion() -> None:
    x = np.random.default_rng(1).normal(size=(500, 3))
    chart = charts.cusum(x, [0.1, 0.0, -0.1], 0.5, 5)
    high = low = np.zeros(3)
    for t, step in enumerate(x - [0.1, 0.0, -0.1]):
        high, low = np.maximum(0, high + step - 0.5), np.maximum(0, low - step - 0.5)
        assert chart.high[t] == pytest.approx(high, abs=1e-11)
        assert chart.low[t] == pytest.approx(low, abs=1e-11)


@pytest.mark.parametrize("phi", [-0.4, 0.0, 0.25, 0.5, 0.8])
def test_ewma_limits_are_the_variance_of_the_weighted_sum(phi: float) -> None:
    """Brute force: sum of w_i w_j phi^|i - j| over all pairs, at each time."""
    weight, m = 0.2, 40
    chart = charts.ewma(np.zeros(m), weight, 0, 1, width=1, phi=phi)
    for t in (1, 2, 3, 10, m):
        w = weight * (1 - weight) ** np.arange(t)
        lag = abs(np.subtract.outer(np.arange(t), np.arange(t)))
        assert chart.upper[t - 1] ** 2 == pytest.approx(w @ np.power(float(phi), lag) @ w, rel=1e-12)


@pytest.mark.parametrize(("phi", "printed"), [(0.25, 0.4216), (0.5, 0.5879), (0.75, 1.008)])
def test_ewma_limits_of_long_running_on_correlated_readings(phi: float, printed: float) -> None:
    """Reference notes 1.5, innovations of sd 1 and weight .2 (own simulation there: .4214, .5880, 1.010)."""
    chart = charts.ewma(np.zeros(500), 0.2, 0, 1 / np.sqrt(1 - phi**2), width=1, phi=phi)
    assert chart.upper[-1] == pytest.approx(printed, abs=6e-4)
    late = charts.ewma(np.zeros(3), 0.2, 0, 1 / np.sqrt(1 - phi**2), width=1, phi=phi, exact=False)
    assert late.upper == pytest.approx(np.full(3, printed), abs=6e-4)


def test_ewma_of_lanes_is_the_ewma_of_each() -> None:
    x = np.random.default_rng(2).normal(75, 1, (60, 4))
    both = charts.ewma(x, 0.1, [75, 74, 75, 76], [1, 2, 1, 1], width=2.7)
    for lane, (centre, sigma) in enumerate([(75, 1), (74, 2), (75, 1), (76, 1)]):
        one = charts.ewma(x[:, lane], 0.1, centre, sigma, width=2.7)
        assert both.points[:, lane] == pytest.approx(one.points, abs=1e-12)
        assert both.upper[:, lane] == pytest.approx(one.upper, abs=1e-12)


def ar1(n: int, phi: float, seed: int) -> np.ndarray:
    e = np.random.default_rng(seed).normal(size=n) * np.sqrt(1 - phi**2)
    return 75 + np.asarray(lfilter([1.0], [1.0, -phi], e))


@pytest.mark.parametrize(("phi", "sigmas", "run"), [(0.25, 2.598, 107), (0.5, 2.121, 29.5), (0.75, 1.5, 7.5)])
def test_moving_range_limits_are_refused_on_correlated_readings(phi: float, sigmas: float, run: float) -> None:
    """Reference notes 1.5: every 107, 29, 7.5 readings a false alarm instead of 370."""
    assert charts.wrong_limits(phi) == pytest.approx((sigmas, run), rel=5e-3)
    with pytest.raises(BadValue, match=r"phi = 0\..*would lie at \d\.\d\d sigma, a false alarm every") as refused:
        charts.individuals(ar1(2000, phi, 1))
    assert "residuals" in refused.value.cure
    assert charts.individuals(ar1(2000, phi, 1), sigma=1.0).notes  # a sigma from elsewhere is the caller's word


def test_residual_chart_flags_as_seldom_as_three_sigma_says() -> None:
    """1 in 370.4 (closed form); 200 000 readings of phi .75 give 540 flags, sd 23."""
    chart = charts.residuals(ar1(200_000, 0.75, 3))
    assert 1 / chart.outside.mean() == pytest.approx(370, rel=0.17)


def test_a_shift_is_seen_by_every_chart() -> None:
    x = np.random.default_rng(7).normal(75, 0.4, 400)
    x[300:] += 1.2
    assert charts.ewma(x, 0.1, 75, 0.4, 2.7).outside[300:310].any()
    rises = np.flatnonzero(charts.cusum(x, 75, 0.2, 2).rises)
    assert 300 <= rises[rises >= 300][0] <= 306
    assert abs(charts.cusum(x, 75, 0.2, 2).begun(320) - 300) <= 3


def test_spread_chart_limits_by_both_ways() -> None:
    """B3, B4 of the printed table for n = 8; probability limits by scipy's chi2."""
    sds = np.random.default_rng(5).normal(size=(30, 8)).std(axis=1, ddof=1)
    chart = charts.spread(sds, 7)
    assert float(chart.lower / chart.centre) == pytest.approx(0.18509, abs=1e-5)
    assert float(chart.upper / chart.centre) == pytest.approx(1.81491, abs=1e-5)
    exact = charts.spread(sds, 7, sigma=1.0, limits="probability")
    assert [float(exact.lower) ** 2 * 7, float(exact.upper) ** 2 * 7] == pytest.approx(
        [stats.chi2.ppf(0.00135, 7), stats.chi2.ppf(0.99865, 7)], rel=1e-9
    )
    assert charts.spread(np.append(sds, 3.0), 7).outside[-1]


@pytest.mark.parametrize(
    "call",
    [
        lambda: charts.ewma([1.0, 2.0], 0, 0, 1),
        lambda: charts.ewma([1.0, 2.0], 0.2, 0, 0),
        lambda: charts.ewma([1.0, np.nan], 0.2, 0, 1),
        lambda: charts.ewma([1.0, 2.0], 0.2, 0, 1, phi=1.0),
        lambda: charts.cusum([np.nan], 0, 1, 1),
        lambda: charts.cusum([1.0], 0, 1, 0),
        lambda: charts.individuals(np.full(20, 3.0)),
        lambda: charts.residuals(np.full(30, 3.0)),
        lambda: charts.spread([0.0, 0.0], 3),
    ],
)
def test_charts_without_meaning_are_refused(call) -> None:
    with pytest.raises(BadValue):
        call()
