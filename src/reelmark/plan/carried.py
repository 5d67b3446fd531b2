"""A plan carried out many times at once: vectors over the runs, operation by operation in an order of the network.

start = next open moment of max(floor, ends of earlier stages + least wait, machine free + set-up)
end = inverse W( W(start) + work )
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .clock import Clock
from .network import Network, Step

__all__ = ["Times", "carry_out"]

Floats = NDArray[np.float64]
Which = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Times:
    """start, end : (operations, runs) units
    bound : (operations, runs) the operation whose end held each up, -1 where none did; None where not asked for"""

    start: Floats
    end: Floats
    bound: Which | None


def carry_out(net: Network, clocks: Sequence[Clock], work: Floats, trace: bool = False) -> Times:
    """Times of every operation in every run.  work : (operations, runs) units of open time, as drawn.

    An operation begins as soon as it can, knowing whether its work fits before the next maintenance.
    """
    start, end = np.zeros_like(work), np.zeros_like(work)
    bound = np.full(work.shape, -1, np.int32) if trace else None
    for i, (began, ended) in net.fixed.items():
        start[i], end[i] = began, ended
    for step in net.steps:
        i, clock = step.number, clocks[step.clock]
        if step.begun is not None:
            start[i] = step.begun
            end[i] = np.maximum(clock.place(start[i], work[i])[1], net.progress.now)
            continue
        time = _ready(net, step, clock, end, None if bound is None else bound[i])
        start[i], end[i] = clock.place(time, work[i])
    return Times(start, end, bound)


def _ready(net: Network, step: Step, clock: Clock, end: Floats, bound: Which | None) -> Floats:
    """When it may begin, in each run; writes what held it up."""
    terms = [(p, end[p] + wait if wait else end[p]) for p, wait in step.before]
    if step.last >= 0 or step.setup:
        free = end[step.last] if step.last >= 0 else np.full(end.shape[1], float(net.progress.now))
        terms.append((step.last, _set_up(net, clock, free, step.setup)))
    if not terms:
        return np.full(end.shape[1], step.floor)
    time: Floats = np.maximum(terms[0][1], step.floor)
    for _, term in terms[1:]:
        np.maximum(time, term, out=time)
    if bound is not None:
        for p, term in reversed(terms):
            bound[term == time] = p
    return time


def _set_up(net: Network, clock: Clock, free: Floats, units: float) -> Floats:
    if not units:
        return free
    if net.setups_open:
        return clock.place(free, np.full(free.size, units))[1]
    later: Floats = free + units
    return later
