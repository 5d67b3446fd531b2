"""Streaks along the web, from the means of columns, whole and by quarters; and the means of rows."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.settings import LookSettings

__all__ = ["Stripe", "stripes"]

_PARTS = 4
_WIDTHS_MM = (1.6, 4.0)


@dataclass(frozen=True, slots=True)
class Stripe:
    """x, wide : px;  top, bottom : rows;  depth : relative change of grey;  over : limit"""

    x: float
    wide: float
    top: int
    bottom: int
    depth: float
    over: float


def stripes(
    grey: Picture, boxes: Ints, value: NDArray[np.int64], pixel: float, settings: LookSettings
) -> tuple[list[Stripe], Floats]:
    """(streaks, mean grey of each row), from a picture whose boxes are painted with `value`."""
    from reelmark.stations.window.inspect.kernels_streaks import spread, sums

    rows, columns = grey.shape
    cuts = np.linspace(0, rows, _PARTS + 1).astype(int)
    across, points, part = sums(grey, cuts, boxes, value)
    level = _over(across, points, columns / 20)
    up = np.concatenate([[0.0], np.cumsum(_filled(level))])  # so that a window does not hide light rows only
    shares = np.empty((_PARTS, columns))
    x0, x1 = np.ascontiguousarray(boxes[:, 0]), np.ascontiguousarray(boxes[:, 2])
    for k in range(_PARTS):
        first, stop = (up[np.minimum(np.maximum(boxes[:, side], cuts[k]), cuts[k + 1])] for side in (1, 3))
        shares[k] = up[cuts[k + 1]] - up[cuts[k]]
        spread(x0, x1, stop - first, shares[k])
    total, share = (np.vstack([one.sum(axis=0), one]) for one in (part, shares))
    full = np.concatenate([[up[-1]], np.diff(up[cuts])])
    ends = np.column_stack([np.concatenate([[0], cuts[:-1]]), np.concatenate([[rows], cuts[1:]])])
    along = _filled(_over(total[0], share[0], up[-1] / 20))
    return _found(total, share, full, ends, pixel, settings.streak_sd), _rows(across, along, boxes)


def _rows(across: Floats, along: Floats, boxes: Ints) -> Floats:
    """Mean of each row's coat, as if none of it were painted; NaN where all is.  along : each column's over the mean"""
    from reelmark.stations.window.inspect.kernels_streaks import spread

    up = np.concatenate([[0.0], np.cumsum(along)])
    y0, y1 = np.ascontiguousarray(boxes[:, 1]), np.ascontiguousarray(boxes[:, 3])
    share = spread(y0, y1, up[boxes[:, 2]] - up[boxes[:, 0]], np.full(len(across), up[-1]))
    return np.asarray(_over(across, share, up[-1] / 20) * up[-1] / len(along))


def _over(total: Floats, share: Floats, least: float) -> Floats:
    """total / share; NaN where there is too little of it."""
    return np.where(share > least, total / np.maximum(share, 1e-9), np.nan)


def _filled(some: Floats) -> Floats:
    """NaN replaced by the mean of the rest, or 1."""
    told = np.isfinite(some)
    return np.where(told, some, some[told].mean() if told.any() else 1.0)


def _found(total: Floats, share: Floats, full: Floats, ends: Ints, pixel: float, limit: float) -> list[Stripe]:
    """The strongest first, and none within another.  First row of `total` : the whole, which has the lower limit."""
    from reelmark.stations.window.inspect.kernels_streaks import standing_out

    good = share > 0.15 * full[:, None]
    mean = total / np.maximum(share, 1e-9)
    weak = np.sqrt(np.clip(share / np.maximum(full, 1e-9)[:, None], 0.0, 1.0))  # few rows tell a column's mean badly
    enough = good.sum(axis=1) > 50
    for k in np.flatnonzero(~good.all(axis=1) & enough):
        mean[k] = np.interp(np.arange(mean.shape[1]), np.flatnonzero(good[k]), mean[k][good[k]])
    limits = np.where(np.arange(len(mean)) > 0, 1.15, 1.0)[:, None] * limit
    peaks = []
    for wide in sorted({max(2 * int(wide_mm / pixel / 2) + 1, 3) for wide_mm in _WIDTHS_MM}):
        if 10 * wide < mean.shape[1]:
            z, depth = standing_out(mean, wide)
            over = np.abs(z) * weak / limits * enough[:, None]
            over[0] *= (np.sign(z[0]) * z[1:] > 2).sum(axis=0) >= _PARTS - 1  # a streak of the whole shows in its parts
            peaks += [(float(over[k, x]), wide, k, x, float(depth[k, x])) for k, x in np.argwhere(over > 1)]
    out: list[Stripe] = []
    for one, wide, k, x, deep in sorted(peaks, reverse=True, key=_first):
        if all(abs(x - other.x) > 3 * (wide + other.wide) for other in out):
            out.append(Stripe(int(x), wide, int(ends[k, 0]), int(ends[k, 1]), deep, one))
    return out


def _first(peak: tuple[float, int, int, int, float]) -> tuple[bool, float]:
    """Those of the whole before those of a part, then by size."""
    return peak[2] == 0, peak[0]
