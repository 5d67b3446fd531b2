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
    cuts = np.linspace(0, rows, _PARTS + 1).astype(int)
    sums, counts = np.zeros((_PARTS, columns)), np.zeros((_PARTS, columns))
    for k in range(_PARTS):
        sums[k] = cv2.reduce(grey[cuts[k] : cuts[k + 1]], 0, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[0]
        high = np.clip(boxes[:, 3], cuts[k], cuts[k + 1]) - np.clip(boxes[:, 1], cuts[k], cuts[k + 1])
        counts[k] = cuts[k + 1] - cuts[k] - _spread(boxes[:, 0], boxes[:, 2], high, columns)
        sums[k] -= _spread(boxes[:, 0], boxes[:, 2], high * value, columns)
    total = np.vstack([sums.sum(axis=0), sums])
    high = np.concatenate([[rows], np.diff(cuts)])
    count = np.vstack([counts.sum(axis=0), counts])
    ends = np.column_stack([np.concatenate([[0], cuts[:-1]]), np.concatenate([[rows], cuts[1:]])])
    return _found(total, count, high, ends, pixel, settings.streak_sd), _rows(grey, boxes, value)


def _rows(grey: Picture, boxes: Ints, value: NDArray[np.int64]) -> Floats:
    """Mean of each row's coat; NaN where all is painted."""
    import cv2

    rows, columns = grey.shape
    total = cv2.reduce(grey, 1, cv2.REDUCE_SUM, dtype=cv2.CV_32S)[:, 0].astype(float)
    wide = boxes[:, 2] - boxes[:, 0]
    total -= _spread(boxes[:, 1], boxes[:, 3], wide * value, rows)
    count = columns - _spread(boxes[:, 1], boxes[:, 3], wide, rows)
    return np.where(count > columns / 20, total / np.maximum(count, 1), np.nan)


def _spread(start: Ints, stop: Ints, amount: Ints, length: int) -> Floats:
    """Sum over boxes of `amount` on start..stop-1."""
    step = np.bincount(start, amount, length + 1) - np.bincount(stop, amount, length + 1)
    return np.asarray(step.cumsum()[:length])


def _found(total: Floats, count: Floats, high: Ints, ends: Ints, pixel: float, limit: float) -> list[Stripe]:
    """The strongest first, and none within another.  First row of `total` : the whole, which has the lower limit."""
    good = count > 0.15 * high[:, None]
    mean = total / np.maximum(count, 1)
    for k in np.flatnonzero(~good.all(axis=1) & (good.sum(axis=1) > 50)):
        mean[k] = np.interp(np.arange(mean.shape[1]), np.flatnonzero(good[k]), mean[k][good[k]])
    limits = np.where(np.arange(len(mean)) > 0, 1.15, 1.0)[:, None] * limit
    peaks = []
    for wide in sorted({max(2 * int(wide_mm / pixel / 2) + 1, 3) for wide_mm in _WIDTHS_MM}):
        if 10 * wide < mean.shape[1]:
            z, depth = _standing_out(mean, wide)
            over = (np.abs(z) / limits) * (good.sum(axis=1) > 50)[:, None]
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
    depth = narrow / np.maximum(broad, 1) - 1
    off = np.sort(np.abs(depth[:, ::3]), axis=1)
    sd = 1.4826 * off[:, off.shape[1] // 2] + 1e-5
    tail = np.maximum(off[:, int(0.9 * off.shape[1])] / (1.645 * sd), 1.0)
    out, relative = np.zeros(mean.shape), np.zeros(mean.shape)
    relative[:, far : n - far] = depth
    out[:, far : n - far] = depth / (sd * tail)[:, None]
    return out, relative
