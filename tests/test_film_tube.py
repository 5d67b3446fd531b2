"""The thin-film tube.  No published table of numbers was found, so the checks are closed forms, an independent solver
(scipy.integrate.solve_bvp), and mass and force taken from the shape by differences.  film.md 1.5 of our notes."""

from math import exp, log
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_bvp
from scipy.interpolate import CubicSpline

from reelmark.errors import BadValue
from reelmark.stations.film.predict import tube

B, F, L = 0.20, 1.2, 5.0  # film.md 1.5 c


@pytest.fixture(scope="module")
def blown():
    return next(one for one in tube.for_force(B, F, L, 3.0) if one.monotone)


def test_a_cylinder_thins_as_an_exponential():
    made = tube.shape(0.2, 0.2 * 4, 1.0, 5.0)  # T = F - B = 3 B
    assert made.radius == pytest.approx(np.ones(101), abs=1e-14)
    assert made.thinning == pytest.approx(0.36787944, abs=5e-9)  # film.md 1.5 a; closed form exp(-B L)
    assert made.thinning == pytest.approx(exp(-1), rel=1e-10)


def test_a_small_taper_grows_as_the_closed_form():
    slow, fast = tube.tapers(0.2)
    assert (slow, fast) == pytest.approx((0.21198316, 3.53801684), abs=5e-9)  # film.md 1.5 b
    # A cylinder off by 1e-6 at the freeze line with zero slope: the sum of both growths, weighed so that r' = 0 there.
    off, length = 1e-6, 2.0
    made = tube.shape(0.2, 0.2 * 3 + 0.2 * (1 + off) ** 2, 1 + off, length)
    grown = off * (fast * exp(-slow * length) - slow * exp(-fast * length)) / (fast - slow)
    assert made.radius[0] - 1 == pytest.approx(grown, rel=2e-5)


def test_above_the_greatest_pressure_the_taper_waves():
    with pytest.raises(BadValue):
        tube.tapers(0.44)  # sqrt(3)/4 = 0.4330


def test_the_tube_of_the_notes(blown):
    assert blown.blow_up == pytest.approx(2.18998471, abs=5e-8)  # film.md 1.5 c: two solvers, our own computation
    assert blown.thinning == pytest.approx(0.25774528, abs=5e-8)  # film.md 1.5 c
    assert blown.draw == pytest.approx(1.77161030, abs=5e-8)  # film.md 1.5 c
    assert blown.slope[0] == pytest.approx(0.0628, abs=5e-5)  # film.md 1.5 c
    steepest = tube.shape(B, F, blown.blow_up, L, 2001).slope.max()
    assert steepest == pytest.approx(0.5107, abs=5e-5)  # film.md 1.5 c
    assert blown.monotone


def _other_solver(pressure: float, force: float, length: float, guess: float) -> Any:
    """r, r', ln h and r_f by collocation: the boundary value problem as it stands, without shooting."""

    def rates(_: Any, y: Any, p: Any) -> Any:
        r, s, _h = y
        t = force - pressure * p[0] ** 2
        d = t + pressure * r * r
        bend = (6 * s + r * (1 + s * s) * (t - 3 * pressure * r * r)) / (2 * r * r * d)
        return np.vstack([s, bend, -s / (2 * r) - (1 + s * s) * d / 4])

    def ends(a: Any, b: Any, p: Any) -> Any:
        return np.array([a[0] - 1, b[1], b[0] - p[0], a[2]])

    z = np.linspace(0, length, 60)
    start = np.vstack([1 + (guess - 1) * z / length, np.full_like(z, 0.2), -z / 4])
    return solve_bvp(rates, ends, z, start, p=[guess], tol=1e-9, max_nodes=100_000)


def test_another_solver_finds_the_same_tube(blown):
    other = _other_solver(B, F, L, 2.1)
    assert other.status == 0
    assert blown.blow_up == pytest.approx(float(other.p[0]), abs=1e-7)  # scipy.integrate.solve_bvp
    assert log(blown.thinning) == pytest.approx(float(other.y[2, -1]), abs=1e-7)
    assert blown.radius == pytest.approx(other.sol(blown.z)[0], abs=1e-6)


