"""Slow, lasting changes of the level: ramps that stand out of the level's own wander.

The wander is correlated from pass to pass, so a ramp is weighed by the number of independent passes, not by their
count: a straight line through a few slow swings is no drift.
"""

from dataclasses import dataclass

import numpy as np

from reelmark.stations.film.gauge.model import Model
from reelmark.stations.film.gauge.passes import FEWEST
from reelmark.stations.film.gauge.records import Floats

__all__ = ["Drift", "find_drift", "independent"]

_KNOTS = 33  # places where a ramp may begin or end, first round
_TRIES = 20  # ramps that differ by chance, of the 500 tried: our own study by simulation


@dataclass(frozen=True, slots=True)
class Drift:
    """The level goes by size_um between from_m and to_m and stays; t : size over its standard error; chance of it."""

    from_m: float
    to_m: float
    size_um: float
    t: float
    chance: float


def independent(x: Floats) -> float:
    """Independent readings that a correlated row is worth: n / (1 + 2 sum r_k), k up to the first r_k below 0.

    Initial positive sequence, as Geyer 1992 (from memory) cuts it; right for rows many times longer than their wander.
    """
    d = x - x.mean()
    n, square = d.size, float(d @ d)
    if n < 4 or square <= 0:
        return float(n)
    spectrum = np.abs(np.fft.rfft(d, 2 * n)) ** 2
    r = np.fft.irfft(spectrum)[1:n] / square
    end = int(np.argmax(r < 0)) if (r < 0).any() else r.size
    return max(1.0, float(n / (1 + 2 * r[:end].sum())))


def find_drift(model: Model, alarm: float) -> Drift | None:
    """The strongest ramp of the level, when chance shows such a one with a probability below alarm.

    Valid for one drift a roll and 100 passes or more; a second one is seen once the first is mended.
    """
    if model.records.passes < FEWEST["drifts"]:
        return None
    metre, level = model.pass_metre_m, model.level_um
    knots = np.linspace(metre[0], metre[-1], _KNOTS)
    best = _best(metre, level, knots, knots)
    for width in (1.0, 0.5, 0.25):
        step = width * (knots[1] - knots[0])
        near = np.linspace(-step, step, 5)
        best = _best(metre, level, best[0] + near, best[1] + near)
    return _weighed(metre, level, best, alarm)


def _best(metre: Floats, level: Floats, starts: Floats, stops: Floats) -> tuple[float, float]:
    """Begin and end of the ramp that leaves least."""
    a, b = (one.ravel() for one in np.meshgrid(starts, stops, indexing="ij"))
    good = (b - a >= 0.04 * np.ptp(metre)) & (a >= metre[0] - 1) & (b <= metre[-1] + 1)
    a, b = a[good], b[good]
    d, ramp = level - level.mean(), _ramps(metre, a, b)
    ramp -= ramp.mean(axis=1, keepdims=True)
    gain = (ramp @ d) ** 2 / np.maximum(np.einsum("ij,ij->i", ramp, ramp), 1e-12)
    i = int(np.argmax(gain))
    return float(a[i]), float(b[i])


def _ramps(metre: Floats, a: Floats, b: Floats) -> Floats:
    out: Floats = np.clip((metre - a[:, None]) / (b - a)[:, None], 0, 1)
    return out


def _weighed(metre: Floats, level: Floats, best: tuple[float, float], alarm: float) -> Drift | None:
    from scipy.special import stdtr

    ramp = _ramps(metre, np.array([best[0]]), np.array([best[1]]))[0]
    ramp = ramp - ramp.mean()
    d = level - level.mean()
    square = float(ramp @ ramp)
    size = float(ramp @ d) / square
    rest = d - size * ramp
    worth = independent(rest)
    if worth < 4:
        return None
    # Begin and end of the ramp were chosen by its gain: half of what is independent judges it (our own study).
    variance = float(rest @ rest) / d.size * worth / (worth - 2)  # level and size; the search is in _TRIES
    t = size / float(np.sqrt(variance / square * d.size / worth))
    chance = min(1.0, 2 * _TRIES * float(stdtr(worth / 2, -abs(t))))
    return Drift(best[0], best[1], size, t, chance) if chance < alarm else None
