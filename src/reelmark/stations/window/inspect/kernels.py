"""The inner loops, compiled (numba, kept on disk after the first time) and imported only where a frame is looked at.

numpy would spend most of its time between calls: a frame has some 260 edges of 15 grey values each, and 66 windows.
Types are whole numbers of eight and sixteen bits where they can be, for then sixteen and more are done at a time.
"""

from math import erf, exp, sqrt
from typing import Any

import numba as nb
import numpy as np

__all__ = [
    "clear_share",
    "dark_points",
    "edges",
    "medians",
    "outlines",
    "over",
    "profiles",
    "robust_lines",
    "seen_at",
    "smooth",
]


@nb.njit(cache=True, nogil=True)
def seen_at(place: Any, points: Any, start: Any, bend: Any, middle: Any, bent: float) -> Any:
    """(n, p, 2) px of the picture, of (n, 2) places and (p, 2) points about each on the lattice's plane.

    corrected = start + plane @ bend, and the lens of `lattice`, bent = k1 / r2, taken back in two steps
    """
    out = np.empty((place.shape[0], points.shape[0], 2))
    for n in range(place.shape[0]):
        for p in range(points.shape[0]):
            u, v = place[n, 0] + points[p, 0], place[n, 1] + points[p, 1]
            x = start[0] + u * bend[0, 0] + v * bend[1, 0] - middle[0]
            y = start[1] + u * bend[0, 1] + v * bend[1, 1] - middle[1]
            far = bent * (x * x + y * y)
            first = 1 / (1 + far)
            grow = 1 / (1 + far * first * first)
            out[n, p, 0], out[n, p, 1] = x * grow + middle[0], y * grow + middle[1]
    return out


@nb.njit(cache=True, nogil=True)
def profiles(flat: Any, wide: int, seen: Any, axis: Any, step: Any, side: Any, slope: Any, reach: int) -> Any:
    """(grey, mean, var) of the profiles through seen (n, p, 2): see edges.gather.  axis, step, side, slope : (p,)"""
    many, points = seen.shape[0], seen.shape[1]
    grey = np.zeros((many, 4, 2 * reach + 1))
    mean, var = np.zeros((many, 4)), np.zeros((many, 4))
    across, line = np.empty(points), np.empty(points)
    middle, count, total = np.empty(4), np.empty(4), np.zeros((4, 2 * reach + 1), np.int64)
    for n in range(many):
        middle[:], count[:], total[:, :] = 0, 0, 0
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
            at -= reach * step[p]
            for k in range(2 * reach + 1):
                total[s, k] += flat[min(max(at + k * step[p], 0), flat.size - 1)]  # none beyond the picture
        for s in range(4):
            var[n, s] -= mean[n, s] * mean[n, s]
            for k in range(2 * reach + 1):
                grey[n, s, k] = total[s, k] / count[s]
    return grey, mean, var


@nb.njit(cache=True, nogil=True)
def _solve(A: Any, B: Any) -> None:
    """A x = B in place of B (p, k), by Gauss; A is positive, so no rows are exchanged."""
    p, many = B.shape
    for i in range(p):
        for r in range(i + 1, p):
            f = A[r, i] / A[i, i]
            for j in range(i, p):
                A[r, j] -= f * A[i, j]
            for k in range(many):
                B[r, k] -= f * B[i, k]
    for i in range(p - 1, -1, -1):
        for k in range(many):
            for j in range(i + 1, p):
                B[i, k] -= A[i, j] * B[j, k]
            B[i, k] /= A[i, i]


