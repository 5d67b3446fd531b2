"""Which windows of a frame are wrong.  Limits come from the frame's own spread, and from what was learnt.

A pass that lies off by d widens the edges where it looks into the window: their variance grows by p (1 - p) d2 along
each axis, p being the share of the step that one pass makes.  So the variances of the wider side each way are summed,
which does not depend on the direction of d.  It also makes the window smaller, by about p d; where pixels are coarse
that tells more than the width does.  So the two are judged together, each over its limit: w2 + s2 > 1.

A window that is larger, or smaller with edges narrower than any pass would leave them, is off in its size.  How far a
pass is off, and a window as a whole: `shifted`.
"""

from collections.abc import Iterator
from dataclasses import replace
from math import ceil, floor, hypot, isfinite, nan, sqrt
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reelmark.stations.window.inspect.looked import Floats, Found, Ints, Kind
from reelmark.stations.window.inspect.model import Model, Spread, finite, middle, robust, trend
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.shifted import Sides, beyond, over_place, pass_way, sides_of
from reelmark.stations.window.inspect.windows import Seen

__all__ = ["edge_excess", "judge"]


def edge_excess(seen: Seen, usual: Spread | None, good: NDArray[np.bool_]) -> Floats:
    """(n,) px2: how much more the wider sides spread than is usual here; the frame's own focus taken off.

    usual None: the frame's medians stand for what is usual, so a shift of the whole frame goes unseen.
    """
    rest = np.full(len(seen.i), np.nan)
    for k in range(int(seen.w.max(initial=-1)) + 1):
        mine = seen.w == k
        if not mine.any():
            continue
        more = _more(seen.var[mine], None if usual is None else usual.var[k])
        rest[mine] = np.maximum(more[:, 0], more[:, 1]) + np.maximum(more[:, 2], more[:, 3])
        if usual is None or mine.sum() >= 18:
            field = np.sort(more, axis=1)[:, :2].mean(axis=1)  # the two narrower sides: focus over the field
            smooth = trend(seen.seen[mine], field, np.isfinite(field) & good[mine])
            rest[mine] -= 2 * (smooth - middle(smooth))
    return rest


def _more(var: Floats, usual: Floats | None) -> Floats:
    """(n, 4) px2 over what is usual of each side, and over the frame's own focus; usual None: over the medians."""
    own = robust(var)[0]
    if usual is None:
        return np.asarray(var - own)
    more = var - finite(usual, own)
    return np.asarray(more - _least(robust(more)[0]))


def _least(focus: Floats) -> float:
    """The side whose focus is least worse; 0 where none is told."""
    some = focus[np.isfinite(focus)]
    return float(some.min()) if some.size else 0.0


class _Limits(NamedTuple):
    """Of the windows of one place in the cell.  edge, size : what is usual;  edge_over, size_over : limits beyond it

    dark : px inside that may be dark
    """

    edge: float
    edge_over: float
    size: Floats
    size_over: Floats
    dark: float


class _Signs(NamedTuple):
    """Of one window, each over its limit.  small : of the size where it is less;  off : of the size, the larger way

    large : of the size where it is more;  far : of the place;  narrow : smaller, no edge as wide as a pass makes it
    way : px that a pass would be off;  strayed : the place is further off than such a pass takes it
    """

    fill: float
    deep: float
    dark: float
    wide: float
    small: float
    off: float
    off_px: float
    large: float
    far: float
    narrow: bool
    way: tuple[float, float]
    strayed: bool


def judge(seen: Seen, model: Model, pixel: float, settings: LookSettings) -> Iterator[Found]:
    """One thing for each wrong window, the gravest."""
    good = seen.fill > settings.half
    excess = edge_excess(seen, model.usual, good)
    far = over_place(seen, good, pixel, settings)
    for k, motif in enumerate(model.motifs):
        mine = np.flatnonzero(seen.w == k)
        if not len(mine):
            continue
        limits = _limits(seen, excess, mine[good[mine]], k, model, settings, pixel)
        wrong = mine[~(_calm(seen, excess, mine, limits, good) & ~(far[mine] > 1))]
        more = _more(seen.var[mine], None if model.usual is None else model.usual.var[k]) if len(wrong) else seen.var
        for n in wrong:
            side = more[np.searchsorted(mine, n)]
            sign = _signs(seen, n, float(excess[n]), side, limits, float(far[n]), model, settings, pixel)
            told = _one(sign, settings)
            if told is not None:
                kind, severity = told
                wide = sqrt(max([one for one in seen.var[n].tolist() if one > 0], default=0.0))
                mm = {Kind.SHIFTED_PASS: wide, Kind.SIZE: sign.off_px}
                large = mm.get(kind, float(motif.size.max())) * pixel
                off = {Kind.SHIFTED_PASS: sign.way, Kind.SHIFTED: tuple(seen.off[n].tolist())}.get(kind, (nan, nan))
                found = _found(seen, int(n), kind, large, severity, motif.size, pixel)
                yield replace(found, off_mm=(off[0] * pixel, off[1] * pixel))


