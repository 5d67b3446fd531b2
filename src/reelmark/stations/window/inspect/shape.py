"""What a window looks like: its sides and its inside, from the layout or learnt from pictures of clean windows.

A side is a run of edge points, one a pixel, where the outline is steep enough to be read along one axis: on a round
window the arcs left, right, above and below.  So any shape can be read whose four sides have such runs.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Window
from reelmark.stations.window.inspect.looked import Floats

__all__ = ["Motif", "Outline", "Side", "drawn", "motif_of"]

_STEEP = 0.8  # an outline that leans more is not read along this axis
_STRAIGHT = 0.12


@dataclass(frozen=True, slots=True)
class Side:
    """Edge points about the window's middle, px.  axis : 0 read across, 1 along;  inward : +1 or -1, to the clear

    at : (n,) along the side;  edge : (n,) of the outline, across it;  slope : (n,) d edge / d at
    """

    axis: int
    inward: int
    at: Floats
    edge: Floats
    slope: Floats


@dataclass(frozen=True, slots=True)
class Outline:
    """sides : left, right, top, bottom;  points : (p, 2) of all;  axis, inward, side, slope : (p,), of each point

    longer, longer2 : (4,) mean, and mean square, of how much longer a way across is along the axis than at right angles
    couple : mean slope of left and right, of top and bottom
    """

    sides: tuple[Side, Side, Side, Side]
    points: Floats
    axis: NDArray[np.int64]
    inward: NDArray[np.int64]
    side: NDArray[np.int64]
    slope: Floats
    longer: Floats
    longer2: Floats
    couple: tuple[float, float]

    @classmethod
    def of(cls, sides: tuple[Side, Side, Side, Side], every: int = 1) -> "Outline":
        """From each side's points, or every so manieth, but four at least."""
        cut = tuple(_thinned(side, every) for side in sides)
        many = [len(side.at) for side in cut]
        axis, inward, side = (np.repeat(of, many) for of in ((0, 0, 1, 1), (1, -1, 1, -1), (0, 1, 2, 3)))
        longer2 = [1 + one.slope**2 for one in cut]
        return cls(
            cut,  # type: ignore[arg-type]
            _points(cut),
            axis,
            inward,
            side,
            np.concatenate([one.slope for one in cut]),
            np.array([float(np.sqrt(one).mean()) for one in longer2]),
            np.array([float(one.mean()) for one in longer2]),
            (_slope(cut[:2]), _slope(cut[2:])),
        )


@dataclass(frozen=True, slots=True)
class Motif:
    """soft : clear share a pixel, about the middle;  outline, rough : all edge points, and a few;  size : (2,) px

    area : px2;  inside, core : (n, 2) px well inside, and which are further in still;  centroid : (2,) of the area
    area_at, area_soft : (m, 2), (m,) whole px all over it but for its rim, and how clear they are
    """

    soft: Floats
    outline: Outline
    rough: Outline
    size: Floats
    area: float
    inside: NDArray[np.int64]
    core: NDArray[np.bool_]
    centroid: Floats
    area_at: NDArray[np.int64]
    area_soft: Floats


def drawn(window: Window, pixel: float, margin: int) -> Floats:
    """Soft mask of a rounded rectangle, `margin` px around it; odd sides, so that the middle is a pixel."""
    half = np.array([window.across_mm, window.along_mm]) / pixel / 2
    r = window.corner_mm / pixel
    many = (np.ceil(half) + margin).astype(int)
    x, y = np.arange(-many[0], many[0] + 1.0), np.arange(-many[1], many[1] + 1.0)[:, None]
    u, v = np.abs(x) - half[0] + r, np.abs(y) - half[1] + r
    far = np.hypot(np.maximum(u, 0), np.maximum(v, 0)) + np.minimum(np.maximum(u, v), 0) - r
    return np.asarray(np.clip(0.5 - far, 0, 1))


