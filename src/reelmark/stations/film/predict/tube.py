"""The isothermal thin-film model of a blown tube: shape and wall from pressure and pull, and back.

Newtonian film of one temperature, thin wall, no gravity, inertia or surface tension, from the ring (z = 0) to the
freeze line (z = L), where the slope is zero.  Lengths are in r0, the radius at the ring, wall in h0; ' is d/dz.

    B = pi r0^3 dp / (eta Q)      F = r0 F_z / (eta Q)      T = F - B r_f^2      D = T + B r^2
    2 r^2 D r'' = 6 r' + r (1 + r'^2) (T - 3 B r^2)         h'/h = -r'/(2 r) - (1 + r'^2) D / 4         v h r = const

Q is the volume flow, eta the viscosity, F_z the pull at the freeze line.  D is the pull left in the wall: where it
is gone the model ends, so the integration stops there.  It runs from the freeze line back to the ring, because
forwards a small error grows (about the cylinder B = 0.2 as exp(3.54 z)).
Source: derived from the two force balances and s1 = 2 eta (d1 - d2), s3 = 2 eta (d3 - d2); the form agrees with
Pearson and Petrie, J. Fluid Mech. 40 (1970) 1-19 and 42 (1970) 609-625, as remembered: only their first pages read.
It is a model of a melt.  The second bubble of oriented film is drawn as a solid: ``rubber`` stands for that one.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.stations.film.predict.shoot import SEARCH, back, misses, newton, ring

__all__ = ["Blown", "Leans", "for_draw", "for_force", "for_shape", "leans", "shape", "tapers"]

# Blow-up, draw, length; B, F: a tube that two solvers agree on (our own earlier computation), to start from.
ANCHOR: Final = ((2.18998471, 1.77161030, 5.0), (0.2, 1.2))

Vector = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Blown:
    """One steady tube.  z, radius, slope, wall : arrays from the ring to the freeze line; scaled as the module says."""

    pressure: float
    force: float
    length: float
    z: Vector
    radius: Vector
    slope: Vector
    wall: Vector

    @property
    def blow_up(self) -> float:
        """Radius at the freeze line over radius at the ring."""
        return float(self.radius[-1] / self.radius[0])

    @property
    def thinning(self) -> float:
        """Wall at the freeze line over wall at the ring."""
        return float(self.wall[-1] / self.wall[0])

    @property
    def draw(self) -> float:
        """Speed at the freeze line over speed at the ring, from v h r = const."""
        return 1 / (self.thinning * self.blow_up)

    @property
    def monotone(self) -> bool:
        """The tube nowhere narrows on its way: the branch a line runs on."""
        return bool(np.all(self.slope >= -1e-9))


@dataclass(frozen=True, slots=True)
class Leans:
    """d ln(answer) / d ln(cause) about one tube, one thing held."""

    blow_up_to_pressure_at_draw: float
    gauge_to_pressure_at_draw: float
    gauge_to_speed_at_pressure: float
    gauge_to_speed_at_blow_up: float


def shape(pressure: float, force: float, blow_up: float, length: float, points: int = 101) -> Blown:
    """The tube seen back from a freeze line of radius blow_up, scaled by r0 but not yet of radius 1 at the ring.

    BadValue where the pull in the wall is used up, or the film turns into a disc or a thread, before the ring.
    """
    for name, value in (("pressure", pressure), ("force", force), ("blow_up", blow_up), ("length", length)):
        within(name, value, 1e-9, 1e3, "")
    return _checked(pressure, force, blow_up, length, points)


def for_force(pressure: float, force: float, length: float, most: float = 10.0) -> tuple[Blown, ...]:
    """Every tube of blow-up 0.1 to most with this B, F and L, in the order of blow-up; often more than one.

    A pressure and a pull do not settle the tube: take the one that is monotone and near the blow-up you run.
    BadValue where there is none.
    """
    from scipy.optimize import brentq

    def miss(blow_up: float) -> float:
        return ring(pressure, force, blow_up, length)[0]

    tries = np.linspace(0.1, most, 200)
    missed = np.array([ring(pressure, force, float(x), length, SEARCH)[0] for x in tries])
    turns = np.flatnonzero(missed[:-1] * missed[1:] < 0)  # NaN, where the model ends, is no turn
    found = [brentq(miss, tries[i], tries[i + 1], xtol=1e-13) for i in turns]
    if not found:
        true = f"no steady tube of blow-up 0.1 to {most:g} has F = {force:g} and L = {length:g}"
        raise BadValue("pressure", pressure, true, "change the pressure, the pull or the length")
    return tuple(shape(pressure, force, x, length) for x in found)


def for_shape(blow_up: float, draw: float, length: float, start: tuple[float, float] | None = None) -> Blown:
    """The tube of this blow-up and draw ratio: B and F are found.

    start : B and F of a tube nearby; None walks there from the tube of ``ANCHOR``, in finer steps if need be.
    BadValue where none is found, which is no proof that there is none.
    """
    for name, value in (("blow_up", blow_up), ("draw", draw), ("length", length)):
        within(name, value, 1e-3, 1e3, "")
    if start is not None:
        return _shaped(blow_up, draw, length, start)
    for steps in (1, 12):
        try:
            return _walked(np.array([blow_up, draw, length]), steps)
        except BadValue as refused:
            last = refused
    raise last


def for_draw(pressure: float, draw: float, length: float, start: tuple[float, float] = (2.0, 1.2)) -> Blown:
    """The tube of this B and draw ratio: blow-up and F are found, from a start for both.  BadValue where none is."""
    blow_up, force = newton(
        lambda x: misses(pressure, x[1], x[0], length, draw), np.log(start), f"B {pressure:g}, draw {draw:g}"
    )
    return shape(pressure, force, blow_up, length)


def leans(tube: Blown, step: float = 1e-4) -> Leans:
    """How blow-up and gauge lean on pressure and speed about this tube, by central differences of the whole model.

    step : relative.  At a given flow, gauge = const / (draw * blow_up); so at a given blow-up gauge goes as 1/speed.
    """
    at = (tube.blow_up, tube.force)
    more, less = (for_draw(tube.pressure * (1 + s), tube.draw, tube.length, at) for s in (step, -step))
    fast, slow = (for_draw(tube.pressure, tube.draw * (1 + s), tube.length, at) for s in (step, -step))
    held = [
        for_shape(tube.blow_up, tube.draw * (1 + s), tube.length, (tube.pressure, tube.force)) for s in (step, -step)
    ]
    width = float(np.log(1 + step) - np.log(1 - step))
    return Leans(
        float(np.log(more.blow_up / less.blow_up)) / width,
        float(np.log(more.thinning / less.thinning)) / width,
        float(np.log(fast.thinning / slow.thinning)) / width,
        float(np.log(held[0].thinning / held[1].thinning)) / width,
    )


def tapers(pressure: float) -> tuple[float, float]:
    """The two growth rates of a small taper about the cylinder T = 3 B: roots of 8 B l^2 - 6 l + 6 B = 0.

    BadValue above B = sqrt(3)/4, where the tube waves instead.
    """
    within("pressure", pressure, 1e-9, 3**0.5 / 4, "")
    root = (36 - 192 * pressure**2) ** 0.5
    return (6 - root) / (16 * pressure), (6 + root) / (16 * pressure)


def _shaped(blow_up: float, draw: float, length: float, start: tuple[float, float]) -> Blown:
    said = f"blow-up {blow_up:.4g}, draw {draw:.4g}, length {length:.4g}"
    pressure, force = newton(lambda x: misses(x[0], x[1], blow_up, length, draw), np.log(start), said)
    return shape(pressure, force, blow_up, length)


def _walked(goal: Vector, steps: int) -> Blown:
    """From ANCHOR to the goal in equal ratios, each tube the start of the next."""
    at = np.array(ANCHOR[0])
    pair = ANCHOR[1]
    for part in np.linspace(0, 1, steps + 1)[1:]:
        blow_up, draw, length = (at * (goal / at) ** part).tolist()
        made = _shaped(blow_up, draw, length, pair)
        pair = made.pressure, made.force
    return made


def _checked(pressure: float, force: float, blow_up: float, length: float, points: int) -> Blown:
    ended, rows = back(pressure, force, blow_up, length, points)
    if ended != 0:
        reach = length * rows.shape[1] / points
        true = f"the film is slack, a disc or a thread about {reach:.3g} r0 before the freeze line"
        raise BadValue("force", force, true, "pull more, blow up less, or take a shorter tube")
    radius, slope, wall = rows[:, ::-1]
    return Blown(pressure, force, length, np.linspace(0, length, points), radius, slope, np.exp(wall - wall[0]))
