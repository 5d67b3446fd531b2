"""Level shifts in a row of readings, looked for afterwards: how many, where, how large, and how sure of the place.

levels(x, ...)     the segments of least cost, exact;   shifts(x, ...)   the steps between them with their places

For alarms while the machine runs take charts.cusum: a change point found afterwards knows what came later.
"""

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.measure.series import Floats, between, effective, phi_by_differences, row, sigma_by_differences

__all__ = ["Level", "Shift", "levels", "segments", "shifts"]


@dataclass(frozen=True, slots=True)
class Level:
    """Readings start (inclusive) to stop (exclusive) about one mean; se : of the mean."""

    start: int
    stop: int
    mean: float
    se: float


@dataclass(frozen=True, slots=True)
class Shift:
    """A step from one level to the next.

    place : first reading of the new level
    low, high : first and last place it may be at, with the asked confidence;  sure : probability of `place` itself
    size, se : of the step;  gain : twice the log likelihood it buys (compare with the penalty asked)
    """

    place: int
    low: int
    high: int
    sure: float
    size: float
    se: float
    gain: float


def segments(x: ArrayLike, penalty: float, least: int = 2) -> tuple[int, ...]:
    """First readings of all segments but the first, of least squared deviations + penalty x segments: exact.

    x : shape (n,);  penalty : in the unit of x squared;  least : readings in a segment
    Optimal partitioning with pruning (PELT; Killick, Fearnhead & Eckley 2012, from memory): near n steps when shifts
    are frequent, n^2 simple steps when there are none (10 000 readings: a second or two).
    """
    values = row("readings", x, 2)
    if least < 1 or 2 * least > len(values):
        raise BadValue("least", least, f"{len(values)} readings do not hold two such", "take a longer stretch")
    between("penalty", penalty, 0, math.inf)
    d = values - values.mean()
    total, square = np.concatenate(([0.0], np.cumsum(d))), np.concatenate(([0.0], np.cumsum(d * d)))
    n = len(values)
    best, before = np.full(n + 1, np.inf), np.zeros(n + 1, np.int64)
    best[0] = -penalty
    starts, last = np.zeros(1, np.int64), np.full(n + 1, n + least)
    for stop in range(least, n + 1):
        cost = square[stop] - square[starts] - (total[stop] - total[starts]) ** 2 / (stop - starts)
        reached = best[starts] + cost
        i = int(np.argmin(reached))
        best[stop], before[stop] = reached[i] + penalty, starts[i]
        # A start dearer now than a cut here never wins again, once a segment from here is long enough.
        worse = starts[reached > best[stop] + 1e-9 * penalty]
        last[worse] = np.minimum(last[worse], stop + least - 1)
        starts = starts[last[starts] > stop]
        starts = np.append(starts, stop + 1 - least) if stop + 1 >= 2 * least else starts
    return _traced(before, n)


def _traced(before: np.ndarray[tuple[int, ...], np.dtype[np.int64]], n: int) -> tuple[int, ...]:
    places = []
    while n > 0:
        n = int(before[n])
        places.append(n)
    return tuple(reversed(places[:-1]))


def _noise(x: Floats, sigma: float | None, phi: float | None) -> tuple[float, float]:
    """Sigma of a reading about its level, and phi, both from differences unless given."""
    known = phi_by_differences(x) if phi is None else between("phi", phi, -1, 1)
    known = max(0.0, known)
    if sigma is None:
        sigma = sigma_by_differences(x) / math.sqrt(1 - min(known, 0.98))
    if not sigma > 0:
        raise BadValue("readings", len(x), "half the readings or more repeat the one before", "look at the detector")
    return sigma, known


def levels(
    x: ArrayLike, sigma: float | None = None, phi: float | None = 0.0, penalty: float = 2.0, least: int = 2
) -> tuple[Level, ...]:
    """Stretches of one level.

    sigma : of a reading; None: by differences, which steps do not widen
    phi : lag-one correlation of readings about their level; None: by differences; widens the penalty and the errors
    penalty : times sigma^2 ln n for each shift (2: reference notes 1.5)
    """
    values = row("readings", x, 8)
    sigma, phi = _noise(values, sigma, phi)
    price = penalty * sigma**2 * (1 + phi) / (1 - phi) * math.log(len(values))
    edges = [0, *segments(values, price, least), len(values)]
    return tuple(_level(values, a, b, sigma, phi) for a, b in pairwise(edges))


def _level(x: Floats, start: int, stop: int, sigma: float, phi: float) -> Level:
    return Level(start, stop, float(x[start:stop].mean()), sigma / math.sqrt(effective(stop - start, phi)))


def shifts(
    x: ArrayLike, sigma: float | None = None, phi: float | None = 0.0, penalty: float = 2.0, least: int = 2,
    confidence: float = 0.95,
) -> tuple[Shift, ...]:  # fmt: skip
    """The steps between levels, with their places.

    Places: between its neighbours each place has the probability of its likelihood, flat before, sizes integrated
    out; low to high holds `confidence` of it.  Sizes are as found: the smallest that pass are found too large.
    """
    values = row("readings", x, 8)
    sigma, phi = _noise(values, sigma, phi)
    found = levels(values, sigma, phi, penalty, least)
    scale = sigma**2 * (1 + phi) / (1 - phi)
    between("confidence", confidence, 0, 1)
    return tuple(_shift(values, a, b, scale, confidence) for a, b in pairwise(found))


def _shift(x: Floats, a: Level, b: Level, scale: float, confidence: float) -> Shift:
    part = x[a.start : b.stop] - x[a.start : b.stop].mean()
    n, first = len(part), np.arange(1, len(part), dtype=np.float64)
    total = np.cumsum(part)[:-1]
    gain = total**2 * n / (first * (n - first)) / scale
    weight = gain / 2 - 0.5 * np.log(first * (n - first))
    chance = np.exp(weight - weight.max())
    chance /= chance.sum()
    place = b.start - a.start - 1
    low, high = _shortest(chance, place, confidence)
    base = a.start + 1
    size, se = b.mean - a.mean, math.hypot(a.se, b.se)
    return Shift(b.start, base + low, base + high, float(chance[place]), size, se, float(gain[place]))


def _shortest(chance: Floats, place: int, confidence: float) -> tuple[int, int]:
    """The most probable places until their sum is enough; first and last of them, and of `place`."""
    order = np.argsort(-chance, kind="stable")
    enough = int(np.searchsorted(np.cumsum(chance[order]), confidence)) + 1
    kept = order[:enough]
    return min(int(kept.min()), place), max(int(kept.max()), place)
