"""Stress wound into a roll: pressure between the laps and pull left in them, lap by lap.

Each lap added under the stress T changes the pressure P in the roll below it by dP, where

    r^2 dP'' + 3 r dP' - (Et/Er - 1) dP = 0      dP = T h / s at the new lap      r dP'/dP = Et/Ec - 1 + nu at the core

and the changes add up.  Et is the modulus along the web, Ec of the core, Er = K2 (K1 + P) of the stack (Pfeiffer's
form, from memory).  The stress left around is -(P + r P').  Laps are lumped and the error falls with the first power
of their number, so ``wound`` solves for n and 2n and extrapolates (Richardson); ``spread`` is what that changed.
Source: Hakiel, Tappi J. 70(5), 1987, 113-117 (from memory), the equation derived again from the balance of a ring and
its elastic law.  Valid for an even web without air, slip, or flow in time.  K1, K2 must be measured on a stack.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.measure.given import within

__all__ = ["CAUTION", "Stack", "Wound", "constant", "laps", "pfeiffer", "wound"]

Vector = NDArray[np.float64]
CAUTION: Final = (
    "Hoop stress below zero: inner laps are pressed along the web and may buckle (stars, gaps, a core that slips). "
    "The model knows no buckling: wind tighter near the core, taper less, or take a stiffer core, and look at the ends."
)


MOST_STRAIN: Final = 0.05  # beyond which film yields; common practice, no source


@dataclass(frozen=True, slots=True)
class Stack:
    """core_radius, radius : m; stress : wound in, Pa; along : Et; core : Ec; poisson : nu; across : P -> Er, Pa."""

    core_radius: float
    radius: float
    stress: float
    along: float
    core: float
    poisson: float
    across: Callable[[Vector], Vector]

    def __post_init__(self) -> None:
        within("core_radius", self.core_radius, 1e-3, 2, "m")
        within("radius", self.radius, 1e-3, 5, "m")
        within("winding_stress", self.stress, 1e3, 1e9, "Pa")
        within("youngs_modulus", self.along, 1e6, 1e12, "Pa")
        within("core_modulus", self.core, 1e6, 1e13, "Pa")
        within("poisson", self.poisson, 0, 0.5, "")
        strain = self.stress / self.along
        if strain > MOST_STRAIN:
            true = f"it strains the web by {strain:.2g}, and the law is elastic: {MOST_STRAIN:g} is the most"
            raise BadValue("winding_stress", self.stress, true, "pull less, or look at the units of stress and modulus")
        if not self.radius > self.core_radius:
            raise BadValue("radius", self.radius, "it is not above the core's", "give both as radii, in m")

    @property
    def stiffness(self) -> float:
        """K = Et/Ec - 1 + nu."""
        return self.along / self.core - 1 + self.poisson


@dataclass(frozen=True, slots=True)
class Wound:
    """radius : m, core to outside; pressure : Pa; hoop : Pa, pull left along the web; spread : Pa, at the core."""

    radius: Vector
    pressure: Vector
    hoop: Vector
    spread: float

    def pressure_at(self, radius: float) -> float:
        return float(np.interp(radius, self.radius, self.pressure))

    @property
    def buckles_below(self) -> float | None:
        """The outermost radius where the hoop stress is below zero, or None where every lap is still pulled."""
        pressed = self.radius[self.hoop < 0]
        return float(pressed[-1]) if pressed.size else None


def constant(modulus: float) -> Callable[[Vector], Vector]:
    """A stack of one modulus, Pa."""
    within("modulus", modulus, 1e3, 1e13, "Pa")
    return lambda pressure: np.full_like(pressure, modulus)


def pfeiffer(k1: float, k2: float) -> Callable[[Vector], Vector]:
    """Er = K2 (K1 + P); K1 in Pa, K2 without unit.  P below zero, which no stack carries, counts as zero."""
    within("stack_k1", k1, 1e-3, 1e9, "Pa")
    within("stack_k2", k2, 1e-3, 1e6, "")
    return lambda pressure: k2 * (k1 + np.maximum(pressure, 0))


def laps(stack: Stack, number: int) -> tuple[Vector, Vector]:
    """(radius, pressure) under each of so many lumped laps, the last one new: first order in 1/number."""
    within("laps", number, 4, 20_000, "")
    h = (stack.radius - stack.core_radius) / number
    r: Vector = stack.core_radius + h * np.arange(number, dtype=np.float64)
    pressure = np.zeros(number)
    pressure[0] = stack.stress * h / r[0]
    for new in range(1, number):
        pressure[: new + 1] += _change(stack, r[: new + 1], h, pressure[: new + 1])
    return r, pressure


def wound(stack: Stack, number: int = 300) -> Wound:
    """The roll, from number and 2 number lumped laps, extrapolated at every lap of the coarser."""
    r, coarse = laps(stack, number)
    _, fine = laps(stack, 2 * number)
    radius = np.append(r, stack.radius)
    pressure = np.append(2 * fine[::2] - coarse, 0.0)
    hoop = -(pressure + radius * np.gradient(pressure, radius, edge_order=2))
    return Wound(radius, pressure, hoop, float(abs(pressure[0] - fine[0])))


def _change(stack: Stack, r: Vector, h: float, pressure: Vector) -> Vector:
    """dP of the newest lap: central differences, the core by a point beyond it, one banded solve."""
    from scipy.linalg import solve_banded

    square, slope = (r / h) ** 2, 1.5 * r / h
    bands, right = np.zeros((3, r.size)), np.zeros(r.size)
    bands[0, 1:] = (square + slope)[:-1]
    bands[1] = -2 * square - (stack.along / stack.across(pressure) - 1)
    bands[2, :-1] = (square - slope)[1:]
    beyond = square[0] - slope[0]
    bands[0, 1] += beyond
    bands[1, 0] -= beyond * 2 * h * stack.stiffness / r[0]
    bands[1, -1], bands[2, -2], right[-1] = 1, 0, stack.stress * h / r[-1]
    return np.asarray(solve_banded((1, 1), bands, right, check_finite=False))
