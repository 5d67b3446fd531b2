"""Average run lengths against the published tables, closed forms and a simulation; limits for an asked run length."""

import numpy as np
import pytest

from reelmark.errors import BadValue
from reelmark.measure import charts, runlength

SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4)
# Reference notes 2.3; the tables of Lucas & Saccucci 1990, Montgomery and the e-Handbook (from memory there) agree to
# the digits they print.
CUSUM = {
    (0.5, 4): (167.68, 74.22, 26.63, 13.29, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71),
    (0.5, 5): (465.44, 139.49, 38.00, 17.05, 10.38, 5.75, 4.01, 3.11, 2.57, 2.01),
    (0.25, 8.01): (370.3,),
}
EWMA = {
    (0.40, 3.054): (499.95, 223.73, 71.20, 28.42, 14.26, 5.87, 3.52, 2.54, 2.02, 1.44),
    (0.25, 2.998): (499.8, 170.3, 48.3, 20.1, 11.14, 5.46),
    (0.20, 2.962): (499.7, 150.2, 41.8, 18.15, 10.54, 5.50),
    (0.10, 2.814): (499.6, 106.3, 31.3, 15.85, 10.33, 6.08, 4.36, 3.44, 2.87, 2.19),
    (0.05, 2.615): (499.9, 84.0, 28.8, 16.4, 11.4, 7.1),
    (0.10, 2.700): (369.0, 89.1, 28.2, 14.7, 9.73, 5.80),
    (0.20, 3.0): (559.9,),
    (0.30, 3.0): (465.6,),
}
SHEWHART = (370.4, 281.15, 155.22, 81.22, 43.89, 14.97, 6.30, 3.24, 2.00, 1.19)


def digit(value: float) -> float:
    """Half of the last printed digit, and a little."""
    return 0.55 * 10.0 ** -len(f"{value}".partition(".")[2])


def test_shewhart_table() -> None:
    for shift, arl in zip(SHIFTS, SHEWHART, strict=True):
        assert runlength.shewhart(3, shift) == pytest.approx(arl, abs=0.05 if arl == 370.4 else 0.0055)


@pytest.mark.parametrize("case", CUSUM)
def test_cusum_tables(case: tuple[float, float]) -> None:
    for shift, arl in zip(SHIFTS, CUSUM[case], strict=False):
        assert runlength.cusum(*case, shift) == pytest.approx(arl, abs=max(0.0055, digit(arl)))


def test_one_sided_cusum() -> None:
    """Reference notes 2.3: 335.4 and 930.9, twice the two-sided ones."""
    assert runlength.cusum_one_sided(0.5, 4) == pytest.approx(335.4, abs=0.055)
    assert runlength.cusum_one_sided(0.5, 5) == pytest.approx(930.9, abs=0.055)


@pytest.mark.parametrize("case", EWMA)
def test_ewma_tables(case: tuple[float, float]) -> None:
    for shift, arl in zip(SHIFTS, EWMA[case], strict=False):
        assert runlength.ewma(*case, shift) == pytest.approx(arl, abs=max(0.0055, digit(arl)))


def test_ewma_of_weight_one_is_a_shewhart_chart() -> None:
    for shift in SHIFTS:
        assert runlength.ewma(1.0, 3.0, shift) == pytest.approx(runlength.shewhart(3, shift), rel=1e-9)


def test_cusum_of_limit_zero_is_one_reading() -> None:
    """As h goes to 0 the sum signals at the first reading above k: closed form 1/(2 P(x > k))."""
    assert runlength.cusum(1.5, 1e-9) == pytest.approx(runlength.shewhart(1.5), rel=1e-6)


def test_a_simulated_cusum_runs_as_long() -> None:
    """4000 runs of k .5, h 4 at a shift of .5: 26.63, standard error about .35; the chart is the one of charts."""
    x = np.random.default_rng(1).normal(0.5, 1, (600, 4000))
    chart = charts.cusum(x, 0, 0.5, 4)
    signals = chart.rises | chart.falls
    assert signals.any(axis=0).all()
    assert (signals.argmax(axis=0) + 1).mean() == pytest.approx(26.63, abs=1.5)


