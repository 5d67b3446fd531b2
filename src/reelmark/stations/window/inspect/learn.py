"""Learning from a few frames: places of windows that the layout leaves open, their shape, the lens, usual spreads.

All by medians over windows, so that faults in under a third of them do no harm.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem
from reelmark.frames import Picture, WindowLayout
from reelmark.stations.window.inspect.find import Patches, Tones, patches, stride_for, thin, tones
from reelmark.stations.window.inspect.judge import edge_excess
from reelmark.stations.window.inspect.lattice import Cell, Lattice, Lens, coarse, fit
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.model import Model, Spread, begin, insets, middle, reach_for, robust
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.shape import motif_of
from reelmark.stations.window.inspect.windows import Seen, lanes_of, locate, measure, nodes_within

__all__ = ["learn_model"]

_LEAST = 3  # windows of each kind, at least, to correct its place by
_ROUNDS = 12  # of places and lattices in turn: the rest left is under a thousandth even of two repeats


def learn_model(pictures: Sequence[Picture], layout: WindowLayout, settings: LookSettings) -> Model | Problem:
    """A model, or why not one of the pictures could be read."""
    few = [thin(one, stride_for(layout)) for one in pictures]
    tone = [tones(one) for one in few]
    found = [patches(one, t.limit, stride_for(layout)) for one, t in zip(few, tone, strict=True)]
    model = _placed(begin(layout), layout, found, pictures, settings)
    model = _shaped(model, layout, pictures, found, tone, settings)
    last: Problem | None = None
    for _ in range(2):
        seen = []
        for picture, patch, t in zip(pictures, found, tone, strict=True):
            got = _measured(picture, patch, t, model, settings)
            last = got if isinstance(got, Problem) else last
            seen += [] if isinstance(got, Problem) else [got]
        if not seen:
            assert last is not None
            return last
        model = _lensed(_settled(model, seen), seen, pictures[0], layout.mm_per_pixel)
    return replace(model, usual=_spread(seen, model, tone)) if len(pictures) >= 3 else model


def _measured(picture: Picture, found: Patches, tone: Tones, model: Model, settings: LookSettings) -> Seen | Problem:
    lens = Lens.of(picture.shape[1], picture.shape[0], model.k1)
    lattice = locate(found, model, lens, settings)
    if isinstance(lattice, Problem):
        return lattice
    return measure(picture, lattice, model, lens, tone, settings)


def _placed(
    model: Model, layout: WindowLayout, found: Sequence[Patches], pictures: Sequence[Picture], settings: LookSettings
) -> Model:
    """Places of windows that have none, from where like patches lie about the anchor's lattice."""
    open_ = [k for k, one in enumerate(layout.windows) if one.at_across_mm is None or one.at_along_mm is None]
    if not open_ or len(layout.windows) == 1:
        return model
    given = [k for k in range(len(layout.windows)) if k not in open_]
    anchor = given[0] if given else open_[0]
    at, cell = model.cell.at.copy(), model.cell
    alone = Cell(cell.pitch, at[[anchor]], cell.area[[anchor]], cell.lanes)
    for k in [one for one in open_ if one != anchor]:
        where = [_elsewhere(one, alone, cell.area[k], p, settings) for one, p in zip(found, pictures, strict=True)]
        got = np.concatenate([np.zeros((0, 2)), *where])
        if len(got):
            at[k] = _fullest(got, cell.pitch)
    model = replace(model, cell=replace(cell, at=at))
    for k in [one for one in open_ if one != anchor]:
        model = _paired(model, k, anchor, found, pictures, settings)
    return model


def _fullest(places: Floats, pitch: Floats) -> Floats:
    """Median of the fullest neighbourhood of places (n, 2), which recur with the pitch."""
    off = places[:, None] - places[None]
    off -= pitch * np.round(off / pitch)
    near = np.abs(off).max(axis=-1) < 0.04 * pitch.min()
    best = near.sum(axis=1).argmax()
    return np.asarray(places[best] + np.median(off[near[best], best], axis=0))


def _paired(
    model: Model,
    k: int,
    anchor: int,
    found: Sequence[Patches],
    pictures: Sequence[Picture],
    settings: LookSettings,
) -> Model:
    """Window k with the anchor of its own note, not of the next: so that fewest patches lie outside the lanes counted;

    of equals the nearest to the anchor
    """
    cell = model.cell
    off = cell.at[k] - cell.at[anchor]
    told = []
    off -= cell.pitch * np.round(off / cell.pitch)
    for j in (0, -1, 1):
        at = cell.at.copy()
        at[k] = at[anchor] + off + np.array([j, 0]) * cell.pitch
        one = replace(model, cell=replace(cell, at=at))
        told.append((_outside(one, found, pictures, settings), float(np.hypot(*(at[k] - at[anchor]))), one))
    fewest = min(many for many, _, _ in told)
    return min((one for one in told if one[0] <= 1.1 * fewest), key=lambda one: one[1])[2]


