"""Heat and cooling of the cast film.  Check values: film.md 1.3 and 1.4 of our notes; independent are the series beside
the finite differences, SciPy's root finder beside the halving, and the conservation of heat."""

from math import log, nan, pi, tan

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from reelmark.errors import BadValue
from reelmark.measure.material import KELVIN, POLYPROPYLENE
from reelmark.stations.film.predict import cooling, heat
from reelmark.stations.film.predict.cooling import Bath

HOT, COLD = 250 + KELVIN, 30 + KELVIN
WATER = Bath(15 + KELVIN, 1000.0)
BOTH = Bath(15 + KELVIN, 1000.0, sides=2)
WALL, K, RHO, C = 3.15e-3, 0.20, 850.0, 2872.2  # film.md 1.4
A = K / (RHO * C)
THETA = {t: (t - 15) / (250 - 15) for t in (60, 30)}
# One heat capacity, no latent heat: where the series is exact and the finite differences must meet it.
PLAIN = POLYPROPYLENE.over(
    "made up for a test", solid_cp=((200.0, C), (600.0, C)), melt_cp_at_zero=C - 1e-6, melt_cp_rise=1e-9, fusion=0.0
)


def test_enthalpy_duty_and_water_of_the_notes():
    lost = heat.heat(POLYPROPYLENE, HOT, COLD)
    assert lost.solid == pytest.approx(179_768, abs=0.6)  # film.md 1.3, from the handbook's cp table
    assert lost.melt == pytest.approx(358_969, abs=0.6)  # film.md 1.3, melt cp from memory
    assert lost.latent == pytest.approx(93_150, abs=1e-6)  # film.md 1.3, 0.45 of 207 J/g, from memory
    assert lost.total == pytest.approx(631_887, abs=0.6)  # film.md 1.3
    assert lost.beyond == pytest.approx(15)  # the table ends at 100 degC, film freezes at 115
    duty = lost.total * 0.158375
    assert duty == pytest.approx(100_075, abs=0.6)  # film.md 1.3
    assert heat.water_flow(duty, 5, 4180) * 3.6 == pytest.approx(17.238, abs=5e-4)  # film.md 1.3, m3/h at 1000 kg/m3


def test_the_integral_is_that_of_another_integrator():
    def cp(t):
        return float((heat.solid_cp if t < 115 + KELVIN else heat.melt_cp)(POLYPROPYLENE, np.array(t)))

    ours, (area, _) = heat.heat(POLYPROPYLENE, HOT, COLD), quad(cp, COLD, HOT, points=[323.15, 373.15, 388.15])
    assert ours.solid + ours.melt == pytest.approx(area, rel=1e-10)  # scipy.integrate.quad


def test_the_curve_holds_the_same_heat_and_rises():
    states = heat.curve(POLYPROPYLENE, HOT, COLD)
    assert states.of(HOT) - states.of(COLD) == pytest.approx(heat.heat(POLYPROPYLENE, HOT, COLD).total, rel=1e-12)
    assert np.all(np.diff(states.enthalpy) > 0)


def test_no_freezing_no_latent_heat():
    assert heat.heat(POLYPROPYLENE, HOT, 130 + KELVIN).latent == 0
    assert heat.heat(POLYPROPYLENE, 100 + KELVIN, COLD).latent == 0


@pytest.mark.parametrize(("bi", "z", "c"), [(1.0, 0.8603, 1.1191), (10.0, 1.4289, 1.2620)])
def test_first_root_and_weight_are_those_of_the_text_tables(bi, z, c):
    first = cooling.roots(bi)[0]
    assert first == pytest.approx(z, abs=5e-5)  # film.md 1.4; texts of heat transfer, from memory
    assert 4 * np.sin(first) / (2 * first + np.sin(2 * first)) == pytest.approx(c, abs=5e-5)  # the same


@pytest.mark.parametrize("bi", [1e-3, 0.1, 7.875, 15.75, 1e4])
def test_roots_are_those_of_another_root_finder(bi):
    ours = cooling.roots(bi, 8)
    ends = [(n * pi + 1e-12, n * pi + pi / 2 - 1e-12) for n in range(8)]
    theirs = [brentq(lambda z: z * tan(z) - bi, low, high, xtol=1e-14) for low, high in ends]
    assert ours == pytest.approx(theirs, rel=1e-9)  # scipy.optimize.brentq


def test_the_series_begins_at_one_and_ends_at_nothing():
    for place in ("mean", "centre", "surface"):
        assert cooling.series(0.5, 1e4, place) == pytest.approx(0, abs=1e-12)
    assert cooling.series(1e-5, 1.0) == pytest.approx(1, abs=2e-5)  # hardly any cooling
    assert cooling.series(2.0, 0.3, "surface") < cooling.series(2.0, 0.3) < cooling.series(2.0, 0.3, "centre")


@pytest.mark.parametrize(
    ("bath", "target", "time", "length"),
    [(WATER, 60, 83.02, 5.77), (WATER, 30, 144.00, 10.00), (BOTH, 60, 23.83, 1.66), (BOTH, 30, 40.92, 2.84)],
)
def test_the_series_of_the_notes(bath, target, time, length):
    found = cooling.series_time(bath, WALL, A, K, THETA[target])
    assert found == pytest.approx(time, abs=6e-3)  # film.md 1.4
    assert found * 25 / 6 / 60 == pytest.approx(length, abs=6e-3)  # film.md 1.4
    depth = bath.depth(WALL)
    assert cooling.series(cooling.biot(bath, WALL, K), A * found / depth**2) == pytest.approx(THETA[target], rel=1e-10)