@nb.njit(cache=True, nogil=True)
def edges(z: Any, place: Any, spread: Any, rounds: int) -> Any:
    """(low, step), (n, 2), of profiles z (n, 2m+1); places and spreads (n,) are bettered where they stand."""
    many, wide = z.shape
    m = (wide - 1) / 2
    out = np.zeros((many, 2))
    A, B, J = np.empty((4, 4)), np.empty((4, 1)), np.empty(4)
    for n in range(many):
        e, s = place[n], spread[n]
        for turn in range(rounds):
            A[:, :], B[:, :] = 0.0, 0.0
            for k in range(wide):
                u = (k - m - e) / s
                J[3] = 0.5 * (1 + erf(u / 1.4142135623730951))
                J[0] = -exp(-0.5 * u * u) / (2.5066282746310002 * s)
                J[1], J[2] = u * J[0], 1.0
                for i in range(4):
                    for j in range(4):
                        A[i, j] += J[i] * J[j]
                    B[i, 0] += J[i] * z[n, k]
            for i in range(4):
                A[i, i] += 1e-6
            _solve(A, B)
            c = B[3, 0] if abs(B[3, 0]) > 0.3 else 1.0
            de = min(max(B[0, 0] / c, -1.5), 1.5)
            ds = min(max(B[1, 0] / c, -0.6 * s), 0.9 * s)
            e, s = min(max(e + de, -m + 0.5), m - 0.5), min(max(s + ds, 0.15), m)
            if turn > 0 and abs(de) + abs(ds) < 0.01:
                break
        place[n], spread[n] = e, s
        out[n, 0], out[n, 1] = B[2, 0], B[3, 0]
    return out


