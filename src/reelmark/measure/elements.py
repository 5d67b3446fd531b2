"""Which machine element turns as often as a wave comes; and what a slow reader would make of the wave instead.

elements(periods, speeds, circumferences)     candidates, nearest first
alias(period, sampling)                       the period scan means would show
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reelmark.errors import BadValue
from reelmark.measure.series import between

__all__ = ["Candidate", "alias", "elements"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """An element that may make a wave.

    expected : period it would give, circumference/(speed x order);  order : waves in one turn (2: oval, 3: ...)
    off : (period - expected)/expected
    """

    period: float
    name: str
    order: int
    expected: float
    off: float


def elements(
    periods: Sequence[float],
    speeds: float | Mapping[str, float],
    circumferences: Mapping[str, float],
    tolerance: float = 0.01,
    orders: int = 4,
) -> tuple[Candidate, ...]:
    """Elements whose turn, or a whole part of it, agrees with a wave's period.

    periods : s, above 0;  circumferences : m, by name;  speeds : m/s of the web at each name, or one for all
    tolerance : greatest |off|; 1 % for slip, wear of the surface and draw (common practice, no source)
    A candidate is a place to look, not proof: two rolls of one size cannot be told apart.  Moving parts: lock off.
    """
    between("tolerance", tolerance, 0, 1)
    found = []
    for period in periods:
        between("period", period, 0, math.inf, "s")
        for name, circumference in circumferences.items():
            turn = between("circumference", circumference, 0, math.inf, "m") / _speed(speeds, name)
            order = min(orders, max(1, round(turn / period)))
            off = period * order / turn - 1
            if abs(off) <= tolerance:
                found.append(Candidate(period, name, order, turn / order, off))
    place = {period: i for i, period in enumerate(periods)}
    return tuple(sorted(found, key=lambda one: (place[one.period], one.order, abs(one.off))))


def _speed(speeds: float | Mapping[str, float], name: str) -> float:
    if not isinstance(speeds, Mapping):
        return between("speed", speeds, 0, math.inf, "m/s")
    if name not in speeds:
        raise BadValue("speeds", name, "no speed of the web is given there", "give it, or one speed for all")
    return between("speed", speeds[name], 0, math.inf, "m/s")


def alias(period: float, sampling: float) -> float:
    """The period that a wave shows when sampled at even steps: itself above two steps, else folded; inf when locked.

    A 37 s wave in means of scans 22 s apart shows at 54.3 s (reference notes 1.4).
    """
    turns = between("sampling", sampling, 0, math.inf) / between("period", period, 0, math.inf)
    folded = abs(turns - round(turns))
    return sampling / folded if folded > 1e-12 else math.inf
