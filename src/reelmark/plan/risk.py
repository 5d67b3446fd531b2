"""The risk in a plan: carried out many times with what varies, is each delivery on time, and what does it hang on?

    simulate(shop, schedule)  ->  Outcome       machines and their sequences stay as planned
    levers(shop, schedule)    ->  (in `levers`) where overtime or stock helps most

A plan without lateness is no promise: the search has eaten the slack.  Not in it: people and other resources, late
material from outside, and anyone who changes the sequence when something breaks; so it is no forecast of a works that
re-plans daily.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..errors import BadValue
from ..jobs import JobShop, Schedule
from .breaches import Broken, breaches, broken
from .carried import Times, carry_out
from .clock import clocks
from .draws import BLOCK, USUAL, Drawn, Spread, draw
from .network import AT_THE_START, Network, Progress, network, sequence
from .outcome import Critical, Delivery, Outcome, delivery, wilson
from .ready import ready

__all__ = ["Critical", "Delivery", "Outcome", "blocks", "simulate", "wilson"]

Floats = NDArray[np.float64]
HAIR = 1e-6  # units: an end that equals the due date but for rounding is on time
LOOK = 2_000  # runs in which breaches and what held up are looked at


def simulate(
    shop: JobShop,
    schedule: Schedule,
    spread: Spread = USUAL,
    runs: int = 10_000,
    seed: int = 1,
    progress: Progress = AT_THE_START,
) -> Outcome:
    """The plan carried out `runs` times.  The same seed gives the same answer.

    Raises BadValue for a shop without due lines, fewer than one run, or a schedule of another shop; Clash for one in a
    circle.  Memory grows with a block of runs, not with all.
    """
    _check(shop, runs)
    its = clocks(shop)
    net = network(shop, schedule, its, progress)
    whens, seen, beyond = list[Floats](), list[_Seen](), 0
    for first, drawn in blocks(shop, net, spread, runs, seed):
        look = min(LOOK - first, drawn.work.shape[1])
        times = carry_out(net, its, drawn.work, trace=look > 0)
        when, which = ready(shop, schedule, its, times, drawn, spread)
        whens.append(when)
        beyond += int((times.end.max(axis=0) > shop.horizon).sum()) if shop.horizon else 0
        if look > 0:
            seen.append(_look(shop, net, times, which, _late(shop, when), look))
    return _outcome(shop, schedule, net, np.concatenate(whens, axis=1), seen, beyond, spread)


def _check(shop: JobShop, runs: int) -> None:
    if not shop.dues:
        raise BadValue("dues", 0, "there is no delivery to be on time", "give the shop its due lines")
    if runs < 1:
        raise BadValue("runs", runs, "nothing is carried out", "give 1 or more; 10000 tell a share to 1 in 100")


def _late(shop: JobShop, when: Floats) -> NDArray[np.bool_]:
    late: NDArray[np.bool_] = when > np.array([due.at for due in shop.dues], np.float64)[:, None] + HAIR
    return late


@dataclass(frozen=True, slots=True)
class _Seen:
    """What was looked at in some runs.  counts : how often each operation held up one of so many late deliveries."""

    runs: int
    broken: Broken
    counts: NDArray[np.int64]
    lates: int


def _look(
    shop: JobShop, net: Network, times: Times, which: NDArray[np.int64], late: NDArray[np.bool_], look: int
) -> _Seen:
    bound = None if times.bound is None else times.bound[:, :look]
    few = Times(times.start[:, :look], times.end[:, :look], bound)
    late = late[:, :look]
    return _Seen(look, broken(shop, net, few), _chains(few, which[:, :look], late), int(late.sum()))


def _outcome(
    shop: JobShop,
    schedule: Schedule,
    net: Network,
    when: Floats,
    seen: Sequence[_Seen],
    beyond: int,
    spread: Spread,
) -> Outcome:
    on_time = ~_late(shop, when)
    every, runs = int(on_time.all(axis=0).sum()), when.shape[1]
    counts = np.sum([one.counts for one in seen], axis=0)
    return Outcome(
        runs,
        tuple(delivery(due, shop.hours, *rows) for due, *rows in zip(shop.dues, when, on_time, strict=True)),
        every / runs,
        wilson(every, runs),
        breaches(shop, [one.broken for one in seen]),
        _critical(net, schedule, counts, sum(one.lates for one in seen)),
        sum(one.runs for one in seen),
        beyond / runs,
        tuple(name for name, known in spread.items() if not known.read),
        tuple(one.name for one in shop.resources),
    )


def blocks(shop: JobShop, net: Network, spread: Spread, runs: int, seed: int) -> Iterator[tuple[int, Drawn]]:
    """(number of the first run, draws) block by block, each from its own stream of the seed."""
    batches = sum(job.batches for job in shop.jobs)
    for k, first in enumerate(range(0, runs, BLOCK)):
        rng = np.random.default_rng([seed, k])
        yield first, draw(net.plan, shop.hours, batches, spread, rng, min(BLOCK, runs - first))


def _chains(times: Times, which: NDArray[np.int64], late: NDArray[np.bool_]) -> NDArray[np.int64]:
    """How often each operation lies on the chain of binding terms behind a late delivery."""
    assert times.bound is not None
    counts = np.zeros(len(times.end), np.int64)
    run = np.nonzero(late)[1]
    at = which[late]
    while at.size:
        counts += np.bincount(at, minlength=counts.size)
        at = times.bound[at, run].astype(np.int64)
        run, at = run[at >= 0], at[at >= 0]
    return counts


def _critical(net: Network, schedule: Schedule, counts: NDArray[np.int64], lates: int) -> tuple[Critical, ...]:
    todo = {step.number: step for step in net.steps if step.begun is None}
    over = net.fixed.keys() | net.progress.begun
    heads = {
        next((i for i in one if i not in over), -1) if m >= 0 else -1
        for m, one in sequence(schedule, net.progress).items()
    }
    heads |= {i for i, step in todo.items() if step.clock < 0}
    ranked = sorted((i for i in todo if counts[i]), key=lambda i: (-counts[i], i))
    return tuple(
        Critical(
            i,
            int(counts[i]) / lates,
            i in heads and all(p in net.fixed for p, _ in todo[i].before),
        )
        for i in ranked
    )
