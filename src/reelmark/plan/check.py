"""Is a schedule one that the works can do, and what does it cost?  Plain counting, apart from everything that plans.

    checked = check(shop, schedule)
    checked.violations              () when it can be done
    checked.cost                    late * late_h + setup * setup_h + span * span_h, at the shop's prices

Nothing of a planner is used here, so that a mistake there cannot hide itself.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

from ..jobs import ANYWHERE, JobShop, Machine, Schedule, Spell, Stage
from .check_time import Held, beyond, ends, open_parts, overlap, ready

__all__ = ["KINDS", "Checked", "Violation", "check"]

KINDS = (
    "operation",  # not as many entries as the shop has operations
    "machine",  # the stage cannot be done there
    "release",
    "horizon",
    "closed",  # begins while the machine is closed
    "end",  # not when the open time since the start has reached the duration
    "maintenance",
    "overlap",  # two operations at once on one machine
    "set-up",  # the next begins before the machine is set up for it
    "wait short",
    "wait long",
    "store",
    "resource",
)


@dataclass(frozen=True, slots=True)
class Violation:
    """One thing that cannot be.

    kind : one of KINDS;  text : in words, times in hours from the beginning;  operations : their numbers
    size : hours beyond what may be; store: batch-hours without a place; resource: amount-hours beyond the level;
    machine, operation: how many
    """

    kind: str
    text: str
    operations: tuple[int, ...]
    size: float


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found.  late_h : hours late of the due lines, each times its weight;  span_h : hours to the last end."""

    cost: float
    late_h: float
    setup_h: float
    span_h: float
    violations: tuple[Violation, ...]


Placed = list[tuple[int, int, int]]  # (start, end, number) of the operations on one machine, in their order


def check(shop: JobShop, schedule: Schedule) -> Checked:
    """Everything wrong with the schedule, and its cost.

    A schedule with another number of operations than the shop's costs infinity: there is nothing to count.
    """
    wrong = len(shop.operations) - min(map(len, (schedule.machine, schedule.start, schedule.end)))
    extra = max(map(len, (schedule.machine, schedule.start, schedule.end))) - len(shop.operations)
    if wrong or extra:
        text = f"the shop has {len(shop.operations)} operations, the schedule has not as many"
        lost = Violation("operation", text, (), max(wrong, extra))
        return Checked(float("inf"), 0.0, 0.0, 0.0, (lost,))
    look = _Look(shop, schedule)
    found = tuple(one for part in look.parts for one in part())
    late, setup, span = look.late(), look.setup(), max(schedule.end, default=0) * shop.hours
    prices = shop.prices
    return Checked(prices.late * late + prices.setup * setup + prices.span * span, late, setup, span, found)


