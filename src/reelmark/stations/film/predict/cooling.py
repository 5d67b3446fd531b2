"""Time in the water bath: how long a wall of finite thickness needs, two ways, and a bound.

    series    theta = sum C_n exp(-z_n^2 Fo), z tan z = Bi, C_n = 4 sin z / (2 z + sin 2 z); for the mean times
              sin z / z.  Bi = h_w L / k, Fo = a t / L^2, a = k / (rho c).  One c for all of it.
    wall      enthalpy by finite differences, with the latent heat in its melting range; heat is conserved exactly
    lumped    rho c L / h_w ln(1 / theta): one temperature all through, a bound from below, valid for Bi < 0.1 only;
              with the true enthalpy rho L / h_w int dH / (T - T_w)

L is the wall where one side is cooled and half of it where both are.  SI, K.  The series with one c is good to about
10 %, either way by the target, for the film here: the wall by differences is the one to plan with.
Source: separation of variables for a plane wall, as in the texts of heat transfer.  Int. Polym. Process. 9 (1994) 159
(abstract): cooling of cast PP must take in crystallisation.
"""

from dataclasses import dataclass
from math import ceil, exp, log, sqrt
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.measure.material import Material
from reelmark.stations.film.predict.heat import Curve, curve

__all__ = [
    "LUMPED_BIOT",
    "Bath",
    "Cooled",
    "biot",
    "lumped_bound",
    "lumped_time",
    "roots",
    "series",
    "series_time",
    "wall_time",
]

Vector = NDArray[np.float64]
Place = Literal["mean", "centre", "surface"]
LUMPED_BIOT: Final = 0.1  # common practice, no source
TERMS: Final = 60
LEAST_FOURIER: Final = 1e-3  # the first term left out is then below exp(-35)
STABLE: Final = 0.4  # of dx^2 / a in one step; 0.5 is the limit of the explicit scheme


@dataclass(frozen=True, slots=True)
class Bath:
    """The water: its temperature, K, its film coefficient, W/(m2 K), and how many sides of the wall it wets, 1 or 2."""

    temperature: float
    coefficient: float
    sides: int = 1

    def __post_init__(self) -> None:
        within("water_temperature", self.temperature, 273.15, 373.15, "K")
        within("water_coefficient", self.coefficient, 1.0, 1e5, "W/(m2 K)")
        if self.sides not in (1, 2):
            raise BadValue("cooled_sides", self.sides, "a wall has two", "give 1 for outside only, or 2")

    def depth(self, wall: float) -> float:
        """L: from the wetted side to where no heat flows."""
        return within("cast_wall", wall, 1e-6, 0.05, "m") / self.sides


@dataclass(frozen=True, slots=True)
class Cooled:
    """time : s to the target mean; inner : K where no heat flows; outer : K at the water; lost, held : J/m2 by then.

    lost is what went through the wetted face and held what the wall holds less than at the start: equal, but for
    rounding.
    """

    time: float
    inner: float
    outer: float
    lost: float
    held: float


def biot(bath: Bath, wall: float, conductivity: float) -> float:
    """Bi = h_w L / k."""
    return bath.coefficient * bath.depth(wall) / within("conductivity", conductivity, 1e-3, 500, "W/(m K)")


def roots(bi: float, terms: int = TERMS) -> Vector:
    """The first roots of z tan z = Bi, one in each (n pi, n pi + pi/2), by halving to the last digit."""
    within("biot", bi, 1e-6, 1e6, "")
    low = np.arange(terms) * np.pi
    high = low + np.pi / 2
    for _ in range(60):
        middle = (low + high) / 2
        above = middle * np.sin(middle) - bi * np.cos(middle)
        over = above * np.cos(low) > 0  # the sign of cos turns with n
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return (low + high) / 2


def series(bi: float, fourier: float, place: Place = "mean") -> float:
    """theta = (T - T_w) / (T_0 - T_w) at this Fourier number.  BadValue below Fo = 1e-3, where it needs more terms."""
    within("fourier", fourier, LEAST_FOURIER, 1e4, "")
    z, weights = _weights(bi, place)
    return float(weights @ np.exp(-(z**2) * fourier))


def series_time(bath: Bath, wall: float, diffusivity: float, conductivity: float, theta: float) -> float:
    """Seconds until the mean has come down to theta.  BadValue for theta not in (0, 1), or reached too soon."""
    bi = biot(bath, wall, conductivity)
    return _fourier(bi, theta) * bath.depth(wall) ** 2 / within("diffusivity", diffusivity, 1e-9, 1e-3, "m2/s")


def lumped_time(bath: Bath, wall: float, density: float, cp: float, theta: float) -> float:
    """The bound: seconds if the wall had one temperature.  Less than it truly takes; nearly it below Bi = 0.1."""
    return density * cp * bath.depth(wall) / bath.coefficient * log(1 / _share(theta))


