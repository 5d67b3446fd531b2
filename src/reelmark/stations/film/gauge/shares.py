"""Variance by cause, with intervals, beside the plain two-way ANOVA; forward against mirrored reverse passes.

along      levels of the passes, slow by nature        residual    what nothing explains, less the gauge's own noise
across     fixed lanes                                 gauge noise from a test with the head stopped, where it was made
die        angle on the die, wandering                 periodic    waves, half the square of the amplitude each

Every part is corrected for the noise of its own estimate.  The plain ANOVA knows two causes: it puts die and short
waves into the residual and part of a wave into along.  TIP 1101 and T 545 do not give the same numbers, so each answer
names its method (reference notes 1.1, 1.2).
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from reelmark.errors import BadValue
from reelmark.measure.anova import Term, TwoWay, component, ratio, residual, two_way
from reelmark.stations.film.gauge.drifts import independent
from reelmark.stations.film.gauge.model import Model
from reelmark.stations.film.gauge.records import Bools, Floats

__all__ = ["METHOD", "Mirror", "Share", "Shares", "mirror", "plain", "shares", "stopped_noise"]

METHOD: Final = "additive model by least squares, levels, lanes, die sectors and waves"


@dataclass(frozen=True, slots=True)
class Share:
    """One cause: variance um^2 with a 95 % interval, and its part of the total, 0..1.  df : the interval rests on."""

    name: str
    variance: float
    low: float
    high: float
    df: float
    part: float

    @property
    def sigma_um(self) -> float:
        return float(np.sqrt(self.variance))


@dataclass(frozen=True, slots=True)
class Shares:
    """along, across, die, periodic, residual, gauge noise, in this order; parts sum to 1.  df : of the total."""

    shares: tuple[Share, ...]
    total: float
    df: float
    method: str = METHOD

    def __getitem__(self, name: str) -> Share:
        return next(one for one in self.shares if one.name == name)


@dataclass(frozen=True, slots=True)
class Mirror:
    """Forward and reverse passes compared, lane by lane.

    same : correlation of forward and reverse profile;  mirrored : of forward and reverse in the order of time
    odd_um : root mean square of half their difference;  chance : that noise makes such a difference (chi2)
    locked : a wave in step with the head is likelier than a profile; part of the lanes is then that wave's
    """

    same: float
    mirrored: float
    odd_um: float
    chance: float
    locked: bool


def stopped_noise(gauge_um: Floats) -> float:
    """Gauge noise, um, from readings of one standing place: root of half the mean squared difference.  10 at least."""
    if len(gauge_um) < 10:
        raise BadValue("gauge_um", len(gauge_um), "fewer than 10 readings", "let the head stand longer, web stopped")
    return float(np.sqrt(np.mean(np.diff(gauge_um) ** 2) / 2))


def shares(model: Model, noise_um: float | None = None, level: float = 0.95) -> Shares:
    """Variance by cause.

    noise_um : sd of the gauge alone, from a test with the head stopped; None: it stays within the residual
    Intervals: chi2; along on the effective number of passes (summed autocorrelation), across and die as draws of a
    normal process on n-1 and K-1 degrees of freedom, periodic from its standard error, residual on its points.
    """
    m = model
    noise = min(noise_um or 0.0, float(np.sqrt(m.variance))) ** 2
    df = m.residual_um.size - m.records.passes - m.lanes - len(m.die_um) - 2 * len(m.waves)
    drawn = [
        ("along", _spread(m.level_um, m.level_sd_um), _passes(m) - 1),
        ("across", _spread(m.lane_um, m.lane_sd_um), m.lanes - 1.0),
        ("die", _spread(m.die_um, m.die_sd_um, _weights(m)), max(len(m.die_um) - 1.0, 1.0)),
        ("periodic", *_periodic(m)),
        ("residual", m.variance - noise, float(max(df, 1))),
        ("gauge noise", noise, float(max(df, 1))),
    ]
    total = sum(variance for _, variance, _ in drawn)
    rows = tuple(
        Share(name, variance, *_interval(variance, freedom, level), freedom, variance / total if total else 0.0)
        for name, variance, freedom in drawn
    )
    return Shares(rows, total, total**2 / max(sum(one.variance**2 / one.df for one in rows), 1e-300))


def _spread(values: Floats, sd: Floats, weights: Floats | None = None) -> float:
    """Variance of the true values: that of the estimates less what their errors add; not below 0."""
    if values.size < 2:
        return 0.0
    w = np.ones(values.size) if weights is None else weights
    middle = np.average(values, weights=w)
    return max(0.0, float(np.average((values - middle) ** 2 - sd**2, weights=w)))


def _weights(model: Model) -> Floats | None:
    return None if model.sector is None else np.bincount(model.sector, minlength=len(model.die_um)).astype(np.float64)


def _passes(model: Model) -> float:
    """Passes that count as independent; 2 at least, so that an interval exists."""
    return max(2.0, independent(model.level_um))


def _periodic(model: Model) -> tuple[float, float]:
    """(sum of half squares less their bias, degrees of freedom with the same relative standard error)."""
    total = sum(max(0.0, w.amplitude_um**2 / 2 - w.amplitude_sd_um**2) for w in model.waves)
    error = sum((w.amplitude_um * w.amplitude_sd_um) ** 2 for w in model.waves)
    return total, max(1.0, 2 * total**2 / error) if error else 1.0


def _interval(variance: float, df: float, level: float) -> tuple[float, float]:
    from scipy.special import chdtri

    tail = (1 - level) / 2
    return float(variance * df / chdtri(df, tail)), float(variance * df / chdtri(df, 1 - tail))


def plain(model: Model) -> TwoWay:
    """Two-way ANOVA of the means by pass and lane, over the passes that saw every lane.

    Where these are fewer than half, over those that saw half of the lanes: cells that nobody read hold what the rest
    gives (Yates's missing values, 1933, from memory), and the residual has as many degrees of freedom less; the
    answer's method says how many.  Refused below two passes.
    """
    count = model.cells.count > 0
    full: Bools = np.asarray(count.all(axis=1), np.bool_)
    if 2 * np.count_nonzero(full) < len(full):
        full = count.mean(axis=1) >= 0.5
    if np.count_nonzero(full) < 2 or not count[full].any(axis=0).all():
        true = f"{np.count_nonzero(full)} passes saw half of the {model.lanes} lanes"
        raise BadValue("lanes", model.lanes, true, "ask for fewer lanes")
    missing = ~count[full]
    table = _filled(model.cells.value[full], missing)
    told = two_way(table, scans=max(2.0, independent(table.mean(axis=1))))
    return _less(told, int(np.count_nonzero(missing)), len(table)) if missing.any() else told


def _filled(table: Floats, missing: Bools) -> Floats:
    """The table with missing cells as the sum of their pass and lane: set again until they stay."""
    out = np.where(missing, np.mean(table[~missing]), table)
    for _ in range(60 if missing.any() else 0):
        fitted = out.mean(axis=1)[:, None] + out.mean(axis=0) - out.mean()
        out = np.where(missing, fitted, table)
    return out


def _less(told: TwoWay, missing: int, passes: int) -> TwoWay:
    """The table of a filled one, the residual's degrees of freedom less by what was filled."""
    left = Term("residual", told.residual.sum_squares, max(told.residual.df - missing, 1.0))
    parts = (
        component("along", told.along, left, len(told.lane_effect), 0.95, told.scans - 1),
        component("across", told.across, left, passes, 0.95),
        residual(left, 0.95),
    )
    method = f"{told.method}; {missing} cells that no reading fell in filled by pass and lane"
    return replace(told, residual=left, p_along=ratio(told.along, left)[1], p_across=ratio(told.across, left)[1],
                   components=parts, method=method)  # fmt: skip


def mirror(model: Model, alarm: float = 0.001) -> Mirror | None:
    """Forward against reverse passes; None where the head reads one way only, or where a lane was read in fewer
    than 4 passes each way.

    A wave whose period is that of the scan fakes a profile: forward and mirrored reverse then agree, forward and
    reverse do not (reference notes 1.4).  A shift of the head's place between the directions shows here too.
    """
    from scipy.special import chdtrc

    forward = model.records.forward
    sides = [_side(model, forward), _side(model, ~forward)]
    seen = [np.count_nonzero(np.isfinite(side), axis=0) for side in sides]
    if min(int(many.min()) for many in seen) < 4:
        return None
    (one, one_var), (two, two_var) = [
        (np.nanmean(side, axis=0), np.nanvar(side, axis=0, ddof=1) / many)
        for side, many in zip(sides, seen, strict=True)
    ]
    apart = one - two - np.mean(one - two)
    chance = float(chdtrc(model.lanes - 1, float(np.sum(apart**2 / np.maximum(one_var + two_var, 1e-12)))))
    first, second = model.lane_um + one, model.lane_um + two
    same, turned = _like(first, second), _like(first, second[::-1])
    return Mirror(same, turned, float(np.sqrt(np.mean(apart**2)) / 2), chance, chance < alarm and turned > same)


def _side(model: Model, which: Bools) -> Floats:
    """Residuals of those passes by lane, (passes, lanes), NaN where a lane was not read."""
    return np.where(model.cells.count[which] > 0, model.cells.residual[which], np.nan)


def _like(a: Floats, b: Floats) -> float:
    return float(np.corrcoef(a, b)[0, 1]) if np.ptp(a) > 0 and np.ptp(b) > 0 else 0.0
