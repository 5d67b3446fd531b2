"""The bubble as a membrane: pressure, pull and volume.

    dp / h = s1 / R1 + s3 / R3                          across the wall (Young and Laplace)
    F_z = 2 pi r h s1 cos(th) + pi dp (r_f^2 - r^2)     along the axis

s1, s3 stress along and around, r_f the radius at the freeze line, th the slope of the wall.  SI.  Valid for h << r,
without bending, weight or inertia; here for the cylinder above the draw zone.  Source: balance of forces.
"""

from dataclasses import dataclass
from math import expm1, log, pi

from reelmark.errors import BadValue
from reelmark.measure.given import within

__all__ = ["Pull", "Volume", "dwell", "hoop_stress", "pressure_for", "pull", "sphere_stress", "volume"]

THIN = 0.05  # h / r beyond which a membrane is no good picture; common practice, no source


@dataclass(frozen=True, slots=True)
class Pull:
    """Along the axis, N: in the wall; by the pressure on the closed end, pi r^2 dp; by the haul-off, the difference."""

    wall: float
    end: float
    haul_off: float


@dataclass(frozen=True, slots=True)
class Volume:
    """m3: the cone of the draw zone, and the cylinder above it."""

    cone: float
    cylinder: float

    @property
    def total(self) -> float:
        return self.cone + self.cylinder


def hoop_stress(pressure: float, radius: float, gauge: float) -> float:
    """Stress around a cylinder, dp r / h, in Pa.  BadValue for a wall that is not thin."""
    return pressure * _thin(radius, gauge) / gauge


def sphere_stress(pressure: float, radius: float, gauge: float) -> float:
    """Stress in a sphere, half of the cylinder's."""
    return hoop_stress(pressure, radius, gauge) / 2


def pressure_for(stress: float, radius: float, gauge: float) -> float:
    """Pressure over the room, Pa, that holds this stress around a cylinder.  The air volume is what one sets."""
    return within("draw_stress", stress, 1e4, 1e9, "Pa") * gauge / _thin(radius, gauge)


def pull(stress: float, radius: float, gauge: float, pressure: float) -> Pull:
    """The pull along the axis for this stress along the film, on the cylinder, where r = r_f and th = 0."""
    wall = 2 * pi * _thin(radius, gauge) * gauge * within("draw_stress", stress, 1e4, 1e9, "Pa")
    end = pi * radius**2 * pressure
    return Pull(wall, end, wall - end)


def volume(tube_radius: float, radius: float, draw_length: float, hold_length: float) -> Volume:
    """Air in the bubble: a straight cone over the draw zone and a cylinder from the freeze line to the nip."""
    for name, length in (("draw_length", draw_length), ("hold_length", hold_length)):
        within(name, length, 0, 100, "m")
    cone = pi * draw_length * (tube_radius**2 + tube_radius * radius + radius**2) / 3
    return Volume(cone, pi * radius**2 * hold_length)


def dwell(length: float, enters: float, leaves: float) -> float:
    """Seconds on a path whose speed changes straight with its length: L ln(v/v0) / (v - v0), or L/v where it keeps."""
    within("length", length, 0, 1e4, "m")
    for name, speed in (("enters", enters), ("leaves", leaves)):
        within(name, speed, 1e-6, 100, "m/s")
    x = log(leaves / enters)
    return length / enters * (x / expm1(x) if x else 1.0)


def _thin(radius: float, gauge: float) -> float:
    within("gauge", gauge, 1e-7, 1e-2, "m")
    within("radius", radius, 1e-3, 20, "m")
    if gauge > THIN * radius:
        true = f"the wall is {gauge / radius:.3g} of the radius, and a membrane is below {THIN:g}"
        raise BadValue("gauge", gauge, true, "take a thick-walled model")
    return radius
