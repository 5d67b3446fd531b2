"""What of the picture is coat: the columns that the web covers, and the boxes of what is painted out of them."""

import numpy as np

from reelmark.frames import Picture
from reelmark.stations.window.inspect.find import Tones
from reelmark.stations.window.inspect.lattice import Lattice, Lens
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.model import Model
from reelmark.stations.window.inspect.windows import Seen, nodes_within

__all__ = ["painted_out", "painted_too", "web_columns"]


def web_columns(picture: Picture, tone: Tones, lattice: Lattice) -> tuple[int, int]:
    """First column of the web and the one after its last: at either side light or darkness may show beside it.

    A column is beside the web if most of its points are much lighter, or much darker, than coat.
    """
    rows, columns = picture.shape
    some = picture[rows // 128 :: max(rows // 64, 1)]
    spare = 6 + int(abs(lattice.bend[1, 0]) * rows * 0.8)
    ends = []
    for side in (some, some[:, ::-1]):
        off = _beside(side[:, : columns // 16 + 1], tone)
        off = _beside(side[:, : columns // 2], tone) if off > columns // 16 else off
        ends.append(off + spare if off else 0)
    return ends[0], columns - ends[1]


def _beside(some: Picture, tone: Tones) -> int:
    """How many of the first columns are not of the web."""
    off = (some > (tone.low + tone.limit) / 2).mean(axis=0) > 0.75
    off |= (some < 0.55 * tone.low).mean(axis=0) > 0.75
    return int(off.argmin()) if not off.all() else off.size


def painted_out(picture: Picture, lattice: Lattice, model: Model, lens: Lens, tone: Tones, pixel: float) -> Ints:
    """(n, 4) x0, y0, x1, y1 of windows with their edges, those at the rim and in lanes beyond too."""
    half = _halves(model, pixel)
    _, _, w, _, at = nodes_within(model, lattice, lens, -half, 2)
    size = np.array(picture.shape[::-1])
    half = half + abs(float(lattice.bend[0, 1])) * half[:, ::-1]
    low = np.clip(np.floor(at - half[w]), 0, size).astype(np.int64)
    high = np.clip(np.ceil(at + half[w]) + 1, 0, size).astype(np.int64)
    light = _any_light(picture, low, high, (tone.low + tone.limit) / 2)
    light |= ((low == 0) | (high == size)).any(axis=1)  # a sliver of a window at the rim may lie between the points
    return np.concatenate([low, high], axis=1)[light]


def painted_too(seen: Seen, model: Model, size: tuple[int, int], pixel: float) -> Ints:
    """(n, 4) as of `painted_out`, of windows that lie so far off that their rims may lie beyond those boxes.

    size : columns and rows of the picture
    """
    off = np.abs(seen.off).max(axis=1)
    far = np.flatnonzero(np.isfinite(off) & (off > 0.5 / pixel))
    half = _halves(model, pixel)[seen.w[far]]
    at = seen.seen[far] + seen.off[far]
    low, high = np.floor(at - half), np.ceil(at + half) + 1
    return np.asarray(np.clip(np.concatenate([low, high], axis=1), 0, size * 2), dtype=np.int64)


def _halves(model: Model, pixel: float) -> Floats:
    """(w, 2) px from each window's middle to where its edge has faded into the coat, and 1.1 mm beyond."""
    return np.asarray(np.array([one.size / 2 for one in model.motifs]) + 4 * model.spread_px + 1 + 1.1 / pixel)


def _any_light(picture: Picture, low: Ints, high: Ints, limit: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Whether any of 25 points in each box is over the limit: a missing window is coat, and is looked at as such."""
    t = np.linspace(0.15, 0.85, 5)
    y = (low[:, 1:] + t * (high - low - 1)[:, 1:]).astype(np.int64)
    x = (low[:, :1] + t * (high - low - 1)[:, :1]).astype(np.int64)
    grid: Ints = y[:, :, None] * picture.shape[1] + x[:, None, :]
    lightest: Floats = picture.ravel().take(grid).max(axis=(1, 2))
    return np.asarray(lightest > limit)
