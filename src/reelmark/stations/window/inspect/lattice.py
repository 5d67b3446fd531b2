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
    """Corrected place = start + plane @ bend.  more : lanes that show windows beside those counted"""

    start: Floats
    bend: Floats
    more: int = 0

    def place(self, plane: Floats) -> Floats:
        return np.asarray(self.start + plane @ self.bend)

    def plane(self, place: Floats) -> Floats:
        return np.asarray((place - self.start) @ self.back())

    def back(self) -> Floats:
        """Inverse of the bend."""
        (a, b), (c, d) = self.bend.tolist()
        return np.asarray(np.array([[d, -b], [-c, a]]) / (a * d - b * c))

    def scale(self) -> Floats:
        """(2,) px of the picture a px of the plane, across and along."""
        return np.hypot(self.bend[:, 0], self.bend[:, 1])

    def seen(self, plane: Floats, lens: Lens, points: Floats | None = None) -> Floats:
        """(n, p, 2) of the picture, of (n, 2) and of p points about each; one, itself, if none are given."""
        from reelmark.stations.window.inspect.kernels_lattice import seen_at

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
    flat = middle @ Lattice(np.zeros(2), bend).back()
    votes, phase = _vote(flat, like, cell, cell.at)
    flips = [np.array(one) for one in ((1, -1), (-1, 1), (-1, -1))] if len(cell.at) > 1 else []
    other = max([_vote(flat, like, cell, cell.at * one)[0] for one in flips], default=0.0)
    return Lattice(phase @ bend, bend), votes, other


def _bend(middle: Floats, cell: Cell, stretch: float) -> Floats:
    """Turn and stretch from neighbours a pitch apart; where one way has none, it turns as the other does."""
    from reelmark.stations.window.inspect.kernels_lattice import steps

    found: list[Floats | None] = []
    for axis, pitch in enumerate(cell.pitch.tolist()):
        many, x, y = steps(middle, axis, pitch, max(stretch * pitch, 3.0))
        found.append(np.array([x, y]) / pitch if many else None)
    across, along = found
    if across is None:
        across = np.array([along[1], -along[0]]) if along is not None else np.array([1.0, 0.0])
    if along is None:
        along = np.array([-across[1], across[0]])
    return np.array([across, along])


def _vote(flat: Floats, like: NDArray[np.bool_], cell: Cell, at: Floats) -> tuple[float, Floats]:
    """(votes, phase) of the origin that most patches agree on."""
    from reelmark.stations.window.inspect.kernels_lattice import vote

    votes, across, along = vote(flat, like, cell.pitch, at, 0.06 * float(cell.pitch.min()) + 2)
    return votes, np.array([across, along])


def number(
    middle: Floats, area: Floats, cell: Cell, lattice: Lattice, within: float, unlike: float = np.inf
) -> tuple[Ints, Floats, NDArray[np.bool_]]:
    """(lane, place on the plane, near) of each patch's nearest node; near : so many px, and areas alike by a factor."""
    from reelmark.stations.window.inspect.kernels_lattice import numbered

    back = lattice.back()
    lane, plane, near = numbered(middle, area, lattice.start, back, cell.pitch, cell.at, cell.area, within, unlike)
    return lane, plane, near


def fit(plane: Floats, place: Floats, good: NDArray[np.bool_], rounds: int = 4) -> Lattice:
    """Robust affine of those that are good, one at least; a similarity where they lie in one row or one column

    (which tells no shear).
    """
    from reelmark.stations.window.inspect.kernels_fit import fitted

    return Lattice(*fitted(plane, place, good, rounds))
