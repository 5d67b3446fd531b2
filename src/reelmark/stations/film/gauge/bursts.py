"""Short upsets of the whole web: a bubble's pressure that falls for two seconds makes one.

The head is somewhere on the web when it happens, so the burst shows on that piece of its path only; as it comes from
the bubble or the haul-off it is taken to reach across the web.  A place that is off in the next pass too is no burst.
What happens while the head turns is not seen at all.
"""

from dataclasses import dataclass, replace

import numpy as np

from reelmark.stations.film.gauge.model import Model
from reelmark.stations.film.gauge.records import Floats
from reelmark.stations.film.gauge.solve import Ints

__all__ = ["Burst", "find_bursts"]

_MOST = 20  # bursts told of one roll
_LONGEST = 0.35  # share of a pass: longer ones move the level of the pass itself


@dataclass(frozen=True, slots=True)
class Burst:
    """from_m, to_m : along;  from_mm, to_mm : where the head saw it;  size_um : of the film, mean over the burst

    turned : it reaches a turn of the head; from_m and to_m then reach to the next reading, for nobody saw it end
    seconds : it was seen;  z : over the noise of such windows;  local : it was there in a neighbouring pass as well
    """

    from_m: float
    to_m: float
    from_mm: float
    to_mm: float
    size_um: float
    seconds: float
    z: float
    local: bool
    turned: bool


def find_bursts(model: Model, residual: Floats, alarm: float) -> list[Burst]:
    """Bursts of the residuals, shape (N,), largest first.

    alarm : chance of one false burst in the roll.  Lengths looked for: 2 bins to a third of a pass, a bin being a
    quarter of a second or one point; noise of each length by median absolute deviation, so correlation counts.
    """
    from scipy.special import ndtri

    first, total, count = _bins(model, residual)
    sweep = model.records.sweep[first]
    mean, sd = _windows(total, count, model.records.passes)
    limit = -float(ndtri(alarm / (2 * max(sum(one.size for one in mean.values()), 1))))
    out: list[Burst] = []
    for _ in range(_MOST):
        if not mean:
            break
        z, best, wide = max((float(np.max(np.abs(mean[w]))) / sd[w], int(np.argmax(np.abs(mean[w]))), w) for w in mean)
        if z < limit:
            break
        a, b = _edges(total, count, best, best + wide)
        here = slice(int(first[a]), int(first[b - 1] + count[b - 1]))
        if _lasts(residual[here], sd[wide]) and not _on_die(model, here, float(residual[here].mean())):
            out.append(_burst(model, residual, here, float(np.copysign(z, mean[wide][best]))))
        _taken(total, count, sweep, a, b)
        mean, _ = _windows(total, count, model.records.passes)
    return _merged(out, model.records.pass_s * model.records.speed_m_s)


def _merged(bursts: list[Burst], pass_m: float) -> list[Burst]:
    """Pieces of one burst as one: cut by a turn of the head, or the shadow it throws on the level of its own pass."""
    out: list[Burst] = []
    for one in sorted(bursts, key=lambda burst: -abs(burst.z)):
        near = [i for i, b in enumerate(out) if max(one.from_m - b.to_m, b.from_m - one.to_m) < 0.3 * pass_m]
        if not near:
            out.append(one)
        elif one.size_um * out[near[0]].size_um > 0:
            out[near[0]] = _joined(out[near[0]], one)
    return out


def _joined(a: Burst, b: Burst) -> Burst:
    """a, reaching over b as well."""
    return replace(
        a,
        from_m=min(a.from_m, b.from_m),
        to_m=max(a.to_m, b.to_m),
        from_mm=min(a.from_mm, b.from_mm),
        to_mm=max(a.to_mm, b.to_mm),
        turned=False,
        seconds=a.seconds * (max(a.to_m, b.to_m) - min(a.from_m, b.from_m)) / max(a.to_m - a.from_m, 1e-9),
    )


def _taken(total: Floats, count: Floats, sweep: Ints, a: int, b: int) -> None:
    """Take the burst off, in place, and give the rest of its pass back what the level took because of it."""
    mine = np.flatnonzero(sweep == sweep[a])
    size = total[a:b].sum() / count[a:b].sum()
    share = count[a:b].sum() / count[mine].sum()
    total[mine] += count[mine] * size * share / max(1 - share, 0.5)
    total[a:b] = 0.0


def _bins(model: Model, residual: Floats) -> tuple[Ints, Floats, Floats]:
    """(first point, sum, count) of bins of time; no bin reaches over the end of a pass."""
    r = model.records
    dense = float(np.median(np.diff(r.time_s)))
    step = max(0.25, dense * 1.0001) if dense < 0.25 else 0.0
    if step:
        start = r.time_s[np.searchsorted(r.sweep, np.arange(r.passes))]
        index = ((r.time_s - start[r.sweep]) / step).astype(np.int64)
        new = np.flatnonzero((np.diff(index, prepend=-1) != 0) | (np.diff(r.sweep, prepend=-1) != 0))
    else:
        new = np.arange(r.time_s.size)
    total: Floats = np.add.reduceat(residual, new)
    return new.astype(np.int64), total, np.diff(np.append(new, residual.size)).astype(np.float64)


