"""What would help: an extra shift on a machine in a week, or a batch's first stages lying ready in stock.

Each is carried out with the same draws as the plan itself (common random numbers), so that the gain is told from
differences run by run.  The sequences stay; so do the plan's own holds, which makes gains rather too small.
An extra shift needs people: hours and rest are law, and a tired crew gets hurt.  Settle that before offering it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from ..jobs import JobShop, Machine, Schedule, Spell
from .carried import carry_out
from .clock import WEEK_H, Clock, calendar_size, clocks
from .draws import USUAL, Drawn, Spread
from .network import AT_THE_START, Network, Progress, network
from .ready import ready
from .risk import HAIR, Outcome, blocks, simulate

__all__ = ["Lever", "levers"]

Floats = NDArray[np.float64]
Z = 1.959963984540054


@dataclass(frozen=True, slots=True)
class Lever:
    """One thing that could be done.

    text : in words;  gain : of the mean over the deliveries of P(on time);  interval : 95 % of it, from paired runs
    hours : of overtime, 0 for stock;  opened : (machine, spell), None for stock;  stock : operations that it saves
    caution : what must be settled first
    """

    text: str
    gain: float
    interval: tuple[float, float]
    hours: float
    opened: tuple[int, Spell] | None = None
    stock: tuple[int, ...] = ()
    caution: str = ""

    @property
    def per_hour(self) -> float:
        """Gain an hour of overtime; nan for stock."""
        return self.gain / self.hours if self.hours else float("nan")


def levers(
    shop: JobShop,
    schedule: Schedule,
    spread: Spread = USUAL,
    runs: int = 2_000,
    seed: int = 1,
    progress: Progress = AT_THE_START,
    shift_h: float = 8.0,
    most: int = 12,
) -> tuple[Lever, ...]:
    """The levers tried, the best first; of extra shifts the `most` on which late deliveries hang most.

    Errors as `simulate`.
    """
    outcome = simulate(shop, schedule, spread, runs, seed, progress)
    shifts = islice(_shifts(shop, schedule, outcome, progress, shift_h), most)
    tried = [*shifts, *_stocks(shop, schedule, progress)]
    base = clocks(shop)
    net = network(shop, schedule, base, progress)
    gains = [np.empty(0)] * len(tried)
    ways = [_way(shop, schedule, net, base, lever) for lever in tried]
    for _, drawn in blocks(shop, net, spread, runs, seed):
        was = _on_time(shop, schedule, net, base, drawn, spread)
        for k, (other, its) in enumerate(ways):
            gain = _on_time(shop, schedule, other, its, drawn, spread) - was
            gains[k] = np.concatenate([gains[k], gain])
    found = [_judged(lever, gain) for lever, gain in zip(tried, gains, strict=True)]
    return tuple(sorted(found, key=lambda one: -one.gain))


def _on_time(
    shop: JobShop, schedule: Schedule, net: Network, its: Sequence[Clock], drawn: Drawn, spread: Spread
) -> Floats:
    """Share of the deliveries that are on time, of each run."""
    when, _ = ready(shop, schedule, its, carry_out(net, its, drawn.work), drawn, spread)
    ats = np.array([due.at for due in shop.dues], np.float64)
    share: Floats = (when <= ats[:, None] + HAIR).mean(axis=0)
    return share


def _judged(lever: Lever, gain: Floats) -> Lever:
    mean = float(gain.mean())
    half = Z * float(gain.std(ddof=1)) / gain.size**0.5 if gain.size > 1 else float("inf")
    return replace(lever, gain=mean, interval=(mean - half, mean + half))


def _way(
    shop: JobShop, schedule: Schedule, net: Network, base: Sequence[Clock], lever: Lever
) -> tuple[Network, Sequence[Clock]]:
    """The network and clocks with the lever pulled."""
    if lever.opened:
        return net, clocks(_opened(shop, *lever.opened))
    holds = np.zeros(net.plan.size)
    for step in net.steps:
        holds[step.number] = step.floor
    progress = replace(net.progress, stock=net.progress.stock | set(lever.stock))
    return network(shop, schedule, base, progress, holds), base


def _opened(shop: JobShop, number: int, spell: Spell) -> JobShop:
    machine = shop.machines[number]
    cut = [part for a, b in machine.closed for part in ((a, min(b, spell[0])), (max(a, spell[1]), b))]
    closed = tuple((a, b) for a, b in cut if a < b)
    machines = tuple(replace(m, closed=closed) if i == number else m for i, m in enumerate(shop.machines))
    return replace(shop, machines=machines, horizon=calendar_size(shop))  # the calendar keeps its length


def _shifts(shop: JobShop, schedule: Schedule, outcome: Outcome, progress: Progress, shift_h: float) -> Iterator[Lever]:
    """Extra shifts, those on whose machine and planned week late deliveries hang most first."""
    week, units = round(WEEK_H / shop.hours), max(1, round(shift_h / shop.hours))
    weight: dict[tuple[int, int], float] = {}
    for one in outcome.critical:
        key = schedule.machine[one.operation], schedule.start[one.operation] // week
        weight[key] = weight.get(key, 0.0) + one.share
    for m, k in sorted(weight, key=lambda key: (-weight[key], key)):
        spell = _closed_spell(shop.machines[m], max(k * week, progress.now), (k + 1) * week, units) if m >= 0 else None
        if spell and spell[1] <= calendar_size(shop) - week:  # the last week is what the calendar goes on with
            hours = (spell[1] - spell[0]) * shop.hours
            text = f"{shop.machines[m].name}: {hours:g} h more in week {k + 1} of the plan"
            yield Lever(text, 0.0, (0.0, 0.0), hours, (m, spell), caution="the crew's hours and rest come first")


def _closed_spell(machine: Machine, begin: int, end: int, units: int) -> Spell | None:
    """The first closed time in [begin, end) that takes the whole shift, clear of maintenance; else the longest."""
    spells = [(max(a, begin), min(b, end)) for a, b in sorted(machine.closed)]
    clear = [(a, b) for a, b in spells if a < b and all(b <= c or d <= a for c, d in machine.maintenance)]
    long = [one for one in clear if one[1] - one[0] >= units] or sorted(clear, key=lambda one: one[0] - one[1])
    return (long[0][0], min(long[0][1], long[0][0] + units)) if long else None


def _stocks(shop: JobShop, schedule: Schedule, progress: Progress) -> Iterator[Lever]:
    """For each job its next batch with the first stage done, and with all up to the first store."""
    gone = progress.done | progress.begun | progress.stock
    for j, job in enumerate(shop.jobs):
        todo = [b for b in range(job.batches) if shop.number(j, b, 0) not in gone]
        store = next((s for s, stage in enumerate(job.stages) if stage.stored), 0)
        if not todo or any(stage.after is not None for stage in job.stages):
            continue
        batch = min(todo, key=lambda b: schedule.start[shop.number(j, b, 0)])
        for depth in sorted({0, store} - {len(job.stages) - 1}):
            text = f"{job.name}: a batch through {job.stages[depth].name} in stock"
            yield Lever(text, 0.0, (0.0, 0.0), 0.0, stock=tuple(shop.number(j, batch, s) for s in range(depth + 1)))
