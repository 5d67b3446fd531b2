"""The additive model's normal equations, made from counts: no matrix of a row a point is ever built.

    y = level[sweep] + lane[lane] + die[sector] + sum of a cos + b sin + e

Levels stand on the diagonal and are eliminated; what is left has a row a lane, a sector and two a wave, about a
hundred.  sum(lane) = sum(die) = 0 are held by the two directions in which the system is free.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Design", "Moments", "Solution", "gathered", "moments", "residual_of", "solve"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Design:
    """What each point belongs to.  sweep, lane, sector : shape (N,) (sector None: no die); waves : columns (N,).

    weight : points that each row stands for (N,), None: one each
    """

    sweep: Ints
    sweeps: int
    lane: Ints
    lanes: int
    sector: Ints | None = None
    sectors: int = 0
    waves: tuple[Floats, ...] = ()
    weight: Floats | None = None

    @property
    def size(self) -> int:
        """Unknowns beside the levels."""
        return self.lanes + self.sectors + len(self.waves)


@dataclass(frozen=True, slots=True)
class Solution:
    """level (S,), lane (n,), die (K,), wave (2h,), and the covariance of all but the levels over the variance of e.

    count : points by pass;  mixed : mean of the other columns by pass, shape (S, n+K+2h)
    condition : of the equations scaled to unit diagonal, on the sub-space the constraints leave
    """

    level: Floats
    lane: Floats
    die: Floats
    wave: Floats
    inverse: Floats
    count: Floats
    mixed: Floats
    condition: float

    def level_variance(self) -> Floats:
        """Variance of each level over that of e: its own points, and what it borrows from the rest, shape (S,)."""
        own: Floats = 1 / self.count
        return own + np.asarray(np.sum(self.mixed @ self.inverse * self.mixed, axis=1), np.float64)


@dataclass(frozen=True, slots=True)
class Moments:
    """Sums of products of passes, lanes and sectors, and with y: the same for any waves, so made once."""

    count: Floats
    cross: Floats
    gram: Floats
    right: Floats
    level_sum: Floats


def solve(design: Design, y: Floats, ridge: float = 1e-9, known: Moments | None = None) -> Solution:
    """Ridge least squares of y, shape (N,), about its mean or any constant near it.

    ridge : added to the scaled diagonal; it keeps empty sectors at 0 and biases nothing else at its size
    known : moments(design, y) where they were made before
    """
    base = known or moments(design, y)
    count, level_sum = base.count, base.level_sum
    cross, gram, right = _with_waves(design, y, base)
    mixed = cross / count[:, None]
    gram, right = gram - cross.T @ mixed, right - mixed.T @ level_sum
    alone = np.diag(gram).max() <= 1e-9 * count.sum()  # the levels take all: nothing is left to tell the rest by
    if alone:
        gram = gram + np.eye(design.size)
    scale = np.sqrt(np.maximum(np.diag(gram), 1e-9 * np.diag(gram).max()))
    scaled = gram / np.outer(scale, scale)
    free = _free(design)
    onto = _orthogonal(free * scale[:, None])
    inner = onto.T @ scaled @ onto
    eigen, axes = np.linalg.eigh(inner)
    keep = (axes / (np.maximum(eigen, 0) + ridge)) @ axes.T
    inverse = (onto @ keep @ onto.T) / np.outer(scale, scale)
    x = inverse @ right
    # The scaled projection fixes the free directions somewhere; move them to the plain sums, which changes no fit.
    shift = _shifts(design, x)
    inverse = _centred(design, inverse)
    x = x - shift
    level = level_sum / count - mixed @ x
    a, b = design.lanes, design.lanes + design.sectors
    condition = np.inf if alone else float(eigen[-1] / max(float(eigen[0]), 1e-300))
    return Solution(level, x[:a], x[a:b], x[b:], inverse, count, mixed, condition)


def moments(design: Design, y: Floats) -> Moments:
    """What does not depend on waves."""
    n, k = design.lanes, design.sectors
    size, w = n + k, design.weight
    wy = y if w is None else w * y
    cross, gram, right = np.zeros((design.sweeps, size)), np.zeros((size, size)), np.zeros(size)
    for index, many, at in _groups(design):
        here = slice(at, at + many)
        pair = np.bincount(design.sweep * many + index, w, design.sweeps * many)
        cross[:, here] = pair.reshape(design.sweeps, many)
        gram[here, here] = np.diag(cross[:, here].sum(axis=0))
        right[here] = np.bincount(index, wy, many)
    if design.sector is not None:
        both = np.bincount(design.lane * k + design.sector, w, n * k).reshape(n, k)
        gram[:n, n:], gram[n:, :n] = both, both.T
    count = cross[:, :n].sum(axis=1)
    return Moments(count, cross, gram, right, np.bincount(design.sweep, wy, design.sweeps).astype(np.float64))


def _groups(design: Design) -> list[tuple[Ints, int, int]]:
    """(index, how many, first column) of lanes and sectors."""
    lanes = [(design.lane, design.lanes, 0)]
    return lanes if design.sector is None else [*lanes, (design.sector, design.sectors, design.lanes)]


def _with_waves(design: Design, y: Floats, base: Moments) -> tuple[Floats, Floats, Floats]:
    """Sums of products with the waves' columns added: columns by pass, columns by columns, columns by y."""
    first = design.lanes + design.sectors
    cross, gram, right = np.zeros((design.sweeps, design.size)), np.zeros((design.size,) * 2), np.zeros(design.size)
    cross[:, :first], gram[:first, :first], right[:first] = base.cross, base.gram, base.right
    for j, bare in enumerate(design.waves, first):
        column = bare if design.weight is None else design.weight * bare
        cross[:, j] = np.bincount(design.sweep, column, design.sweeps)
        right[j] = column @ y
        for index, many, at in _groups(design):
            gram[at : at + many, j] = gram[j, at : at + many] = np.bincount(index, column, many)
        for i, other in enumerate(design.waves[: j - first + 1], first):
            gram[i, j] = gram[j, i] = column @ other
    return cross, gram, right


