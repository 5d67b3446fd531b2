"""What a detector knows of its camera and its windows, and what it has learnt of their spread."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import WindowLayout
from reelmark.stations.window.inspect.lattice import Cell
from reelmark.stations.window.inspect.looked import Floats
from reelmark.stations.window.inspect.shape import Motif, drawn, motif_of

__all__ = ["Model", "Spread", "begin", "finite", "insets", "middle", "reach_for", "robust", "trend"]

_MARGIN = 8  # px around a window in its soft mask


@dataclass(frozen=True, slots=True)
class Spread:
    """Learnt of clean frames, per window of the cell (w first).  var (w, 4), edge (w,), size (w, 2) : what is usual

    edge_sd, size_sd : robust standard deviations of the edges' excess, px2, and of sizes, px;  coat, lamp : usual grey
    many : (w,) windows it was learnt from
    """

    var: Floats
    edge: Floats
    edge_sd: Floats
    size: Floats
    size_sd: Floats
    coat: float
    lamp: float
    many: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Model:
    """k1 : of the lens;  reach : px of an edge's profile each way;  spread_px : usual sd of an edge

    usual : None until learnt
    """

    cell: Cell
    motifs: tuple[Motif, ...]
    reach: int
    spread_px: float = 0.85
    k1: float = 0.0
    usual: Spread | None = None

    def half(self) -> Floats:
        """(w, 2) half sizes with the edge's profile, px."""
        return np.array([one.size / 2 for one in self.motifs]) + self.reach + 2

    def coarse_cell(self) -> Cell:
        """Places of the windows' centroids instead of their middles."""
        at = self.cell.at + np.array([one.centroid for one in self.motifs])
        return Cell(self.cell.pitch, at, self.cell.area, self.cell.lanes)


def begin(layout: WindowLayout) -> Model:
    """What the layout says.  A window without a place is first taken to be in the middle of the cell."""
    pixel = layout.mm_per_pixel
    pitch = np.array([layout.pitch_across_mm, layout.pitch_along_mm])
    at = np.array([_place(one.at_across_mm, one.at_along_mm, pitch) for one in layout.windows]) / pixel
    softs = [drawn(one, pixel, _MARGIN) for one in layout.windows]
    side = min(min(one.across_mm, one.along_mm) for one in layout.windows) / pixel
    reach = reach_for(side, 0.85, pixel)
    motifs = tuple(motif_of(soft, *insets(0.85, pixel)) for soft in softs)
    cell = Cell(pitch / pixel, at, np.array([one.area for one in motifs]), layout.lanes)
    return Model(cell, motifs, reach)


def _place(across: float | None, along: float | None, pitch: Floats) -> tuple[float, float]:
    return (pitch[0] / 2 if across is None else across, pitch[1] / 2 if along is None else along)


def reach_for(side: float, spread: float, pixel: float) -> int:
    """Five spreads and two px, and a pass off by 1 mm; but not over the middle of the smallest side, px."""
    return int(np.clip(np.ceil(max(5 * spread + 2, 2 * spread + 1.1 / pixel)), 4, max(side / 2 - 1, 4)))


def insets(spread: float, pixel: float) -> tuple[float, float]:
    """How deep inside a window is surely clear, px; and so deep that no shifted pass of 1 mm comes there."""
    return 3 * spread + 1.0, 3 * spread + 1.0 + 1.1 / pixel


def middle(of: Floats) -> float:
    """The lower median of what is finite: a sort of a few is quicker than numpy's own."""
    some = np.sort(of[np.isfinite(of)], axis=None)
    return float(some[(some.size - 1) // 2]) if some.size else np.nan


def finite(some: Floats, other: Floats) -> Floats:
    """The first, and where that is not told, the second."""
    return np.where(np.isfinite(some), some, other)


def robust(of: Floats) -> tuple[Floats, Floats]:
    """(median, 1.4826 x median absolute deviation) of each column; NaN left out."""
    from reelmark.stations.window.inspect.kernels_fit import robust_columns

    half, off = robust_columns(np.ascontiguousarray(of.reshape(len(of), -1)))
    return half.reshape(of.shape[1:]), off.reshape(of.shape[1:])


def trend(at: Floats, value: Floats, good: NDArray[np.bool_]) -> Floats:
    """Smooth part of `value` over places (n, 2): robust quadratic; a median where there are under 18 good ones."""
    from reelmark.stations.window.inspect.kernels_fit import smooth_part

    if good.sum() < 18:
        return np.full(len(value), float(np.median(value[good])) if good.any() else np.nan)
    got: Floats = smooth_part(at, value, good, 3)
    return got
