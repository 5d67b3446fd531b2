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
    import cv2

    rows, columns = grey.shape
    across = cv2.reduce(grey, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[:, 0] - _spread(
        boxes[:, 1], boxes[:, 3], (boxes[:, 2] - boxes[:, 0]) * value, rows
    )
    level = _over(across, columns - _spread(boxes[:, 1], boxes[:, 3], boxes[:, 2] - boxes[:, 0], rows), columns / 20)
    up = np.concatenate([[0.0], np.cumsum(_filled(level))])  # so that a window does not hide light rows only
    cuts = np.linspace(0, rows, _PARTS + 1).astype(int)
    sums, shares = np.zeros((_PARTS, columns)), np.zeros((_PARTS, columns))
    for k in range(_PARTS):
        first, stop = (np.clip(boxes[:, side], cuts[k], cuts[k + 1]) for side in (1, 3))
        sums[k] = cv2.reduce(grey[cuts[k] : cuts[k + 1]], 0, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[0]
        sums[k] -= _spread(boxes[:, 0], boxes[:, 2], (stop - first) * value, columns)
        shares[k] = up[cuts[k + 1]] - up[cuts[k]] - _spread(boxes[:, 0], boxes[:, 2], up[stop] - up[first], columns)
    total, share = (np.vstack([one.sum(axis=0), one]) for one in (sums, shares))
    full = np.concatenate([[up[-1]], np.diff(up[cuts])])
    ends = np.column_stack([np.concatenate([[0], cuts[:-1]]), np.concatenate([[rows], cuts[1:]])])
    along = _filled(_over(total[0], share[0], up[-1] / 20))
    return _found(total, share, full, ends, pixel, settings.streak_sd), _rows(across, along, boxes)


def _rows(across: Floats, along: Floats, boxes: Ints) -> Floats:
    """Mean of each row's coat, as if none of it were painted; NaN where all is.  along : each column's over the mean"""
    up = np.concatenate([[0.0], np.cumsum(along)])
    share = up[-1] - _spread(boxes[:, 1], boxes[:, 3], up[boxes[:, 2]] - up[boxes[:, 0]], len(across))
    return np.asarray(_over(across, share, up[-1] / 20) * up[-1] / len(along))


def _over(total: Floats, share: Floats, least: float) -> Floats:
    """total / share; NaN where there is too little of it."""
    return np.where(share > least, total / np.maximum(share, 1e-9), np.nan)


def _filled(some: Floats) -> Floats:
    """NaN replaced by the mean of the rest, or 1."""
    told = np.isfinite(some)
    return np.where(told, some, some[told].mean() if told.any() else 1.0)


def _spread(start: Ints, stop: Ints, amount: Ints, length: int) -> Floats:
    """Sum over boxes of `amount` on start..stop-1."""
    step = np.bincount(start, amount, length + 1) - np.bincount(stop, amount, length + 1)
    return np.asarray(step.cumsum()[:length])


def _found(total: Floats, share: Floats, full: Floats, ends: Ints, pixel: float, limit: float) -> list[Stripe]:
    """The strongest first, and none within another.  First row of `total` : the whole, which has the lower limit."""
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
            z, depth = _standing_out(mean, wide)
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


def _standing_out(mean: Floats, wide: int) -> tuple[Floats, Floats]:
    """(in robust sd, relative) narrow minus wide mean of each column of each row; 0 at the rims."""
    up = np.concatenate([np.zeros((len(mean), 1)), mean.cumsum(axis=1)], axis=1)
    far, half, n = 2 * wide + wide // 2, wide // 2, mean.shape[1]
    narrow = (up[:, far + half + 1 : n - far + half + 1] - up[:, far - half : n - far - half]) / (2 * half + 1)
    broad = (up[:, 2 * far + 1 :] - up[:, : n - 2 * far]) / (2 * far + 1)
    depth = narrow / np.maximum(broad, 1e-6) - 1
    off = np.sort(np.abs(depth[:, ::3]), axis=1)
    sd = 1.4826 * off[:, off.shape[1] // 2] + 1e-5
    tail = np.maximum(off[:, int(0.9 * off.shape[1])] / (1.645 * sd), 1.0)
    out, relative = np.zeros(mean.shape), np.zeros(mean.shape)
    relative[:, far : n - far] = depth
    out[:, far : n - far] = depth / (sd * tail)[:, None]
    return out, relative