def _limits(
    seen: Seen, excess: Floats, good: Ints, k: int, model: Model, settings: LookSettings, pixel: float
) -> _Limits:
    """Of window k; good : nodes of it that may tell."""
    usual = model.usual
    fit = good[np.isfinite(excess[good])]
    few = 1 + 6 / max(len(fit) if usual is None else int(usual.many[k]), 1)  # a spread told by few is told badly
    none = np.array(np.nan), np.array(np.nan)
    half, sd = robust(excess[fit]) if len(fit) else none
    size, size_sd = robust(seen.size[fit]) if len(fit) else (np.full(2, np.nan), np.full(2, np.nan))
    if usual is None and len(fit):
        sd, size_sd = (
            np.fmax(sd, _four_fifths(excess[fit] - half)),
            np.fmax(size_sd, _four_fifths(seen.size[fit] - size)),
        )
    if usual is not None:
        half, size = finite(usual.edge[k], half), finite(usual.size[k], size)
        sd, size_sd = np.fmax(usual.edge_sd[k], 0.7 * sd), np.fmax(usual.size_sd[k], 0.7 * size_sd)
    floor = max(settings.edge_floor * 2 * model.spread_px**2, settings.edge_floor_mm2 / pixel**2) * min(few, 3.0)
    return _Limits(
        float(half),
        float(np.fmax(settings.edge_sd * sd * few, floor)),
        finite(size, model.motifs[k].size),
        np.fmax(settings.size_sd * size_sd * few, settings.size_floor_mm * min(few, 3.0) / pixel),
        max(settings.dirt_mm2 / pixel**2, 2.0),
    )


def _four_fifths(off: Floats) -> Floats:
    """Sd by the deviation that four fifths stay below: of one frame alone, rows may lie two ways on their pixels."""
    return np.asarray(np.quantile(np.abs(np.nan_to_num(off)), 0.8, axis=0) / 1.2816)


def _calm(seen: Seen, excess: Floats, mine: Ints, limits: _Limits, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Those with nothing near a limit, all at once: nearly all."""
    off = np.abs(seen.size[mine] - limits.size) / limits.size_over
    wide = (excess[mine] - limits.edge) / limits.edge_over
    return np.asarray(
        good[mine]
        & (wide < 0.7)
        & (seen.dark[mine] < limits.dark)
        & (np.fmax(np.fmax(off[:, 0], off[:, 1]), 0.0) < 0.5)
    )


def _signs(
    seen: Seen,
    n: int,
    excess: float,
    side: Floats,
    limits: _Limits,
    far: float,
    model: Model,
    settings: LookSettings,
    pixel: float,
) -> _Signs:
    """side : (4,) px2, variance of the edges over usual;  far : its place over the limit"""
    off = [usual - own for usual, own in zip(limits.size.tolist(), seen.size[n].tolist(), strict=True)]
    over = [one / most if isfinite(one) else 0.0 for one, most in zip(off, limits.size_over.tolist(), strict=True)]
    way = 1 if abs(over[1]) > abs(over[0]) else 0
    wide = (excess - limits.edge) / limits.edge_over
    sides = sides_of(np.array(off), side, limits.edge_over / 3)
    go = pass_way(sides, limits.size_over / 3, limits.edge_over / 3, model.spread_px, model.reach)
    return _Signs(
        float(seen.fill[n]),
        float(seen.deep[n]) / limits.dark,
        float(seen.dark[n]) / limits.dark / 2,
        wide if isfinite(wide) else 1.0,
        hypot(max(over[0], 0.0), max(over[1], 0.0)),
        abs(over[way]),
        abs(off[way]),
        -min(min(over), 0.0),
        far if isfinite(far) else 0.0,
        _narrow(over, sides, limits.edge_over / 2, settings),
        go,
        beyond(seen.off[n], go, settings.shift_floor_mm / pixel),
    )


def _narrow(over: list[float], sides: Sides, noise: float, settings: LookSettings) -> bool:
    """Whether no pass that is off makes it so: smaller both ways alike and opposite sides alike; or with edges too

    narrow for what the size is less.  over : size, smaller ways > 0;  noise : px2, of a variance
    """
    alike = abs(over[0] - over[1]) <= max(1.0, 0.3 * max(over)) and min(over) > 0
    k = int(sides.fall.argmax())
    least = settings.pass_least * max(float(sides.fall[k]), 0.0) ** 2
    return max(over) > 0 and not sides.unlike and (alike or float(sides.var[k]) + noise < least)


def _one(told: _Signs, settings: LookSettings) -> tuple[Kind, float] | None:
    """(kind, severity)."""
    if told.fill < settings.missing:
        return Kind.MISSING, (1 - told.fill) / (1 - settings.missing)
    if told.fill < settings.half:
        return Kind.HALF_FILLED, (1 - told.fill) / (1 - settings.half)
    if told.deep >= 1:
        return Kind.DIRTY, told.deep
    if told.far > 1 and told.strayed:
        return Kind.SHIFTED, told.far
    both = hypot(max(told.wide, 0.0), told.small)
    size = told.off > 1 and (told.narrow or told.large > max(1.0, told.small))
    if not size and (told.wide >= 1 or (both > 1 and (told.small > 1 or told.wide > settings.both))):
        return Kind.SHIFTED_PASS, max(told.wide, both)
    if told.dark >= 1:
        return Kind.DIRTY, told.dark
    if told.far > 1:
        return Kind.SHIFTED, told.far
    return (Kind.SIZE, told.off) if told.off > 1 else None


def _found(seen: Seen, n: int, kind: Kind, size_mm: float, severity: float, size: Floats, pixel: float) -> Found:
    x, y = (
        own if isfinite(own) else at for own, at in zip(seen.middle[n].tolist(), seen.place[n].tolist(), strict=True)
    )
    low = [max(floor(at - most / 2 - 4), 0) for at, most in zip(seen.seen[n].tolist(), size.tolist(), strict=True)]
    wide, high = (ceil(most + 8) for most in size.tolist())
    node = int(seen.i[n]), int(seen.j[n]), int(seen.w[n])
    return Found(kind, x * pixel, y * pixel, *node, size_mm, float(severity), (*low, wide, high))
