"""What any row of readings is asked before a limit is drawn: is it finite, long enough, how wide, how correlated."""

import math
from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reelmark.errors import BadValue

__all__ = [
    "Floats",
    "Lag",
    "between",
    "effective",
    "lag_one",
    "phi_by_differences",
    "row",
    "sigma_by_differences",
    "sigma_by_mad",
    "table",
]

Floats: TypeAlias = NDArray[np.float64]

_MAD: Final = 1.482602218505602  # 1 / z(.75): median |x| of a standard normal is .6745


@dataclass(frozen=True, slots=True)
class Lag:
    """Correlation of a row of readings with the one before.

    phi : lag-one autocorrelation r1; biased low by about (1 + 4 phi) / n in short rows
    bound : r1 of uncorrelated readings lies within -1/n +- bound with the asked probability
    significant : whether it lies outside
    n : readings
    """

    phi: float
    bound: float
    significant: bool
    n: int

    @property
    def narrow(self) -> float:
        """Moving-range sigma over the true one: sqrt(1 - phi), exact for AR(1) (reference notes 1.5: closed form)."""
        return math.sqrt(max(0.0, 1.0 - self.phi))


def row(field: str, x: ArrayLike, least: int = 2) -> Floats:
    """One row of finite readings, shape (n,), n >= least; BadValue otherwise."""
    values = np.asarray(x, dtype=np.float64)
    if values.ndim != 1:
        raise BadValue(field, values.shape, "one row of readings is needed, not a table", "hand in one dimension")
    return _finite(field, values, len(values), least)


def table(field: str, x: ArrayLike, rows: int = 2, columns: int = 2) -> Floats:
    """A full table of finite readings, shape (m, n), m >= rows, n >= columns; BadValue otherwise."""
    values = np.asarray(x, dtype=np.float64)
    if values.ndim != 2:
        raise BadValue(field, values.shape, "a table with two directions is needed", "hand in two dimensions")
    if values.shape[1] < columns:
        cure = "hand in more, or use the one-way form"
        raise BadValue(field, values.shape, f"it has {values.shape[1]} columns and needs {columns}", cure)
    return _finite(field, values, len(values), rows)


def _finite(field: str, values: Floats, n: int, least: int) -> Floats:
    if n < least:
        raise BadValue(field, n, f"it holds {n} readings and needs {least}", "take a longer stretch")
    bad = int(values.size - np.count_nonzero(np.isfinite(values)))
    if bad:
        raise BadValue(field, bad, f"{bad} of {values.size} readings are not finite", "leave them out or fill the gap")
    return values


def between(field: str, value: float, low: float, high: float, unit: str = "") -> float:
    """The value when low < value < high; BadValue with the range otherwise."""
    if not low < value < high:
        raise BadValue(field, value, f"it must lie between {low:g} and {high:g} {unit}".rstrip(), "correct the field")
    return float(value)


def sigma_by_differences(x: ArrayLike) -> float:
    """Sigma from the median of successive differences: steps and drifts do not widen it.

    Valid for uncorrelated normal readings; AR(1) readings give sqrt(1 - phi) of sigma.  n >= 3.
    """
    return float(np.median(np.abs(np.diff(row("readings", x, 3))))) * _MAD / math.sqrt(2.0)


def sigma_by_mad(x: ArrayLike) -> float:
    """Sigma from the median absolute deviation about the median: holds with up to half the readings wrong.  n >= 3."""
    values = row("readings", x, 3)
    return float(np.median(np.abs(values - np.median(values)))) * _MAD


def lag_one(x: ArrayLike, confidence: float = 0.95) -> Lag:
    """Lag-one autocorrelation and whether chance explains it.

    r1 = sum d_i d_(i+1) / sum d_i^2; of uncorrelated readings about normal with mean -1/n and variance 1/n (Bartlett
    1946, from memory).  n >= 8.  A constant row has no correlation to speak of: phi 0.
    """
    from scipy.special import ndtri

    values = row("readings", x, 8)
    d = values - values.mean()
    square = float(d @ d)
    phi = float(d[1:] @ d[:-1]) / square if square > 0 else 0.0
    n = len(values)
    bound = float(ndtri(0.5 + between("confidence", confidence, 0, 1) / 2)) / math.sqrt(n)
    return Lag(phi, bound, square > 0 and abs(phi + 1 / n) > bound, n)


def phi_by_differences(x: ArrayLike) -> float:
    """phi of AR(1) readings by the lag-one correlation of differences, (phi - 1)/2: level shifts hardly move it.

    Added white noise (a noisy gauge) makes it too low.  n >= 8; clipped to [-.99, .99].
    """
    d = np.diff(row("readings", x, 8))
    d = d[np.abs(d - np.median(d)) <= 4 * sigma_by_mad(d)] if sigma_by_mad(d) > 0 else d
    square = float(d @ d)
    return min(0.99, max(-0.99, 1.0 + 2.0 * float(d[1:] @ d[:-1]) / square)) if square > 0 else 0.0


def effective(n: float, phi: float) -> float:
    """How many independent readings n AR(1) readings are worth for their mean: n (1 - phi)/(1 + phi), at most n.

    Large-n closed form; negative phi is not credited.  At least 1.
    """
    between("phi", phi, -1, 1)
    return max(1.0, n * min(1.0, (1.0 - phi) / (1.0 + phi)))
