"""The whole roll, metre x lane, from the additive model, with its own standard deviation.

A scanning head sees well under a hundredth of the web; between its passes the map says what the model knows, and how
far to believe it.  Marks are not in the map: they are what the model does not explain.
"""

from dataclasses import dataclass

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.gauge.model import Model
from reelmark.stations.film.gauge.records import Floats

__all__ = ["RollMap", "roll_map"]


@dataclass(frozen=True, slots=True)
class RollMap:
    """metre_m : (R,), middles of the rows;  edges_mm : (n+1,);  gauge_um, sd_um : (R, n)

    sd_um : of the film at one point of the cell about gauge_um: errors of the parts, wander of the level between
        passes, and what the model leaves unexplained (less the gauge's noise where it is known)
    seen : share of the web's area that the head's spot covered
    """

    metre_m: Floats
    edges_mm: Floats
    gauge_um: Floats
    sd_um: Floats
    seen: float


def roll_map(model: Model, rows: int | None = None, noise_um: float | None = None, spot_mm: float = 10.0) -> RollMap:
    """The map.

    rows : evenly along the roll, None: one a pass;  noise_um : sd of the gauge alone, None: kept in sd_um
    spot_mm : width of the head's spot, for `seen`; an input, 10 mm is an assumed figure (reference notes 1.6)
    Valid where parts add; between passes the level goes straight from one pass to the next.
    """
    if rows is not None and rows < 1:
        raise BadValue("rows", rows, "a map has a row at least", "ask for 1 or more")
    r = model.records
    many = rows or r.passes
    edge = np.linspace(r.metre_m[0], r.metre_m[-1], many + 1)
    metre = (edge[1:] + edge[:-1]) / 2
    time = np.interp(metre, r.metre_m, r.time_s)
    place = (np.arange(model.lanes) + 0.5) / model.lanes
    level, level_var = _level(model, time)
    gauge = model.mean_um + level[:, None] + model.lane_um
    gauge = gauge + sum((wave.at(time) for wave in model.waves), np.zeros(many))[:, None]
    spread = level_var[:, None] + model.lane_sd_um**2 + _wave_variance(model)
    if model.die is not None:
        sector = model.die.sector(time[:, None], place[None, :])
        gauge += model.die_um[sector]
        spread += model.die_sd_um[sector] ** 2
    spread += max(model.variance - min(noise_um or 0.0, np.sqrt(model.variance)) ** 2, 0.0)
    return RollMap(metre, model.edges_mm, gauge, np.sqrt(spread), _seen(model, spot_mm))


def _level(model: Model, time: Floats) -> tuple[Floats, Floats]:
    """Level at those times, straight between passes, and its variance.

    Between passes it wanders: by the variogram's first step, 2 x share x (1 - share) of it, as a random walk does.
    """
    at = model.pass_time_s
    level = np.interp(time, at, model.level_um)
    error = np.interp(time, at, model.level_sd_um**2)
    if at.size < 3:
        return level, error
    step = max(0.0, float(np.mean(np.diff(model.level_um) ** 2)) / 2 - float(np.mean(model.level_sd_um**2)))
    i = np.clip(np.searchsorted(at, time) - 1, 0, at.size - 2)
    share = np.clip((time - at[i]) / (at[i + 1] - at[i]), 0, 1)
    return level, error + 2 * step * share * (1 - share)


def _wave_variance(model: Model) -> float:
    return sum((wave.amplitude_sd_um**2 for wave in model.waves), 0.0)


def _seen(model: Model, spot_mm: float) -> float:
    """Area under the spot over the web's: path across times spot, both in mm."""
    r = model.records
    path = float(np.sum(np.hypot(np.diff(r.across_mm), 1e3 * np.diff(r.metre_m))[np.diff(r.sweep) == 0]))
    web = (r.right_mm - r.left_mm) * 1e3 * float(r.metre_m[-1] - r.metre_m[0])
    return min(1.0, path * spot_mm / web)
