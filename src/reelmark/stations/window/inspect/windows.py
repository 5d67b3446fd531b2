"""One picture -> its lattice and every window on it, in pixels; what is wrong is judged elsewhere (`judge`)."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem
from reelmark.frames import Picture
from reelmark.stations.window.inspect import refusals
from reelmark.stations.window.inspect.edges import read_sides
from reelmark.stations.window.inspect.find import Patches, Tones
from reelmark.stations.window.inspect.lattice import Cell, Lattice, Lens, coarse, fit, number
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.model import Model, trend
from reelmark.stations.window.inspect.settings import LookSettings

__all__ = ["Seen", "inside", "locate", "measure", "nodes_within"]


@dataclass(frozen=True, slots=True)
class Seen:
    """(n,) nodes.  seen : (n, 2) where the lattice puts the middle in the picture;  middle : (n, 2) corrected, measured

    off : (n, 2) from the lattice;  size, var : (n, 2), (n, 4);  fill : (n,);  dark, deep : (n,) points inside, and of
    the core, darker than noise allows;  level : (n,) grey of a clear window there;  all px and grey
    """

    lattice: Lattice
    i: Ints
    j: Ints
    w: Ints
    seen: Floats
    middle: Floats
    off: Floats
    size: Floats
    var: Floats
    fill: Floats
    dark: Ints
    deep: Ints
    level: Floats


def locate(found: Patches, model: Model, lens: Lens, settings: LookSettings) -> Lattice | Problem:
    """The lattice by patches alone; a problem where they do not make one."""
    if not len(found):
        return refusals.no_window(0)
    middle = lens.correct(found.middle)
    cell = model.coarse_cell()
    got = coarse(middle, found.area, cell, settings.stretch)
    if got is None:
        return refusals.no_window(len(found))
    lattice, votes, mirrored = got
    room = 4 * lens.middle[0] * lens.middle[1] / float(np.prod(cell.pitch)) * len(cell.at)
    if mirrored > 1.3 * votes + 1:
        return refusals.upside_down(int(mirrored), int(votes))
    if votes < max(1.0, 0.2 * room * 0.6):
        return refusals.no_window(len(found))
    return _refined(lattice, middle, found.area, cell, lens)


def _refined(lattice: Lattice, middle: Floats, area: Floats, cell: Cell, lens: Lens) -> Lattice:
    """Twice: number, keep what is near and like, fit; then call the first lane 0 and the first repeat 0."""
    for within in (0.12, 0.06):
        i, j, w, near = number(middle, cell, lattice, within * float(cell.pitch.min()) + 2)
        near &= np.abs(np.log(np.maximum(area, 1) / cell.area[w])) < np.log(1.5)
        if near.any():
            lattice = fit(cell.plane(i, j, w)[near], middle[near], 2)
    i, j, w, near = number(middle, cell, lattice, 0.06 * float(cell.pitch.min()) + 2)
    return lattice.moved(cell, 0, _first_lane(j[near], cell, lattice, lens))


def _first_lane(j: Ints, cell: Cell, lattice: Lattice, lens: Lens) -> int:
    """So that the frame's lanes hold most columns that have windows; of equals the most central in the picture.

    A column has windows if a third as many were found in it as in the fullest: missing ones do not move the lanes.
    """
    if not len(j):
        return 0
    many = np.bincount(j - j.min())
    full = np.flatnonzero(many > 0.34 * many.max()) + j.min()
    starts = np.arange(full.min() - cell.lanes + 1, full.max() + 1)
    held = np.array([((full >= a) & (full < a + cell.lanes)).sum() for a in starts])
    best = starts[held >= held.max()]
    middle = lattice.plane(np.array(lens.middle))[0] / cell.pitch[0]
    return int(best[np.abs(best + cell.lanes / 2 - middle).argmin()])


def nodes_within(
    model: Model, lattice: Lattice, lens: Lens, spare: Floats, more: int = 0
) -> tuple[Ints, Ints, Ints, Floats]:
    """(i, j, w, places in the picture) of all nodes that lie in it by `spare` (w, 2) px; `more` lanes either side."""
    cell = model.cell
    size = 2 * np.array(lens.middle) + 1
    corners = lattice.plane(np.array([[0.0, 0.0], [size[0], 0.0], [0.0, size[1]], size])) / cell.pitch
    low, high = np.floor(corners[:, 1].min()) - 1, np.ceil(corners[:, 1].max()) + 1
    grid = np.meshgrid(
        np.arange(int(low), int(high)), np.arange(-more, cell.lanes + more), np.arange(len(cell.at)), indexing="ij"
    )
    i, j, w = (one.ravel() for one in grid)
    seen = lens.picture(lattice.place(cell.plane(i, j, w)))
    keep = np.all((seen >= spare[w]) & (seen <= size - 1 - spare[w]), axis=1)
    return i[keep], j[keep], w[keep], seen[keep]


def measure(
    picture: Picture, lattice: Lattice, model: Model, lens: Lens, tone: Tones, settings: LookSettings
) -> Seen | Problem:
    """Edges, sizes, fill of all whole windows; the lattice is fitted anew to the edges' middles."""
    i, j, w, seen = nodes_within(model, lattice, lens, model.half())
    if not len(i):
        return refusals.no_window(0)
    fill, dark, deep, level = inside(picture, seen, w, model, tone, settings)
    plane = model.cell.plane(i, j, w)
    middle, size, var = np.full((len(i), 2), np.nan), np.full((len(i), 2), np.nan), np.full((len(i), 4), np.nan)
    for k, motif in enumerate(model.motifs):
        mine = np.flatnonzero((w == k) & (fill > settings.missing))
        if len(mine):
            middle[mine], grown, var[mine] = read_sides(
                picture, plane[mine], motif, lattice, lens, model.reach, model.spread_px
            )
            size[mine] = motif.size + grown
    whole = (fill > settings.half) & np.isfinite(middle).all(axis=1)
    if whole.sum() < max(1, 0.2 * len(i)):
        return refusals.no_window(int(whole.sum()))
    fine = fit(plane[whole], middle[whole])
    off = middle - fine.place(plane)
    return Seen(fine, i, j, w, seen, middle, off, size, var, fill, dark, deep, level)