class _Look:
    """The shop and the schedule, and each thing that is looked at."""

    def __init__(self, shop: JobShop, schedule: Schedule) -> None:
        self.shop, self.at = shop, schedule
        self.parts: tuple[Callable[[], Iterator[Violation]], ...] = (
            self._each,
            self._sequence,
            self._waits,
            self._store,
            self._resources,
        )
        self.placed: list[Placed] = [[] for _ in shop.machines]
        for i, m in enumerate(schedule.machine):
            if 0 <= m < len(shop.machines):
                self.placed[m].append((schedule.start[i], schedule.end[i], i))
        for one in self.placed:
            one.sort()

    def _name(self, number: int) -> str:
        job, batch, stage = self.shop.operations[number]
        return f"{self.shop.jobs[job].name}, batch {batch + 1}, {self.shop.jobs[job].stages[stage].name}"

    def _h(self, units: float) -> str:
        return f"{units * self.shop.hours:g} h"

    def _say(self, kind: str, text: str, operations: tuple[int, ...], units: float) -> Violation:
        return Violation(kind, text, operations, units * self.shop.hours)

    def _each(self) -> Iterator[Violation]:
        """Each operation by itself."""
        for i, operation in enumerate(self.shop.operations):
            start, end, stage = self.at.start[i], self.at.end[i], self.shop.stage(i)
            name = self._name(i)
            release, horizon = self.shop.jobs[operation.job].release, self.shop.horizon
            if start < release:
                text = f"{name} begins at {self._h(start)}, released at {self._h(release)}"
                yield self._say("release", text, (i,), release - start)
            if horizon and end > horizon:
                text = f"{name} ends at {self._h(end)}, the plan ends at {self._h(horizon)}"
                yield self._say("horizon", text, (i,), end - horizon)
            yield from self._on_machine(i, start, end, stage, name)

    def _on_machine(self, i: int, start: int, end: int, stage: Stage, name: str) -> Iterator[Violation]:
        """One operation against the calendar of its machine."""
        units = {m: d for m, d in stage.on}.get(self.at.machine[i])
        if units is None:
            yield Violation("machine", f"{name} cannot be done on machine {self.at.machine[i]}", (i,), 1)
            return
        m = self.at.machine[i]
        machine = Machine("no machine") if m == ANYWHERE else self.shop.machines[m]
        for a, b in machine.closed if units else ():
            if a <= start < b:
                text = f"{name} begins at {self._h(start)}; {machine.name} is closed until {self._h(b)}"
                yield self._say("closed", text, (i,), b - start)
        should = ends(machine.closed, start, units)
        if end != should:
            text = f"{name} ends at {self._h(end)}; {self._h(units)} of open time on {machine.name} end "
            yield self._say("end", text + f"at {self._h(should)}", (i,), abs(end - should))
        for spell in machine.maintenance:
            over = overlap(spell, (start, end))
            if over:
                text = f"{name} reaches over maintenance of {machine.name} at {self._h(spell[0])}"
                yield self._say("maintenance", text, (i,), over)

    def _sequence(self) -> Iterator[Violation]:
        """Neighbours on a machine."""
        for m, placed in enumerate(self.placed):
            machine = self.shop.machines[m]
            if placed and machine.family is not None:
                yield from self._after(m, 0, machine.family, placed[0], ())
            busy, last = placed[0][1:] if placed else (0, -1)
            for before, after in pairwise(placed):
                if after[0] < busy:
                    text = f"{self._name(after[2])} begins at {self._h(after[0])}; {machine.name} has "
                    text += f"{self._name(last)} until {self._h(busy)}"
                    yield self._say("overlap", text, (last, after[2]), min(busy, after[1]) - after[0])
                else:
                    family = self.shop.stage(before[2]).family
                    yield from self._after(m, before[1], family, after, (before[2],))
                if after[1] >= busy:
                    busy, last = after[1:]

    def _after(
        self, m: int, free: int, family: int, after: tuple[int, int, int], before: tuple[int, ...]
    ) -> Iterator[Violation]:
        units = self._units(family, after[2])
        machine = self.shop.machines[m]
        set_up = ready(machine, free, units) if self.shop.setups_open and units else free + units
        if units and after[0] < set_up:
            text = f"{self._name(after[2])} begins at {self._h(after[0])}; {machine.name}, free at {self._h(free)}, "
            text += f"is set up for it at {self._h(set_up)}"
            yield self._say("set-up", text, (*before, after[2]), set_up - after[0])

    def _units(self, family: int, number: int) -> int:
        wanted = self.shop.stage(number).family
        return 0 if family == wanted else self.shop.setups.get((family, wanted), 0)

    def _waits(self) -> Iterator[Violation]:
        for i, before in _pairs(self.shop):
            stage, wait = self.shop.stage(before), self.at.start[i] - self.at.end[before]
            text = f"{self._name(i)} begins {self._h(wait)} after {stage.name} ends; "
            if wait < stage.least_wait:
                text += f"it waits {self._h(stage.least_wait)} at least"
                yield self._say("wait short", text, (before, i), stage.least_wait - wait)
            if stage.most_wait is not None and wait > stage.most_wait:
                text += f"it waits {self._h(stage.most_wait)} at most"
                yield self._say("wait long", text, (before, i), wait - stage.most_wait)

    def _store(self) -> Iterator[Violation]:
        """A batch lies from the end of a stored stage until the first of the stages after it begins."""
        if self.shop.store is None:
            return
        leaves: dict[int, int] = {}
        for i, before in _pairs(self.shop):
            if self.shop.stage(before).stored:
                leaves[before] = min(leaves.get(before, self.at.start[i]), self.at.start[i])
        held = [(self.at.end[i], out, 1, i) for i, out in leaves.items()]
        yield from self._beyond("store", "the store", held, [(0, self.shop.store.places)])

    def _resources(self) -> Iterator[Violation]:
        for r, resource in enumerate(self.shop.resources):
            held: list[Held] = []
            for i in range(len(self.shop.operations)):
                amount = sum(amount for which, amount in self.shop.stage(i).uses if which == r)
                held += [(a, b, amount, i) for a, b in self._worked(i)] if amount else []
            levels = [(one.begins, one.amount) for one in resource.levels]
            yield from self._beyond("resource", resource.name, held, levels)

    def _worked(self, i: int) -> list[Spell]:
        m, spell = self.at.machine[i], (self.at.start[i], self.at.end[i])
        return open_parts(self.shop.machines[m].closed, spell) if 0 <= m < len(self.shop.machines) else [spell]

    def _beyond(self, kind: str, what: str, held: list[Held], levels: list[tuple[int, int]]) -> Iterator[Violation]:
        """Each stretch in which more is held than there is; one violation for each, however long."""
        for one in beyond(held, levels):
            text = f"{what} holds {one.held} where {one.level} may be, "
            text += f"from {self._h(one.begins)} to {self._h(one.ends)}"
            yield self._say(kind, text, one.who, one.size)

    def late(self) -> float:
        """Hours late of the due lines, weighted."""
        total = 0.0
        for due in self.shop.dues:
            last = len(self.shop.jobs[due.job].stages) - 1
            batches = range(self.shop.jobs[due.job].batches)
            done = sorted(self.at.end[self.shop.number(due.job, b, last)] for b in batches)
            total += due.weight * max(0, done[due.batches - 1] - due.at) * self.shop.hours
        return total

    def setup(self) -> float:
        """Hours of set-up in the order in which the machines work."""
        units = 0
        for machine, placed in zip(self.shop.machines, self.placed, strict=True):
            families = [self.shop.stage(i).family for _, _, i in placed]
            for family, (_, _, i) in zip([machine.family, *families], placed, strict=False):
                units += 0 if family is None else self._units(family, i)
        return units * self.shop.hours


def _pairs(shop: JobShop) -> Iterator[tuple[int, int]]:
    """(operation, one that comes before it) for every such pair."""
    for i, (job, batch, stage) in enumerate(shop.operations):
        after = shop.jobs[job].stages[stage].after
        for before in ((stage - 1,) if stage else ()) if after is None else after:
            yield i, shop.number(job, batch, before)