def _free(design: Design) -> Floats:
    """Directions that change no fit: a constant on all lanes, and one on all sectors."""
    out = np.zeros((design.size, 1 + (design.sectors > 0)))
    out[: design.lanes, 0] = 1
    if design.sectors:
        out[design.lanes : design.lanes + design.sectors, 1] = 1
    return out


def _orthogonal(free: Floats) -> Floats:
    """A base of what is orthogonal to the columns of free."""
    q, _ = np.linalg.qr(np.concatenate([free, np.eye(len(free))], axis=1))
    base: Floats = q[:, free.shape[1] : len(free)]
    return base


def _shifts(design: Design, x: Floats) -> Floats:
    out = np.zeros_like(x)
    a, b = design.lanes, design.lanes + design.sectors
    out[:a] = x[:a].mean()
    if b > a:
        out[a:b] = x[a:b].mean()
    return out


def _centred(design: Design, inverse: Floats) -> Floats:
    """Covariance after the shift: rows and columns less their block means."""
    a, b = design.lanes, design.lanes + design.sectors
    out = inverse.copy()
    for block in (slice(0, a), slice(a, b)):
        if block.stop > block.start:
            out[block] -= out[block].mean(axis=0)
            out[:, block] -= out[:, block].mean(axis=1, keepdims=True)
    return out


def residual_of(design: Design, solution: Solution, y: Floats) -> Floats:
    out: Floats = y - solution.level[design.sweep]
    out -= solution.lane[design.lane]
    if design.sector is not None:
        out -= solution.die[design.sector]
    for column, size in zip(design.waves, solution.wave, strict=True):
        out -= size * column
    return out


def gathered(design: Design, values: Sequence[Floats]) -> list[Floats]:
    """Means of values by pass and lane, then the counts, each shape (S * n,)."""
    cell = design.sweep * design.lanes + design.lane
    size = design.sweeps * design.lanes
    count = np.bincount(cell, minlength=size).astype(np.float64)
    return [np.bincount(cell, one, size) / np.maximum(count, 1) for one in values] + [count]