@nb.njit(cache=True, nogil=True)
def robust_lines(X: Any, Y: Any, good: Any, rounds: int, floor: float, ridge: float) -> Any:
    """(p, k) of Y (n, k) = X (n, p) @ it, by least squares with Tukey's weights; rows that are not good are left out.

    floor : least robust sd that is believed, of Y;  ridge : kept off a singular X, its columns scaled to 1
    """
    n, p = X.shape
    many = Y.shape[1]
    scale = np.ones(p)
    for i in range(p):
        scale[i] = max(np.abs(X[:, i]).max(), 1e-12)
    weight = np.where(good, 1.0, 0.0)
    A, beta, off = np.empty((p, p)), np.empty((p, many)), np.empty(n)
    for _ in range(rounds):
        A[:, :], beta[:, :] = 0.0, 0.0
        for r in range(n):
            if weight[r] > 0:
                for i in range(p):
                    x = weight[r] * X[r, i] / scale[i]
                    for j in range(p):
                        A[i, j] += x * X[r, j] / scale[j]
                    for k in range(many):
                        beta[i, k] += x * Y[r, k]
        for i in range(p):
            A[i, i] += ridge
        _solve(A, beta)
        for i in range(p):
            beta[i] /= scale[i]
        for r in range(n):
            far = 0.0
            for k in range(many):
                rest = Y[r, k]
                for i in range(p):
                    rest -= X[r, i] * beta[i, k]
                far += rest * rest
            off[r] = sqrt(far)
        some = np.sort(off[good])
        limit = 4.685 * (1.4826 * some[some.size // 2] + floor)
        for r in range(n):
            u = off[r] / limit
            weight[r] = (1 - u * u) ** 2 if good[r] and u < 1 else 0.0
    return beta


@nb.njit(cache=True, nogil=True)
def medians(grey: Any) -> Any:
    """(n,) of rows (n, p) of whole greys, by counting; the lower one of two."""
    out = np.empty(grey.shape[0])
    many = np.empty(256, np.int64)
    for n in range(grey.shape[0]):
        many[:] = 0
        for p in range(grey.shape[1]):
            many[grey[n, p]] += 1
        seen = value = 0
        while 2 * (seen + many[value]) < grey.shape[1]:
            seen += many[value]
            value += 1
        out[n] = value
    return out


@nb.njit(cache=True, nogil=True)
def clear_share(flat: Any, at: Any, offset: Any, soft: Any, low: float, level: Any) -> Any:
    """(n,) clear share, 0 to 1, of the points at + offset (p,), of which `soft` (p,) are clear in a whole window."""
    out = np.zeros(at.size)
    whole = soft.sum()
    for n in range(at.size):
        total = 0.0
        for p in range(offset.size):
            total += min(max((flat[at[n] + offset[p]] - low) / (level[n] - low), 0.0), 1.0)
        out[n] = min(total / whole, 1.0)
    return out


@nb.njit(cache=True, nogil=True)
def dark_points(flat: Any, at: Any, offset: Any, core: Any, limit: Any) -> Any:
    """(n,) points darker than limit (n,), and those of them that are of the core (p,)."""
    dark, deep = np.zeros(at.size, np.int64), np.zeros(at.size, np.int64)
    for n in range(at.size):
        for p in range(offset.size):
            if flat[at[n] + offset[p]] < limit[n]:
                dark[n] += 1
                deep[n] += core[p]
    return dark, deep


@nb.njit(cache=True, nogil=True)
def outlines(points: Any, stop: Any) -> Any:
    """(n, 7) x, y of the middle, x, y, wide, high of the box, area: of polygons laid end to end, (p, 2), that stop at.

    By Green's theorem; the line runs through the middles of the rim's pixels, so half a pixel is added to the area.
    """
    out = np.zeros((stop.size, 7))
    first = 0
    for n in range(stop.size):
        x0, y0 = points[first, 0], points[first, 1]
        low0, low1, high0, high1 = x0, y0, x0, y0
        area = mx = my = 0.0
        for p in range(first, stop[n]):
            q = p + 1 if p + 1 < stop[n] else first
            ax, ay, bx, by = points[p, 0] - x0, points[p, 1] - y0, points[q, 0] - x0, points[q, 1] - y0
            turn = float(ax * by - bx * ay)
            area, mx, my = area + turn, mx + turn * (ax + bx), my + turn * (ay + by)
            low0, low1 = min(low0, points[p, 0]), min(low1, points[p, 1])
            high0, high1 = max(high0, points[p, 0]), max(high1, points[p, 1])
        if area != 0:
            out[n, 0], out[n, 1] = x0 + mx / (3 * area), y0 + my / (3 * area)
            out[n, 6] = abs(area) / 2 + (stop[n] - first) / 2 + 1
        out[n, 2], out[n, 3], out[n, 4], out[n, 5] = low0, low1, high0 - low0 + 1, high1 - low1 + 1
        first = stop[n]
    return out


@nb.njit(cache=True, nogil=True)
def smooth(grey: Any, out: Any) -> None:
    """1 2 1 both ways over 16, rounded, the rim repeated: as cv2.GaussianBlur of 3 x 3, in an eighth of its time."""
    rows, columns = grey.shape
    line = np.empty(columns + 2, np.uint16)
    for r in range(rows):
        above, here, below, to = grey[max(r - 1, 0)], grey[r], grey[min(r + 1, rows - 1)], out[r]
        for c in range(columns):
            line[c + 1] = above[c] + 2 * here[c] + below[c]
        line[0], line[columns + 1] = line[1], line[columns]
        for c in range(columns):
            to[c] = (line[c] + 2 * line[c + 1] + line[c + 2] + 8) >> 4


@nb.njit(cache=True, nogil=True)
def over(smooth: Any, base: Any, out: Any) -> Any:
    """What stands out of the background, 0 where nothing does, into `out`; and the most of each row.

    base : as wide, of fewer rows, and in line between them;  out must not be one of the two, or it takes long
    """
    rows, columns = smooth.shape
    few = base.shape[0]
    back, most = np.empty(columns, np.uint8), np.empty(rows, np.uint8)
    for r in range(rows):
        at = min(max((r + 0.5) * few / rows - 0.5, 0.0), few - 1.0)
        low = int(at)
        share = np.uint16(64 * (at - low) + 0.5)
        rest = np.uint16(64 - share)
        a, b, here, to = base[low], base[min(low + 1, few - 1)], smooth[r], out[r]
        for c in range(columns):
            back[c] = (rest * a[c] + share * b[c] + 32) >> 6
        for c in range(columns):
            to[c] = max(here[c], back[c]) - back[c]
        top = np.uint8(0)
        for c in range(columns):
            top = max(top, to[c])
        most[r] = top
    return most
