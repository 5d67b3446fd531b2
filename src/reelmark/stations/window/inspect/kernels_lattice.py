"""The inner loops of the lattice, compiled: pairs of patches, the vote for a phase, numbers, and nodes in view."""

from math import atan2, ceil, cos, floor, log, pi, sin
from typing import Any

import numba as nb
import numpy as np

__all__ = ["nodes", "numbered", "seen_at", "steps", "vote"]


@nb.njit(cache=True, nogil=True)
def _seen(u: float, v: float, start: Any, bend: Any, middle: Any, bent: float) -> Any:
    """(x, y), px of the picture, of a place on the plane: see seen_at."""
    x = start[0] + u * bend[0, 0] + v * bend[1, 0] - middle[0]
    y = start[1] + u * bend[0, 1] + v * bend[1, 1] - middle[1]
    far = bent * (x * x + y * y)
    first = 1 / (1 + far)
    grow = 1 / (1 + far * first * first)
    return x * grow + middle[0], y * grow + middle[1]


@nb.njit(cache=True, nogil=True)
def seen_at(place: Any, points: Any, start: Any, bend: Any, middle: Any, bent: float) -> Any:
    """(n, p, 2) px of the picture, of (n, 2) places and (p, 2) points about each on the lattice's plane.

    corrected = start + plane @ bend, and the lens of `lattice`, bent = k1 / r2, taken back in two steps
    """
    out = np.empty((place.shape[0], points.shape[0], 2))
    for n in range(place.shape[0]):
        for p in range(points.shape[0]):
            u, v = place[n, 0] + points[p, 0], place[n, 1] + points[p, 1]
            out[n, p, 0], out[n, p, 1] = _seen(u, v, start, bend, middle, bent)
    return out


@nb.njit(cache=True, nogil=True)
def nodes(
    start: Any,
    bend: Any,
    back: Any,
    middle: Any,
    bent: float,
    pitch: Any,
    at: Any,
    first_lane: int,
    lanes: int,
    spare: Any,
) -> Any:
    """(i, j, w, plane (n, 2), seen (n, 2)) of the nodes that lie in the picture by `spare` (w, 2) px.

    back : inverse of bend
    """
    wide, high = 2 * middle[0] + 1, 2 * middle[1] + 1
    low, top = np.inf, -np.inf
    for x in (0.0, wide):
        for y in (0.0, high):
            v = ((x - start[0]) * back[0, 1] + (y - start[1]) * back[1, 1]) / pitch[1]
            low, top = min(low, v), max(top, v)
    first, stop = floor(low) - 1, ceil(top) + 1
    room = max(stop - first, 0) * lanes * len(at)
    number, plane, seen = np.empty((3, room), np.int64), np.empty((room, 2)), np.empty((room, 2))
    n = 0
    for i in range(first, stop):
        for j in range(first_lane, first_lane + lanes):
            for w in range(len(at)):
                u, v = j * pitch[0] + at[w, 0], i * pitch[1] + at[w, 1]
                x, y = _seen(u, v, start, bend, middle, bent)
                across = spare[w, 0] <= x <= wide - 1 - spare[w, 0]
                if across and spare[w, 1] <= y <= high - 1 - spare[w, 1]:
                    number[0, n], number[1, n], number[2, n] = i, j, w
                    plane[n, 0], plane[n, 1], seen[n, 0], seen[n, 1] = u, v, x, y
                    n += 1
    return number[0, :n], number[1, :n], number[2, :n], plane[:n], seen[:n]


@nb.njit(cache=True, nogil=True)
def steps(middle: Any, axis: int, pitch: float, room: float) -> Any:
    """(how many, upper median across, along) of the ways between middles (n, 2) that are a pitch by `room` px."""
    many, n = 0, len(middle)
    for _ in range(2):  # counted first
        some, count = np.empty((2, many)), 0
        for a in range(n):
            for b in range(n):
                x, y = middle[b, 0] - middle[a, 0], middle[b, 1] - middle[a, 1]
                forth, beside = (x, y) if axis == 0 else (y, x)
                if abs(forth - pitch) < room and abs(beside) < room:
                    if count < many:
                        some[0, count], some[1, count] = x, y
                    count += 1
        many = count
    if not many:
        return 0, 0.0, 0.0
    across, along = some[0], some[1]
    across.sort()
    along.sort()
    return many, across[many // 2], along[many // 2]


@nb.njit(cache=True, nogil=True)
def _near(where: Any, a: int, b: int, pitch: Any, room: float) -> bool:
    """Whether two phases are, the short way round."""
    x, y = abs(where[b, 0] - where[a, 0]), abs(where[b, 1] - where[a, 1])
    return bool(min(x, pitch[0] - x) < room and min(y, pitch[1] - y) < room)


@nb.njit(cache=True, nogil=True)
def vote(flat: Any, like: Any, pitch: Any, at: Any, room: float) -> Any:
    """(votes, phase across, along): circular mean about the fullest neighbourhood of what patches (n, 2) say.

    like : (n, w) whether a patch may be window w, which lies at (w, 2) in the cell
    """
    where = np.empty((like.size, 2))
    n = 0
    for a in range(like.shape[0]):
        for w in range(like.shape[1]):
            if like[a, w]:
                for k in range(2):
                    where[n, k] = (flat[a, k] - at[w, k]) % pitch[k]
                n += 1
    best, most = 0, -1
    for a in range(0, n, max(n // 200, 1)):
        count = 0
        for b in range(n):
            count += _near(where, a, b, pitch, room)
        if count > most:
            best, most = a, count
    turn = np.zeros((2, 2))
    for b in range(n):
        if _near(where, best, b, pitch, room):
            for k in range(2):
                angle = 2 * pi * where[b, k] / pitch[k]
                turn[k, 0] += cos(angle)
                turn[k, 1] += sin(angle)
    return (
        float(most),
        atan2(turn[0, 1], turn[0, 0]) / (2 * pi) * pitch[0],
        atan2(turn[1, 1], turn[1, 0]) / (2 * pi) * pitch[1],
    )


@nb.njit(cache=True, nogil=True)
def numbered(
    middle: Any, area: Any, start: Any, back: Any, pitch: Any, at: Any, areas: Any, within: float, unlike: float
) -> Any:
    """(j, plane (n, 2), near (n,)): the lane of each middle's nearest node, its place on the plane, and whether it is

    within so many px, and of an area that is its window's but for a factor of `unlike`
    """
    many = len(middle)
    lane, plane, near = np.zeros(many, np.int64), np.zeros((many, 2)), np.zeros(many, np.bool_)
    for n in range(many):
        x, y = middle[n, 0] - start[0], middle[n, 1] - start[1]
        u, v = x * back[0, 0] + y * back[1, 0], x * back[0, 1] + y * back[1, 1]
        best = np.inf
        for w in range(len(at)):
            j, i = np.rint((u - at[w, 0]) / pitch[0]), np.rint((v - at[w, 1]) / pitch[1])
            far = max(abs(u - at[w, 0] - j * pitch[0]), abs(v - at[w, 1] - i * pitch[1]))
            if far < best:
                best, lane[n] = far, int(j)
                plane[n, 0], plane[n, 1] = j * pitch[0] + at[w, 0], i * pitch[1] + at[w, 1]
                near[n] = far < within and abs(log(max(area[n], 1.0) / areas[w])) < log(unlike)
    return lane, plane, near
