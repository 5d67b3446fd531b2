"""Mass and force along the film line.  Check values: film.md 1.1, 1.2, 1.6 of our notes, our own earlier computation
from the formulas unless another source stands beside; laws are conservation of mass and force."""

from math import exp, isinf, nan, pi

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reelmark.errors import BadValue
from reelmark.stations.film.predict import balance, bubble, rubber
from reelmark.stations.film.predict.balance import Flow

MINUTE = 60.0
NOTES = Flow(gauge=75e-6, width=2.8, speed=25 / MINUTE)  # film.md 1.1
flows = st.builds(Flow, gauge=st.floats(2e-5, 1e-4), width=st.floats(0.5, 5), speed=st.floats(0.05, 3))


def test_the_line_of_the_notes():
    flow = balance.solve(NOTES, 905)
    cast = balance.cast(flow, 7, 6, 10)
    assert flow.output == pytest.approx(0.158375, abs=5e-7)  # film.md 1.1, closed form; 570.150 kg/h
    assert flow.output * 3600 == pytest.approx(570.150, abs=5e-4)
    assert cast.bubble_radius == pytest.approx(0.891268, abs=5e-7)  # film.md 1.1
    assert cast.wall == pytest.approx(3.150e-3, abs=5e-7)  # film.md 1.1
    assert cast.radius == pytest.approx(0.127324, abs=5e-7)  # film.md 1.1
    assert cast.speed * MINUTE == pytest.approx(4.1667, abs=5e-5)  # film.md 1.1
    die = balance.die(flow.output, cast, 740, 2.1 * cast.radius, 4e-3)
    assert die.speed * MINUTE == pytest.approx(3.8218, abs=5e-5)  # film.md 1.1
    assert die.draw_down == pytest.approx(1.0902, abs=5e-5)  # film.md 1.1


@given(flows, st.sampled_from(["gauge", "width", "speed", "output"]))
def test_any_one_of_the_four_comes_back_from_the_other_three(flow, name):
    whole = balance.solve(flow, 905)
    three = {n: None if n == name else getattr(whole, n) for n in ("gauge", "width", "speed", "output")}
    assert getattr(balance.solve(Flow(**three), 905), name) == pytest.approx(getattr(whole, name), rel=1e-14)


@given(flows, st.floats(1, 8), st.floats(1, 8))
def test_the_same_mass_passes_the_die_the_cast_tube_and_the_nip(flow, across, along):
    whole = balance.solve(flow, 905)
    cast = balance.cast(whole, across, along, 10)
    die = balance.die(whole.output, cast, 740, 0.3, 2e-3)
    assert 905 * 2 * pi * cast.radius * cast.wall * cast.speed == pytest.approx(whole.output, rel=1e-12)
    assert 740 * pi * die.diameter * die.gap * die.speed == pytest.approx(whole.output, rel=1e-12)


@pytest.mark.parametrize(("cause", "field"), [("output", "output"), ("width", "width"), ("speed", "speed")])
def test_what_gauge_leans_on_is_the_slope_of_the_balance_itself(cause, field):
    whole = balance.solve(NOTES, 905)
    three = {n: getattr(whole, n) for n in ("width", "speed", "output")}
    more = balance.solve(Flow(**{**three, field: three[field] * exp(1e-3)}), 905)
    less = balance.solve(Flow(**{**three, field: three[field] * exp(-1e-3)}), 905)
    assert (more.gauge / less.gauge) == pytest.approx(exp(2e-3 * balance.GAUGE_LEANS[cause]), rel=1e-13)


def test_gauge_goes_with_speed_to_the_power_of_minus_one_and_the_tolerance_by_root_sum_square():
    assert balance.GAUGE_LEANS["speed"] == -1  # film.md 0.5: exactly, at fixed width
    share = balance.gauge_tolerance(output=0.005, width=0.002, density=0.003, speed=0.002)
    assert share == pytest.approx(0.00648, abs=5e-6)  # film.md 1.1


@pytest.mark.parametrize(
    ("flow", "field", "word"),
    [
        (Flow(gauge=75.0, width=2.8, speed=0.4), "gauge", "unit"),
        (Flow(gauge=75e-6, width=2800.0, speed=0.4), "width", "unit"),
        (Flow(gauge=75e-6, width=2.8, speed=nan), "speed", "finite"),
        (Flow(gauge=-75e-6, width=2.8, speed=0.4), "gauge", "sign"),
        (Flow(gauge=75e-6, width=2.8), "flow", "three"),
        (Flow(75e-6, 2.8, 0.4, 0.15), "flow", "three"),
        (Flow(width=2.8, speed=0.4, output=9.0), "gauge", "other three"),
    ],
)
def test_a_flow_that_cannot_be_is_refused_by_its_field(flow, field, word):
    with pytest.raises(BadValue, match=word) as refused:
        balance.solve(flow, 905)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("flow", "across", "along", "field"),
    [
        (NOTES, 10.5, 6, "draw_across"),
        (NOTES, 7, 12, "draw_along"),
        (NOTES, 0.9, 6, "draw_across"),
        (NOTES, nan, 6, "draw_across"),
        (Flow(gauge=4e-4, width=0.2, speed=0.4), 8, 8, "gauge"),  # wall 25.6 mm in a radius of 8 mm: inside below zero
    ],
)
def test_an_impossible_draw_or_wall_is_refused(flow, across, along, field):
    with pytest.raises(BadValue) as refused:
        balance.cast(balance.solve(flow, 905), across, along, 10)
    assert refused.value.field == field