def test_mass_and_force_are_those_of_the_shape(blown):
    # Rates of stretching by differences of the shape, stresses of a Newtonian film, and both balances on them.
    fine = tube.shape(B, F, blown.blow_up, L, 2001)
    r, h = CubicSpline(fine.z, fine.radius), CubicSpline(fine.z, fine.wall)
    z = np.linspace(0.2, L - 0.2, 50)
    v = 1 / (r(z) * h(z))  # mass: v h r = 1
    dv = -v * (r(z, 1) / r(z) + h(z, 1) / h(z))
    cos = 1 / np.sqrt(1 + r(z, 1) ** 2)
    d1, d2, d3 = cos * dv, cos * v * h(z, 1) / h(z), cos * v * r(z, 1) / r(z)
    assert d1 + d2 + d3 == pytest.approx(np.zeros(50), abs=1e-9)
    s1, s3 = 2 * (d1 - d2), 2 * (d3 - d2)  # in eta v0 / r0; Q = 2 pi, so dp = 2 B and F_z = 2 pi F
    along = r(z) * h(z) * s1 * cos + B * (blown.blow_up**2 - r(z) ** 2)
    assert along == pytest.approx(np.full(50, F), abs=1e-7)
    curved, around = -r(z, 2) * cos**3, cos / r(z)
    assert h(z) * (s1 * curved + s3 * around) == pytest.approx(np.full(50, 2 * B), abs=1e-5)


def test_what_the_tube_leans_on(blown):
    lean = tube.leans(blown)
    assert lean.blow_up_to_pressure_at_draw == pytest.approx(-3.8476, abs=5e-5)  # film.md 1.5
    assert lean.gauge_to_pressure_at_draw == pytest.approx(3.8476, abs=5e-5)  # film.md 1.5
    assert lean.gauge_to_speed_at_pressure == pytest.approx(-2.7579, abs=5e-5)  # film.md 1.5
    assert lean.gauge_to_speed_at_blow_up == pytest.approx(-1, abs=1e-8)  # mass alone: exactly -1


def test_shape_and_force_lead_to_the_same_tube(blown):
    by_shape = tube.for_shape(blown.blow_up, blown.draw, L)
    assert (by_shape.pressure, by_shape.force) == pytest.approx((B, F), rel=1e-8)
    by_draw = tube.for_draw(B, blown.draw, L)
    assert (by_draw.blow_up, by_draw.force) == pytest.approx((blown.blow_up, F), rel=1e-8)


def test_a_shape_far_from_the_anchor_is_walked_to():
    made = tube.for_shape(3, 2, 5)
    assert (made.blow_up, made.draw) == pytest.approx((3, 2), rel=1e-8)
    other = _other_solver(made.pressure, made.force, 5.0, 2.9)
    assert other.status == 0
    assert float(other.p[0]) == pytest.approx(3, abs=1e-6)  # scipy.integrate.solve_bvp


def test_one_pressure_and_pull_can_hold_more_than_one_tube():
    found = tube.for_force(B, F, L, 3.0)
    assert len(found) >= 2
    assert [one.monotone for one in found].count(True) == 1
    assert all(one.radius[0] == pytest.approx(1, abs=1e-9) for one in found)


def test_where_the_pull_is_used_up_the_model_ends_and_says_so():
    with pytest.raises(BadValue, match="slack"):
        tube.shape(B, F, 3.0, L)  # backwards the pull in the wall is gone before the ring


@pytest.mark.parametrize(
    "act",
    [
        lambda: tube.shape(float("nan"), F, 2.0, L),
        lambda: tube.shape(B, -1.0, 2.0, L),
        lambda: tube.for_force(0.9, 1.2, 5.0, 3.0),
        lambda: tube.for_shape(7, 6, 5),
    ],
)
def test_what_has_no_tube_is_refused(act):
    with pytest.raises(BadValue):
        act()
