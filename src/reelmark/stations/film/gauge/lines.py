"""Narrow lines that stay: on the die (they wander across when the die or the haul-off turns), or at a place across.

Residuals with the broad profile put back are gathered in fine bins, of place and of angle, by eighths of the roll.
What stands out of its neighbourhood in some stretch is a line; its ends follow pass by pass; it is taken off, and the
next is looked for.  A line must stand out of the profile's own roughness, not only of the noise.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reelmark.stations.film.gauge.model import Model
from reelmark.stations.film.gauge.records import Floats
from reelmark.stations.film.gauge.solve import Ints

__all__ = ["StayingLine", "find_lines", "merged"]

_BLOCKS = 8
_WIDTHS = (1, 2, 3, 5, 8)  # fine bins
_MOST = 8  # lines told of one roll
_FINE = 400  # fine bins across at most
_WIDEST = 0.02  # share of the round that a line may be wide; wider ones are profile
_LEAST_PASSES = 3
_IN_CELL = 8  # readings of a bin in an eighth of the roll, at least, where bins are finer than readings lie
_PARTS = 8  # of a bin, in which the edges of a line are told


@dataclass(frozen=True, slots=True)
class StayingLine:
    """from_m, to_m;  from_mm, to_mm : all places it visits;  wide_mm : at any one metre;  size_um : against its sides

    angle : on the die, rad, None for a line at a fixed place;  passes : that it lasts;  z : over noise and roughness
    """

    from_m: float
    to_m: float
    from_mm: float
    to_mm: float
    wide_mm: float
    size_um: float
    angle: float | None
    passes: int
    z: float


@dataclass(frozen=True, slots=True)
class _Frame:
    """Fine bins of place or of angle.  bin : of each point;  profile : broad, by bin;  round : do the ends meet"""

    bin: Ints
    bins: int
    profile: Floats
    round: bool
    die: bool


def find_lines(model: Model, alarm: float) -> tuple[list[StayingLine], Floats]:
    """(lines, residuals (N,), 0 where a line is, its sides included).  alarm : chance of one false line in the roll."""
    frames = [_across(model)] + ([] if model.die is None else [_on_die(model)])
    left = model.residual_um.copy()
    block = model.records.sweep * _BLOCKS // model.records.passes
    keys = [_counted(frame, block) for frame in frames]
    limit = _limit(frames, alarm)
    out: list[StayingLine] = []
    covered: list[tuple[_Frame, StayingLine, int, int]] = []
    while len(out) < _MOST:
        seen = [_strongest(frame, left, *one) for frame, one in zip(frames, keys, strict=True)]
        best = int(np.argmax([one[0] for one in seen]))
        if seen[best][0] < limit:
            break
        line = _followed(model, frames[best], left, *seen[best])
        if line is None:
            break
        out.append(line)
        covered.append((frames[best], line, seen[best][3], seen[best][4]))
    for frame, line, at, wide in covered:
        _evened(frame, left, at, wide)
        _blank(model, frame, line, left, at, wide)
    return out, left


def _evened(frame: _Frame, left: Floats, at: int, wide: int) -> None:
    """Where a line lasted for a part of the roll, the profile had its mean in the rest: taken off, bin by bin."""
    near = (np.arange(frame.bins) - at + wide + 4) % frame.bins < 3 * wide + 8
    points = np.flatnonzero(near[frame.bin])
    bins, value = frame.bin[points], left[points]
    count = np.bincount(bins, minlength=frame.bins)
    left[points] -= (np.bincount(bins, value, frame.bins) / np.maximum(count, 1))[bins]


def _blank(model: Model, frame: _Frame, line: StayingLine, left: Floats, at: int, wide: int) -> None:
    """No burst is to be seen in what a line, with sides as wide as itself and a bin, left behind.

    A line that is lost in the noise leaves nothing, and blanking it would cut a burst in two.
    """
    if abs(line.size_um) < 2 * np.sqrt(model.variance):
        return
    r, side = model.records, wide + 1
    near = (np.arange(frame.bins) - at + side) % frame.bins < wide + 2 * side
    some = 0.02 * float(np.ptp(r.metre_m))
    a, b = np.searchsorted(r.metre_m, [line.from_m - some, line.to_m + some])
    left[a:b][near[frame.bin[a:b]]] = 0.0


def merged(lines: list[StayingLine], near_m: float) -> list[StayingLine]:
    """Lines side by side in the same frame and stretch as one: what the strongest one's edges or steps left over.

    near_m : a gap along that parts no line
    The strongest keeps its size and angle; metres and places are those of all with its sign and half its size.
    """
    out: list[StayingLine] = []
    for one in sorted(lines, key=lambda line: -line.z):
        host = next((i for i, other in enumerate(out) if _beside(one, other, near_m)), None)
        if host is None:
            out.append(one)
        elif one.size_um / out[host].size_um > 0.5:
            out[host] = _joined(out[host], one)
    return out


def _beside(a: StayingLine, b: StayingLine, near_m: float) -> bool:
    if (a.angle is None) != (b.angle is None) or max(a.from_m - b.to_m, b.from_m - a.to_m) > near_m:
        return False
    if a.angle is None or b.angle is None:
        return a.from_mm < b.to_mm + b.wide_mm and b.from_mm < a.to_mm + a.wide_mm
    away = abs((a.angle - b.angle + np.pi) % (2 * np.pi) - np.pi)
    return bool(away < 4 * np.pi * _WIDEST)


def _joined(a: StayingLine, b: StayingLine) -> StayingLine:
    along = min(a.from_m, b.from_m), max(a.to_m, b.to_m)
    across = min(a.from_mm, b.from_mm), max(a.to_mm, b.to_mm)
    wide = max(a.wide_mm, b.wide_mm)
    return StayingLine(*along, *across, wide, a.size_um, a.angle, max(a.passes, b.passes), a.z)


def _across(model: Model) -> _Frame:
    r = model.records
    bins = _whole(min(_FINE, r.time_s.size // r.passes), model.lanes)
    index = np.minimum((r.place * bins).astype(np.int64), bins - 1)
    profile = model.lane_um[np.minimum(np.arange(bins) * model.lanes // bins, model.lanes - 1)]
    return _Frame(index, bins, profile, False, False)


def _whole(bins: int, steps: int) -> int:
    """As many whole bins in each lane or sector as there is room for: an edge within a bin would look like a line."""
    return max(1, bins // steps) * steps


def _on_die(model: Model) -> _Frame:
    assert model.die is not None
    r, die = model.records, model.die
    fine = max(r.time_s.size // r.passes, r.time_s.size // (_BLOCKS * _IN_CELL))  # the die wanders between the readings
    bins = _whole(int(min(_FINE, fine) / die.share), die.sectors)
    index = np.minimum((die.angle(r.time_s, r.place) * (bins / (2 * np.pi))).astype(np.int64), bins - 1)
    profile = model.die_um[np.minimum(np.arange(bins) * die.sectors // bins, die.sectors - 1)]
    return _Frame(index, bins, profile, True, True)


def _limit(frames: list[_Frame], alarm: float) -> float:
    """Student's t, because the roughness is known from few bins; all stretches, widths and bins as tries."""
    from scipy.special import stdtrit

    tries = sum(frame.bins for frame in frames) * len(_WIDTHS) * _BLOCKS * (_BLOCKS + 1) / 2
    return float(-stdtrit(min(frame.bins for frame in frames) / 2, alarm / (2 * tries)))