def _outside(model: Model, found: Sequence[Patches], pictures: Sequence[Picture], settings: LookSettings) -> int:
    """Whole patches that lie where the lattice has windows, but in a lane that is not counted."""
    many = 0
    for patch, picture in zip(found, pictures, strict=True):
        lens = Lens.of(picture.shape[1], picture.shape[0], model.k1)
        lattice = locate(patch, model, lens, settings)
        if not isinstance(lattice, Problem):
            lane, near = lanes_of(patch, model, lattice, lens)
            many += int((near & patch.whole & ((lane < 0) | (lane >= model.cell.lanes))).sum())
    return many


def _elsewhere(found: Patches, alone: Cell, area: float, picture: Picture, settings: LookSettings) -> Floats:
    """Places in the cell, px, of patches of about this area that are not the anchor window's."""
    middle = Lens.of(picture.shape[1], picture.shape[0]).correct(found.middle)
    got = coarse(middle, found.area, alone, settings.stretch)
    if got is None:
        return np.zeros((0, 2))
    flat = np.mod(got[0].plane(middle), alone.pitch)
    off = flat - alone.at[0]
    off -= alone.pitch * np.round(off / alone.pitch)
    like = np.abs(np.log(found.area / area)) < np.log(1.6)
    return np.asarray(flat[like & (np.abs(off).max(axis=1) > 0.05 * alone.pitch.min())])


def _shaped(
    model: Model,
    layout: WindowLayout,
    pictures: Sequence[Picture],
    found: Sequence[Patches],
    tone: Sequence[Tones],
    settings: LookSettings,
) -> Model:
    """Motifs as the pictures show them; the layout's where fewer than four windows are seen."""
    crops: list[list[Floats]] = [[] for _ in model.motifs]
    for picture, patch, t in zip(pictures[:6], found, tone, strict=False):
        lens = Lens.of(picture.shape[1], picture.shape[0], model.k1)
        lattice = locate(patch, model, lens, settings)
        if not isinstance(lattice, Problem):
            for k, more in enumerate(_crops(picture, lattice, model, lens, t)):
                crops[k] += more
    motifs = list(model.motifs)
    for k, got in enumerate(crops):
        if len(got) >= 4 or (got and not _alike(got, motifs[k].soft)):
            soft = np.median(np.array(got), axis=0) if len(got) > 2 else np.max(np.array(got), axis=0)
            motifs[k] = motif_of(soft, *insets(model.spread_px, layout.mm_per_pixel))
    area = np.array([one.area for one in motifs])
    return replace(model, motifs=tuple(motifs), cell=replace(model.cell, area=area))


def _alike(crops: list[Floats], soft: Floats) -> bool:
    """Whether any of a few windows has the layout's shape: nine tenths of what either has are of both."""
    both = [np.minimum(one, soft).clip(0).sum() / np.maximum(one, soft).clip(0, 1).sum() for one in crops]
    return bool(max(both) > 0.9)


def _crops(picture: Picture, lattice: Lattice, model: Model, lens: Lens, tone: Tones) -> list[list[Floats]]:
    """Each whole window resampled onto the lattice's plane, coat 0 and clear 1; per window of the cell."""
    import cv2

    _, _, w, plane, _ = nodes_within(model, lattice, lens, model.half() + 4)
    out: list[list[Floats]] = [[] for _ in model.motifs]
    plane = plane + np.array([one.centroid for one in model.motifs])[w]
    for n, k in enumerate(w):
        rows, columns = model.motifs[k].soft.shape
        grid = np.stack(np.meshgrid(np.arange(columns) - (columns - 1) / 2, np.arange(rows) - (rows - 1) / 2), axis=-1)
        at = lens.picture(lattice.place(plane[n] + grid)).astype(np.float32)
        crop = cv2.remap(picture, at[..., 0], at[..., 1], cv2.INTER_LINEAR).astype(float)
        top = float(np.quantile(crop, 0.9))
        if top > tone.limit:
            out[k].append((crop - tone.low) / max(float(np.median(crop[crop > (top + tone.low) / 2])) - tone.low, 1))
    return out


def _settled(model: Model, seen: Sequence[Seen]) -> Model:
    """Places in the cell corrected by where the edges put the windows: by medians over all frames, each frame's lattice

    fitted anew as the places settle.  Their mean is kept, for the lattice takes up what they have in common.
    """
    at = model.cell.at.copy()
    few = min(np.bincount(np.concatenate([one.w[_told(one)] for one in seen]), minlength=len(at)))
    for _ in range(_ROUNDS if len(at) > 1 and few >= _LEAST else 0):
        cell = replace(model.cell, at=at)
        off = [_off(one, cell) for one in seen]
        w, place = (np.concatenate(part) for part in zip(*off, strict=True))
        more = np.array([np.median(place[w == k], axis=0) for k in range(len(at))])
        at = at + more - more.mean(axis=0)
    return replace(model, cell=replace(model.cell, at=at))


