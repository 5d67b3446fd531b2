"""The roll: any five of its measures that settle it, and the rest.

    pi/4 (D^2 - d^2) = L t (1 + air)       N = (D - d) / (2 t (1 + air))       L = pi N (D + d) / 2
    m = rho w t L = G w L       G = rho t       I = pi rho w (D^4 - d^4) / (32 (1 + air)) = m (D^2 + d^2) / 8

L length, D and d diameters outside and of the core, t gauge, N laps, m mass of film, w width, G mass per area, I moment
of inertia of the film about its axis.  air is air over film by volume, 0 unless given.  SI.  Core and shaft are not in
m and I.  Valid for an even web.  Source: geometry; the second form of L is the mean way round times the laps.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from math import asinh, hypot, isfinite, pi, sinh, sqrt
from typing import Final

from reelmark.errors import BadValue
from reelmark.measure.given import within

__all__ = ["Roll", "concentric_length", "mass_tolerance", "roll"]

BOUNDS: Final = {
    "length": (0.1, 1e6, "m"),
    "diameter": (0.01, 5, "m"),
    "core": (0.005, 3, "m"),
    "gauge": (1e-6, 1e-3, "m"),
    "laps": (1, 1e6, ""),
    "width": (1e-3, 20, "m"),
    "density": (300, 3000, "kg/m3"),
    "grammage": (1e-3, 3, "kg/m2"),
    "mass": (1e-4, 1e5, "kg"),
    "inertia": (1e-9, 1e6, "kg m2"),
}


@dataclass(frozen=True, slots=True)
class Roll:
    """One roll, all of it known.  SI; laps need not be whole.  Hurts: a roll of 1.5 t is not stopped by hand."""

    length: float
    diameter: float
    core: float
    gauge: float
    laps: float
    width: float
    density: float
    grammage: float
    mass: float
    inertia: float
    air: float

    @property
    def pitch(self) -> float:
        """Radius that one lap adds."""
        return self.gauge * (1 + self.air)

    def diameter_at(self, metre: float) -> float:
        """Diameter when so many metres are wound, from the core on."""
        return sqrt(4 * within("metre", metre, 0, self.length, "m") * self.pitch / pi + self.core**2)

    def lap_at(self, metre: float) -> float:
        """Laps below that metre."""
        return (self.diameter_at(metre) - self.core) / (2 * self.pitch)

    def metre_at(self, lap: float) -> float:
        """Metres below that lap."""
        return pi * within("lap", lap, 0, self.laps, "") * (self.core + lap * self.pitch)

    def energy(self, speed: float) -> float:
        """J in its turning when its surface runs at this speed, m/s."""
        return self.inertia * (2 * within("speed", speed, 0, 50, "m/s") / self.diameter) ** 2 / 2


def roll(air: float = 0.0, **given: float) -> Roll:
    """The roll settled by five of length, diameter, core, gauge, laps, width, density, grammage, mass, inertia.

    BadValue for too few, too many, five that hang together (gauge, density, grammage), an impossible or unlikely size.

    >>> round(roll(length=8000, core=0.1524, gauge=75e-6, density=905, width=2.8).diameter, 5)
    0.88723
    """
    within("air", air, 0.0, 0.5, "as a share of 1")
    for name, value in given.items():
        if name not in BOUNDS:
            raise BadValue("roll", name, "a roll has no such measure here", f"take of {', '.join(BOUNDS)}")
        within(name, value, *BOUNDS[name])
    if len(given) > 5:
        true = f"five measures settle a roll and {len(given)} are given"
        raise BadValue("roll", ", ".join(given), true, "leave out those you trust least")
    return _whole(_fill(dict(given), air), air, given)


def concentric_length(laps: int, core: float, pitch: float) -> float:
    """Length of whole laps as closed rings, each measured at its middle: another way to L."""
    return pi * laps * (core + laps * pitch)


def mass_tolerance(**relative: float) -> float:
    """Relative tolerance of m = rho w t L: root sum square of those of length, width, density and gauge."""
    for name, value in relative.items():
        if name not in ("length", "width", "density", "gauge"):
            raise BadValue("tolerance", name, "mass does not depend on it here", "take length, width, density, gauge")
        within(name, value, 0.0, 0.5, "as a share of 1")
    return hypot(*relative.values())


# Measures that hang together as products: the powers that multiply to the constant.  Helpers: sum and gap of the
# diameters, ring = D^2 - d^2, bulk = D^2 + d^2,
# fourth = D^4 - d^4, third = sum * bulk, pitch = t (1 + air), solid = rho w / (1 + air).
def _products(air: float) -> tuple[tuple[dict[str, int], float], ...]:
    return (
        ({"pitch": 1, "gauge": -1}, 1 + air),
        ({"solid": 1, "density": -1, "width": -1}, 1 / (1 + air)),
        ({"ring": 1, "sum": -1, "gap": -1}, 1.0),
        ({"length": 1, "pitch": 1, "ring": -1}, pi / 4),
        ({"laps": 1, "pitch": 1, "gap": -1}, 0.5),
        ({"length": 1, "laps": -1, "sum": -1}, pi / 2),
        ({"grammage": 1, "density": -1, "gauge": -1}, 1.0),
        ({"mass": 1, "grammage": -1, "width": -1, "length": -1}, 1.0),
        ({"mass": 1, "solid": -1, "ring": -1}, pi / 4),
        ({"inertia": 1, "mass": -1, "bulk": -1}, 1 / 8),
        ({"inertia": 1, "solid": -1, "fourth": -1}, pi / 32),
        ({"fourth": 1, "ring": -1, "bulk": -1}, 1.0),
        ({"third": 1, "sum": -1, "bulk": -1}, 1.0),
        ({"inertia": 1, "grammage": -1, "width": -1, "laps": -1, "third": -1}, pi / 16),
    )


# The rest: what, from which two, how.
SUMS: Final[tuple[tuple[str, tuple[str, str], Callable[[float, float], float]], ...]] = (
    ("sum", ("diameter", "core"), lambda D, d: D + d),
    ("gap", ("diameter", "core"), lambda D, d: D - d),
    ("diameter", ("sum", "gap"), lambda s, g: (s + g) / 2),
    ("core", ("sum", "gap"), lambda s, g: (s - g) / 2),
    ("core", ("sum", "diameter"), lambda s, D: s - D),
    ("diameter", ("sum", "core"), lambda s, d: s - d),
    ("core", ("gap", "diameter"), lambda g, D: D - g),
    ("diameter", ("gap", "core"), lambda g, d: g + d),
    ("core", ("ring", "diameter"), lambda a, D: _root(D * D - a)),
    ("diameter", ("ring", "core"), lambda a, d: _root(d * d + a)),
    ("core", ("bulk", "diameter"), lambda b, D: _root(b - D * D)),
    ("diameter", ("bulk", "core"), lambda b, d: _root(b - d * d)),
    ("bulk", ("diameter", "core"), lambda D, d: D * D + d * d),
    ("sum", ("bulk", "gap"), lambda b, g: _root(2 * b - g * g)),
    ("gap", ("bulk", "sum"), lambda b, s: _root(2 * b - s * s)),
    ("diameter", ("bulk", "ring"), lambda b, a: _root((b + a) / 2)),
    ("diameter", ("fourth", "core"), lambda f, d: _root(_root(f + d**4))),
    ("core", ("fourth", "diameter"), lambda f, D: _root(_root(D**4 - f))),
    ("gap", ("fourth", "sum"), lambda f, s: _cubic(s * s, 2 * f / s)),
    ("sum", ("fourth", "gap"), lambda f, g: _cubic(g * g, 2 * f / g)),
    ("diameter", ("third", "core"), lambda c, d: _other(c, d)),
    ("core", ("third", "diameter"), lambda c, D: _other(c, D)),
)


def _root(square: float) -> float:
    return sqrt(square) if square >= 0 else float("nan")


def _cubic(p: float, q: float) -> float:
    """The one real x of x^3 + p x = q, for p > 0."""
    return 2 * sqrt(p / 3) * sinh(asinh(1.5 * q / p * sqrt(3 / p)) / 3)


def _other(third: float, one: float) -> float:
    """The x of (x + one) (x^2 + one^2) = third: with y = x + one/3 a cubic without its square."""
    return _cubic(2 * one**2 / 3, third - 20 * one**3 / 27) - one / 3


def _fill(known: dict[str, float], air: float) -> dict[str, float]:
    """Every measure and helper that follows from those known, one equation with one unknown after the other."""
    before = -1
    while before < len(known):
        before = len(known)
        for powers, constant in _products(air):
            _product(known, powers, constant)
        for name, (a, b), how in SUMS:
            if name not in known and a in known and b in known:
                known[name] = how(known[a], known[b])
    return known


def _product(known: dict[str, float], powers: dict[str, int], constant: float) -> None:
    open_ = [name for name in powers if name not in known]
    if len(open_) != 1:
        return
    value = constant
    for name, power in powers.items():
        if name != open_[0]:
            value /= known[name] ** power if known[name] else float("nan")
    known[open_[0]] = value if powers[open_[0]] == 1 else 1 / value if value else float("nan")


def _whole(known: dict[str, float], air: float, given: Iterable[str]) -> Roll:
    names = [f.name for f in fields(Roll) if f.name != "air"]
    lost = [name for name in names if name not in known]
    if lost:
        true = f"they leave {', '.join(lost)} open"
        cure = "give five that do not hang together: say length, core, gauge, width, density"
        raise BadValue("roll", ", ".join(given) or "nothing given", true, cure)
    if not all(isfinite(known[name]) and known[name] > 0 for name in names) or known["gap"] <= 0:
        true = "no roll has these measures: its core would be none, or above its outside"
        raise BadValue("roll", ", ".join(given), true, "look at the diameters and at the units")
    for name in names:
        within(name, known[name], *BOUNDS[name])
    return Roll(air=air, **{name: float(known[name]) for name in names})
