"""The inner loops over columns and rows, compiled, for streaks and for the means along the web."""

from typing import Any

import numba as nb
import numpy as np

__all__ = ["spread", "standing_out", "sums"]


@nb.njit(cache=True, nogil=True)
def spread(start: Any, stop: Any, amount: Any, out: Any) -> Any:
    """Take the amount of each box off start..stop-1 of `out`, which is given back."""
    for n in range(len(start)):
        for k in range(start[n], stop[n]):
            out[k] -= amount[n]
    return out


@nb.njit(cache=True, nogil=True)
def sums(grey: Any, cuts: Any, boxes: Any, value: Any) -> Any:
    """(sum of each row, points in it, sum of each column between each two cuts), without what is painted.

    boxes : (n, 4), none over another, painted with value (n,)
    """
    rows, columns = grey.shape
    across, points = np.zeros(rows), np.full(rows, float(columns))
    along, some = np.zeros((len(cuts) - 1, columns)), np.empty(columns, np.int32)
    for k in range(len(cuts) - 1):
        for c in range(columns):
            some[c] = 0
        for r in range(cuts[k], cuts[k + 1]):
            here, total = grey[r], np.int32(0)
            for c in range(columns):
                some[c] += here[c]
            for c in range(columns):
                total += np.int32(here[c])
            across[r] = total
        for c in range(columns):
            along[k, c] = some[c]
        for n in range(len(boxes)):
            high = min(boxes[n, 3], cuts[k + 1]) - max(boxes[n, 1], cuts[k])
            if high > 0:
                for c in range(boxes[n, 0], boxes[n, 2]):
                    along[k, c] -= high * value[n]
    for n in range(len(boxes)):
        wide = boxes[n, 2] - boxes[n, 0]
        for r in range(boxes[n, 1], boxes[n, 3]):
            across[r] -= wide * value[n]
            points[r] -= wide
    return across, points, along


@nb.njit(cache=True, nogil=True)
def standing_out(mean: Any, wide: int) -> Any:
    """(in robust sd, relative) narrow minus wide mean of each column of each row; 0 at the rims."""
    rows, n = mean.shape
    far, half = 2 * wide + wide // 2, wide // 2
    out, relative, up = np.zeros((rows, n)), np.zeros((rows, n)), np.zeros(n + 1)
    for r in range(rows):
        for c in range(n):
            up[c + 1] = up[c] + mean[r, c]
        for c in range(far, n - far):
            narrow = (up[c + half + 1] - up[c - half]) / (2 * half + 1)
            broad = (up[c + far + 1] - up[c - far]) / (2 * far + 1)
            relative[r, c] = narrow / max(broad, 1e-6) - 1
        off = np.empty((n - 2 * far + 2) // 3)
        for k in range(off.size):
            off[k] = abs(relative[r, far + 3 * k])
        off.sort()
        sd = 1.4826 * off[off.size // 2] + 1e-5
        tail = max(off[int(0.9 * off.size)] / (1.645 * sd), 1.0)
        for c in range(far, n - far):
            out[r, c] = relative[r, c] / (sd * tail)
    return out, relative
