"""How many readings a chart runs before it signals, on average; and which limit gives the run length asked for.

shewhart(width, shift)   cusum(k, h, shift)   ewma(weight, width, shift)
shewhart_width(arl)      cusum_limit(k, arl)  ewma_width(weight, arl)
per_chart_arl(charts, points_per_week, false_alarms_per_week)

Readings are independent and normal, lengths in their sigma, charts two-sided and started at zero with limits of long
running.  A run length beyond 1e9 comes as infinite: the equations have no digits left there.  Integral equations
(Page 1954 for CUSUM, Crowder 1987 for EWMA, from memory) by Gauss-Legendre Nystroem.
"""

import math
from collections.abc import Callable
from functools import cache
from typing import Final

import numpy as np

from reelmark.errors import BadValue
from reelmark.measure.series import Floats, between

__all__ = [
    "LONGEST",
    "cusum",
    "cusum_limit",
    "cusum_one_sided",
    "ewma",
    "ewma_width",
    "per_chart_arl",
    "shewhart",
    "shewhart_width",
]

LONGEST: Final = 1e9  # beyond it the equations lose their digits: 1 - P(stay) is below 1e-9


def shewhart(width: float, shift: float = 0.0) -> float:
    """ARL of limits at +-width sigma; closed form.  0 < width < 7."""
    from scipy.special import ndtr

    between("width", width, 0, 7)
    return float(1 / (ndtr(-width - shift) + ndtr(shift - width)))


def cusum_one_sided(k: float, h: float, shift: float = 0.0) -> float:
    """ARL of one tabular sum from zero: L(s) = 1 + L(0) P(x <= k - s) + int_0^h L(y) phi(y - s + k - shift) dy.

    k >= 0, 0 < h < 60, in sigmas; shift along the sum's direction.
    """
    from scipy.special import ndtr

    between("k", k, -1e-300, 10)
    nodes, weights = _nodes(0.0, between("h", h, 0, 60))
    starts = np.concatenate(([0.0], nodes))
    step = np.empty((len(starts), len(starts)))
    step[:, 0] = ndtr(k - shift - starts)
    step[:, 1:] = weights * _density(nodes - starts[:, None] + k - shift)
    return _from_start(step)


def cusum(k: float, h: float, shift: float = 0.0) -> float:
    """ARL of the two-sided CUSUM: 1/L = 1/L+ + 1/L-, exact for equal sides from zero (Kemp 1961, from memory)."""
    rise = cusum_one_sided(k, h, shift)
    rate = 1 / rise + 1 / (cusum_one_sided(k, h, -shift) if shift else rise)
    return 1 / rate if rate > 0 else math.inf


def ewma(weight: float, width: float, shift: float = 0.0) -> float:
    """ARL of the EWMA with limits at +-width of its long-run sigma: L(u) = 1 + int L(y) f(y | u) dy from u = 0.

    .01 <= weight <= 1, 0 < width < 7.
    """
    if not 0.01 <= weight <= 1:
        raise BadValue("weight", weight, "it must lie between .01 and 1", "correct the weight")
    edge = between("width", width, 0, 7) * math.sqrt(weight / (2 - weight))
    nodes, weights = _nodes(-edge, edge, 2 * edge / weight)
    starts = np.concatenate(([0.0], nodes))
    step = np.zeros((len(starts), len(starts)))
    away = (nodes - (1 - weight) * starts[:, None]) / weight - shift
    step[:, 1:] = weights / weight * _density(away)
    return _from_start(step)


def _nodes(low: float, high: float, reach: float | None = None) -> tuple[Floats, Floats]:
    """Gauss-Legendre nodes, 20 to each panel of 2.5 sigmas of the kernel or less; reach : high - low in its sigmas."""
    panels = max(3, math.ceil((high - low if reach is None else reach) / 2.5))
    nodes, weights = _legendre()
    half = (high - low) / (2 * panels)
    middles = low + half * (2 * np.arange(panels) + 1)
    return (middles[:, None] + half * nodes).ravel(), np.tile(half * weights, panels)


@cache
def _legendre() -> tuple[Floats, Floats]:
    nodes, weights = np.polynomial.legendre.leggauss(20)
    return nodes, weights


def _density(z: Floats) -> Floats:
    return np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)


def _from_start(step: Floats) -> float:
    """L of the first state, of L = 1 + step L."""
    size = len(step)
    length = float(np.linalg.solve(np.eye(size) - step, np.ones(size))[0])
    return length if 0 < length < LONGEST else math.inf


def shewhart_width(arl: float) -> float:
    """Width of limits, in sigmas, with this ARL on good readings: closed form.  1 < arl <= 1e9."""
    from scipy.special import ndtri

    return float(-ndtri(0.5 / _asked(arl)))


def cusum_limit(k: float, arl: float) -> float:
    """h, in sigmas, of the two-sided CUSUM with this ARL on good readings.  k > 0, 5 <= arl <= 1e8."""
    between("k", k, 0, 3)
    # Each step of h by 1/(2k) multiplies the run length by about e: Siegmund's approximation brackets the answer.
    return _inverse(lambda h: cusum(k, h), arl, 1e-3, min(59.0, math.log(4 * arl) / (2 * k) + 2))


def ewma_width(weight: float, arl: float) -> float:
    """Width, in long-run sigmas, of the EWMA with this ARL on good readings.  5 <= arl <= 1e8."""
    return _inverse(lambda width: ewma(weight, width), arl, 0.05, shewhart_width(2 * _asked(arl)))


def _asked(arl: float, longest: float = LONGEST) -> float:
    return between("run length", arl, 1, longest * (1 + 1e-12))


def _inverse(length: Callable[[float], float], arl: float, low: float, high: float) -> float:
    from scipy.optimize import brentq

    if not 5 <= arl <= LONGEST / 10:
        raise BadValue("run length", arl, f"it must lie between 5 and {LONGEST / 10:g}", "ask for another rate")

    def off(limit: float) -> float:
        return math.log(min(length(limit), 10 * LONGEST) / arl)

    if off(high) < 0:
        raise BadValue(
            "run length", arl, f"limits up to {high:.3g} do not reach it", "take a larger k or a shorter run"
        )
    return float(brentq(off, low, high, xtol=1e-10))


def per_chart_arl(charts: int, points_per_week: float, false_alarms_per_week: float = 1.0) -> float:
    """ARL each of so many charts must have, that all together give no more false alarms a week than asked for.

    charts : lanes x rules that are watched;  points_per_week : of each chart
    charts x points / false alarms: expected numbers add whether or not the charts are independent.
    """
    if charts < 1:
        raise BadValue("charts", charts, "at least one chart is watched", "count lanes times rules")
    rate = between("false alarms a week", false_alarms_per_week, 0, math.inf)
    arl = charts * between("points a week", points_per_week, 0, math.inf) / rate
    if arl <= 1:
        raise BadValue("false alarms a week", rate, "so many are more than the points drawn", "ask for fewer")
    return arl
