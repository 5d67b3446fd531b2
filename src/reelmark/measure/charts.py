"""Control charts whose limits hold for the readings they are drawn on.

individuals(x)                 single readings, moving-range sigma: refused where the readings are correlated
residuals(x)                   the same on what an AR(1) model leaves: the cure for correlated readings
ewma(x, weight, centre, ...)   limits exact in time and for AR(1) correlation; a row, or scans x lanes at once
cusum(x, target, k, h)         two-sided tabular sums, in the readings' unit
spread(sds, df)                the sd of each scan

Centre and sigma of ewma and cusum come from a stretch known to be good, not from the readings judged.  How often a
chart cries wolf is runlength's to say; a rule more is a chart more (runlength.per_chart_arl).
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.measure.constants import c4, constants
from reelmark.measure.series import Floats, Lag, between, lag_one, row

__all__ = ["Chart", "Cusum", "cusum", "ewma", "individuals", "residuals", "spread", "wrong_limits"]


@dataclass(frozen=True, slots=True)
class Chart:
    """points : what is drawn, shape (m,) or (m, lanes); lower, upper : limits, broadcast to that shape

    centre, sigma : of one reading (of the point for spread), per lane where there are lanes
    notes : what the reader must know of the limits
    """

    points: Floats
    centre: Floats
    sigma: Floats
    lower: Floats
    upper: Floats
    notes: tuple[str, ...] = ()

    @property
    def outside(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Where a point lies beyond its limits (on the limit is inside)."""
        return (self.points > self.upper) | (self.points < self.lower)


