"""Control-chart constants, computed: mean and sd of the range and sd of n standard normal readings.

Printed tables differ from these by at most .0005 (D4: .0007), their own rounding (reference notes 2.1).
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from reelmark.errors import BadValue

__all__ = ["Constants", "c4", "constants", "d2_star"]


@dataclass(frozen=True, slots=True)
class Constants:
    """Constants for subgroups of n; names as the printed tables have them, all for limits at 3 sigma."""

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def A2(self) -> float:  # noqa: N802 the name of the printed table
        return 3 / (self.d2 * math.sqrt(self.n))

    @property
    def A3(self) -> float:  # noqa: N802
        return 3 / (self.c4 * math.sqrt(self.n))

    @property
    def B3(self) -> float:  # noqa: N802
        return max(0.0, 1 - 3 * math.sqrt(1 - self.c4**2) / self.c4)

    @property
    def B4(self) -> float:  # noqa: N802
        return 1 + 3 * math.sqrt(1 - self.c4**2) / self.c4

    @property
    def D3(self) -> float:  # noqa: N802
        return max(0.0, 1 - 3 * self.d3 / self.d2)

    @property
    def D4(self) -> float:  # noqa: N802
        return 1 + 3 * self.d3 / self.d2


@cache
def constants(n: int) -> Constants:
    """Constants of subgroups of n normal readings, 2 <= n <= 1000; absolute error below 1e-9 (against closed forms).

    P(W <= w) = n int phi(x) (Phi(x + w) - Phi(x))^(n-1) dx; d2 = int P(W > w) dw, E W^2 = 2 int w P(W > w) dw.
    """
    from scipy.special import ndtr

    if not 2 <= n <= 1000:
        raise BadValue("n", n, "a subgroup has 2 to 1000 readings", "group the readings otherwise")
    nodes, weights = np.polynomial.legendre.leggauss(200)
    x, wx = 9.0 * nodes, 9.0 * weights
    w, ww = 8.0 * (nodes + 1), 8.0 * weights
    dense = wx * np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    beyond = 1 - n * (np.clip(ndtr(x + w[:, None]) - ndtr(x), 0, 1) ** (n - 1)) @ dense
    d2, square = float(ww @ beyond), 2 * float(ww @ (w * beyond))
    return Constants(n, d2, math.sqrt(square - d2**2), c4(n - 1))


def c4(df: float) -> float:
    """Mean of the sd on df degrees of freedom, over sigma: sqrt(2/df) Gamma((df+1)/2)/Gamma(df/2); df > 0."""
    if not df > 0:
        raise BadValue("df", df, "an sd needs more than 0 degrees of freedom", "take two readings or more")
    return math.sqrt(2 / df) * math.exp(math.lgamma((df + 1) / 2) - math.lgamma(df / 2))


def d2_star(n: int, groups: int) -> float:
    """d2* of Duncan: sqrt(d2^2 + d3^2/groups), the divisor for the mean of few ranges (form from memory)."""
    known = constants(n)
    return math.sqrt(known.d2**2 + known.d3**2 / groups)
