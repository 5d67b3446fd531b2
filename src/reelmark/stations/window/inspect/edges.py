"""Edges of all windows at once: profiles gathered along rows and columns, an error function fitted to each.

    grey(k) = a + c Phi((k - e) / s)        Phi the normal distribution, e the place, s the edge's spread, px

Exact for a Gaussian lens; the square pixel adds 1/12 px2 to s2, and a blur of b px by motion b2/12.  A mean profile
is taken over the points of a side, whose places within the pixel differ by known amounts; their mean is taken off the
place and their variance off s2.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture
from reelmark.stations.window.inspect.lattice import Lattice, Lens
from reelmark.stations.window.inspect.looked import Floats
from reelmark.stations.window.inspect.shape import Motif, Outline

__all__ = ["Edges", "Profiles", "fit_edges", "gather", "mtf50", "read_sides"]


class Profiles(NamedTuple):
    """grey : (n, 4, 2m+1), from coat to clear;  mean, var : (n, 4), of where in their pixels the edge points lie"""

    grey: Floats
    mean: Floats
    var: Floats


class Edges(NamedTuple):
    """Of profiles: place e (px from the middle, towards the clear), var (s2, px2), low and step (grey), (n,) each."""

    place: Floats
    var: Floats
    low: Floats
    step: Floats


def mtf50(spread: float) -> float:
    """Frequency, cycles a length, at which a Gaussian edge of this spread (sd, same length) passes half.

    Closed form: exp(-2 pi2 s2 f2) = 1/2.
    """
    return float(np.sqrt(np.log(2) / 2) / np.pi / spread)


def gather(picture: Picture, plane: Floats, outline: Outline, lattice: Lattice, lens: Lens, reach: int) -> Profiles:
    """Mean profiles of the four sides of each node.  plane : (n, 2) middles of the windows on the lattice's plane.

    Whole pixels are read, along a row or a column; where in its pixel each edge point lies is kept beside them.
    """
    from reelmark.stations.window.inspect.kernels_windows import profiles

    seen = lattice.seen(plane, lens, outline.points)
    lean = outline.slope + np.where(outline.axis == 0, lattice.bend[1, 0], lattice.bend[0, 1])
    step = outline.inward * np.where(outline.axis == 0, 1, picture.shape[1])
    args = (picture.ravel(), picture.shape[1], seen, outline.axis, step, outline.side, lean, reach)
    return Profiles(*profiles(*args))


def fit_edges(grey: NDArray[np.floating], spread: float = 0.85, rounds: int = 6) -> Edges:
    """Gauss-Newton on all profiles, (n, 2m+1).  spread : to begin with, px.  A flat profile gives step 0, place NaN."""
    from reelmark.stations.window.inspect.kernels_fit import edges

    m = grey.shape[1] // 2
    grey = grey.astype(float)
    low, high = grey[:, :2].mean(axis=1), grey[:, -2:].mean(axis=1)
    span = np.where(high - low > 1, high - low, 1.0)
    z = (grey - low[:, None]) / span[:, None]
    e = np.clip(m + 0.5 - z.sum(axis=1), -m + 1, m - 1)
    s = np.full(len(e), spread)
    x = edges(z, e, s, rounds)
    flat = high - low < 4
    place = np.where(flat, np.nan, e)
    return Edges(place, np.where(flat, np.nan, s * s), low + x[:, 0] * span, np.where(flat, 0.0, x[:, 1] * span))


def read_sides(
    picture: Picture, plane: Floats, motif: Motif, lattice: Lattice, lens: Lens, reach: int, spread: float
) -> tuple[Floats, Floats, Floats]:
    """(middle, corrected, (n, 2), growth of the size, (n, 2), variance of the edges, (n, 4)), px.

    Sides in the order left, right, top, bottom.  Read twice: roughly to find each window's own middle, then about that.
    """
    first = gather(picture, plane, motif.rough, lattice, lens, reach)
    nearer = _shift(_rough_place(first), motif.rough)
    got = gather(picture, plane + nearer, motif.outline, lattice, lens, reach)
    edges = fit_edges(got.grey.reshape(-1, 2 * reach + 1), spread)
    place = edges.place.reshape(-1, 4) * (1, -1, 1, -1) - got.mean
    var = (edges.var.reshape(-1, 4) - got.var) / motif.outline.longer2
    lean = motif.outline.longer
    growth = np.stack([2 * (place[:, k + 1] - place[:, k]) / (lean[k] + lean[k + 1]) for k in (0, 2)], axis=1)
    middle = lens.correct(lattice.seen(plane + nearer, lens)[:, 0] + _shift(place, motif.outline))
    return middle, growth, var


def _rough_place(got: Profiles) -> Floats:
    """(n, 4) of the sides, by the area under the profile: exact for any even spread, less so in noise."""
    m = got.grey.shape[2] // 2
    low, high = got.grey[..., :2].mean(axis=2), got.grey[..., -2:].mean(axis=2)
    z = (got.grey.sum(axis=2) - low * (2 * m + 1)) / np.maximum(high - low, 1)
    e = np.where(high - low > 4, np.clip(m + 0.5 - z, -m, m), 0.0)
    return np.asarray(e * (1, -1, 1, -1) - got.mean)


def _shift(place: Floats, outline: Outline) -> Floats:
    """(n, 2) of the middle.  A side that leans couples the two ways: x + a y and b x + y are what is read."""
    a, b = outline.couple
    x, y = (place[:, 0] + place[:, 1]) / 2, (place[:, 2] + place[:, 3]) / 2
    return np.stack([x - a * y, y - b * x], axis=1) / (1 - a * b)