def _windows(total: Floats, count: Floats, passes: int) -> tuple[dict[int, Floats], dict[int, float]]:
    """Mean of every window by its length in bins, and the sd of such means."""
    many = total.size / passes
    sums, counts = np.append(0, np.cumsum(total)), np.append(0, np.cumsum(count))
    mean: dict[int, Floats] = {}
    sd: dict[int, float] = {}
    wide = 2
    while wide <= max(2, _LONGEST * many) and wide < total.size:
        mean[wide] = (sums[wide:] - sums[:-wide]) / (counts[wide:] - counts[:-wide])
        some = mean[wide][:: max(1, mean[wide].size // 20_000)]
        sd[wide] = max(1.4826 * float(np.median(np.abs(some))), 1e-9)
        wide = wide + 1 if wide < 4 else int(wide * 1.5)
    return mean, sd


def _edges(total: Floats, count: Floats, a: int, b: int) -> tuple[int, int]:
    """Begin and end with the most likely step: sum^2 / count over ends within one window's length."""
    low, high = max(0, a - (b - a)), min(total.size, b + (b - a))
    sums, counts = np.append(0, np.cumsum(total[low:high])), np.append(0, np.cumsum(count[low:high]))
    i, j = np.triu_indices(sums.size, 1)
    gain = (sums[j] - sums[i]) ** 2 / (counts[j] - counts[i])
    best = int(np.argmax(gain))
    return low + int(i[best]), low + int(j[best])


def _lasts(values: Floats, sd: float) -> bool:
    """Three points at least, and still off without the one furthest out: one wild reading is no burst."""
    if values.size < 3:
        return False
    rest = np.delete(values, int(np.argmax(np.abs(values))))
    return bool(abs(rest.mean()) > 2 * sd and abs(np.median(values)) > 0.5 * abs(values.mean()))


def _burst(model: Model, residual: Floats, here: slice, z: float) -> Burst:
    r = model.records
    step = float(np.median(np.diff(r.time_s[here]))) if here.stop - here.start > 1 else 0.0
    seconds = float(r.time_s[here.stop - 1] - r.time_s[here.start]) + step
    places = r.across_mm[here]
    first, last = _ends(model, here, 0.5 * step * r.speed_m_s)
    size = float(residual[here].mean())
    share = (here.stop - here.start) / np.count_nonzero(r.sweep == r.sweep[here.start])
    local = _local(model, here, size, seconds)
    return Burst(
        first[0],
        last[0],
        float(places.min()),
        float(places.max()),
        float(size / (1 - min(share, 0.5))),  # the level of the pass took its share of it
        seconds,
        z,
        local,
        first[1] or last[1],
    )


def _ends(model: Model, here: slice, half: float) -> tuple[tuple[float, bool], tuple[float, bool]]:
    """(metre, is it at a turn) of begin and end; at a turn the metre is that of the next reading beyond it."""
    r = model.records
    a, b = here.start, here.stop
    begins = a > 0 and r.sweep[a - 1] != r.sweep[a]
    ends = b < r.sweep.size and r.sweep[b - 1] != r.sweep[b]
    first = float(r.metre_m[a - 1]) if begins else float(r.metre_m[a]) - half
    last = float(r.metre_m[b]) if ends else float(r.metre_m[b - 1]) + half
    return (first, bool(begins)), (last, bool(ends))


def _on_die(model: Model, here: slice, size: float) -> bool:
    """Is the same angle of the die off in the passes before and behind?  Then it belongs to a line, not to a moment."""
    r, die = model.records, model.die
    if die is None:
        return False
    turn = die.angle(r.time_s[here], r.place[here])
    middle = float(np.angle(np.mean(np.exp(1j * turn))))
    reach = float(np.max(np.abs((turn - middle + np.pi) % (2 * np.pi) - np.pi)))
    for sweep in (r.sweep[here.start] - 1, r.sweep[here.start] + 1):
        a, b = np.searchsorted(r.sweep, [sweep, sweep + 1])
        near = slice(int(a), int(b))
        away = (die.angle(r.time_s[near], r.place[near]) - middle + np.pi) % (2 * np.pi) - np.pi
        same = np.abs(away) <= reach
        if np.count_nonzero(same) < 2 or model.residual_um[near][same].mean() / size < 0.5:
            return False
    return True


def _local(model: Model, here: slice, size: float, seconds: float) -> bool:
    """Is the same place off in the pass before or behind, longer away in time than the burst lasts?"""
    r = model.records
    low, high = float(r.across_mm[here].min()), float(r.across_mm[here].max())
    middle = float(r.time_s[here].mean())
    for sweep in (r.sweep[here.start] - 1, r.sweep[here.start] + 1):
        a, b = np.searchsorted(r.sweep, [sweep, sweep + 1])
        near = slice(int(a), int(b))
        same = (r.across_mm[near] >= low) & (r.across_mm[near] <= high)
        same &= abs(r.time_s[near] - middle) > max(2 * seconds, 2.0)
        if np.count_nonzero(same) >= 3 and model.residual_um[near][same].mean() / size > 0.5:
            return True
    return False