def _told(seen: Seen) -> NDArray[np.bool_]:
    """Whole windows whose four edges are read."""
    return np.asarray((seen.fill > 0.85) & np.isfinite(seen.middle).all(axis=1))


def _off(seen: Seen, cell: Cell) -> tuple[Ints, Floats]:
    """(which window of the cell, px on the plane from its node) of all that are whole."""
    good, plane = _told(seen), cell.plane(seen.i, seen.j, seen.w)
    return seen.w[good], (fit(plane, seen.middle, good).plane(seen.middle) - plane)[good]


def _lensed(model: Model, seen: Sequence[Seen], picture: Picture, pixel: float) -> Model:
    """k1 added to, by median over frames that tell it; the edge's spread, reach and insets from what is seen."""
    lens = Lens.of(picture.shape[1], picture.shape[0], model.k1)
    var = middle(np.concatenate([one.var.ravel() for one in seen]))
    spread = float(np.sqrt(max(var, 0.05)))
    side = min(float(one.size.min()) for one in model.motifs)
    motifs = tuple(motif_of(one.soft, *insets(spread, pixel)) for one in model.motifs)
    return replace(
        model,
        k1=model.k1 + _lens_of(seen, model, lens),
        spread_px=spread,
        reach=reach_for(side, spread, pixel),
        motifs=motifs,
    )


def _k1(seen: Seen, model: Model, lens: Lens) -> tuple[float, float]:
    """(what is left of the lens, its variance): seen + k1 r2 off = start + plane @ bend, linear, Tukey's weights."""
    from reelmark.stations.window.inspect.kernels_fit import robust_lines

    good = (seen.fill > 0.9) & np.isfinite(seen.middle).all(axis=1)
    place = seen.middle[good]
    if len(place) < 5:
        return 0.0, np.inf
    plane = model.cell.plane(seen.i, seen.j, seen.w)[good]
    off = place - lens.middle
    bend = off * (off * off).sum(axis=1, keepdims=True) / lens.r2
    zero, one = np.zeros((len(off), 3)), np.column_stack([np.ones(len(off)), plane - plane.mean(axis=0)])
    X = np.vstack([np.column_stack([one, zero, -bend[:, 0]]), np.column_stack([zero, one, -bend[:, 1]])])
    y = place.T.ravel()
    beta = robust_lines(X, y[:, None], np.ones(len(y), bool), 5, 1e-4, 1e-12)[:, 0]
    rest = bend.T.ravel() - X[:, :-1] @ np.linalg.lstsq(X[:, :-1], bend.T.ravel(), rcond=None)[0]
    told = 1.4826 * middle(np.abs(y - X @ beta)) + 0.02
    return float(beta[-1]), float(told**2 * len(y) / (len(y) - 7) / max(float(rest @ rest), 1e-9))


def _lens_of(seen: Sequence[Seen], model: Model, lens: Lens) -> float:
    """What is to be added to k1: mean over the frames, each by how well it tells; drawn to none where all tell badly.

    A lens has a k1 of 0 with a standard deviation of 0.01 before anything is seen: an assumption.
    """
    k1, var = np.array([_k1(one, model, lens) for one in seen]).T
    weight = 1 / np.maximum(var, 1e-12)
    return float((weight * k1).sum() / (weight.sum() + 1 / 0.01**2))


def _spread(seen: Sequence[Seen], model: Model, tone: Sequence[Tones]) -> Spread:
    """Pooled over the frames."""
    many = len(model.motifs)
    w = np.concatenate([one.w for one in seen])
    usual = Spread(
        np.zeros((many, 4)),
        np.zeros(many),
        np.zeros(many),
        np.zeros((many, 2)),
        np.zeros((many, 2)),
        float(np.median([one.low for one in tone])),
        float(np.median([one.high for one in tone])),
        np.bincount(w, minlength=many),
    )
    for k in range(many):
        usual.var[k] = robust(np.concatenate([one.var for one in seen])[w == k])[0]
        usual.size[k], usual.size_sd[k] = robust(np.concatenate([one.size for one in seen])[w == k])
    excess = np.concatenate([edge_excess(one, usual, one.fill > 0.85) for one in seen])
    for k in range(many):
        half, sd = robust(excess[w == k])
        usual.edge[k], usual.edge_sd[k] = float(half), float(sd)
    return usual
