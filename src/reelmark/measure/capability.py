"""Whether a process fits its tolerance, and how far a short stretch can tell: Cp, Cpk, tolerance factors.

Readings are independent and normal and the process is on a control chart that is quiet: otherwise the figures say
nothing of tomorrow.  Correlated readings: hand in the effective number (series.effective), not the count.
Check values: reference notes 2.2.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from reelmark.errors import BadValue
from reelmark.measure.series import between

__all__ = [
    "Capability",
    "capability",
    "cpk_lower",
    "least_extremes",
    "least_largest",
    "one_sided_factor",
    "one_sided_factor_approximate",
    "two_sided_factor",
]


@dataclass(frozen=True, slots=True)
class Capability:
    """cp : nan with one limit only; cpl, cpu : nan where their limit is none; cpk : the lesser

    cp_low, cp_high : exact chi2 interval;  cpk_low, cpk_high : Bissell's two-sided interval
    cpk_exact : exact one-sided lower bound at the same level, by the non-central t, on the nearer limit
    outside : estimated share beyond the limits, normal
    """

    cp: float
    cpl: float
    cpu: float
    cpk: float
    cp_low: float
    cp_high: float
    cpk_low: float
    cpk_high: float
    cpk_exact: float
    outside: float
    n: float
    level: float


def capability(
    mean: float, sigma: float, n: float, lower: float | None = None, upper: float | None = None, level: float = 0.95
) -> Capability:
    """Cp and Cpk of a process seen in n independent readings.

    sigma : the sd on n - 1 degrees of freedom;  n > 2, may be an effective number;  lower, upper : one or both
    Cpk = min(upper - mean, mean - lower)/(3 sigma); Bissell 1990 (from memory): se^2 = 1/(9n) + Cpk^2/(2(n - 1)).
    """
    from scipy.special import chdtri, ndtr, ndtri

    _limits(lower, upper)
    between("sigma", sigma, 0, math.inf)
    df = between("n", n, 2, math.inf) - 1
    cpu = math.nan if upper is None else (upper - mean) / (3 * sigma)
    cpl = math.nan if lower is None else (mean - lower) / (3 * sigma)
    sides = [one for one in (cpl, cpu) if not math.isnan(one)]
    cp, cpk = sum(sides) / 2 if len(sides) == 2 else math.nan, min(sides)
    tail = (1 - between("level", level, 0, 1)) / 2
    half = -float(ndtri(tail)) * _bissell(cpk, n)
    low, high = (cp * math.sqrt(float(chdtri(df, p)) / df) for p in (1 - tail, tail))
    beyond = sum(float(ndtr(-3 * one)) for one in sides)
    return Capability(cp, cpl, cpu, cpk, low, high, cpk - half, cpk + half, cpk_lower(cpk, n, level), beyond, n, level)


def _limits(lower: float | None, upper: float | None) -> None:
    if lower is None and upper is None:
        raise BadValue("limits", None, "no limit is given", "give lower, upper or both")
    if lower is not None and upper is not None and not lower < upper:
        raise BadValue("limits", (lower, upper), "the lower limit is not below the upper", "exchange them")


def _bissell(cpk: float, n: float) -> float:
    return math.sqrt(1 / (9 * n) + cpk**2 / (2 * (n - 1)))


def cpk_lower(cpk: float, n: float, level: float = 0.95, exact: bool = True) -> float:
    """One-sided lower bound of a Cpk seen in n readings.

    exact : non-central t on the nearer limit (3 sqrt(n) Cpk is its t; -1 < Cpk < 10, 2 < n < 1e5; Bissell beyond);
    else Bissell's normal approximation.  Cpk 1.33, n 50, 95 %: 1.093 exact, 1.096 Bissell (reference notes 2.2).
    """
    from scipy.special import ndtri

    between("n", n, 2, math.inf)
    approximate = cpk - float(ndtri(between("level", level, 0, 1))) * _bissell(cpk, n)
    if not exact or n > 1e5 or not -1 < cpk < 10:
        return approximate
    from scipy.stats import nct

    t, root, reach = 3 * math.sqrt(n) * cpk, math.sqrt(n), 6 * _bissell(cpk, n) + 0.1
    return _root(lambda c: float(nct.sf(t, n - 1, 3 * root * c)) - (1 - level), cpk - reach, cpk + reach)


def one_sided_factor(n: int, share: float, confidence: float) -> float:
    """k with mean + k sd above `share` of all with the confidence: exact, t'_(n-1)(z sqrt n)/sqrt n.  n >= 2."""
    from scipy.special import ndtri
    from scipy.stats import nct

    _asked(n, share, confidence)
    return float(nct.ppf(confidence, n - 1, float(ndtri(share)) * math.sqrt(n))) / math.sqrt(n)


def one_sided_factor_approximate(n: int, share: float, confidence: float) -> float:
    """Natrella's closed form of one_sided_factor, as the handbook prints it; needs z_confidence^2 < 2(n - 1)."""
    from scipy.special import ndtri

    _asked(n, share, confidence)
    z, c = float(ndtri(share)), float(ndtri(confidence))
    a, b = 1 - c**2 / (2 * (n - 1)), z**2 - c**2 / n
    if a <= 0:
        raise BadValue("n", n, "too few readings for the approximation", "use the exact factor")
    return (z + math.sqrt(z**2 - a * b)) / a


def two_sided_factor(n: int, share: float, confidence: float) -> float:
    """k with mean +- k sd about `share` of all with the confidence: Howe 1969 (from memory), within 1 % from n = 10."""
    from scipy.special import chdtri, ndtri

    _asked(n, share, confidence)
    z = float(ndtri((1 + share) / 2))
    return z * math.sqrt((n - 1) * (1 + 1 / n) / float(chdtri(n - 1, confidence)))


def _asked(n: int, share: float, confidence: float) -> None:
    between("n", n, 1, math.inf)
    between("share", share, 0, 1)
    between("confidence", confidence, 0, 1)


def least_largest(share: float, confidence: float) -> int:
    """Fewest readings of which the largest lies above `share` of all, whatever the distribution: 1 - share^n."""
    _asked(2, share, confidence)
    return math.ceil(math.log(1 - confidence) / math.log(share) - 1e-9)


@cache
def least_extremes(share: float, confidence: float) -> int:
    """Fewest readings whose smallest and largest hold `share` of all: 1 - n share^(n-1) + (n-1) share^n."""
    n = least_largest(share, confidence)
    while 1 - n * share ** (n - 1) + (n - 1) * share**n < confidence:
        n += 1
    return n


def _root(f: Callable[[float], float], low: float, high: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(f, low, high, xtol=1e-12))