@dataclass(frozen=True, slots=True)
class Cusum:
    """high, low : the two sums, both counted upwards, shape of the readings; limit : h

    rises, falls : where a sum is above the limit.  Sums are not set back after a signal: the engineer does that.
    """

    high: Floats
    low: Floats
    limit: float

    @property
    def rises(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        return self.high > self.limit

    @property
    def falls(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        return self.low > self.limit

    def begun(self, signal: int) -> int:
        """The first reading of the run that led to a signal of a one-row chart: the usual guess of when it began."""
        sums = self.high if self.high[signal] >= self.low[signal] else self.low
        zeros = np.flatnonzero(sums[:signal] <= 0)
        return int(zeros[-1]) + 1 if len(zeros) else 0


def wrong_limits(phi: float, width: float = 3.0) -> tuple[float, float]:
    """What moving-range limits do on AR(1) readings: (true width in sigmas, readings per false alarm).

    width sqrt(1 - phi); phi .25, .5, .75 -> 2.598, 2.121, 1.5 and 107, 29.5, 7.5 (reference notes 1.5: closed form).
    """
    from scipy.special import ndtr

    true = width * math.sqrt(1 - between("phi", phi, -1, 1))
    return true, float(0.5 / ndtr(-true))


def individuals(
    x: ArrayLike, sigma: float | None = None, width: float = 3.0, d2: float | None = None, confidence: float = 0.95
) -> Chart:
    """Individuals chart about the mean, limits at width sigma.

    x : shape (n,), in the order of time, n >= 8 (2 when sigma is given)
    sigma : of a single reading, known from elsewhere; None: mean moving range / d2, and then correlation is refused
    d2 : None: exact 1.128379; 1.128 gives the limits as printed tables do
    """
    values = row("readings", x, 8 if sigma is None else 2)
    centre, notes = values.mean(), ("sigma given, not from moving ranges",)
    if sigma is None:
        _refuse_correlated(lag_one(values, confidence), width)
        divisor = constants(2).d2 if d2 is None else d2
        sigma = float(np.abs(np.diff(values)).mean()) / divisor
        notes = (f"sigma from moving ranges, d2 = {divisor:.6g}",)
    half = width * between("sigma", sigma, 0, math.inf)
    return Chart(values, centre, np.asarray(sigma), centre - half, centre + half, notes)


def _refuse_correlated(lag: Lag, width: float) -> None:
    if not lag.significant:
        return
    true, run = wrong_limits(min(0.999, max(-0.999, lag.phi)), width)
    said = f"lag-one correlation phi = {lag.phi:.2f} (chance: within {lag.bound:.2f} of 0); moving-range limits"
    said += f" of {width:g} sigma would lie at {true:.2f} sigma, a false alarm every {run:.3g} readings"
    cure = "chart the residuals of an AR(1) model (residuals), or an EWMA with phi, or give sigma from a good stretch"
    raise BadValue("readings", lag.n, said, cure)


def residuals(x: ArrayLike, width: float = 3.0) -> Chart:
    """Individuals chart of what AR(1) leaves: e_t = (x_t - mean) - phi (x_(t-1) - mean).

    x : shape (n,), n >= 20; the first reading has no residual: n - 1 points.  phi by Yule-Walker, sigma the residuals'
    sd.  A shift of d shows as d once and (1 - phi) d after: slow to see small shifts when phi is high.
    """
    values = row("readings", x, 20)
    d = values - values.mean()
    phi = lag_one(values).phi
    left = d[1:] - phi * d[:-1]
    sigma = between("sigma", math.sqrt(float(left @ left) / (len(left) - 2)), 0, math.inf)
    edge = np.asarray(width * sigma)
    return Chart(left, np.asarray(0.0), np.asarray(sigma), -edge, edge, (f"residuals of AR(1), phi = {phi:.3f}",))


def ewma(
    x: ArrayLike,
    weight: float,
    centre: ArrayLike,
    sigma: ArrayLike,
    width: float = 3.0,
    phi: float = 0.0,
    exact: bool = True,
) -> Chart:
    """Exponentially weighted moving average z_t = weight x_t + (1 - weight) z_(t-1), z_0 = centre.

    x : shape (m,) or (m, lanes), finite;  centre, sigma : scalar or per lane, sigma that of one reading
    phi : lag-one correlation of AR(1) readings; exact : limits that open with time, else those of long running
    Long-run variance sigma^2 weight/(2 - weight) (1 + phi(1 - weight))/(1 - phi(1 - weight)) (reference notes 1.5).
    """
    from scipy.signal import lfilter

    values = np.asarray(x, dtype=np.float64)
    if values.ndim not in (1, 2) or not values.size or not np.isfinite(values).all():
        true = "it must be a row, or scans x lanes, and finite"
        raise BadValue("readings", values.shape, true, "leave out or fill the gaps")
    between("weight", weight, 0, 1 + 1e-12)
    middle, scale = np.asarray(centre, np.float64), np.asarray(sigma, np.float64)
    if not (scale > 0).all():
        raise BadValue("sigma", float(scale.min()), "a reading's sigma is above 0", "take it from a good stretch")
    d = np.asarray(lfilter([weight], [1, weight - 1], values - middle, axis=0), np.float64)
    opening = _ewma_share(len(values), weight, between("phi", phi, -1, 1), exact)
    half = width * scale * (opening if values.ndim == 1 else opening[:, None])
    notes = (f"limits for phi = {phi:.3g}", "exact in time" if exact else "limits of long running")
    return Chart(middle + d, middle, scale, middle - half, middle + half, notes)


def _ewma_share(m: int, weight: float, phi: float, exact: bool) -> Floats:
    """sd of z_t over sigma, t = 1..m: weight^2 S_t (1 + 2a/(1-a)) less what the start cut off, a = phi (1 - weight)."""
    from scipy.signal import lfilter

    q = 1 - weight
    a = phi * q
    if not exact:
        return np.full(m, math.sqrt(weight / (2 - weight) * (1 + a) / (1 - a)))
    powers = q ** (2.0 * np.arange(m))
    cut = np.asarray(lfilter([1.0], [1.0, -a], powers), np.float64)
    variance = weight**2 * (np.cumsum(powers) * (1 + a) / (1 - a) - 2 * a / (1 - a) * cut)
    return np.sqrt(np.maximum(variance, 0.0))


def cusum(x: ArrayLike, target: ArrayLike, k: float, h: float) -> Cusum:
    """Tabular CUSUM: high_t = max(0, high_(t-1) + x_t - target - k), low likewise downwards; a signal above h.

    x : shape (m,) or (m, lanes), finite;  target : scalar or per lane;  k, h : in the readings' unit
    Correlated readings: ARL0 510 -> 120, 50, 27 at phi .25, .5, .75 (k .5, h 5; reference notes 1.5, simulation).
    Chart the residuals, or choose h by runlength on the long-run sigma.
    """
    values = np.asarray(x, dtype=np.float64)
    if not np.isfinite(values).all() or not values.size:
        raise BadValue("readings", values.shape, "they must be finite, and some", "leave out or fill the gaps")
    between("k", k, -1e-300, math.inf)
    d = values - np.asarray(target, np.float64)
    return Cusum(_climb(d - k), _climb(-d - k), between("h", h, 0, math.inf))


def _climb(step: Floats) -> Floats:
    """max(0, S + step) down the first axis, without a loop: the sum less its lowest point so far."""
    total = np.cumsum(step, axis=0)
    return total - np.minimum(np.minimum.accumulate(total, axis=0), 0.0)


def spread(
    sds: ArrayLike,
    df: float,
    sigma: float | None = None,
    limits: Literal["three sigma", "probability"] = "three sigma",
    alarm: float = 0.0027,
) -> Chart:
    """Chart of sds that each rest on df degrees of freedom.

    sds : shape (m,);  df : readings less what was fitted (n - 1 for a subgroup of n); count correlated ones once
    sigma : the process's; None: mean sd / c4
    three sigma : B3, B4 limits; probability : exact chi2, `alarm` of good points outside, half on each side
    Valid for independent normal readings.
    """
    from scipy.special import chdtri

    points = row("sds", sds, 2)
    shrink = c4(df)
    level = between("sigma", float(points.mean()) / shrink if sigma is None else sigma, 0, math.inf)
    centre = shrink * level
    half = 3 * level * math.sqrt(1 - shrink**2)
    low, high = max(0.0, centre - half), centre + half
    if limits == "probability":
        tail = between("alarm", alarm, 0, 1) / 2
        low, high = (level * math.sqrt(float(chdtri(df, p)) / df) for p in (1 - tail, tail))
    note = f"{limits} limits on {df:g} degrees of freedom"
    return Chart(points, np.asarray(centre), np.asarray(level), np.asarray(low), np.asarray(high), (note,))
