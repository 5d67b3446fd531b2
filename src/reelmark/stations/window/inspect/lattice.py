"""The lattice of the windows: where they must be, from where some are.

1. turn and stretch from pairs of patches that lie about a pitch apart (median, so outliers do not count)
2. phase by vote and circular mean: each patch, less each place in the cell, modulo the pitch; survives missing ones
3. robust affine (Tukey's weights) of the node numbers to lens-corrected middles

Lens: corrected = middle + (seen - middle) * (1 + k1 r2), r = 1 at the corner.  Valid for |k1| below about 0.05.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reelmark.stations.window.inspect.looked import Floats, Ints

__all__ = ["Cell", "Lattice", "Lens", "coarse", "fit", "number"]


@dataclass(frozen=True, slots=True)
class Lens:
    """middle : x, y, px;  r2 : squared half diagonal, px2"""

    middle: tuple[float, float]
    r2: float
    k1: float = 0.0

    @classmethod
    def of(cls, columns: int, rows: int, k1: float = 0.0) -> "Lens":
        x, y = (columns - 1) / 2, (rows - 1) / 2
        return cls((x, y), x * x + y * y, k1)

    def correct(self, seen: Floats) -> Floats:
        """(..., 2) px of the picture -> corrected."""
        off = seen - self.middle
        return np.asarray(self.middle + off * (1 + self.k1 * (off * off).sum(-1, keepdims=True) / self.r2))

    def picture(self, corrected: Floats) -> Floats:
        """The way back; two steps are enough to 0.002 px where |k1| < 0.01."""
        flat = np.asarray(corrected, dtype=float).reshape(-1, 2)
        return Lattice(np.zeros(2), np.eye(2)).seen(flat, self)[:, 0].reshape(corrected.shape)


@dataclass(frozen=True, slots=True)
class Cell:
    """pitch : across, along, px;  at : (w, 2) places of the windows in the cell, px;  area : (w,) px2"""

    pitch: Floats
    at: Floats
    area: Floats
    lanes: int

    def plane(self, i: Ints, j: Ints, w: Ints) -> Floats:
        """Where nodes lie on a flat, straight web, px."""
        return np.asarray(np.stack([j, i], axis=-1) * self.pitch + self.at[w])


@dataclass(frozen=True, slots=True)
class Lattice:
    """Corrected place = start + plane @ bend."""

    start: Floats
    bend: Floats

    def place(self, plane: Floats) -> Floats:
        return np.asarray(self.start + plane @ self.bend)

    def plane(self, place: Floats) -> Floats:
        return np.asarray((place - self.start) @ np.linalg.inv(self.bend))

    def seen(self, plane: Floats, lens: Lens, points: Floats | None = None) -> Floats:
        """(n, p, 2) of the picture, of (n, 2) and of p points about each; one, itself, if none are given."""
        from reelmark.stations.window.inspect.kernels import seen_at

        about = np.zeros((1, 2)) if points is None else points
        got: Floats = seen_at(plane, about, self.start, self.bend, np.array(lens.middle), lens.k1 / lens.r2)
        return got

    def moved(self, cell: Cell, i: int, j: int) -> "Lattice":
        """The same with node (i, j) called (0, 0)."""
        return Lattice(self.place(np.array([j, i]) * cell.pitch), self.bend)


def coarse(middle: Floats, area: Floats, cell: Cell, stretch: float) -> tuple[Lattice, float, float] | None:
    """(lattice, votes for it, most votes for a mirrored one) of corrected middles (n, 2); None where too few agree."""
    like = np.abs(np.log(np.maximum(area, 1)[:, None] / cell.area)) < np.log(1.6)
    if not like.any():
        return None
    bend = _bend(middle[like.any(axis=1)], cell, stretch)
    flat = middle @ np.linalg.inv(bend)
    votes, phase = _vote(flat, like, cell, cell.at)
    flips = [np.array(one) for one in ((1, -1), (-1, 1), (-1, -1))] if len(cell.at) > 1 else []
    other = max([_vote(flat, like, cell, cell.at * one)[0] for one in flips], default=0.0)
    return Lattice(phase @ bend, bend), votes, other


def _bend(middle: Floats, cell: Cell, stretch: float) -> Floats:
    """Turn and stretch from neighbours a pitch apart; where one way has none, it turns as the other does."""
    x, y = (one[None, :] - one[:, None] for one in np.ascontiguousarray(middle.T))
    steps: list[Floats | None] = []
    for axis, (dx, dy) in enumerate(((cell.pitch[0], 0.0), (0.0, cell.pitch[1]))):
        room = max(stretch * cell.pitch[axis], 3.0)
        near = (np.abs(x - dx) < room) & (np.abs(y - dy) < room)
        some = np.array([_half(x[near]), _half(y[near])]) / cell.pitch[axis] if near.any() else None
        steps.append(some)
    across, along = steps
    if across is None:
        across = np.array([along[1], -along[0]]) if along is not None else np.array([1.0, 0.0])
    if along is None:
        along = np.array([-across[1], across[0]])
    return np.array([across, along])


def _vote(flat: Floats, like: NDArray[np.bool_], cell: Cell, at: Floats) -> tuple[float, Floats]:
    """(votes, phase) of the origin that most patches agree on: circular mean about the fullest neighbourhood."""
    n, w = np.nonzero(like)
    where = np.mod(flat[n] - at[w], cell.pitch)
    some = where[:: max(len(where) // 200, 1)]
    room = 0.06 * cell.pitch.min() + 2
    near = np.ones((len(some), len(where)), bool)
    for axis in (0, 1):
        off = np.abs(where[:, axis] - some[:, axis, None])  # under a pitch, so the way round is pitch - off
        near &= np.minimum(off, cell.pitch[axis] - off) < room
    best = int(near.sum(axis=1).argmax())
    close = near[best]
    turn = np.exp(2j * np.pi * where[close] / cell.pitch).mean(axis=0)
    return float(close.sum()), np.asarray(np.angle(turn) / (2 * np.pi) * cell.pitch)


def _half(of: Floats) -> float:
    """Upper median: a sort of a few is quicker than numpy's own."""
    return float(np.sort(of)[len(of) // 2])


def number(middle: Floats, cell: Cell, lattice: Lattice, within: float) -> tuple[Ints, Ints, Ints, NDArray[np.bool_]]:
    """(i, j, w, near) of each middle: its nearest node, and whether that is within so many px."""
    flat = lattice.plane(middle)[:, None, :] - cell.at
    ij = np.round(flat / cell.pitch)
    far = np.abs(flat - ij * cell.pitch).max(axis=-1)
    w = far.argmin(axis=1)
    n = np.arange(len(middle))
    best = ij[n, w].astype(np.int64)
    return best[:, 1], best[:, 0], w, np.asarray(far[n, w] < within)


def fit(plane: Floats, place: Floats, rounds: int = 4) -> Lattice:
    """Robust affine; a similarity where the nodes lie in one row or one column (which tells no shear)."""
    from reelmark.stations.window.inspect.kernels import robust_lines

    spread = [np.ptp(plane[:, k]) for k in (0, 1)] if len(plane) else [0.0, 0.0]
    square = len(plane) >= 6 and min(spread) > 0.06 * max(spread)
    p0, q0 = plane.mean(axis=0), place.mean(axis=0)
    u = plane - p0
    rest = place - q0 - u  # from a lattice that is neither turned nor stretched
    X, Y = (np.column_stack([np.ones(len(u)), u]), rest) if square else _turned(u, rest)
    got = robust_lines(X, Y, np.ones(len(X), bool), rounds, 1e-3, 1e-9)
    if square:
        off, bend = got[0], got[1:]
    else:
        off, bend = got[:2, 0], np.array([[got[2, 0], got[3, 0]], [-got[3, 0], got[2, 0]]])
    bend = bend + np.eye(2)
    return Lattice(q0 + off - p0 @ bend, bend)


def _turned(u: Floats, rest: Floats) -> tuple[Floats, Floats]:
    """Unknown: place, stretch and turn; a row for x and one for y of each node."""
    one, none = np.ones(len(u)), np.zeros(len(u))
    x = np.column_stack([one, none, u[:, 0], -u[:, 1]])
    y = np.column_stack([none, one, u[:, 1], u[:, 0]])
    return np.concatenate([x, y]), rest.T.reshape(-1, 1)
