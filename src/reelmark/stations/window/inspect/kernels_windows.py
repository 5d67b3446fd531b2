"""The inner loops over the points of patches and windows, compiled: how light they are, and profiles of their edges."""

from math import ceil
from typing import Any

import numba as nb
import numpy as np

__all__ = ["clear_share", "counted", "dark_points", "greys", "medians", "outlines", "profiles", "thinned"]


@nb.njit(cache=True, nogil=True)
def thinned(picture: Any, stride: int) -> Any:
    """Every stride-th pixel both ways."""
    rows, columns = (picture.shape[0] + stride - 1) // stride, (picture.shape[1] + stride - 1) // stride
    out = np.empty((rows, columns), np.uint8)
    for r in range(rows):
        here, to = picture[r * stride], out[r]
        at = np.uint64(0)
        for c in range(columns):
            to[c] = here[at]
            at += np.uint64(stride)
    return out


@nb.njit(cache=True, nogil=True)
def counted(few: Any) -> Any:
    """(4, 256) in four parts, how often each grey is there, of every second pixel both ways."""
    many = np.zeros((4, 256), np.int64)  # four, for one would wait for itself
    for r in range(0, few.shape[0], 2):
        for c in range(0, few.shape[1], 2):
            many[(c >> 1) & 3, few[r, c]] += 1
    return many


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
def greys(flat: Any, wide: int, at: Any, points: Any, step: int) -> Any:
    """(n, q) of every step-th of the points (p, 2), column and row, about each `at` (n,) of a picture so wide."""
    out = np.empty((at.size, (len(points) + step - 1) // step), np.uint8)
    for q in range(out.shape[1]):
        off = points[q * step, 0] + wide * points[q * step, 1]
        for n in range(at.size):
            out[n, q] = flat[at[n] + off]
    return out


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
def clear_share(flat: Any, wide: int, at: Any, points: Any, soft: Any, low: float, level: Any) -> Any:
    """(n,) clear share, 0 to 1, of the points (p, 2) about `at`, of which `soft` (p,) are clear in a whole window."""
    out, offset = np.zeros(at.size), points[:, 0] + wide * points[:, 1]
    whole, share = 0.0, np.empty(256)
    for p in range(soft.size):
        whole += soft[p]
    for n in range(at.size):
        for grey in range(256):
            share[grey] = min(max((grey - low) / (level[n] - low), 0.0), 1.0)
        total, here = 0.0, at[n]
        for p in range(offset.size):
            total += share[flat[here + offset[p]]]
        out[n] = min(total / whole, 1.0)
    return out


@nb.njit(cache=True, nogil=True)
def dark_points(flat: Any, wide: int, at: Any, points: Any, core: Any, limit: Any) -> Any:
    """(n,) of the points (p, 2) about `at` those darker than limit (n,), and those of them of the core (p,)."""
    dark, deep = np.zeros(at.size, np.int64), np.zeros(at.size, np.int64)
    offset = points[:, 0] + wide * points[:, 1]
    for n in range(at.size):
        many, core_many, here, least = 0, 0, at[n], ceil(limit[n])
        for p in range(offset.size):
            if flat[here + offset[p]] < least:
                many += 1
                core_many += core[p]
        dark[n], deep[n] = many, core_many
    return dark, deep


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
            last = at + 2 * reach * step[p]
            if min(at, last) >= 0 and max(at, last) < flat.size:
                for k in range(2 * reach + 1):
                    total[s, k] += flat[at + k * step[p]]
            else:  # none beyond the picture
                for k in range(2 * reach + 1):
                    total[s, k] += flat[min(max(at + k * step[p], 0), flat.size - 1)]
        for s in range(4):
            var[n, s] -= mean[n, s] * mean[n, s]
            for k in range(2 * reach + 1):
                grey[n, s, k] = total[s, k] / count[s]
    return grey, mean, var
