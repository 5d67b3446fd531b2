"""The roll and what is wound into it.  Check values: film.md 2 of our notes, from closed forms, our own computation;
independent are rings counted one by one, the closed forms for constant moduli by scipy.integrate.quad, and the law that
every set of measures which settles a roll leads to the same roll."""

from dataclasses import replace
from itertools import combinations
from math import log, pi

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import quad

from reelmark.errors import BadValue
from reelmark.stations.film.predict import roll, wound
from reelmark.stations.film.predict.roll import BOUNDS
from reelmark.stations.film.predict.wound import Stack, constant, pfeiffer

NOTES = {"length": 8000.0, "core": 0.1524, "gauge": 75e-6, "density": 905.0, "width": 2.8}


def test_eight_kilometres_and_one_and_a_half_tonnes_settle_width_times_gauge():
    one = roll.roll(mass=1500, length=8000, density=905, gauge=75e-6, core=0.1524)  # common practice, no source
    assert one.width * one.gauge == pytest.approx(2.071823e-4, abs=5e-11)  # film.md 2


@pytest.mark.parametrize(
    ("gauge", "width", "outside"),
    [(65, 3.1874, 0.82783), (70, 2.9597, 0.85804), (75, 2.7624, 0.88723), (80, 2.5898, 0.91548)],
)
def test_width_and_outside_of_the_notes(gauge, width, outside):
    one = roll.roll(mass=1500, length=8000, density=905, gauge=gauge * 1e-6, core=0.1524)
    assert one.width == pytest.approx(width, abs=5e-5)  # film.md 2
    assert one.diameter == pytest.approx(outside, abs=5e-6)  # film.md 2


@pytest.mark.parametrize(("grammage", "width"), [(85, 2.2059), (95, 1.9737), (105, 1.7857)])
def test_a_coated_roll_by_its_mass_per_area(grammage, width):
    one = roll.roll(mass=1500, length=8000, grammage=grammage * 1e-3, gauge=80e-6, core=0.1524)
    assert one.width == pytest.approx(width, abs=5e-5)  # film.md 2


def test_laps_metres_and_inertia_of_the_notes():
    one = roll.roll(**NOTES)
    assert one.laps == pytest.approx(4898.84, abs=5e-3)  # film.md 2
    assert one.diameter_at(3000) == pytest.approx(0.556511, abs=5e-7)  # film.md 2
    assert one.lap_at(3000) == pytest.approx(2694.07, abs=5e-3)  # film.md 2
    assert one.metre_at(one.lap_at(3000)) == pytest.approx(3000, rel=1e-12)
    assert one.inertia == pytest.approx(154.0156, abs=5e-5)  # film.md 2
    assert one.energy(150 / 60) == pytest.approx(2446, abs=0.5)  # film.md 2
    assert one.mass == pytest.approx(1520.4, abs=0.05)  # film.md 1.1
    assert roll.roll(0.01, **NOTES).diameter == pytest.approx(0.89152, abs=5e-6)  # film.md 2: 1 % air


def test_length_is_that_of_rings_counted_one_by_one():
    rings = sum(pi * (0.1524 + (2 * lap + 1) * 75e-6) for lap in range(4898))
    assert rings == pytest.approx(7997.664, abs=5e-4)  # film.md 2: 4898 whole laps
    assert roll.concentric_length(4898, 0.1524, 75e-6) == pytest.approx(rings, rel=1e-12)
    assert roll.roll(**NOTES).metre_at(4898) == pytest.approx(rings, rel=1e-12)


def test_mass_and_inertia_are_those_of_rings():
    one, edges = roll.roll(0.02, **NOTES), np.linspace(0.1524, roll.roll(0.02, **NOTES).diameter, 200_001) / 2
    middle, ring = (edges[1:] + edges[:-1]) / 2, np.pi * np.diff(edges**2) * 2.8 * 905 / 1.02
    assert one.mass == pytest.approx(float(ring.sum()), rel=1e-9)
    assert one.inertia == pytest.approx(float((ring * middle**2).sum()), rel=1e-8)