def motif_of(soft: Floats, inset: float, core: float) -> Motif:
    """From a soft mask whose middle pixel is about the window's; the middle of the outline becomes the origin.

    inset, core : px from the outline to the points inside, and to those of the core
    """
    import cv2

    middle = (np.array(soft.shape[::-1]) - 1) / 2
    rough = [*_pair(soft, 0, (0.0, 0.0)), *_pair(soft.T, 1, (0.0, 0.0))]
    ends = [(rough[0].edge.min(), rough[1].edge.max()), (rough[2].edge.min(), rough[3].edge.max())]
    origin = np.array([(a + b) / 2 for a, b in ends])
    sides = (*_pair(soft, 0, tuple(origin)), *_pair(soft.T, 1, tuple(origin[::-1])))
    deep = np.asarray(cv2.distanceTransform((soft >= 0.5).astype(np.uint8), cv2.DIST_L2, 5), dtype=float)
    home = np.rint(middle + origin).astype(np.int64)
    inside, depth = _deeper(deep, min(inset, 0.6 * float(deep.max())))
    spread, _ = _deeper(deep, min((inset - 1) / 2, 0.35 * float(deep.max())))
    spread = spread[:: max(len(spread) // 600, 1)]
    total = soft.sum()
    where = [(soft * np.arange(soft.shape[1])).sum(), (soft * np.arange(soft.shape[0])[:, None]).sum()]
    return Motif(
        soft,
        Outline.of(sides),
        Outline.of(sides, 4),
        np.array([b - a for a, b in ends]),
        float(total),
        inside - home,
        depth >= core,
        np.array(where) / total - middle - origin,
        spread - home,
        np.clip(soft[spread[:, 1], spread[:, 0]], 0, 1),
    )


def _deeper(deep: Floats, least: float) -> tuple[NDArray[np.int64], Floats]:
    """(n, 2) column, row of the pixels so far from the outline, and how far each is."""
    rows, columns = np.nonzero(deep >= least)
    return np.stack([columns, rows], axis=1), deep[rows, columns]


def _slope(pair: Sequence[Side]) -> float:
    return float(sum(one.slope.mean() for one in pair) / 2)


def _thinned(side: Side, every: int) -> Side:
    keep = slice(None, None, max(min(every, len(side.at) // 4), 1))
    return Side(side.axis, side.inward, side.at[keep], side.edge[keep], side.slope[keep])


def _points(sides: Sequence[Side]) -> Floats:
    out = [np.stack([side.edge, side.at] if side.axis == 0 else [side.at, side.edge], axis=1) for side in sides]
    return np.concatenate(out)


def _pair(soft: Floats, axis: int, origin: tuple[float, ...]) -> tuple[Side, Side]:
    """Left and right side of a mask (top and bottom of its transpose), about the middle plus `origin`."""
    rows, columns = soft.shape
    inside = soft >= 0.5
    full = np.flatnonzero(inside.any(axis=1))
    at = full - (rows - 1) / 2 - origin[1]
    first = inside[full].argmax(axis=1)
    last = columns - 1 - inside[full][:, ::-1].argmax(axis=1)
    left = _crossing(soft, full, first, -1)
    right = _crossing(soft, full, last, 1)
    middle = (columns - 1) / 2 + origin[0]
    return _side(axis, 1, at, left - middle), _side(axis, -1, at, right - middle)


def _crossing(soft: Floats, row: NDArray[np.int64], column: NDArray[np.int64], step: int) -> Floats:
    """Where the mask passes one half, between a pixel inside and its neighbour outside."""
    out = np.clip(column + step, 0, soft.shape[1] - 1)
    a, b = soft[row, column], soft[row, out]
    return np.asarray(column + step * np.clip((a - 0.5) / np.maximum(a - b, 1e-6), 0, 1))


def _side(axis: int, inward: int, at: Floats, edge: Floats) -> Side:
    """The steep points of it; all within the middle three fifths if there are hardly any."""
    slope = np.gradient(edge) if len(edge) > 1 else np.zeros(len(edge))
    rough = np.abs(np.gradient(slope)) if len(edge) > 2 else np.zeros(len(edge))
    good = (np.abs(slope) < _STEEP) & (rough < 0.5)
    if (straight := good & (np.abs(slope) < _STRAIGHT)).sum() > 0.4 * len(at):
        good = straight  # a rectangle: its corners are left out
    rim = max(len(at) // 12, 1)
    good[:rim] = good[-rim:] = False
    if good.sum() < 3:
        good = np.abs(at - at.mean()) <= 0.3 * max(np.ptp(at), 1.0)
    return Side(axis, inward, at[good], edge[good], slope[good])
