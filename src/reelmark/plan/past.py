"""Beta-binomial fit of a stage's past batches: what share came out good, and how it varies from batch to batch.

Maximum likelihood over (logit of the mean, log of the concentration), intervals from the observed information in those
two.  Where the batches vary no more than chance within a batch explains, the concentration has no finite maximum: it is
then given as infinite, every batch alike.
"""

from dataclasses import dataclass
from math import exp, inf, log
from statistics import NormalDist
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import betaincinv, betaln, expit, xlog1py, xlogy

from ..errors import BadValue
from ..plant import LEAST_CONCENTRATION, LEAST_MEAN, PastRuns, Spread

__all__ = ["Fit", "fit"]

Reals = NDArray[np.float64]
FEWEST = 3  # batches: two parameters and something to see them by
ALIKE = 1e7  # a concentration beyond it is no spread that any shop could see
FINE: Final[Any] = {"xatol": 1e-7, "fatol": 1e-9, "maxiter": 4000}
STEP = 1e-3  # of the second differences, in logit and log


@dataclass(frozen=True, slots=True)
class Fit:
    """A stage's spread out of so many past batches; intervals at `level`, None where there is nothing to tell from."""

    name: str
    batches: int
    spread: Spread
    mean_interval: tuple[float, float] | None
    concentration_interval: tuple[float, float] | None
    level: float
    log_likelihood: float
    last_shares: tuple[float, ...]


def fit(runs: PastRuns, level: float = 0.95) -> Fit:
    """The fit.  runs : 3 batches or more, 0 <= good <= tried, not all of them perfect."""
    from scipy.optimize import minimize  # a third of a second to load

    tried, good = _checked(runs)
    mean = (good.sum() + 0.5) / (tried.sum() + 1.0)
    begin = np.array([np.log(mean / (1 - mean)), log(_first_concentration(tried, good))])
    found = minimize(_against, begin, args=(tried, good), method="Nelder-Mead", options=FINE)
    where, spread_of = (float(found.x[0]), float(found.x[1])), float(found.x[1])
    plain = _binomial(tried, good)
    if exp(min(spread_of, 50.0)) > ALIKE or -found.fun <= plain + 1e-7:
        share = Spread(float(good.sum() / tried.sum()))
        between = _alike_interval(float(tried.sum()), float(good.sum()), level)
        return Fit(runs.name, len(tried), share, between, None, level, plain, _last(tried, good))
    means, concentrations = _intervals(tried, good, where, level)
    best = Spread(max(LEAST_MEAN, float(expit(where[0]))), max(LEAST_CONCENTRATION, exp(where[1])))
    return Fit(
        runs.name, len(tried), best, means, concentrations, level, -float(found.fun), _last(tried, good)
    )  # fmt: skip


def _checked(runs: PastRuns) -> tuple[Reals, Reals]:
    tried, good = np.array(runs.tried, np.float64), np.array(runs.good, np.float64)
    field = f"{runs.name}: tried, good"
    if tried.size != good.size:
        raise BadValue(field, (tried.size, good.size), "each batch has one of both", "give as many of one as of both")
    bad = np.flatnonzero((tried < 1) | (good < 0) | (good > tried))
    if bad.size:
        at = int(bad[0])
        true = "of 1 or more tried, 0 up to all can be good"
        raise BadValue(f"{runs.name}: batch {at + 1}", (runs.tried[at], runs.good[at]), true, "correct the batch")
    if tried.size < FEWEST:
        cure = "give more batches, or the mean and concentration yourself"
        raise BadValue(field, int(tried.size), f"{FEWEST} batches are the fewest that show a spread", cure)
    if good.sum() == 0:
        raise BadValue(f"{runs.name}: good", 0, "nothing ever came out good", "correct the batches")
    return tried, good


def _log_likelihood(tried: Reals, good: Reals, logit: float, log_concentration: float) -> float:
    """Up to the binomial coefficients, which do not depend on the parameters."""
    total = exp(min(log_concentration, 40.0))
    a, b = max(float(expit(logit)), 1e-300) * total, max(float(expit(-logit)), 1e-300) * total
    return float((betaln(good + a, tried - good + b) - betaln(a, b)).sum())


def _against(at: Reals, tried: Reals, good: Reals) -> float:
    return -_log_likelihood(tried, good, float(at[0]), float(at[1]))


def _binomial(tried: Reals, good: Reals) -> float:
    share = float(good.sum() / tried.sum())
    return float((xlogy(good, share) + xlog1py(tried - good, -share)).sum())


def _alike_interval(tried: float, good: float, level: float) -> tuple[float, float]:
    """Of a share that does not vary: C. J. Clopper, E. S. Pearson, Biometrika 26, 404, 1934 (from memory)."""
    low = float(betaincinv(good, tried - good + 1, (1 - level) / 2))
    return low, float(betaincinv(good + 1, tried - good, (1 + level) / 2)) if good < tried else 1.0


def _first_concentration(tried: Reals, good: Reals) -> float:
    """From the variance of the shares, a start for the search."""
    share = good / tried
    mean, seen = float(share.mean()), float(share.var())
    within = mean * (1 - mean) / float(tried.mean())
    return float(np.clip(mean * (1 - mean) / max(seen - within, 1e-9), 2.0, 1e5))


def _intervals(
    tried: Reals, good: Reals, at: tuple[float, float], level: float
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """Of the mean and of the concentration, symmetric in logit and log."""
    information = -_second(tried, good, at)
    if np.linalg.det(information) <= 0 or information[0, 0] <= 0:
        return None, None
    sd = np.sqrt(np.diag(np.linalg.inv(information)))
    z = NormalDist().inv_cdf((1 + level) / 2)
    means = float(expit(at[0] - z * sd[0])), float(expit(at[0] + z * sd[0]))
    high = at[1] + z * float(sd[1])
    return means, (exp(at[1] - z * float(sd[1])), exp(high) if high < log(ALIKE) else inf)


def _second(tried: Reals, good: Reals, at: tuple[float, float]) -> Reals:
    """Second derivatives of the log-likelihood by central differences."""

    def value(i: int, j: int) -> float:
        return _log_likelihood(tried, good, at[0] + i * STEP, at[1] + j * STEP)

    middle = 2 * value(0, 0)
    first, second = value(1, 0) + value(-1, 0) - middle, value(0, 1) + value(0, -1) - middle
    mixed = (value(1, 1) - value(1, -1) - value(-1, 1) + value(-1, -1)) / 4
    return np.array([[first, mixed], [mixed, second]]) / STEP**2


def _last(tried: Reals, good: Reals) -> tuple[float, ...]:
    return tuple(float(one) for one in (good / tried)[-10:])