def _slopes(one: roll.Roll) -> dict[str, NDArray[np.float64]]:
    """d ln(measure) / d ln(base measure) of every measure, for which sets of five settle a roll."""
    rows = []
    for name, value in NOTES.items():
        more, less = (roll.roll(0.01, **{**NOTES, name: value * (1 + s)}) for s in (1e-5, -1e-5))
        rows.append([log(getattr(more, n) / getattr(less, n)) / 2e-5 for n in BOUNDS])
    return dict(zip(BOUNDS, np.array(rows).T, strict=True))


def test_every_five_measures_that_settle_a_roll_give_that_roll_and_the_others_are_refused():
    one = roll.roll(0.01, **NOTES)
    slopes, settled = _slopes(one), 0
    for names in combinations(BOUNDS, 5):
        free = abs(np.linalg.det(np.array([slopes[n] for n in names]))) < 1e-6
        given = {n: getattr(one, n) for n in names}
        if free:
            with pytest.raises(BadValue, match="open"):
                roll.roll(0.01, **given)
        else:
            again = roll.roll(0.01, **given)
            assert [getattr(again, n) for n in BOUNDS] == pytest.approx([getattr(one, n) for n in BOUNDS], rel=1e-6)
            settled += 1
    assert settled == 177  # of 252; our own count, so that a set lost is seen


@pytest.mark.parametrize(
    ("given", "word"),
    [
        ({}, "nothing given"),
        ({k: NOTES[k] for k in ("length", "core", "gauge", "density")}, "open"),
        ({**NOTES, "mass": 1520.4}, "five measures settle"),
        ({"gauge": 75e-6, "density": 905, "grammage": 0.067875, "core": 0.15, "width": 2.8}, "open"),
        ({**NOTES, "gauge": 75.0}, "unit"),
        ({**NOTES, "core": float("nan")}, "finite"),
        ({**{k: NOTES[k] for k in ("core", "gauge", "density", "width")}, "diameter": 0.1}, "no roll"),
        ({"colour": 1.0}, "no such measure"),
    ],
)
def test_too_few_too_many_or_impossible_measures_are_refused(given, word):
    with pytest.raises(BadValue, match=word):
        roll.roll(**given)


def test_tolerance_of_the_mass():
    share = roll.mass_tolerance(length=0.002, width=0.001 / 2.8, density=0.003, gauge=0.01)
    assert share == pytest.approx(0.0106, abs=5e-5)  # film.md 2


# Wound-in stress.  film.md 2: core .0762, radius .30, T 2 MPa, Et 2 GPa, Ec 8 GPa, nu 0.
EVEN = Stack(0.0762, 0.30, 2e6, 2e9, 8e9, 0.0, constant(2e9))
SOFT = replace(EVEN, across=constant(2e7))
FILM = replace(EVEN, radius=0.44361, across=pfeiffer(1.5e3, 150))


def _closed(stack: Stack, er: float, r: float) -> float:
    """P for constant moduli (film.md 2, derived there): phi(r) int_r^R T ds / (s phi(s)), by quad."""
    g, k, rc = (stack.along / er) ** 0.5, stack.stiffness, stack.core_radius
    b = rc ** (2 * g) * (g - 1 - k) / (k + g + 1)

    def phi(s: float) -> float:
        return float(s ** (g - 1) + b * s ** (-g - 1))

    area, _ = quad(lambda s: stack.stress / (s * phi(s)), r, stack.radius, epsrel=1e-12)
    return phi(r) * float(area)


def test_the_closed_forms_are_those_of_the_notes():
    assert _closed(EVEN, 2e9, 0.0762) == pytest.approx(3694.108e3, abs=0.5)  # film.md 2
    assert _closed(SOFT, 2e7, 0.0762) == pytest.approx(349.340e3, abs=0.5)  # film.md 2
    assert _closed(SOFT, 2e7, 0.1881) == pytest.approx(218.894e3, abs=0.5)  # film.md 2
    b = 0.0762**2 * (0 - EVEN.stiffness) / (EVEN.stiffness + 2)  # g = 1, a second closed form, without an integral
    whole = 2e6 * (1 + b / 0.0762**2) / 2 * log((0.30**2 + b) / (0.0762**2 + b))
    assert _closed(EVEN, 2e9, 0.0762) == pytest.approx(whole, rel=1e-10)


