"""One picture -> its lattice and every window on it, in pixels; what is wrong is judged elsewhere (`judge`)."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem
from reelmark.frames import Picture
from reelmark.stations.window.inspect import refusals
from reelmark.stations.window.inspect.clear import how_clear, where_they_are
from reelmark.stations.window.inspect.edges import read_sides
from reelmark.stations.window.inspect.find import Patches, Tones
from reelmark.stations.window.inspect.lattice import Cell, Lattice, Lens, coarse, fit, number
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.model import Model
from reelmark.stations.window.inspect.settings import LookSettings

__all__ = ["Seen", "lanes_of", "locate", "measure", "nodes_within"]

_ADRIFT = 1.0  # px that points inside a window may lie off: as much as `insets` spares
_ASKEW = 1e-3  # scale by which a lattice of patches may be off that of the edges, before these are read anew
_ENOUGH = 3  # whole patches: then those that the picture's edge cuts, whose middles lie off, are left out


@dataclass(frozen=True, slots=True)
class Seen:
    """(n,) nodes.  seen : (n, 2) where the lattice puts the middle in the picture;  place : the same, corrected

    middle : (n, 2) corrected, measured
    off : (n, 2) from the lattice;  size, var : (n, 2), (n, 4);  fill : (n,);  dark, deep : (n,) points inside, and of
    the core, darker than noise allows;  level : (n,) grey of a clear window there;  all px and grey
    """

    lattice: Lattice
    i: Ints
    j: Ints
    w: Ints
    seen: Floats
    place: Floats
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
    cell = model.coarse_cell()
    some = _telling(found, cell)
    middle, area = lens.correct(found.middle[some]), found.area[some]
    got = coarse(middle, area, cell, settings.stretch)
    if got is None:
        return refusals.no_window(len(found))
    lattice, votes, mirrored = got
    room = 4 * lens.middle[0] * lens.middle[1] / float(np.prod(cell.pitch)) * len(cell.at)
    if mirrored > 1.3 * votes + 1:
        return refusals.upside_down(int(mirrored), int(votes))
    if votes < max(1.0, 0.2 * room * 0.6):
        return refusals.no_window(len(found))
    lattice = _refined(lattice, middle, area, cell)
    lane, near = lanes_of(found, model, lattice, lens)
    first = _first_lane(lane[near], cell, lattice, lens)
    return replace(lattice.moved(cell, 0, first), more=_uncounted(lane - first, near, found.whole, cell.lanes))


def lanes_of(found: Patches, model: Model, lattice: Lattice, lens: Lens) -> tuple[Ints, NDArray[np.bool_]]:
    """(n,) lane of each patch, 0 the first that is counted, and whether it lies where a window may."""
    cell = model.coarse_cell()
    near = 0.06 * float(cell.pitch.min()) + 2
    lane, _, told = number(lens.correct(found.middle), found.area, cell, lattice, near)
    return lane, told


def _uncounted(lane: Ints, near: NDArray[np.bool_], whole: NDArray[np.bool_], lanes: int) -> int:
    """How many lanes with whole windows are none of 0 to lanes - 1, but a third as full as the fullest."""
    outside = lane[near & whole & ((lane < 0) | (lane >= lanes))]
    if not len(outside):
        return 0
    fullest = np.unique(lane[near], return_counts=True)[1].max()
    return int((np.unique(outside, return_counts=True)[1] > 0.34 * fullest).sum())


def _telling(found: Patches, cell: Cell) -> NDArray[np.bool_]:
    """Those patches that are whole, if enough of them are like windows, or else all."""
    like = np.abs(np.log(np.maximum(found.area, 1)[:, None] / cell.area)).min(axis=1) < np.log(1.5)
    return found.whole if (found.whole & like).sum() >= _ENOUGH else np.ones(len(found), bool)


def _refined(lattice: Lattice, middle: Floats, area: Floats, cell: Cell) -> Lattice:
    """Twice: number, keep what is near and like, fit."""
    pitch = float(cell.pitch.min())
    for within in (0.12, 0.06):
        _, plane, near = number(middle, area, cell, lattice, within * pitch + 2, 1.5)
        if near.any():
            lattice = fit(plane, middle, near, 2)
    return lattice


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
) -> tuple[Ints, Ints, Ints, Floats, Floats]:
    """(i, j, w, places on the plane, and in the picture) of all nodes that lie in it by `spare` (w, 2) px

    more : lanes either side
    """
    from reelmark.stations.window.inspect.kernels_lattice import nodes

    cell, middle = model.cell, np.array(lens.middle)
    bent = middle, lens.k1 / lens.r2
    got: tuple[Ints, Ints, Ints, Floats, Floats] = nodes(
        lattice.start, lattice.bend, lattice.back(), *bent, cell.pitch, cell.at, -more, cell.lanes + 2 * more, spare
    )
    return got


def measure(
    picture: Picture,
    lattice: Lattice,
    model: Model,
    lens: Lens,
    tone: Tones,
    settings: LookSettings,
    again: bool = True,
) -> Seen | Problem:
    """Edges, sizes, fill of all whole windows; the lattice is fitted anew to the edges' middles.

    again : all is read once more about the new lattice where the first was far from it
    """
    i, j, w, plane, seen = nodes_within(model, lattice, lens, model.half())
    if not len(i):
        return refusals.no_window(0)
    clear = how_clear(picture, seen, w, model, tone, settings)
    fill = clear.fill
    middle, size, var = np.full((len(i), 2), np.nan), np.full((len(i), 2), np.nan), np.full((len(i), 4), np.nan)
    for k, motif in enumerate(model.motifs):
        mine = np.flatnonzero((w == k) & (fill > settings.missing))
        if len(mine):
            middle[mine], grown, var[mine] = read_sides(
                picture, plane[mine], motif, lattice, lens, model.reach, model.spread_px
            )
            size[mine] = motif.size + grown
    whole = (fill > settings.half) & np.isfinite(middle).all(axis=1)
    read = int(np.isfinite(middle).all(axis=1).sum())  # half filled ones too: a frame may hold no others
    if read < max(1, 0.2 * len(i)):
        return refusals.no_window(read)
    fine = fit(plane, middle, whole) if whole.any() else lattice
    grown, drift = fine.scale() - lattice.scale(), np.abs(fine.seen(plane, lens)[:, 0] - seen).max()
    if again and (np.abs(grown).max() > _ASKEW or drift > _ADRIFT):
        anew = measure(picture, fine, model, lens, tone, settings, False)
        if not isinstance(anew, Problem):
            return anew
    place = fine.place(plane)
    clear = where_they_are(picture, seen, middle - place, w, clear, model, tone, settings)
    size -= grown * np.array([one.size for one in model.motifs])[w]  # a size is told against the fine lattice's
    return Seen(fine, i, j, w, seen, place, middle, middle - place, size, var, *clear)
