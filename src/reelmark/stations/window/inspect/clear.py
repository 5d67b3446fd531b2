"""How clear each window is, from the points within it: its share, its grey, and what is darker than it may be."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture
from reelmark.stations.window.inspect.find import Tones
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.model import Model, trend
from reelmark.stations.window.inspect.settings import LookSettings

__all__ = ["Clear", "how_clear", "where_they_are"]

_ADRIFT = 1.0  # px that points inside a window may lie off


class Clear(NamedTuple):
    """(n,) each.  fill : clear share of the area;  dark, deep : px inside, and of the core, darker than noise allows

    level : grey of a clear window there
    """

    fill: Floats
    dark: Ints
    deep: Ints
    level: Floats


def how_clear(picture: Picture, seen: Floats, w: Ints, model: Model, tone: Tones, settings: LookSettings) -> Clear:
    """Of windows whose middles the lattice puts at `seen`, (n, 2) px of the picture."""
    from reelmark.stations.window.inspect.kernels_windows import clear_share, dark_points, greys, medians

    flat, wide = picture.ravel(), picture.shape[1]
    at = np.rint(seen).astype(np.int64) @ np.array([1, wide])
    mine = [np.flatnonzero(w == k) for k in range(len(model.motifs))]
    grey: list[Picture] = []
    middle = np.zeros(len(w))
    for some, motif in zip(mine, model.motifs, strict=True):
        grey.append(greys(flat, wide, at[some], motif.inside, max(len(motif.inside) // 250, 1)))
        middle[some] = medians(grey[-1])
    level = np.maximum(_levels(seen, middle, middle > tone.limit), tone.low + 1)
    out = Clear(np.zeros(len(w)), np.zeros(len(w), np.int64), np.zeros(len(w), np.int64), level)
    for some, motif, core in zip(mine, model.motifs, grey, strict=True):
        if len(some):
            own = level[some]
            fill = clear_share(flat, wide, at[some], motif.area_at, motif.area_soft, tone.low, own)
            limit = own * (1 - max(settings.dirt_sd * _noise(core, own, fill > settings.half), 0.08))
            dark, deep = dark_points(flat, wide, at[some], motif.inside, motif.core, limit)
            out.fill[some], out.dark[some], out.deep[some] = fill, dark, deep
    return out


def where_they_are(
    picture: Picture,
    seen: Floats,
    off: Floats,
    w: Ints,
    clear: Clear,
    model: Model,
    tone: Tones,
    settings: LookSettings,
) -> Clear:
    """The same, windows that lie off and look dark looked at anew where they are.  off : (n, 2) px from `seen`

    No further than an edge's profile reaches, so that all points stay in the picture.
    """
    far = np.flatnonzero(((clear.dark > 0) | (clear.fill < settings.half)) & (np.abs(off).max(axis=1) > _ADRIFT))
    if not len(far):
        return clear
    at = seen[far] + np.clip(off[far], -model.reach, model.reach)
    own = how_clear(picture, at, w[far], model, tone, settings)
    better = own.fill >= clear.fill[far]
    for whole, some in zip(clear, own, strict=True):
        whole[far[better]] = some[better]
    return clear


def _levels(seen: Floats, middle: Floats, light: NDArray[np.bool_]) -> Floats:
    """Grey of a clear window at each node: smooth over many, and of few each one's own, if it is light."""
    smooth = trend(seen, middle, light)
    return smooth if light.sum() >= 18 else np.where(light, middle, smooth)


def _noise(grey: Picture, level: Floats, good: NDArray[np.bool_]) -> float:
    """Robust sd of clear points over their level, by the sixth part that lies lowest but is not dirt."""
    some = (grey[good][:, ::2] / level[good, None].astype(np.float32)).ravel()
    if not some.size:
        return 0.02
    low, half = int(0.1587 * some.size), some.size // 2
    parts = np.partition(some, (low, half))
    return float(parts[half] - parts[low])