@pytest.mark.parametrize(("number", "even", "soft"), [(200, 3702.4, 363.8), (400, 3698.4, 356.6), (800, 3696.3, 353.0)])
def test_lumped_laps_of_the_notes(number, even, soft):
    assert wound.laps(EVEN, number)[1][0] / 1e3 == pytest.approx(even, abs=0.06)  # film.md 2, our own computation
    assert wound.laps(SOFT, number)[1][0] / 1e3 == pytest.approx(soft, abs=0.06)  # film.md 2, our own computation


@pytest.mark.parametrize(("stack", "er"), [(EVEN, 2e9), (SOFT, 2e7)])
def test_extrapolation_meets_the_closed_form_all_through_the_roll(stack, er):
    done = wound.wound(stack, 400)
    for r in (0.0762, 0.12, 0.1881, 0.28):
        assert done.pressure_at(r) == pytest.approx(_closed(stack, er, r), rel=3e-4, abs=30)
    r, d = 0.1881, 1e-5
    slope = (_closed(stack, er, r + d) - _closed(stack, er, r - d)) / (2 * d)
    hoop = float(np.interp(r, done.radius, done.hoop))
    assert hoop == pytest.approx(-(_closed(stack, er, r) + r * slope), abs=2e-3 * stack.stress)


def test_the_error_of_the_lumping_falls_with_its_first_power():
    exact = _closed(SOFT, 2e7, 0.0762)
    off = [wound.laps(SOFT, n)[1][0] - exact for n in (200, 400, 800)]
    assert off[0] / off[1] == pytest.approx(2, rel=0.05)
    assert off[1] / off[2] == pytest.approx(2, rel=0.05)
    assert abs(wound.wound(SOFT, 400).pressure[0] - exact) < 0.02 * abs(off[2])
    assert wound.wound(SOFT, 200).pressure[0] / 1e3 == pytest.approx(349.37, abs=0.2)  # film.md 2: extrapolated


@pytest.mark.parametrize(("number", "core"), [(306, 366.0), (612, 335.6), (1225, 320.2)])
def test_a_stack_that_stiffens_gives_the_lumped_laps_of_the_notes(number, core):
    assert wound.laps(FILM, number)[1][0] / 1e3 == pytest.approx(core, abs=0.06)  # film.md 2, K1 and K2 from memory


def test_a_stack_that_stiffens_extrapolates_to_the_notes():
    done = wound.wound(FILM, 1225)
    assert done.pressure[0] / 1e3 == pytest.approx(305.2, abs=0.15)  # film.md 2
    assert done.pressure_at((0.0762 + 0.44361) / 2) / 1e3 == pytest.approx(178.4, abs=0.15)  # film.md 2
    assert done.pressure_at(0.9 * 0.44361) / 1e3 == pytest.approx(110.8, abs=0.15)  # film.md 2


def test_the_outside_is_free_and_carries_the_winding_stress():
    done = wound.wound(FILM, 300)
    assert done.pressure[-1] == 0
    assert done.hoop[-1] == pytest.approx(2e6, rel=0.02)  # -(0 + R P') with P' = -T/R


def test_laps_pressed_along_the_web_are_seen():
    done = wound.wound(FILM, 200)
    assert done.buckles_below is not None
    assert 0.0762 < done.buckles_below < 0.44361
    tight = wound.wound(replace(FILM, radius=0.08), 50)  # few laps: nothing outside presses them in
    assert tight.buckles_below is None


@pytest.mark.parametrize(
    "act",
    [
        lambda: replace(EVEN, radius=0.07),
        lambda: replace(EVEN, stress=float("inf")),
        lambda: replace(EVEN, core=-8e9),
        lambda: pfeiffer(0.0, 150),
        lambda: wound.laps(EVEN, 2),
    ],
)
def test_what_cannot_be_wound_is_refused(act):
    with pytest.raises(BadValue):
        act()