def _counted(frame: _Frame, block: Ints) -> tuple[Ints, Ints]:
    """(number of block and bin of each point, how many points in each)."""
    key = block * frame.bins + frame.bin
    return key, np.bincount(key, minlength=_BLOCKS * frame.bins).reshape(_BLOCKS, frame.bins)


def _strongest(frame: _Frame, left: Floats, key: Ints, count: Ints) -> tuple[float, int, int, int, int]:
    """(z, first block, block behind, first bin, width) of what stands out most."""
    total = np.bincount(key, left, _BLOCKS * frame.bins).reshape(_BLOCKS, frame.bins)
    pairs = [(i, j) for i in range(_BLOCKS) for j in range(i + 1, _BLOCKS + 1)]
    mean = np.array([_means(total[i:j].sum(axis=0), count[i:j].sum(axis=0)) for i, j in pairs]) + frame.profile
    best = (0.0, 0, 1, 0, 1)
    for wide in _WIDTHS:
        if wide > 1 and wide / frame.bins > _WIDEST:
            continue
        smooth = _contrast(mean, wide, frame.round)
        rough = 1.4826 * np.median(np.abs(smooth), axis=1, keepdims=True)
        z = np.abs(smooth) / np.maximum(rough, 1e-9)
        k, at = np.unravel_index(int(np.argmax(z)), z.shape)
        if z[k, at] > best[0] * 1.02:
            best = (float(z[k, at]), *pairs[int(k)], int(at), wide)
    return best


def _means(total: NDArray[Any], count: NDArray[Any]) -> Floats:
    return np.where(count > 0, total / np.maximum(count, 1), 0.0)


def _contrast(mean: Floats, wide: int, circle: bool) -> Floats:
    """Mean of `wide` bins from each bin on, less that of as many on either side, a bin left out between.

    A smooth profile bends little over so few bins.  Where a side would lie off the web nothing is looked for.
    """
    reach, bins = wide + 1, mean.shape[1]
    padded = np.pad(mean, ((0, 0), (reach, 2 * reach)), mode="wrap" if circle else "edge")
    sums = np.cumsum(np.pad(padded, ((0, 0), (1, 0))), axis=1)
    slide = (sums[:, wide:] - sums[:, :-wide]) / wide
    out: Floats = slide[:, reach : reach + bins] - (slide[:, :bins] + slide[:, 2 * reach : 2 * reach + bins]) / 2
    if not circle:
        out[:, :reach] = out[:, bins - wide - reach + 1 :] = 0.0
    return out


