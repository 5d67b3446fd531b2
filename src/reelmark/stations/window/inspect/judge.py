"""Which windows of a frame are wrong.  Limits come from the frame's own spread, and from what was learnt.

A pass that lies off by d widens the edges where it looks into the window: their variance grows by p (1 - p) d2 along
each axis, p being the share of the step that one pass makes.  So the variances of the wider side each way are summed,
which does not depend on the direction of d.
"""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from reelmark.stations.window.inspect.looked import Floats, Found, Ints, Kind
from reelmark.stations.window.inspect.model import Model, Spread, middle, robust, trend
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.windows import Seen

__all__ = ["edge_excess", "judge"]


def edge_excess(seen: Seen, usual: Spread | None, good: NDArray[np.bool_]) -> Floats:
    """(n,) px2: how much more the wider sides spread than is usual here; the frame's own focus taken off.

    usual None: the frame's medians stand for what is usual, so a shift of the whole frame goes unseen.
    """
    rest = np.full(len(seen.i), np.nan)
    for k in np.unique(seen.w):
        mine = seen.w == k
        var = seen.var[mine]
        base = usual.var[k] if usual is not None else robust(var)[0]
        more = var - base
        focus = np.nanmin(robust(more)[0]) if usual is not None else 0.0
        more = more - focus
        rest[mine] = np.maximum(more[:, 0], more[:, 1]) + np.maximum(more[:, 2], more[:, 3])
        if usual is None or mine.sum() >= 18:
            field = np.sort(more, axis=1)[:, :2].mean(axis=1)  # the two narrower sides: focus over the field
            smooth = trend(seen.seen[mine], field, np.isfinite(field) & good[mine])
            rest[mine] -= 2 * (smooth - middle(smooth))
    return rest


def judge(seen: Seen, model: Model, pixel: float, settings: LookSettings) -> Iterator[Found]:
    """One thing for each wrong window, the gravest."""
    good = seen.fill > settings.half
    excess = edge_excess(seen, model.usual, good)
    for k, motif in enumerate(model.motifs):
        mine = np.flatnonzero(seen.w == k)
        if not len(mine):
            continue
        edge, size = _limits(seen, excess, mine, k, model.usual, good, settings, pixel, model.spread_px**2)
        over = np.nanmax(np.abs(seen.size[mine] - size[0]) / size[1], axis=1, initial=0.0) > 1
        calm = good[mine] & (excess[mine] - edge[0] < edge[1]) & (seen.dark[mine] < 3) & ~over
        for n in mine[~calm]:
            told = _one(seen, n, excess[n] - edge[0], edge[1], np.abs(seen.size[n] - size[0]), size[1], settings)
            if told is not None:
                kind, amount, severity = told
                wide = float(np.sqrt(np.nanmax(seen.var[n], initial=0.0)))
                mm = {Kind.SHIFTED_PASS: wide, Kind.SIZE: amount}
                large = mm.get(kind, float(motif.size.max())) * pixel
                yield _found(seen, int(n), kind, large, severity, motif.size, pixel)


def _limits(
    seen: Seen,
    excess: Floats,
    mine: Ints,
    k: int,
    usual: Spread | None,
    good: NDArray[np.bool_],
    settings: LookSettings,
    pixel: float,
    var: float,
) -> tuple[tuple[float, float], tuple[Floats, Floats]]:
    """((usual, limit) of the edges' excess, (usual, limit) of the size) of window k."""
    fit = mine[good[mine] & np.isfinite(excess[mine])]
    few = 1 + 6 / max(len(fit) if usual is None else int(usual.many[k]), 1)  # a spread told by few is told badly
    half, sd = robust(excess[fit]) if len(fit) else (np.array(0.0), np.array(0.0))
    size, size_sd = robust(seen.size[fit]) if len(fit) else (np.zeros(2), np.zeros(2))
    if usual is not None:
        size, half = usual.size[k], usual.edge[k]
        sd, size_sd = np.maximum(usual.edge_sd[k], 0.7 * sd), np.maximum(usual.size_sd[k], 0.7 * size_sd)
    edge_limit = max(settings.edge_sd * float(sd) * few, settings.edge_floor * 2 * var)
    size_limit = np.maximum(settings.size_sd * size_sd * few, settings.size_floor_mm / pixel)
    return (float(half), edge_limit), (size, size_limit)


def _one(
    seen: Seen,
    n: int,
    excess: float,
    edge: float,
    size: Floats,
    limit: Floats,
    settings: LookSettings,
) -> tuple[Kind, float, float] | None:
    """(kind, amount in px, measured over limit)."""
    fill = float(seen.fill[n])
    if fill < settings.missing:
        return Kind.MISSING, 0.0, (1 - fill) / (1 - settings.missing)
    if fill < settings.half:
        return Kind.HALF_FILLED, 0.0, (1 - fill) / (1 - settings.half)
    if seen.deep[n] >= 3:
        return Kind.DIRTY, 0.0, float(seen.deep[n]) / 3
    if not excess < edge:
        return Kind.SHIFTED_PASS, 0.0, float(excess / edge) if np.isfinite(excess) else 1.0
    if seen.dark[n] >= 6:
        return Kind.DIRTY, 0.0, float(seen.dark[n]) / 6
    over = float((size / limit).max())
    return (Kind.SIZE, float(size[(size / limit).argmax()]), over) if over > 1 else None


def _found(seen: Seen, n: int, kind: Kind, size_mm: float, severity: float, size: Floats, pixel: float) -> Found:
    x, y = np.where(np.isfinite(seen.middle[n]), seen.middle[n], seen.seen[n]) * pixel
    low = np.floor(seen.seen[n] - size / 2 - 4).astype(int)
    wide = np.ceil(size + 8).astype(int)
    box = (max(int(low[0]), 0), max(int(low[1]), 0), int(wide[0]), int(wide[1]))
    return Found(
        kind, float(x), float(y), int(seen.i[n]), int(seen.j[n]), int(seen.w[n]), size_mm, float(severity), box
    )