def test_a_simulated_ewma_runs_as_long() -> None:
    """3000 runs of .1/2.7 at a shift of .5: 28.2; limits of long running, as the tables have."""
    x = np.random.default_rng(2).normal(0.5, 1, (600, 3000))
    outside = charts.ewma(x, 0.1, 0, 1, 2.7, exact=False).outside
    assert (outside.argmax(axis=0) + 1).mean() == pytest.approx(28.2, abs=1.5)


@pytest.mark.parametrize("arl", [100.0, 370.4, 1e4, 1.1e6])
def test_limits_for_an_asked_run_length(arl: float) -> None:
    assert runlength.shewhart(runlength.shewhart_width(arl)) == pytest.approx(arl, rel=1e-9)
    for k in (0.25, 0.5, 1.0):
        assert runlength.cusum(k, runlength.cusum_limit(k, arl)) == pytest.approx(arl, rel=1e-6)
    for weight in (0.05, 0.1, 0.4):
        assert runlength.ewma(weight, runlength.ewma_width(weight, arl)) == pytest.approx(arl, rel=1e-6)


def test_limits_are_the_printed_ones() -> None:
    """k .5, ARL0 369: h 4.77 (reference notes 1.5); .25, 370.3: 8.01; EWMA .05, 500: 2.615 (notes 2.3)."""
    assert runlength.cusum_limit(0.5, 369) == pytest.approx(4.77, abs=0.006)
    assert runlength.cusum_limit(0.25, 370.3) == pytest.approx(8.01, abs=0.0006)
    assert runlength.ewma_width(0.05, 500) == pytest.approx(2.615, abs=0.0006)
    assert runlength.shewhart_width(370.4) == pytest.approx(3.0, abs=1e-4)


def test_a_family_of_charts_gives_the_asked_false_alarms() -> None:
    """40 lanes, a scan each 22 s for a week, one false alarm a week: 40 x 27 491 readings for each (closed form)."""
    scans = 7 * 86400 / 22
    arl = runlength.per_chart_arl(40, scans)
    assert arl == pytest.approx(40 * scans)
    assert 40 * scans / arl == pytest.approx(1.0)
    assert runlength.per_chart_arl(40, scans, 4.0) == pytest.approx(arl / 4)
    assert runlength.per_chart_arl(80, scans) == pytest.approx(2 * arl)


def test_a_family_simulated() -> None:
    """20 EWMA charts, 500 readings a week, 2 a week asked for: 300 weeks, one false alarm counted per run."""
    arl = runlength.per_chart_arl(20, 500, 2.0)
    width = runlength.ewma_width(0.4, arl)
    x = np.random.default_rng(3).normal(size=(150_000, 20))
    out = charts.ewma(x, 0.4, 0, 1, width, exact=False).outside
    begun = np.count_nonzero(out[1:] & ~out[:-1])
    assert begun / 300 == pytest.approx(2.0, rel=0.2)  # not set back after an alarm: some more


@pytest.mark.parametrize(
    "call",
    [
        lambda: runlength.shewhart(0),
        lambda: runlength.ewma(0.001, 3),
        lambda: runlength.cusum(0.5, 99),
        lambda: runlength.cusum_limit(0.5, 2),
        lambda: runlength.ewma_width(0.1, 1e12),
        lambda: runlength.per_chart_arl(0, 100),
        lambda: runlength.per_chart_arl(1, 10, 20),
        lambda: runlength.per_chart_arl(1, 10, 0),
    ],
)
def test_what_cannot_be_asked_is_refused(call) -> None:
    with pytest.raises(BadValue):
        call()


def test_beyond_its_digits_a_run_is_said_to_be_infinite() -> None:
    assert runlength.cusum_one_sided(1.0, 20) == np.inf