def test_the_draw_limit_is_the_users():
    assert balance.cast(balance.solve(NOTES, 905), 10.5, 6, 11).wall > 0


def test_stress_pressure_and_pull_of_the_notes():
    assert bubble.hoop_stress(2000, 0.9, 75e-6) == pytest.approx(24.0e6, rel=1e-12)  # film.md 1.2
    assert bubble.sphere_stress(2000, 0.9, 75e-6) == pytest.approx(12.0e6, rel=1e-12)  # film.md 1.2
    radius = 2.8 / pi
    pressure = bubble.pressure_for(25e6, radius, 75e-6)
    assert pressure == pytest.approx(2103.745, abs=5e-4)  # film.md 1.2
    pull = bubble.pull(25e6, radius, 75e-6, pressure)
    assert (pull.wall, pull.end) == pytest.approx((10_500, 5_250), rel=1e-12)  # film.md 1.2
    assert pull.wall == pull.end + pull.haul_off


@given(st.floats(0.05, 2), st.floats(1e-5, 1e-4), st.floats(1e6, 1e8))
def test_a_closed_tube_left_alone_has_half_its_hoop_stress_along(radius, gauge, stress):
    # Forces on a cut across the axis: end pressure pi r^2 dp is carried by 2 pi r h s1, so s1 = s3 / 2.
    pressure = bubble.pressure_for(stress, radius, gauge)
    free = bubble.pull(stress / 2, radius, gauge, pressure)
    assert free.haul_off == pytest.approx(0, abs=1e-9 * free.wall)


def test_a_thick_wall_is_no_membrane():
    with pytest.raises(BadValue, match="membrane"):
        bubble.hoop_stress(2000, 0.05, 3e-3)


def test_dwell_and_volume():
    assert bubble.dwell(3, 25 / 6 / MINUTE, 25 / MINUTE) == pytest.approx(15.4808, abs=5e-5)  # film.md 1.1
    assert bubble.dwell(3, 0.5, 0.5) == 6  # closed form L/v
    assert bubble.dwell(3, 0.5, 0.5 * (1 + 1e-12)) == pytest.approx(6, rel=1e-11)  # and no jump beside it
    air = bubble.volume(0.5, 0.5, 2, 3)
    assert air.total == pytest.approx(pi * 0.25 * 5, rel=1e-14)  # a cone without taper is a cylinder
    assert bubble.volume(1e-9, 1, 3, 0).cone == pytest.approx(pi, rel=1e-8)  # volume of a cone, pi r^2 L / 3


def test_without_hardening_pressure_settles_no_width_and_with_it_it_does():
    soft, hard = rubber.held(7, 6), rubber.held(7, 6, 120)
    assert soft.pressure == pytest.approx(0.16666474, abs=5e-9)  # film.md 1.6
    assert soft.pressure_to_width == pytest.approx(4.6278e-5, abs=5e-10)  # film.md 1.6
    assert hard.pressure == pytest.approx(0.52631755, abs=5e-9)  # film.md 1.6
    assert hard.pressure_to_width == pytest.approx(2.5790, abs=5e-5)  # film.md 1.6
    assert hard.gauge_to_pressure == pytest.approx(-0.3877, abs=5e-5)  # film.md 1.6


@given(st.floats(1.2, 7), st.floats(1, 6), st.floats(120, 1e4))
def test_the_slope_is_that_of_the_pressure(across, along, hardening):
    more, less = (rubber.held(across * exp(s), along, hardening).pressure for s in (1e-5, -1e-5))
    slope = rubber.held(across, along, hardening).pressure_to_width
    assert (more / less - 1) / 2e-5 == pytest.approx(slope, rel=1e-3, abs=1e-8)


def test_the_hardening_law_ends_and_says_so():
    with pytest.raises(BadValue, match="cannot be stretched so far"):
        rubber.held(9, 8, 120)
    assert isinf(rubber.held(1, 1).pressure_to_width)  # at no stretch p = 0, and its logarithm has no slope
