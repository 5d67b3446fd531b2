"""Analysis of variance by corrected two-pass sums, with components and their intervals.

one_way(values, groups)        between and within groups, any group sizes
two_way(table)                 scans x lanes without replicate: along, across, residual

Sums are taken about a mean that is itself corrected (Chan, Golub & LeVeque 1983, from memory), so thirteen constant
leading digits cost no more than what the reading of the data itself lost.  Components are the expected-mean-square
form, shown as they come out: a negative one means "not seen above the residual", and says how far below.

Zig-zag scanning taken as scans x lanes is a practical approximation (reference notes 1.1); TIP 1101 and T 545 do not
give the same numbers, so the answer names its method.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.measure.series import Floats, between, effective, lag_one, row, table

__all__ = ["METHOD", "Component", "OneWay", "Term", "TwoWay", "component", "effective_scans", "one_way", "two_way"]

METHOD: Final = "two-way additive ANOVA, no replicate, expected mean squares"


@dataclass(frozen=True, slots=True)
class Term:
    """One line of the table.  df counts as for independent readings."""

    name: str
    sum_squares: float
    df: float

    @property
    def mean_square(self) -> float:
        return self.sum_squares / self.df


@dataclass(frozen=True, slots=True)
class Component:
    """A variance component in the readings' unit squared.

    raw : as computed; negative where the effect is not seen above the residual
    low, high : confidence interval, never below 0
    df : degrees of freedom the interval rests on (0: Williams-Tukey)
    method : exact chi2, Satterthwaite, or Williams-Tukey (raw not clearly above 0)
    """

    name: str
    raw: float
    low: float
    high: float
    df: float
    method: str

    @property
    def variance(self) -> float:
        """raw, but never below 0."""
        return max(0.0, self.raw)

    @property
    def sigma(self) -> float:
        return float(np.sqrt(self.variance))


@dataclass(frozen=True, slots=True)
class OneWay:
    """between, within : the table; f, p : the test of no difference; components : between, within."""

    between: Term
    within: Term
    f: float
    p: float
    components: tuple[Component, Component]

    @property
    def r_squared(self) -> float:
        total = self.between.sum_squares + self.within.sum_squares
        return self.between.sum_squares / total if total > 0 else 0.0


@dataclass(frozen=True, slots=True)
class TwoWay:
    """along : scan means; across : lane means; residual : the rest, where a rotating die's part also falls.

    components : along, across, residual
    p_along, p_across : tests against the residual
    scan_effect, lane_effect : scan and lane means less the grand mean, shapes (m,) and (n,)
    two_sigma_scans, two_sigma_lanes : twice the sd of the plain means, because existing gauges print them
    scans : effective number of scans that the along interval rests on
    """

    mean: float
    along: Term
    across: Term
    residual: Term
    p_along: float
    p_across: float
    components: tuple[Component, Component, Component]
    scan_effect: Floats
    lane_effect: Floats
    scans: float
    method: str = METHOD

    @property
    def two_sigma_scans(self) -> float:
        return 2.0 * float(np.std(self.scan_effect, ddof=1))

    @property
    def two_sigma_lanes(self) -> float:
        return 2.0 * float(np.std(self.lane_effect, ddof=1))


def centred(x: Floats) -> tuple[float, Floats]:
    """The mean, and x less the mean, each corrected once: the second pass carries off what the first rounded."""
    mean = float(x.mean())
    d = x - mean
    rest = float(d.mean())
    return mean + rest, d - rest


def one_way(values: ArrayLike, groups: ArrayLike, level: float = 0.95) -> OneWay:
    """One-way ANOVA.

    values : shape (N,), finite;  groups : shape (N,), any labels, at least 2 different and N above their number
    Valid for independent normal readings of equal variance.  Unequal sizes: n0 = (N - sum n_i^2/N)/(k - 1).
    """
    x = row("values", values, 3)
    labels, index = np.unique(np.asarray(groups), return_inverse=True)
    sizes = np.bincount(index).astype(np.float64)
    k, n = len(labels), len(x)
    if len(index) != n or k < 2 or n <= k:
        true = f"{n} readings, {len(index)} labels, {k} groups"
        raise BadValue("groups", k, true, "give a label to each reading, and at least one group two readings")
    d = centred(x)[1]
    means = np.bincount(index, d) / sizes
    rest = d - means[index]
    lost = np.bincount(index, rest)
    among = Term("between", float(sizes @ means**2), k - 1)
    within = Term("within", float(rest @ rest) - float(lost**2 @ (1 / sizes)), n - k)
    n0 = (n - float(sizes @ sizes) / n) / (k - 1)
    f, p = ratio(among, within)
    return OneWay(among, within, f, p, (component("between", among, within, n0, level), residual(within, level)))


def two_way(readings: ArrayLike, scans: float | None = None, level: float = 0.95) -> TwoWay:
    """Two-way additive ANOVA of scans x lanes, one reading each.

    readings : shape (m, n), finite, m and n >= 2; a gap is refused, not filled
    scans : effective number of scans for the along interval (effective_scans); None: m, right for independent scans
    MS_along = n S(xi.-x..)^2/(m-1), MS_across = m S(x.j-x..)^2/(n-1), MS_residual = S(xij-xi.-x.j+x..)^2/((m-1)(n-1)).
    Source: reference notes 1.2.
    """
    x = table("readings", readings)
    m, n = x.shape
    known = between("scans", m if scans is None else scans, 1, m + 1e-9)
    mean, d = centred(x)
    scan, lane = d.mean(axis=1), d.mean(axis=0)
    rest = d - scan[:, None] - lane
    along = Term("along", n * float(scan @ scan), m - 1)
    across = Term("across", m * float(lane @ lane), n - 1)
    left = Term("residual", float(np.vdot(rest, rest)), (m - 1) * (n - 1))
    parts = (
        component("along", along, left, n, level, known - 1),
        component("across", across, left, m, level),
        residual(left, level),
    )
    return TwoWay(mean, along, across, left, ratio(along, left)[1], ratio(across, left)[1], parts, scan, lane, known)


def ratio(upper: Term, lower: Term) -> tuple[float, float]:
    """F and its probability; with nothing left over F is infinite (or nan when nothing varies)."""
    from scipy.special import fdtrc

    if lower.sum_squares <= 0:
        return (np.inf, 0.0) if upper.sum_squares > 0 else (np.nan, np.nan)
    f = upper.mean_square / lower.mean_square
    return f, float(fdtrc(upper.df, lower.df, f))


def residual(term: Term, level: float) -> Component:
    """The exact interval SS/chi2 of a mean square of independent normal readings."""
    low, high = _chi2(term.sum_squares, term.df, level)
    return Component(term.name, term.mean_square, low, high, term.df, "exact chi2")


def component(name: str, upper: Term, lower: Term, count: float, level: float, df: float | None = None) -> Component:
    """(MS_upper - MS_lower)/count with Satterthwaite's interval (Biometrics Bulletin 2, 1946, from memory).

    df : degrees of freedom of the upper mean square, when its readings are correlated; None: its own
    A difference of mean squares that are not clearly apart (F below its upper 2.5 % point) has no such interval worth
    the name: covers 85 % instead of 95 % (own simulation).  Then Williams-Tukey's (1962, from memory), for any F.
    """
    from scipy.special import fdtri

    df = upper.df if df is None else df
    raw = (upper.mean_square - lower.mean_square) / count
    if raw <= 0 or upper.mean_square < lower.mean_square * float(fdtri(df, lower.df, 0.975)):
        return Component(name, raw, *_tukey(upper, lower, count, level, df), 0.0, "Williams-Tukey")
    freedom = (raw * count) ** 2 / (upper.mean_square**2 / df + lower.mean_square**2 / lower.df)
    low, high = _chi2(raw * freedom, freedom, level)
    return Component(name, raw, low, high, freedom, "Satterthwaite")


def _chi2(sum_squares: float, df: float, level: float) -> tuple[float, float]:
    from scipy.special import chdtri

    tail = (1 - between("level", level, 0, 1)) / 2
    low, high = sum_squares / chdtri(df, tail), sum_squares / chdtri(df, 1 - tail)
    return float(low), float(high)


def _tukey(upper: Term, lower: Term, count: float, level: float, df: float) -> tuple[float, float]:
    from scipy.special import chdtri, fdtri

    tail = (1 - between("level", level, 0, 1)) / 2
    ends = []
    for p in (1 - tail, tail):
        above = upper.mean_square - lower.mean_square * float(fdtri(df, lower.df, p))
        ends.append(max(0.0, df * above / (count * float(chdtri(df, 1 - p)))))
    return ends[0], ends[1]


def effective_scans(means: ArrayLike, by: Literal["ar1", "batch"] = "ar1") -> float:
    """How many independent scans correlated scan means are worth: 1 to m.

    means : shape (m,), in the order of time, m >= 8 (ar1) or 16 (batch)
    ar1 : m (1 - r1)/(1 + r1), right when the scans are AR(1); batch : variance of the readings over m times that of
    sqrt(m) batch means' mean, right for any correlation much shorter than a batch.  Source: reference notes 1.2.
    """
    x = row("scan means", means, 8 if by == "ar1" else 16)
    if by == "ar1":
        return effective(len(x), min(0.999, max(-0.999, lag_one(x).phi)))
    size = int(np.sqrt(len(x)))
    batches = x[: len(x) // size * size].reshape(-1, size).mean(axis=1)
    error = float(batches.var(ddof=1)) / len(batches)
    return min(float(len(x)), max(1.0, float(x.var(ddof=1)) / error)) if error > 0 else float(len(x))
