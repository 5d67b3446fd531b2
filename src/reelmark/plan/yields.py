"""The chance that a start gives enough: P(good >= wanted) where stage yields vary from batch to batch.

Of `start` sheets each survives with the product P of the stages' shares, so good | P is binomial.  For a binomial,
P(good >= wanted | P) = P(B <= P) with B ~ Beta(wanted, start - wanted + 1), so the chance asked for is

    P( -ln P - (-ln B) <= 0 )

a sum of independent log-Betas, whose characteristic function is known in closed form (ratios of gamma functions).
It is inverted by the half-step rule of Gil-Pelaez's integral, whose error falls faster than any power of the step
(J. Gil-Pelaez, Biometrika 38, 481, 1951; R. B. Davies, Biometrika 60, 415, 1973; from memory).  Where the Betas
multiply to one Beta the answer is a finite beta-binomial sum.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log, pi

import numpy as np
from numpy.typing import NDArray
from scipy.special import betainc, digamma, gammaln, loggamma, polygamma

from ..errors import BadValue
from ..plant import Spread
from .chain import chained, constant

__all__ = ["Chance", "chance", "mean_yield", "sd_yield"]

Reals = NDArray[np.float64]
EPS = float(np.finfo(np.float64).eps)
FAR = 45.0  # standard deviations, or lengths 1/alpha of the exponential tail of a log-Beta: exp(-45) there
SMALL = 1e-15  # of the characteristic function, where the integral may end
MOST_STEPS = 1 << 18
MOST_TERMS = 1 << 17  # of the exact sum
LARGE = 1e5  # from here on ratios of gamma functions by Stirling's series: no digits are lost in large logarithms


@dataclass(frozen=True, slots=True)
class Chance:
    """A probability, what it was got by, and the most it can be wrong by."""

    value: float
    error: float
    method: str


def mean_yield(spreads: Sequence[Spread]) -> float:
    """Mean of the product: product of the means, as the stages vary apart."""
    return float(np.prod([one.mean for one in spreads]))


def sd_yield(spreads: Sequence[Spread]) -> float:
    """Standard deviation of the product from batch to batch."""
    squares = float(np.prod([one.mean**2 + one.variance for one in spreads]))
    return float(np.sqrt(max(0.0, squares - mean_yield(spreads) ** 2)))


def chance(start: int, wanted: int, spreads: Sequence[Spread]) -> Chance:
    """P(good >= wanted) of `start` put in.  start, wanted : whole, 0 or above; spreads : a stage each, in any order."""
    if min(start, wanted) < 0:
        raise BadValue("start, wanted", (start, wanted), "counts are 0 or above", "correct the counts")
    if wanted == 0 or start < wanted:
        return Chance(float(wanted == 0), 0.0, "certain")
    betas, sure = chained(spreads), constant(spreads)
    if not betas:
        return Chance(float(betainc(wanted, start - wanted + 1, sure)), 1e-12, "binomial, exact")
    if len(betas) == 1 and sure == 1 and start - wanted < MOST_TERMS and start < LARGE:
        return _summed(start, wanted, *betas[0])
    return _inverted(start, wanted, betas, sure)


def _summed(n: int, wanted: int, alpha: float, beta: float) -> Chance:
    """The beta-binomial sum over good = wanted..n."""
    g = np.arange(wanted, n + 1, dtype=np.float64)
    logs = (
        gammaln(n + 1) - gammaln(g + 1) - gammaln(n - g + 1)
        + gammaln(g + alpha) + gammaln(n - g + beta) - gammaln(n + alpha + beta)
        + gammaln(alpha + beta) - gammaln(alpha) - gammaln(beta)
    )  # fmt: skip
    rounding = 8 * EPS * max(1.0, float(gammaln(n + alpha + beta)))
    return Chance(
        float(min(1.0, np.exp(logs).sum())),
        float(rounding),
        "beta-binomial sum, exact: the stages multiply to one Beta",
    )


def _inverted(n: int, wanted: int, betas: Sequence[tuple[float, float]], sure: float) -> Chance:
    """The integral.  Z = sum of -ln P_i - ln sure - (-ln B); its distribution function at 0."""
    a, b = (np.array(column, dtype=np.float64) for column in zip(*betas, strict=True))
    a0, b0 = float(wanted), float(n - wanted + 1)
    mean = float((digamma(a + b) - digamma(a)).sum() - (digamma(a0 + b0) - digamma(a0))) - log(sure)
    sd = float(np.sqrt((_variance(a, b)).sum() + _variance(a0, b0)))
    tail = 1 / float(a.min())  # where a yield is nearly sure, its rare bad batches reach far beyond its sd
    step = 2 * pi / (abs(mean) + FAR * max(sd, tail))

    def phi(t: Reals) -> NDArray[np.complex128]:
        logs = sum((_log_phi(x, y, t) for x, y in zip(a, b, strict=True)), _log_phi(a0, b0, -t))
        return np.asarray(np.exp(logs - 1j * t * log(sure)), np.complex128)

    many = _steps(phi, step)
    t: Reals = np.asarray((np.arange(many) + 0.5) * step, np.float64)
    terms = phi(t)
    value = 0.5 - float((terms.imag / t).sum()) * step / pi
    left = abs(terms[-1])  # where the steps ran out before it was as good as 0
    if many < MOST_STEPS:
        left /= pi * (b.sum() + b0)  # beyond the last step it falls as t to the power -sum of b
    rounding = 8 * EPS * (float(gammaln(min(LARGE, n + float(a.max())))) + t[-1] * log(n + float(a.max()))) + 1e-12
    return Chance(min(1.0, max(0.0, value)), float(left + rounding), "integral of the characteristic function")


def _variance(a: float | Reals, b: float | Reals) -> Reals:
    """Of the log of a Beta."""
    return np.asarray(polygamma(1, a) - polygamma(1, np.add(a, b)), np.float64)


def _log_phi(a: float, b: float, t: Reals) -> NDArray[np.complex128]:
    """Log of E[exp(i t Y)], Y = -ln Beta(a, b): E[X^s] = G(a + s) G(a + b) / (G(a) G(a + b + s)) at s = -it."""
    s = np.asarray(-1j * t, np.complex128)
    return np.asarray(_log_ratio(a, s) - _log_ratio(a + b, s), np.complex128)


def _log_ratio(a: float, s: NDArray[np.complex128]) -> NDArray[np.complex128]:
    """ln G(a + s) - ln G(a).  Series: NIST Digital Library of Mathematical Functions, 5.11.1, to its 1/z term."""
    if a < LARGE:
        return np.asarray(loggamma(a + s) - loggamma(a), np.complex128)
    main = (a - 0.5) * np.log1p(s / a) + s * np.log(a + s) - s
    return np.asarray(main - s / (12 * a * (a + s)), np.complex128)


def _steps(phi: Callable[[Reals], NDArray[np.complex128]], step: float) -> int:
    """Steps until the characteristic function is as good as 0, in powers of two."""
    many = 64
    while many < MOST_STEPS and abs(phi(np.array([many * step]))[0]) > SMALL:
        many *= 2
    return many
