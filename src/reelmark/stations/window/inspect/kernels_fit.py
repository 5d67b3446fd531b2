"""The inner loops of fitting, compiled: lines with Tukey"s weights, and error functions to edges.

numpy would spend most of its time between calls: a frame has some 66 windows, and 260 edges of 15 grey values each.
"""

from math import erf, exp, isfinite, sqrt
from typing import Any

import numba as nb
import numpy as np

__all__ = ["edges", "fitted", "robust_columns", "robust_lines", "smooth_part"]


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
def robust_lines(X: Any, Y: Any, good: Any, rounds: int, floor: float, ridge: float) -> Any:
    """(p, k) of Y (n, k) = X (n, p) @ it, by least squares with Tukey's weights; rows that are not good are left out.

    floor : least robust sd that is believed, of Y;  ridge : kept off a singular X, its columns scaled to 1
    """
    n, p = X.shape
    many = Y.shape[1]
    scale = np.ones(p)
    for i in range(p):
        scale[i] = 1e-12
        for r in range(n):
            scale[i] = max(scale[i], abs(X[r, i]))
    weight = np.empty(n)
    for r in range(n):
        weight[r] = 1.0 if good[r] else 0.0
    A, beta, off, some = np.empty((p, p)), np.empty((p, many)), np.empty(n), np.empty(n)
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
            for k in range(many):
                beta[i, k] /= scale[i]
        for r in range(n):
            far = 0.0
            for k in range(many):
                rest = Y[r, k]
                for i in range(p):
                    rest -= X[r, i] * beta[i, k]
                far += rest * rest
            off[r] = sqrt(far)
        count = 0
        for r in range(n):
            if good[r]:
                some[count] = off[r]
                count += 1
        sorted_ = some[:count]
        sorted_.sort()
        limit = 4.685 * (1.4826 * sorted_[count // 2] + floor)
        for r in range(n):
            u = off[r] / limit
            weight[r] = (1 - u * u) ** 2 if good[r] and u < 1 else 0.0
    return beta


@nb.njit(cache=True, nogil=True)
def _kept(at: Any, good: Any) -> Any:
    """Of places (n, 2) those that are good, their mean, and how far they reach both ways."""
    n = 0
    for r in range(len(good)):
        n += good[r]
    out, m = np.empty((n, 2)), 0
    low0, low1, high0, high1, x, y = np.inf, np.inf, -np.inf, -np.inf, 0.0, 0.0
    for r in range(len(good)):
        if good[r]:
            out[m, 0], out[m, 1] = at[r, 0], at[r, 1]
            low0, low1 = min(low0, at[r, 0]), min(low1, at[r, 1])
            high0, high1 = max(high0, at[r, 0]), max(high1, at[r, 1])
            x, y, m = x + at[r, 0], y + at[r, 1], m + 1
    return out, (x / n, y / n), (high0 - low0, high1 - low1)


@nb.njit(cache=True, nogil=True)
def fitted(plane: Any, place: Any, good: Any, rounds: int) -> Any:
    """(start, bend) of the robust affine from plane to place, both (n, 2), of those that are good: see lattice.fit."""
    p, p0, span = _kept(plane, good)
    q, q0, _ = _kept(place, good)
    n = len(p)
    square = n >= 6 and min(span) > 0.06 * max(span)
    X, Y = np.zeros((n, 3) if square else (2 * n, 4)), np.empty((n, 2) if square else (2 * n, 1))
    for r in range(n):
        u, v = p[r, 0] - p0[0], p[r, 1] - p0[1]
        x, y = q[r, 0] - q0[0] - u, q[r, 1] - q0[1] - v  # from a lattice that is neither turned nor stretched
        if square:
            X[r, 0], X[r, 1], X[r, 2], Y[r, 0], Y[r, 1] = 1, u, v, x, y
        else:  # unknown: place, stretch and turn; a row for x and one for y of each node
            X[r, 0], X[r, 2], X[r, 3], Y[r, 0] = 1, u, -v, x
            X[n + r, 1], X[n + r, 2], X[n + r, 3], Y[n + r, 0] = 1, v, u, y
    got = robust_lines(X, Y, np.ones(len(X), np.bool_), rounds, 1e-3, 1e-9)
    off, bend = np.empty(2), np.empty((2, 2))
    for k in range(2):
        off[k] = got[0, k] if square else got[k, 0]
        if square:
            bend[0, k], bend[1, k] = got[1, k], got[2, k]
    if not square:
        bend[0, 0], bend[0, 1], bend[1, 0], bend[1, 1] = got[2, 0], got[3, 0], -got[3, 0], got[2, 0]
    bend[0, 0] += 1
    bend[1, 1] += 1
    start = np.empty(2)
    for k in range(2):
        start[k] = q0[k] + off[k] - (p0[0] * bend[0, k] + p0[1] * bend[1, k])
    return start, bend


@nb.njit(cache=True, nogil=True)
def smooth_part(at: Any, value: Any, good: Any, rounds: int) -> Any:
    """(n,) robust quadratic in the places (n, 2) of the values that are good: see model.trend."""
    n = len(value)
    _, mean, span = _kept(at, good)
    least = max(span) / 10 + 1e-9
    wide, high = max(span[0], least), max(span[1], least)
    X, Y, out = np.empty((n, 6)), np.empty((n, 1)), np.zeros(n)
    for r in range(n):
        u, v = (at[r, 0] - mean[0]) / wide, (at[r, 1] - mean[1]) / high
        X[r, 0], X[r, 1], X[r, 2], X[r, 3], X[r, 4], X[r, 5] = 1, u, v, u * u, u * v, v * v
        Y[r, 0] = value[r] if good[r] else 0.0
    beta = robust_lines(X, Y, good, rounds, 1e-9, 1e-6)
    for r in range(n):
        for k in range(6):
            out[r] += X[r, k] * beta[k, 0]
    return out


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
                    for j in range(i + 1):
                        A[i, j] += J[i] * J[j]
                    B[i, 0] += J[i] * z[n, k]
            for i in range(4):
                A[i, i] += 1e-6
                for j in range(i):
                    A[j, i] = A[i, j]
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
def robust_columns(of: Any) -> Any:
    """(median, 1.4826 x median absolute deviation) of each column of (n, k), the lower of two; not finite: left out."""
    half, sd = np.full(of.shape[1], np.nan), np.full(of.shape[1], np.nan)
    for k in range(of.shape[1]):
        room, n = np.empty(len(of)), 0
        for r in range(len(of)):
            if isfinite(of[r, k]):
                room[n] = of[r, k]
                n += 1
        some = room[:n]
        if n:
            some.sort()
            half[k] = some[(n - 1) // 2]
            for r in range(n):
                some[r] = abs(some[r] - half[k])
            some.sort()
            sd[k] = 1.4826 * some[(n - 1) // 2]
    return half, sd
