"""The live view: a Kalman filter that takes the gauge scan by scan.

State: the level and n lanes, um.  The level goes back to the target as an Ornstein-Uhlenbeck process, the lanes
wander slowly; their sum is held near 0.  A scan's points are gathered by lane and taken one lane after the other, at
their own times.  For the record use the additive model (map.py): it sees both sides of every moment.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.stations.film.gauge.records import Floats

__all__ = ["Live"]


@dataclass(frozen=True, slots=True)
class Live:
    """The filter between two scans; `step` gives the next.

    state : (1 + n,), level then lanes, less target_um;  covariance : (1 + n, 1 + n), um^2;  time_s : of the state
    level_um, level_s : sd and correlation time of the level;  lane_um, lane_s : sd of a lane and seconds in which it
    changes by as much;  point_um : sd of one reading about level + lane.  All inputs, from the last roll's model.
    """

    target_um: float
    left_mm: float
    right_mm: float
    state: Floats
    covariance: Floats
    time_s: float
    level_um: float
    level_s: float
    lane_um: float
    lane_s: float
    point_um: float

    @classmethod
    def start(
        cls,
        target_um: float,
        left_mm: float,
        right_mm: float,
        *,
        lanes: int = 40,
        time_s: float = 0.0,
        level_um: float = 0.6,
        level_s: float = 60.0,
        lane_um: float = 0.6,
        lane_s: float = 3000.0,
        point_um: float = 0.25,
    ) -> "Live":
        """A filter that has seen nothing.  The defaults are assumed figures, to be replaced by the last roll's."""
        if lanes < 2 or right_mm <= left_mm or min(level_um, level_s, lane_um, lane_s, point_um) <= 0:
            true = f"{lanes} lanes over {left_mm:g} to {right_mm:g} mm"
            raise BadValue("live", true, "sizes must be above 0 and lanes 2 or more", "correct the settings")
        spread = np.diag(np.concatenate([[level_um**2], np.full(lanes, lane_um**2)]))
        empty = (target_um, left_mm, right_mm, np.zeros(1 + lanes), spread, time_s)
        return cls(*empty, level_um, level_s, lane_um, lane_s, point_um)

    @property
    def gauge_um(self) -> Floats:
        """Estimate by lane, (n,)."""
        return np.asarray(self.target_um + self.state[0] + self.state[1:], np.float64)

    @property
    def sd_um(self) -> Floats:
        """Standard deviation of each lane's estimate, (n,); of its mean, not of one point."""
        p = self.covariance
        spread = p[0, 0] + 2 * p[0, 1:] + np.diag(p)[1:]
        return np.asarray(np.sqrt(np.maximum(spread, 0.0)), np.float64)

    def step(self, time_s: ArrayLike, across_mm: ArrayLike, gauge_um: ArrayLike) -> "Live":
        """The filter after one scan's points, any number, in the order of time; readings not finite are skipped."""
        t, y = np.asarray(time_s, np.float64), np.asarray(gauge_um, np.float64)
        place = (np.asarray(across_mm, np.float64) - self.left_mm) / (self.right_mm - self.left_mm)
        if not t.size == y.size == place.size:
            raise BadValue("scan", (t.size, y.size, place.size), "columns differ in length", "write full rows")
        good = np.isfinite(y) & (place >= 0) & (place <= 1)
        if good.any() and float(t[good].min()) < self.time_s:
            true = f"before the last scan's end, {self.time_s:g} s"
            raise BadValue("time_s", float(t[good].min()), true, "feed scans in the order of time")
        return self._taken(t[good], place[good], y[good])

    def _taken(self, t: Floats, place: Floats, y: Floats) -> "Live":
        n = self.state.size - 1
        lane = np.minimum((place * n).astype(np.int64), n - 1)
        count = np.bincount(lane, minlength=n)
        seen = np.flatnonzero(count)
        when = np.bincount(lane, t, n)[seen] / count[seen]
        mean = np.bincount(lane, y, n)[seen] / count[seen] - self.target_um
        state, p, now = self.state.copy(), self.covariance.copy(), self.time_s
        for i in np.argsort(when, kind="stable"):
            self._forward(state, p, float(when[i]) - now)
            now = float(when[i])
            self._update(state, p, 1 + int(seen[i]), float(mean[i]), self.point_um**2 / float(count[seen[i]]))
        held = (self.target_um, self.left_mm, self.right_mm, state, p, now)
        return Live(*held, self.level_um, self.level_s, self.lane_um, self.lane_s, self.point_um)

    def _forward(self, state: Floats, p: Floats, seconds: float) -> None:
        fade = float(np.exp(-seconds / self.level_s))
        state[0] *= fade
        p[0] *= fade
        p[:, 0] *= fade
        p[0, 0] += self.level_um**2 * (1 - fade**2)
        p.flat[len(p) + 1 :: len(p) + 1] += self.lane_um**2 * seconds / self.lane_s

    @staticmethod
    def _update(state: Floats, p: Floats, lane: int, value: float, noise: float) -> None:
        """One reading of level + lane."""
        column = p[:, 0] + p[:, lane]
        gain = column / (column[0] + column[lane] + noise)
        state += gain * (value - state[0] - state[lane])
        p -= np.outer(gain, column)