def inside(
    picture: Picture, seen: Floats, w: Ints, model: Model, tone: Tones, settings: LookSettings
) -> tuple[Floats, Ints, Ints, Floats]:
    """(fill, dark points, dark points of the core, level) of each window from points inside it."""
    flat, wide = picture.ravel(), picture.shape[1]
    grey: list[NDArray[np.uint8]] = []
    middle = np.zeros(len(w))
    for k, motif in enumerate(model.motifs):
        at = np.rint(seen[w == k]).astype(np.int64)
        index = (at[:, 1] * wide + at[:, 0])[:, None] + (motif.inside[:, 1] * wide + motif.inside[:, 0])
        grey.append(flat.take(index))
        middle[w == k] = np.median(grey[-1], axis=1)
    level = np.maximum(_levels(seen, middle, middle > tone.limit), tone.low + 1)
    fill, dark, deep = np.zeros(len(w)), np.zeros(len(w), np.int64), np.zeros(len(w), np.int64)
    for k, motif in enumerate(model.motifs):
        mine = w == k
        if mine.any():
            share = grey[k] / level[mine, None].astype(np.float32)
            coat = np.float32(tone.low / max(float(np.median(level)), 1.0))
            fill[mine] = np.clip((share - coat) / (1 - coat), 0, 1).mean(axis=1)
            low = 1 - max(settings.dirt_sd * _noise(share, fill[mine] > settings.half), 0.08)
            below = share < low
            dark[mine], deep[mine] = below.sum(axis=1), (below & motif.core).sum(axis=1)
    return fill, dark, deep, level


def _levels(seen: Floats, middle: Floats, light: NDArray[np.bool_]) -> Floats:
    """Grey of a clear window at each node: smooth over many, and of few each one's own, if it is light."""
    smooth = trend(seen, middle, light)
    return smooth if light.sum() >= 18 else np.where(light, middle, smooth)


def _noise(share: NDArray[np.floating], good: NDArray[np.bool_]) -> float:
    """Robust sd of clear points, by the sixteenth part that lies lowest but is not dirt: a quantile is quick."""
    some = share[good][:, ::2]
    if not some.size:
        return 0.02
    flat, n = some.ravel(), some.size
    parts = np.partition(flat, (int(0.1587 * n), n // 2))
    return float(parts[n // 2] - parts[int(0.1587 * n)])
