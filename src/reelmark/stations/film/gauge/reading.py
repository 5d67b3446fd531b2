"""A roll's records -> all the gauge says of it, as `reelmark film read FILE --json` prints it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from reelmark.stations.film.gauge.believed import Believed
from reelmark.stations.film.gauge.die import Die
from reelmark.stations.film.gauge.marks import GaugeMark, family_alarm, find_marks
from reelmark.stations.film.gauge.model import Model, fit
from reelmark.stations.film.gauge.records import clean
from reelmark.stations.film.gauge.shares import Shares, mirror, plain, shares
from reelmark.stations.film.gauge.verdict import Costs, Limits, Verdict, judge

__all__ = ["Reading", "Settings", "as_json", "read_roll"]


@dataclass(frozen=True, slots=True)
class Settings:
    """What is known beforehand; every field may be left as it is.

    die : its motion, "find", or None for a die that stands;  like : dead time, sweep, share for the search
    noise_um : gauge alone, head stopped;  elements_m : circumferences of rolls by name, m
    believed : ranges outside which a column's unit is doubted
    limits : None: target is the roll's own mean, no tolerance, so no Cpk;  costs : what a metre of web holds
    """

    lanes: int = 40
    die: Die | Literal["find"] | None = "find"
    like: Die | None = None
    noise_um: float | None = None
    elements_m: Mapping[str, float] = field(default_factory=dict)
    limits: Limits | None = None
    costs: Costs | None = None
    core_mm: float = 152.4
    false_per_week: float = 1.0
    believed: Believed = field(default_factory=Believed)


@dataclass(frozen=True, slots=True)
class Reading:
    """One roll read."""

    roll: str
    model: Model
    shares: Shares
    marks: tuple[GaugeMark, ...]
    verdict: Verdict


def read_roll(
    roll: str,
    time_s: ArrayLike,
    metre_m: ArrayLike,
    across_mm: ArrayLike,
    gauge_um: ArrayLike,
    settings: Settings | None = None,
) -> Reading:
    """Read one roll; columns of one length N, in the order of time.  Refuses what `clean` and `fit` refuse."""
    s = settings or Settings()
    records = clean(time_s, metre_m, across_mm, gauge_um, believed=s.believed)
    lanes = min(s.lanes, _places(records.across_mm))
    alarm = min(0.001, family_alarm(records, s.false_per_week))
    model = fit(records, lanes=lanes, die=s.die, like=s.like, elements_m=s.elements_m, alarm=alarm)
    tolerance = s.limits.tolerance_um if s.limits else None
    marks = tuple(find_marks(model, tolerance_um=tolerance, false_per_week=s.false_per_week))
    verdict = judge(model, marks, limits=s.limits, costs=s.costs, core_mm=s.core_mm, noise_um=s.noise_um)
    return Reading(roll, model, shares(model, s.noise_um), marks, verdict)


def _places(across_mm: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> int:
    """Different places that the head stops to read, at least 2: no lane can be narrower than their distance."""
    step = float(np.median(np.abs(np.diff(across_mm))))
    return max(2, int(np.ptp(across_mm) / step + 1.5)) if step > 0 else 2


def as_json(one: Reading) -> dict[str, Any]:
    """{"roll", "mean_um", "cpk", "shares", "waves", "marks", ...}: plain numbers, units in the names, None for unknown.

    shares are parts of the total variance and sum to 1; "variances" holds um^2 with 95 % intervals, and "plain_anova"
    what a two-way table says.
    """
    m, v = one.model, one.verdict
    known = {share.name.replace(" ", "_"): share for share in one.shares.shares}
    return {
        "roll": one.roll,
        "mean_um": v.mean_um,
        "two_sigma_um": v.two_sigma_um,
        "cpk": None if v.cpk is None else v.cpk.cpk,
        "cpk_interval": None if v.cpk is None else [v.cpk.cpk_low, v.cpk.cpk_high],
        "area_out_percent": v.out_percent,
        "from_m": float(m.records.metre_m[0]),
        "to_m": float(m.records.metre_m[-1]),
        "shares": {name: share.part for name, share in known.items()},
        "variances_um2": {name: [s.variance, s.low, s.high] for name, s in known.items()},
        "method": one.shares.method,
        "plain_anova_um2": _anova(m),
        "forward_reverse": _mirror(m),
        "die": _die(m),
        "waves": [_wave(wave) for wave in m.waves],
        "marks": [_mark(mark) for mark in one.marks],
        "lanes": _lanes(one),
        "stretches": [_stretch(s) for s in v.stretches],
        "notes": list(m.notes),
        "caution": v.caution,
    }


def _anova(model: Model) -> dict[str, Any]:
    table = plain(model)
    return {one.name: one.raw for one in table.components} | {"method": table.method}


def _mirror(model: Model) -> dict[str, Any] | None:
    seen = mirror(model)
    if seen is None:
        return None
    return {"same": seen.same, "mirrored": seen.mirrored, "scan_locked": seen.locked, "odd_um": seen.odd_um}


def _die(model: Model) -> dict[str, Any] | None:
    die = model.die
    if die is None:
        return None
    return {"form": die.form, "period_s": die.period_s, "phase": die.phase, "condition": model.condition}


def _wave(wave: Any) -> dict[str, Any]:
    return {
        "period_s": wave.period_s,
        "amplitude_um": wave.amplitude_um,
        "period_sd_s": wave.period_sd_s,
        "amplitude_sd_um": wave.amplitude_sd_um,
        "length_m": wave.length_m,
        "elements": list(wave.elements),
    }


def _mark(mark: GaugeMark) -> dict[str, Any]:
    names = ("kind", "from_m", "to_m", "from_mm", "to_mm", "size_um", "grade", "says")
    return {name: getattr(mark, name) for name in names}


def _stretch(stretch: Any) -> dict[str, Any]:
    return {name: getattr(stretch, name) for name in ("from_m", "to_m", "choice", "why", "sheets", "notes")}


def _lanes(one: Reading) -> dict[str, Any]:
    v = one.verdict
    return {
        "edges_mm": one.model.edges_mm.tolist(),
        "mean_um": v.lane_mean_um.tolist(),
        "cpk": None if v.lane_cpk is None else v.lane_cpk.tolist(),
        "ridge_mm": v.ridge_mm.tolist(),
        "worst": v.worst_lane,
    }
