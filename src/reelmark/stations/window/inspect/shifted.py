"""How far a window lies from its place, and how far one of its passes lies from the others.

A pass off by d makes the step on one side of the window one of two parts: a share a of it comes d later than the rest.
The mean of that profile lies s = a d further in and its variance is v = a (1 - a) d2 larger (a two-point distribution),
on the other side the window loses next to nothing, for there all other passes cover it.  So the size falls by s, and

    a = 1 / (1 + v / s2)        d = s + v / s

without the pass's transmission being known.  On the other side a share b of the step, a t^(n-1) of n passes of
transmission t, goes out by d, which makes the size fall by (a - b) d: of five passes of 0.6 d comes out 3 % too large.
An edge fitted to that profile does not say its mean and variance where d is over two of its spreads: what it says is
worked out by fitting steps of two parts, whose d is known, and the closed form is multiplied by what it misses there.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from reelmark.stations.window.inspect.edges import fit_edges
from reelmark.stations.window.inspect.looked import Floats
from reelmark.stations.window.inspect.model import finite, robust
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.windows import Seen

__all__ = ["Sides", "beyond", "over_place", "pass_off", "pass_way", "sides_of"]

_HALVES = 0.243  # a (1 - a) of a from 0.38 to 0.5: 0.236 to 0.25


def over_place(seen: Seen, good: NDArray[np.bool_], pixel: float, settings: LookSettings) -> Floats:
    """(n,) how far from its place over the limit, the larger way; NaN where it is not measured.

    good : those that tell the spread.  A frame of fewer than `shift_many` says 0 of all: its lattice goes with them.
    """
    off = np.abs(seen.off)
    fit = good & np.isfinite(off).all(axis=1)
    many = int(fit.sum())
    if many < settings.shift_many:
        return np.zeros(len(off))
    half, sd = robust(seen.off[fit])
    more = np.quantile(np.abs(seen.off[fit] - half), 0.8, axis=0) / 1.2816  # rows or lanes may lie two ways
    few = (1 + 6 / many) * sqrt(many / (many - 3))  # three figures of the lattice each way were fitted to them
    limit = np.maximum(settings.shift_sd * np.maximum(sd, more) * few, settings.shift_floor_mm / pixel)
    return np.asarray((off / limit).max(axis=1))


def pass_off(fall: float, var: float, fall_noise: float, var_noise: float) -> float:
    """Px, one way; 0 where neither is seen.  fall : px by which the size is less;  var : px2 by which a side has more

    Where the size is within its noise, or says a share under 0.2, which no pass has, from the variance alone: with
    half of the step in that pass or not far from it.
    """
    if fall <= fall_noise or var > 4 * fall * fall:
        return sqrt(var / _HALVES) if var > var_noise else 0.0
    return fall + max(var, 0.0) / fall


@dataclass(frozen=True, slots=True)
class Sides:
    """What a pass that is off has done each way.  fall : (2,) px that the size is too small by;  sign : (2,) of its way

    var : (2,) px2 that the wider side has too much;  unlike : whether opposite sides are, either way
    """

    fall: Floats
    var: Floats
    sign: Floats
    unlike: bool


def sides_of(fall: Floats, more: Floats, var_noise: float) -> Sides:
    """fall : (2,);  more : (4,) px2 over what is usual.

    A pass covers the window from the side whose edge is wider, the left one if it lies to the right.  Where opposite
    sides are alike one way and unlike the other, the pass went the other; what the size is less the first way is not
    that pass's and is taken off the second; nor is it the pass's that the narrower side is narrower than usual.
    """
    fall, pair = finite(fall, np.zeros(2)), finite(more, np.zeros(4)).reshape(2, 2)
    unlike = np.abs(pair[:, 0] - pair[:, 1]) > 1.3 * var_noise
    var = pair.max(axis=1) - np.minimum(pair.min(axis=1), 0.0)
    if unlike.sum() == 1:
        fall = np.where(unlike, fall - max(float(fall[~unlike][0]), 0.0), 0.0)
        var = np.where(unlike, var, 0.0)
    return Sides(fall, var, np.where(pair[:, 0] >= pair[:, 1], 1.0, -1.0), bool(unlike.any()))


def pass_way(sides: Sides, fall_noise: Floats, var_noise: float, spread: float, reach: int) -> tuple[float, float]:
    """(across, along), px, of the pass against the others.  spread, reach : of the model"""
    d = [
        pass_off(one, var, noise, var_noise) * _fitted(one, var, spread, reach)
        for one, var, noise in zip(sides.fall.tolist(), sides.var.tolist(), fall_noise.tolist(), strict=True)
    ]
    return d[0] * float(sides.sign[0]), d[1] * float(sides.sign[1])


def _fitted(fall: float, var: float, spread: float, reach: int) -> float:
    """What the closed form is to be multiplied by, as one edge fitted to a step in two parts says other figures."""
    falls, vars_, true = _fits(round(spread, 2), reach)
    near = ((falls - fall) / spread) ** 2 + ((np.sqrt(vars_) - sqrt(max(var, 0.0))) / spread) ** 2
    return float(true[near.argmin()])


@lru_cache(maxsize=8)
def _fits(spread: float, reach: int) -> tuple[Floats, Floats, Floats]:
    """(fall, variance, d over the closed form) of edges fitted to steps in two parts, a from 0.25 to 0.7."""
    from scipy.special import ndtr

    a, d = (one.ravel() for one in np.meshgrid(np.linspace(0.25, 0.7, 10), np.linspace(0.3 * spread, 0.9 * reach, 40)))
    k = np.arange(-reach, reach + 1.0)
    first = (k + 0.5 * (a * d)[:, None]) / spread  # about the middle, as a window is read: half of the fall inwards
    edges = fit_edges(100 * ((1 - a)[:, None] * ndtr(first) + a[:, None] * ndtr(first - d[:, None] / spread)), spread)
    fall, var = edges.place + 0.5 * a * d, edges.var - spread**2
    good = (fall > 0.05 * d) & (var > 0) & (fall < d)
    return fall[good], var[good], d[good] / (fall + var / np.where(fall > 0, fall, 1))[good]


def beyond(off: Floats, way: tuple[float, float], room: float) -> bool:
    """Whether a window's middle lies further off than its pass alone takes it: half of that pass's way, and `room`."""
    return hypot(*off.tolist()) > 0.6 * hypot(*way) + room