def lumped_bound(material: Material, bath: Bath, wall: float, hot: float, target: float) -> float:
    """The bound with the true enthalpy: the wetted face is never hotter than a wall all of one temperature."""
    states = _states(material, bath, hot, target)
    inside = states.temperature > target
    at = np.concatenate([[target], states.temperature[inside]])
    enthalpy = np.concatenate([[states.of(target)], states.enthalpy[inside]])
    over = np.trapezoid(1 / (at - bath.temperature), enthalpy)
    return float(over) * material.cooling_density.value * bath.depth(wall) / bath.coefficient


def wall_time(
    material: Material, bath: Bath, wall: float, hot: float, target: float, cells: int | None = None
) -> Cooled:
    """Seconds until the mean enthalpy is that of target, by finite differences of the enthalpy.

    hot : uniform at the start, K; target : K; cells : None takes as many as the Biot number asks for, 4 to 40.
    BadValue where the water is not colder than the target.
    Cells of equal size, heat flows taken at their faces, explicit steps: what leaves one enters the next.
    """
    states = _states(material, bath, hot, target)
    number = _cells(biot(bath, wall, material.conductivity.value)) if cells is None else cells
    dx = bath.depth(wall) / within("cells", number, 4, 2000, "")
    return _run(material, bath, dx, states, hot, target, number)


def _states(material: Material, bath: Bath, hot: float, target: float) -> Curve:
    if not bath.temperature < target < hot:
        true = f"it must lie between the water, {bath.temperature:g} K, and the melt, {hot:g} K"
        raise BadValue("cast_temperature", target, true, "cool the water, or ask for less")
    return curve(material, hot, bath.temperature)


def _cells(bi: float) -> int:
    """A wall of low Biot number is nearly of one temperature and needs few; its many short steps would cost most."""
    return min(40, max(4, ceil(12 * sqrt(bi))))


def _run(material: Material, bath: Bath, dx: float, states: Curve, hot: float, target: float, cells: int) -> Cooled:
    k, rho = material.conductivity.value, material.cooling_density.value
    into_water = 1 / (1 / bath.coefficient + dx / (2 * k))
    step = STABLE * dx * dx * rho * _least_cp(states) / k
    enthalpy, start, goal = np.full(cells, states.of(hot)), states.of(hot), states.of(target)
    flow, time, lost, last = np.zeros(cells + 1), 0.0, 0.0, 0.0
    while enthalpy.mean() > goal:
        at = np.interp(enthalpy, states.enthalpy, states.temperature)
        flow[1:-1] = k / dx * (at[:-1] - at[1:])
        flow[-1] = into_water * (at[-1] - bath.temperature)
        last = min(step, float(enthalpy.mean() - goal) * rho * dx * cells / float(flow[-1]) + 1e-12)
        enthalpy -= last / (rho * dx) * np.diff(flow)
        time, lost = time + last, lost + last * float(flow[-1])
    at = np.interp(enthalpy, states.enthalpy, states.temperature)
    surface = bath.temperature + into_water * (float(at[-1]) - bath.temperature) / bath.coefficient
    return Cooled(time, float(at[0]), surface, lost, float((start - enthalpy).sum()) * rho * dx)


def _least_cp(states: Curve) -> float:
    return float(np.min(np.diff(states.enthalpy) / np.diff(states.temperature)))


def _share(theta: float) -> float:
    within("theta", theta, 0.0, 1.0, "")
    if theta in (0.0, 1.0):
        raise BadValue("theta", theta, "it is reached at once or never", "take a target between water and melt")
    return theta


def _weights(bi: float, place: Place) -> tuple[Vector, Vector]:
    z = roots(bi)
    weights = 4 * np.sin(z) / (2 * z + np.sin(2 * z))
    ways = {"mean": np.sin(z) / z, "centre": np.ones_like(z), "surface": np.cos(z)}
    if place not in ways:
        raise BadValue("place", place, "the series is known for three", f"take one of {', '.join(ways)}")
    return z, weights * ways[place]


def _fourier(bi: float, theta: float) -> float:
    """Fo at which the mean is theta, by halving in ln Fo."""
    z, weights = _weights(bi, "mean")
    low, high = log(LEAST_FOURIER), log(1e6)
    if weights @ np.exp(-(z**2) * LEAST_FOURIER) < _share(theta):
        true = f"it is reached before Fo = {LEAST_FOURIER:g}, where the series needs more terms"
        raise BadValue("theta", theta, true, "take the wall by differences")
    for _ in range(80):
        middle = (low + high) / 2
        warm = weights @ np.exp(-(z**2) * exp(middle)) > theta
        low, high = (middle, high) if warm else (low, middle)
    return exp((low + high) / 2)
