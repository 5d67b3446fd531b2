"""What many runs of a plan told: each delivery's chances, what broke, and what the late ones hung on."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..jobs import Due
from .breaches import Breach

__all__ = ["Critical", "Delivery", "Outcome", "delivery", "wilson"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Delivery:
    """One due line.

    p_on_time, interval : share of runs on time and its 95 % interval (Wilson), of chance in the runs only
    ready : quantiles 0.1, 0.5, 0.9 of when it is ready, units;  late_h : mean lateness, on-time runs as 0, h
    """

    due: Due
    p_on_time: float
    interval: tuple[float, float]
    ready: tuple[float, float, float]
    late_h: float


@dataclass(frozen=True, slots=True)
class Critical:
    """An operation on what held up late deliveries.

    share : of late deliveries (each due in each run looked at) on whose longest chain it lies
    next : it can be taken up now: its batch's earlier stages are done and it is its machine's next
    """

    operation: int
    share: float
    next: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """What the runs gave.

    deliveries : as shop.dues;  all_on_time, all_interval : of runs in which every delivery is
    critical : most frequent first, none where nothing was late;  unknown : inputs that no source backs, by name
    looked : runs in which breaches and critical were looked at;  beyond : share of runs past the shop's horizon
    left_out : resources that the plan keeps to and the runs do not, by name: P(on time) is then too high
    """

    runs: int
    deliveries: tuple[Delivery, ...]
    all_on_time: float
    all_interval: tuple[float, float]
    breaches: tuple[Breach, ...]
    critical: tuple[Critical, ...]
    looked: int
    beyond: float
    unknown: tuple[str, ...]
    left_out: tuple[str, ...]

    @property
    def mean_on_time(self) -> float:
        """Mean over the deliveries of P(on time)."""
        return sum(one.p_on_time for one in self.deliveries) / len(self.deliveries)

    @property
    def start_now(self) -> tuple[Critical, ...]:
        """What can be taken up now, that on which most hangs first."""
        return tuple(one for one in self.critical if one.next)


def delivery(due: Due, hours: float, when: Floats, on_time: NDArray[np.bool_]) -> Delivery:
    """One line, from when it was ready and whether on time, both (runs,).  hours : in a unit."""
    hits = int(on_time.sum())
    low, middle, high = (float(q) for q in np.quantile(when, (0.1, 0.5, 0.9)))
    late = float(np.maximum(when - due.at, 0.0)[~on_time].sum()) / when.size * hours
    return Delivery(due, hits / when.size, wilson(hits, when.size), (low, middle, high), late)


def wilson(hits: int, of: int, z: float = 1.959963984540054) -> tuple[float, float]:
    """Interval of a share, 95 % unless z is given: Wilson's (1927, from memory), which is right near 0 and 1 too.

    >>> [round(x, 4) for x in wilson(0, 10)]
    [0.0, 0.2775]
    """
    share, extra = hits / of, z * z / of
    middle = (share + extra / 2) / (1 + extra)
    half = z / (1 + extra) * math.sqrt(share * (1 - share) / of + extra / (4 * of))
    return max(0.0, middle - half), min(1.0, middle + half)
