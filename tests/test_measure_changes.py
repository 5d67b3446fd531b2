"""Level shifts: exact against every partition there is; planted places; how often the named places hold them."""

import math
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import lfilter

from reelmark.errors import BadValue
from reelmark.measure.changes import levels, segments, shifts


def cost(x: np.ndarray, edges: tuple[int, ...], penalty: float) -> float:
    cuts = [0, *edges, len(x)]
    return math.fsum(((x[a:b] - x[a:b].mean()) ** 2).sum() + penalty for a, b in pairwise(cuts))


def cheapest(x: np.ndarray, penalty: float, least: int) -> float:
    """Every partition tried, by plain recursion on the last cut, nothing pruned."""

    @cache
    def upto(stop: int) -> float:
        if stop == 0:
            return 0.0
        return min(
            (upto(a) + ((x[a:stop] - x[a:stop].mean()) ** 2).sum() + penalty for a in range(stop - least + 1)
             if a == 0 or a >= least),
            default=np.inf,
        )  # fmt: skip

    return upto(len(x))


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 10_000), st.integers(10, 40), st.floats(0.05, 8), st.integers(1, 5))
def test_the_partition_is_the_cheapest_of_all(seed: int, n: int, penalty: float, least: int) -> None:
    rng = np.random.default_rng(seed)
    x = rng.normal(size=n) + 2 * np.cumsum(rng.random(n) < 0.1)
    found = segments(x, penalty, least)
    assert cost(x, found, penalty) == pytest.approx(cheapest(x, penalty, least), rel=1e-9)
    assert all(b - a >= least for a, b in zip((0, *found), (*found, n), strict=True))


def test_planted_shifts_are_found_where_they_are() -> None:
    """Three steps of 3 sigma and more: each place within 4 and in its interval, sizes within 4 standard errors."""
    x = np.random.default_rng(1).normal(75, 0.3, 900)
    x[200:] += 0.9
    x[450:] -= 1.8
    x[700:] += 0.9
    found = shifts(x)
    assert [abs(s.place - p) <= 4 for s, p in zip(found, (200, 450, 700), strict=True)] == [True] * 3
    for one, place, size in zip(found, (200, 450, 700), (0.9, -1.8, 0.9), strict=True):
        assert one.low <= place <= one.high
        assert abs(one.size - size) < 4 * one.se
    assert [round(level.mean, 1) for level in levels(x)] == [75.0, 75.9, 74.1, 75.0]


def test_a_level_row_has_no_shift() -> None:
    """penalty 2 ln n: at most 4 of 40 rows of 500 white readings may be cut."""
    assert sum(len(shifts(np.random.default_rng(s).normal(size=500))) > 0 for s in range(40)) <= 4


@pytest.mark.parametrize("size", [1.0, 1.5, 2.5])
def test_places_hold_the_true_one_as_often_as_they_say(size: float) -> None:
    """250 rows of 200, step at 120; 95 % asked; one step found.  Places are whole: held more often when it is large."""
    held = seen = 0
    for seed in range(250):
        x = np.random.default_rng(seed).normal(size=200)
        x[120:] += size
        found = shifts(x, sigma=1.0)
        if len(found) == 1:
            seen += 1
            held += found[0].low <= 120 <= found[0].high
    assert seen > 180
    assert held / seen > 0.91


def test_probability_of_the_very_place_is_calibrated() -> None:
    sure, right = [], []
    for seed in range(300):
        x = np.random.default_rng(seed).normal(size=150)
        x[70:] += 1.5
        (one, *rest) = shifts(x, sigma=1.0)
        if not rest:
            sure.append(one.sure)
            right.append(one.place == 70)
    assert np.mean(right) == pytest.approx(np.mean(sure), abs=0.09)


def test_probability_of_the_very_place_is_the_integral_over_both_levels() -> None:
    """Direct sums over a fine grid of both levels, for each place; readings of sigma .5, step near the end."""
    x = np.random.default_rng(5).normal(0, 0.5, 10)
    x[7:] += 2.2
    grid = np.linspace(-4, 6, 2001)
    log = -((x[:, None] - grid) ** 2) / (2 * 0.5**2)
    chance = np.array([np.exp(log[:a].sum(axis=0)).sum() * np.exp(log[a:].sum(axis=0)).sum() for a in range(1, 10)])
    (one,) = shifts(x, sigma=0.5)
    assert one.place == 7
    assert one.sure == pytest.approx(chance[6] / chance.sum(), rel=1e-6)
    assert one.sure < 0.999


def test_correlated_readings_are_not_cut_to_pieces() -> None:
    """AR(1) of phi .6 on a level, and with one step of 4 sigma: told phi, or finding it, no false steps."""
    wild = calm = caught = 0
    for seed in range(20):
        e = np.random.default_rng(seed).normal(size=800) * 0.8
        x = np.asarray(lfilter([1.0], [1.0, -0.6], e))
        wild += len(shifts(x)) > 0
        calm += len(shifts(x, phi=None)) > 0
        x[400:] += 4
        places = [one.place for one in shifts(x, phi=None)]
        caught += any(abs(place - 400) <= 5 for place in places)
    assert wild >= 15
    assert calm <= 4
    assert caught == 20


def test_a_long_row_without_shifts_is_done_in_time() -> None:
    assert len(levels(np.random.default_rng(3).normal(size=5000), penalty=4)) == 1


@pytest.mark.parametrize(
    ("x", "said"), [(np.full(50, 75.0), "detector"), ([1.0, 2.0, 3.0], "needs 8"), ([np.nan] * 20, "not finite")]
)
def test_what_cannot_be_judged_is_refused(x: list[float], said: str) -> None:
    with pytest.raises(BadValue, match=said):
        shifts(x)


def test_segments_longer_than_half_the_row_are_refused() -> None:
    with pytest.raises(BadValue, match="do not hold two"):
        segments(np.arange(10.0), 1.0, 6)
