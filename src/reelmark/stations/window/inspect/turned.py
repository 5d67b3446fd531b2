"""Whether a picture is turned over, told by windows that do not look the same both ways: a keyhole does not."""

import numpy as np

from reelmark.frames import Picture
from reelmark.stations.window.inspect.lattice import Lattice, Lens
from reelmark.stations.window.inspect.looked import Floats
from reelmark.stations.window.inspect.model import Model
from reelmark.stations.window.inspect.shape import Motif

__all__ = ["is_turned"]

_WAYS = ((1, -1), (-1, 1), (-1, -1))  # along, across, both
_BETTER = 0.03  # so much more of the light must fit
_FEW = 12


def is_turned(picture: Picture, lattice: Lattice, model: Model, lens: Lens) -> bool:
    """lattice : as found from patches, whose centroids lie right whichever way the picture is turned."""
    votes = [_vote(picture, lattice, model, lens, k) for k in range(len(model.motifs))]
    return sum(votes) > 0


def _vote(picture: Picture, lattice: Lattice, model: Model, lens: Lens, k: int) -> int:
    """+1 where the k-th window of the cell looks more like itself turned over, -1 where it does not; 0: none tells."""
    mask = _centred(model.motifs[k])
    ways = [mask[:: way[1], :: way[0]] for way in _WAYS]
    if max(float(np.abs(mask - one).mean()) for one in ways) < _BETTER * float(mask.mean()):
        return 0
    seen = _usual(picture, lattice, model, lens, k, mask.shape)
    if seen is None:
        return 0
    likes = [float((seen * one).sum() - 0.5 * (one * one).sum()) for one in ways]
    own = float((seen * mask).sum() - 0.5 * (mask * mask).sum())
    return 1 if max(likes) > own + _BETTER * float((mask * mask).sum()) else -1


def _centred(motif: Motif) -> Floats:
    """Its soft mask with the centroid in the middle pixel, cut so that all ways of turning have the same size."""
    rows, columns = np.indices(motif.soft.shape)
    total = motif.soft.sum()
    x, y = round(float((motif.soft * columns).sum() / total)), round(float((motif.soft * rows).sum() / total))
    wide, high = max(x, motif.soft.shape[1] - 1 - x), max(y, motif.soft.shape[0] - 1 - y)
    out = np.zeros((2 * high + 1, 2 * wide + 1))
    out[high - y : high - y + motif.soft.shape[0], wide - x : wide - x + motif.soft.shape[1]] = motif.soft
    return np.clip(out, 0, 1)


def _usual(
    picture: Picture, lattice: Lattice, model: Model, lens: Lens, k: int, shape: tuple[int, ...]
) -> Floats | None:
    """Median of a few windows about their centroids, coat 0 and clear 1; None where none is whole in the picture."""
    cell = model.coarse_cell()
    many = np.ceil(np.array(picture.shape[::-1]) / cell.pitch).astype(int) + 2
    i, j = (one.ravel() for one in np.mgrid[-1 : many[1], -1 : many[0]])
    at = np.rint(lattice.seen(cell.plane(i, j, np.full(i.size, k)), lens)[:, 0]).astype(int)
    half = np.array(shape[::-1]) // 2
    whole = ((at >= half) & (at < np.array(picture.shape[::-1]) - half)).all(axis=1)
    crops = [
        picture[y - half[1] : y + half[1] + 1, x - half[0] : x + half[0] + 1] for x, y in at[whole][: 3 * _FEW].tolist()
    ]
    light = sorted(crops, key=lambda one: -int(one.sum(dtype=np.int64)))[:_FEW]  # missing ones say nothing
    if not light:
        return None
    grey: Floats = np.median(np.array(light, dtype=float), axis=0)
    low, high = float(np.quantile(grey, 0.02)), float(np.quantile(grey, 0.98))
    return np.clip((grey - low) / max(high - low, 1.0), 0, 1)
