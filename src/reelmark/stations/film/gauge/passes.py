r"""Where one pass of the head ends and the next begins.

high zone  ----/\-----/\----     a pass runs from the outermost point of one visit to an edge zone to that of
              /  \   /  \        the next visit to the other; a gap in the clock ends a pass too
low zone   --/----\-/----\--
"""

import numpy as np
from numpy.typing import NDArray

__all__ = ["Ints", "split"]

Ints = NDArray[np.int64]
_Floats = NDArray[np.float64]

_EDGE = 0.15  # share of the sweep that counts as an edge zone
_FEW = 0.1  # a pass with fewer points than this share of the middle one is part of its neighbour


def split(time_s: _Floats, across_mm: _Floats) -> tuple[Ints, NDArray[np.bool_], Ints]:
    """(number of the pass by point, forward by pass, points before a gap).

    time_s, across_mm : shape (N,), time not falling.  A head that flies back unread gives forward passes only.
    """
    gaps = _gaps(time_s)
    jumps = np.flatnonzero(abs(np.diff(across_mm)) > 0.5 * np.ptp(across_mm)) + 1
    cuts = _whole(np.unique(np.concatenate([[0], gaps + 1, jumps, _turns(across_mm)])), across_mm.size)
    number = np.zeros(across_mm.size, np.int64)
    number[cuts[1:]] = 1
    long = np.diff(np.append(cuts, across_mm.size))
    slope = across_mm[cuts + 3 * long // 4] - across_mm[cuts + long // 4]
    return np.cumsum(number), slope > 0, gaps


def _whole(cuts: Ints, points: int) -> Ints:
    """Cuts without crumbs: a few points belong to the pass before, or at the start to the pass behind."""
    sizes = np.diff(np.append(cuts, points))
    big = sizes >= _FEW * np.median(sizes[sizes > 2] if (sizes > 2).any() else sizes)
    if big.any():
        cuts = np.concatenate([[0], cuts[big][1:]])
    return cuts


def _gaps(time_s: _Floats) -> Ints:
    """Points after which the clock leaps: well above the turn of the head, the longest pause that comes back often."""
    step = np.diff(time_s)
    pauses = step[step > 3 * np.median(step)]
    usual = float(np.median(pauses)) if pauses.size >= 3 else 0.0
    return np.flatnonzero(step > np.maximum(3 * usual, 10 * np.median(step)))


def _turns(across_mm: _Floats) -> Ints:
    """First points of new passes, by visits to the edge zones."""
    low, high = np.min(across_mm), np.max(across_mm)
    edge = _EDGE * (high - low)
    zone = (across_mm > high - edge).astype(np.int8) - (across_mm < low + edge).astype(np.int8)
    seen = np.flatnonzero(zone)
    begins = np.flatnonzero(np.diff(zone[seen], prepend=0) != 0)
    out = []
    for a, b in zip(begins, np.append(begins[1:], seen.size), strict=True):
        first, last = int(seen[a]), int(seen[b - 1]) + 1
        side = across_mm[first:last] * zone[first]
        flown = first > 0 and abs(across_mm[first] - across_mm[first - 1]) > 0.5 * (high - low)
        out.append(first if flown else first + _middle_of_top(side))
    return np.array(out, np.int64)


def _middle_of_top(side: _Floats) -> int:
    """Place just behind the middle of the outermost points; the head may rest there."""
    top = np.flatnonzero(side >= side.max() - 1e-9)
    return int(top[top.size // 2]) + (top.size == 1 and top[0] < side.size - 1)
