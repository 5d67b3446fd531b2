"""The two inner loops of the edges, compiled when first needed (numba, kept on disk): a quarter of numpy's time.

numpy would spend most of its time between calls, for a frame has some 260 edges of 15 grey values each.
"""

from collections.abc import Callable
from functools import cache
from math import erf, exp
from typing import Any

import numpy as np

__all__ = ["fitting", "profiles"]


@cache
def profiles() -> Callable[..., Any]:
    """(flat, width, seen (n, p, 2), axis, step, side, slope (p,), reach) -> (grey, mean, var): see edges.gather."""
    from numba import njit

    return njit(cache=True, nogil=True)(_profiles)


@cache
def fitting() -> Callable[..., Any]:
    """(z (n, 2m+1), place (n,), spread (n,), rounds) -> (low, step), places and spreads bettered where they stand."""
    from numba import njit

    return njit(cache=True, nogil=True)(_fitted)


def _profiles(
    flat: Any, wide: int, seen: Any, axis: Any, step: Any, side: Any, slope: Any, reach: int
) -> tuple[Any, Any, Any]:
    many, points = seen.shape[0], seen.shape[1]
    grey = np.zeros((many, 4, 2 * reach + 1))
    mean, var = np.zeros((many, 4)), np.zeros((many, 4))
    across, line = np.empty(points), np.empty(points)
    for n in range(many):
        middle, count = np.zeros(4), np.zeros(4)
        for p in range(points):
            a = axis[p]
            line[p] = np.rint(seen[n, p, 1 - a])
            across[p] = seen[n, p, a] + slope[p] * (line[p] - seen[n, p, 1 - a])
            middle[side[p]] += across[p]
            count[side[p]] += 1
        for p in range(points):
            s = side[p]
            mid = middle[s] / count[s]
            start = np.rint(across[p] - (mid - np.rint(mid)))  # points that lie alike in their pixels stay alike
            within = across[p] - start
            mean[n, s] += within / count[s]
            var[n, s] += within * within / count[s]
            at = int(start + line[p] * wide) if axis[p] == 0 else int(line[p] + start * wide)
            for k in range(-reach, reach + 1):
                grey[n, s, k + reach] += flat[at + k * step[p]]
        for s in range(4):
            var[n, s] -= mean[n, s] * mean[n, s]
            for k in range(2 * reach + 1):
                grey[n, s, k] /= count[s]
    return grey, mean, var


def _fitted(z: Any, place: Any, spread: Any, rounds: int) -> Any:
    many, wide = z.shape
    m = (wide - 1) / 2
    out = np.zeros((many, 2))
    A, J = np.empty((4, 5)), np.empty(4)
    for n in range(many):
        e, s = place[n], spread[n]
        for turn in range(rounds):
            A[:, :] = 0.0
            for k in range(wide):
                u = (k - m - e) / s
                J[3] = 0.5 * (1 + erf(u / 1.4142135623730951))
                J[0] = -exp(-0.5 * u * u) / (2.5066282746310002 * s)
                J[1], J[2] = u * J[0], 1.0
                for i in range(4):
                    for j in range(4):
                        A[i, j] += J[i] * J[j]
                    A[i, 4] += J[i] * z[n, k]
            for i in range(4):
                A[i, i] += 1e-6
            for i in range(4):  # Gauss; the matrix is positive, so no rows are exchanged
                for r in range(i + 1, 4):
                    f = A[r, i] / A[i, i]
                    for j in range(i, 5):
                        A[r, j] -= f * A[i, j]
            for i in range(3, -1, -1):
                for j in range(i + 1, 4):
                    A[i, 4] -= A[i, j] * A[j, 4]
                A[i, 4] /= A[i, i]
            c = A[3, 4] if abs(A[3, 4]) > 0.3 else 1.0
            de = min(max(A[0, 4] / c, -1.5), 1.5)
            ds = min(max(A[1, 4] / c, -0.6 * s), 0.9 * s)
            e, s = min(max(e + de, -m + 0.5), m - 0.5), min(max(s + ds, 0.15), m)
            if turn > 0 and abs(de) + abs(ds) < 0.01:
                break
        place[n], spread[n] = e, s
        out[n, 0], out[n, 1] = A[2, 4], A[3, 4]
    return out