def _followed(
    model: Model, frame: _Frame, left: Floats, z: float, first: int, stop: int, at: int, wide: int
) -> StayingLine | None:
    """Ends of the line pass by pass; taken off `left` in place."""
    r = model.records
    inside = ((np.arange(frame.bins) - at) % frame.bins < wide)[frame.bin]
    base = _base(frame, left, at, wide)
    points = np.flatnonzero(inside)
    sweep, value = r.sweep[points], left[points] + base[frame.bin[points]]
    count = np.bincount(sweep, minlength=r.passes).astype(np.float64)
    total = np.bincount(sweep, value, r.passes).astype(np.float64)
    a, b = first * r.passes // _BLOCKS, -(-stop * r.passes // _BLOCKS)
    size = float(total[a:b].sum() / max(count[a:b].sum(), 1))
    a, b = _run(total, count, size)
    here = points[(sweep >= a) & (sweep < b)]
    seen = np.unique(r.sweep[here]).size
    if here.size < 3 or seen < _LEAST_PASSES:
        return None
    size = float(total[a:b].sum() / count[a:b].sum())
    finest = float(wide)
    if (sharp := _sharpened(model, frame, left + base[frame.bin], (at, wide), (a, b))) is not None:
        here, start, finest = sharp
        base = _base(frame, left, int(np.floor(start)), int(np.ceil(finest)) + 1)  # sides beside the line, not on it
        size = float(np.mean(left[here] + base[frame.bin[here]]))
    left[here] -= size
    mm = (r.right_mm - r.left_mm) / frame.bins * (model.die.share if frame.die and model.die else 1.0)
    low, high = float(r.across_mm[here].min()) - mm / 2, float(r.across_mm[here].max()) + mm / 2
    angle = (at + wide / 2) / frame.bins * 2 * np.pi % (2 * np.pi) if frame.die else None
    ends, web = (float(r.metre_m[here[0]]), float(r.metre_m[here[-1]])), (max(low, r.left_mm), min(high, r.right_mm))
    return StayingLine(*ends, *web, finest * mm, size, angle, seen, z)


def _sharpened(
    model: Model, frame: _Frame, value: Floats, place: tuple[int, int], passes: tuple[int, int]
) -> tuple[Ints, float, float] | None:
    """(points on the line, its first edge, width in bins), in eighths of a bin; None where readings lie too seldom.

    A line narrower than a bin is thinned by the readings beside it; where die or head wander, readings fall everywhere
    in the bin, and the best box (sum^2 / count) finds its edges.  A line seen at few places only stays as it is.
    """
    r, (at, wide) = model.records, place
    a, b = np.searchsorted(r.sweep, passes)
    near = a + np.flatnonzero((frame.bin[a:b] - at + wide) % frame.bins < 3 * wide)
    share = model.die.angle(r.time_s[near], r.place[near]) / (2 * np.pi) if frame.die and model.die else r.place[near]
    cell = ((share * frame.bins - at + wide) % frame.bins * _PARTS).astype(np.int64)
    count = np.bincount(cell, minlength=3 * wide * _PARTS)
    if np.count_nonzero(count) < 0.9 * count.size:
        return None
    sums, counts = (np.append(0, np.cumsum(np.bincount(cell, one, count.size))) for one in (value[near], None))
    i, j = np.triu_indices(sums.size, 2)
    total, many = sums[j] - sums[i], counts[j] - counts[i]
    best = int(np.argmax(total**2 / np.maximum(many, 1)))
    on = near[(cell >= i[best]) & (cell < j[best])]
    return on, (at - wide + float(i[best]) / _PARTS) % frame.bins, float(j[best] - i[best]) / _PARTS


def _base(frame: _Frame, left: Floats, at: int, wide: int) -> Floats:
    """What a bin's residual must be raised by, so that it counts from the line's sides: profile less neighbourhood."""
    count = np.bincount(frame.bin, minlength=frame.bins)
    mean = _means(np.bincount(frame.bin, left, frame.bins), count) + frame.profile
    inside = (np.arange(frame.bins) - at) % frame.bins < wide
    mean[inside] = np.nan
    half = max(3, 2 * wide)
    around = np.arange(at - half, at + wide + half)
    around = around % frame.bins if frame.round else around[(around >= 0) & (around < frame.bins)]
    known = around[~np.isnan(mean[around])]
    x = (known - at + frame.bins // 2) % frame.bins if frame.round else known - at + frame.bins // 2
    slope, level = np.polyfit(x, mean[known], 1)
    bins = np.arange(frame.bins)
    x_all = (bins - at + frame.bins // 2) % frame.bins if frame.round else bins - at + frame.bins // 2
    out: Floats = frame.profile - (level + slope * x_all)
    return out


def _run(total: NDArray[Any], count: NDArray[Any], size: float) -> tuple[int, int]:
    """Passes [a, b) in which the line is likelier there than not: largest sum of total x size - count x size^2 / 2."""
    gain = np.cumsum(np.append(0.0, total * size - count * size**2 / 2))
    low = np.minimum.accumulate(gain)
    b = int(np.argmax(gain - low))
    a = int(np.flatnonzero(gain[: b + 1] == low[b])[-1])
    return a, b
