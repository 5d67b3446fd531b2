r"""Where one pass of the head ends and the next begins.

high zone  ----/\-----/\----     a pass runs from the outermost point of one visit to an edge zone to that of
              /  \   /  \        the next visit to the other; a gap in the clock ends a pass too
low zone   --/----\-/----\--
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray

__all__ = ["FEWEST", "Ints", "short", "split", "usual", "visits"]

Ints = NDArray[np.int64]
_Floats = NDArray[np.float64]

# Passes below which a kind of mark is not looked for: so many that 200 rolls without faults bear no more marks of it
# than one a week (our own study by simulation; a wander of ten minutes passes for a drift in less than 40 minutes).
FEWEST: Final = {"lines and drops": 8, "waves": 16, "drifts": 100}

_EDGE = 0.15  # share of the sweep that counts as an edge zone
_FEW = 0.1  # a pass with fewer points than this share of the middle one is part of its neighbour


def short(passes: int) -> list[str]:
    """What so few passes do not tell, in words."""
    left = [f"{kind} (from {least} passes on)" for kind, least in FEWEST.items() if passes < least]
    return [f"{passes} passes of the head: not looked for: {', '.join(left)}"] if left else []


def visits(across_mm: _Floats) -> int:
    """How often the head comes to the other side, about the number of passes (twice it where the head flies back)."""
    low, high = float(np.min(across_mm)), float(np.max(across_mm))
    third = (high - low) / 3
    zone = (across_mm > high - third).astype(np.int8) - (across_mm < low + third)
    return int(np.count_nonzero(np.diff(zone[zone != 0])))


def split(time_s: _Floats, across_mm: _Floats, cuts: Ints | None = None) -> tuple[Ints, NDArray[np.bool_], Ints]:
    """(number of the pass by point, forward by pass, points before a gap).

    time_s, across_mm : shape (N,), time not falling;  cuts : points behind which a pass ends too
    A head that flies back unread gives forward passes only.
    """
    gaps = _gaps(time_s, visits(across_mm))
    ends = gaps if cuts is None else np.union1d(gaps, cuts)
    jumps = np.flatnonzero(abs(np.diff(across_mm)) > 0.5 * np.ptp(across_mm)) + 1
    cuts = _whole(np.unique(np.concatenate([[0], ends + 1, jumps, _turns(across_mm)])), across_mm.size, ends + 1)
    number = np.zeros(across_mm.size, np.int64)
    number[cuts[1:]] = 1
    long = np.diff(np.append(cuts, across_mm.size))
    slope = across_mm[cuts + 3 * long // 4] - across_mm[cuts + long // 4]
    return np.cumsum(number), slope > 0, gaps


def _whole(cuts: Ints, points: int, firm: Ints) -> Ints:
    """Cuts without crumbs: a few points belong to the pass before, or behind a gap and at the start to that behind.

    firm : cuts over which no level holds;  between two of them a crumb stays a pass
    """
    sizes = np.diff(np.append(cuts, points))
    small = sizes < _FEW * np.median(sizes[sizes > 2] if (sizes > 2).any() else sizes)
    fixed = np.isin(cuts, firm) | (cuts == 0)
    gone = small & ~fixed
    behind = np.flatnonzero(small & fixed) + 1
    behind = behind[behind < cuts.size]
    gone[behind[~fixed[behind]]] = True
    return np.asarray(cuts[~gone], np.int64)


def usual(values: _Floats) -> float:
    """The middle value, of 50,000 at most; the stride is odd, so that it meets every phase of a regular head."""
    return float(np.median(values[:: max(1, values.size // 50_000) | 1]))


def _gaps(time_s: _Floats, turns: int) -> Ints:
    """Points after which the clock leaps: well above the turn of the head, the pause that comes once a pass."""
    step = np.diff(time_s)
    dense = usual(step)
    pauses = np.sort(step[step > 3 * dense])[-max(turns, 3) :]
    pause = float(np.median(pauses)) if 2 * pauses.size > max(turns, 3) else dense
    return np.flatnonzero(step > max(3 * pause, 10 * dense))


def _turns(across_mm: _Floats) -> Ints:
    """First points of new passes: just behind the middle of the outermost points of each visit to an edge zone.

    The head may rest there.  Where it flew in from the other side, the pass begins as it lands.
    """
    low, high = np.min(across_mm), np.max(across_mm)
    edge = _EDGE * (high - low)
    zone = (across_mm > high - edge).astype(np.int8) - (across_mm < low + edge)
    seen = np.flatnonzero(zone)
    zone = zone[seen]
    begins = np.flatnonzero(np.diff(zone, prepend=0) != 0)
    lasts = np.append(begins[1:], seen.size) - 1
    side = across_mm[seen] * zone
    most = np.repeat(np.maximum.reduceat(side, begins), lasts - begins + 1)
    top = np.flatnonzero(side >= most - 1e-9)
    at = np.searchsorted(top, np.append(begins, seen.size))
    many = np.diff(at)
    middle = top[at[:-1] + many // 2]
    behind = seen[middle] + ((many == 1) & (middle < lasts))
    first = seen[begins]
    flown = np.abs(across_mm[first] - across_mm[first - 1]) > 0.5 * (high - low)
    return np.where(flown & (first > 0), first, behind)