def test_diffusivity_of_the_notes():
    assert POLYPROPYLENE.diffusivity(C) == pytest.approx(8.1921e-8, abs=5e-13)  # film.md 1.4: k / (rho c)


def test_inner_face_and_biot_number_of_the_notes():
    assert cooling.biot(WATER, WALL, K) == pytest.approx(15.75)  # film.md 1.4
    assert cooling.biot(BOTH, WALL, K) == pytest.approx(7.875)  # film.md 1.4
    for time, inner in ((83.02, 81.8), (144.00, 37.3)):  # film.md 1.4
        theta = cooling.series(15.75, A * time / WALL**2, "centre")
        assert 15 + 235 * theta == pytest.approx(inner, abs=0.05)


def test_the_lumped_formula_is_a_bound_and_far_off_here():
    for target, time in ((60, 12.7), (30, 21.2)):  # film.md 1.4
        lumped = cooling.lumped_time(WATER, WALL, RHO, C, THETA[target])
        assert lumped == pytest.approx(time, abs=0.05)
        assert lumped < 0.2 * cooling.series_time(WATER, WALL, A, K, THETA[target])


@pytest.mark.parametrize(
    ("bath", "target", "time"), [(WATER, 60, 90.8), (WATER, 30, 131.2), (BOTH, 60, 25.8), (BOTH, 30, 37.1)]
)
def test_finite_differences_with_latent_heat_of_the_notes(bath, target, time):
    found = cooling.wall_time(POLYPROPYLENE, bath, WALL, HOT, target + KELVIN)
    assert found.time == pytest.approx(time, abs=0.06)  # film.md 1.4: an independent computation of ours
    series = cooling.series_time(bath, WALL, A, K, THETA[target])
    assert abs(found.time / series - 1) < 0.11  # film.md 1.4: the series is good to about 10 %


@pytest.mark.parametrize("sides", [1, 2])
@pytest.mark.parametrize("coefficient", [20.0, 1000.0, 5000.0])
def test_finite_differences_meet_the_series_where_the_series_is_exact(sides, coefficient):
    bath = Bath(15 + KELVIN, coefficient, sides)
    found = cooling.wall_time(PLAIN, bath, WALL, HOT, 60 + KELVIN)
    assert found.time == pytest.approx(cooling.series_time(bath, WALL, A, K, THETA[60]), rel=4e-3)


def test_finite_differences_close_in_on_the_series_with_the_second_power_of_the_cell():
    exact = cooling.series_time(WATER, WALL, A, K, THETA[60])
    off = [cooling.wall_time(PLAIN, WATER, WALL, HOT, 60 + KELVIN, n).time - exact for n in (8, 16, 32)]
    assert off[0] / off[1] == pytest.approx(4, rel=0.25)
    assert off[1] / off[2] == pytest.approx(4, rel=0.25)


@pytest.mark.parametrize("target", [120, 60, 16])
def test_heat_is_conserved(target):
    found = cooling.wall_time(POLYPROPYLENE, BOTH, WALL, HOT, target + KELVIN, 12)
    assert found.lost == pytest.approx(found.held, rel=1e-10)
    # and it is the heat of the way from melt to target, from the closed form where freezing is over
    if target < 105:
        total = heat.heat(POLYPROPYLENE, HOT, target + KELVIN).total
        assert found.held == pytest.approx(RHO * WALL / 2 * total, rel=1e-9)


@pytest.mark.parametrize("coefficient", [0.5e1, 5e1, 1e3, 1e4])
def test_the_lumped_bound_lies_below_and_is_met_by_a_wall_of_low_biot_number(coefficient):
    bath = Bath(15 + KELVIN, coefficient)
    bound = cooling.lumped_bound(POLYPROPYLENE, bath, 1e-3, HOT, COLD)
    found = cooling.wall_time(POLYPROPYLENE, bath, 1e-3, HOT, COLD)
    assert bound < found.time
    if cooling.biot(bath, 1e-3, K) < cooling.LUMPED_BIOT:
        assert found.time < 1.05 * bound


def test_the_bound_is_the_logarithm_where_cp_is_one():
    ours = cooling.lumped_bound(PLAIN, WATER, WALL, HOT, 60 + KELVIN)
    assert ours == pytest.approx(RHO * C * WALL / 1000 * log(235 / 45), rel=1e-6)  # closed form


@pytest.mark.parametrize(
    ("act", "field"),
    [
        (lambda: heat.heat(POLYPROPYLENE, COLD, HOT), "melt_temperature"),
        (lambda: heat.heat(POLYPROPYLENE, 250.0, 30.0), "cast_temperature"),  # degrees Celsius for kelvin
        (lambda: Bath(15.0, 1000.0), "water_temperature"),
        (lambda: Bath(288.15, -1.0), "water_coefficient"),
        (lambda: Bath(288.15, 1000.0, 3), "cooled_sides"),
        (lambda: cooling.wall_time(POLYPROPYLENE, WATER, WALL, HOT, 10 + KELVIN), "cast_temperature"),
        (lambda: cooling.wall_time(POLYPROPYLENE, WATER, 3.15, HOT, COLD), "cast_wall"),
        (lambda: cooling.series_time(WATER, WALL, A, K, 0.0), "theta"),
        (lambda: cooling.series_time(WATER, WALL, A, K, 0.999), "theta"),
        (lambda: cooling.series(1.0, 1e-4), "fourier"),
        (lambda: heat.water_flow(nan, 5, 4180), "duty"),
        (lambda: heat.water_flow(1e5, 0, 4180), "water_rise"),
    ],
)
def test_what_cannot_be_is_refused_by_its_field(act, field):
    with pytest.raises(BadValue) as refused:
        act()
    assert refused.value.field == field
