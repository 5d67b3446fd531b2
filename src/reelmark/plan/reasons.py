"""Why an operation is later than it was: back over what it waited for, to the first that nothing before it delayed."""

from collections.abc import Collection
from itertools import pairwise

from ..jobs import JobShop, Schedule
from .deliveries import hours_text, moment_text, parent
from .matched import counterparts
from .planned import Planned

__all__ = ["Reasons"]


class Reasons:
    """What made operations of the new plan late against the old.

    facts : operations of the new shop that are done or going on as somebody recorded
    """

    def __init__(self, old: Planned, shop: JobShop, schedule: Schedule, facts: Collection[int] = ()) -> None:
        self.old, self.shop, self.at, self.facts = old, shop, schedule, set(facts)
        self.was = counterparts(old.shop, shop)
        self.before: dict[int, int] = {}
        for m in range(len(shop.machines)):
            row = sorted((schedule.start[i], schedule.end[i], i) for i, on in enumerate(schedule.machine) if on == m)
            self.before |= {after[2]: before[2] for before, after in pairwise(row)}

    def why(self, number: int) -> str:
        """In words; empty where the operation is not later."""
        if not self._later(number):
            return ""
        job = self.shop.jobs[self.shop.operations[number].job].name
        if job != parent(job):
            return "it waits for the make-up batch"
        seen = {number}
        while True:
            back = self._held_by(number)
            if back is None or back in seen:
                return self._root(number)
            seen.add(back)
            number = back

    def _later(self, number: int) -> bool:
        was = self.was.get(number)
        return was is None or self.at.end[number] > self.old.schedule.end[was]

    def _held_by(self, number: int) -> int | None:
        """Of what it waited for, the one that let it go last, if that is itself late."""
        j, b, s = self.shop.operations[number]
        stages = self.shop.jobs[j].stages
        waits = []
        if s:
            before = self.shop.number(j, b, s - 1)
            waits.append((self.at.end[before] + stages[s - 1].least_wait, before))
        if b:
            before = self.shop.number(j, b - 1, s)
            waits.append((self.at.start[before], before))
        if (last := self.before.get(number)) is not None:
            pair = self.shop.stage(last).family, stages[s].family
            waits.append((self.at.end[last] + (self.shop.setups.get(pair, 0) if pair[0] != pair[1] else 0), last))
        late = [one for one in waits if self._later(one[1])]
        return max(late)[1] if late and number not in self.facts else None

    def _root(self, number: int) -> str:
        was, name = self.was.get(number), self._name(number)
        machine = self.shop.machines[self.at.machine[number]].name
        if was is None:
            return f"{self.shop.jobs[self.shop.operations[number].job].name} takes {machine} first"
        end, old = self.at.end[number], self.old.schedule.end[was]
        if number in self.facts:
            return f"{name} ends {moment_text(self.old, end)}, {hours_text(self.shop, end - old)} after its plan"
        shut = self._shut(self.at.machine[number], self.old.schedule.start[was], end)
        if shut:
            a, b = (moment_text(self.old, unit) for unit in shut)
            return f"{machine} is down from {a} to {b}"
        ahead = self._gives_way(number)
        if ahead is not None:
            return f"{name} gives way to {self._name(ahead)} on {machine}"
        on = self.old.shop.machines[self.old.schedule.machine[was]].name
        if on != machine:
            return f"{name} goes from {on} to {machine}"
        return f"{name} moves from {moment_text(self.old, old)} to {moment_text(self.old, end)}"

    def _name(self, number: int) -> str:
        job, batch, stage = self.shop.operations[number]
        return f"{self.shop.jobs[job].stages[stage].name} of batch {batch + 1}, {self.shop.jobs[job].name}"

    def _gives_way(self, number: int) -> int | None:
        """What is before it on its machine and was planned after it."""
        last = self.before.get(number)
        was, then = self.was[number], self.was.get(last, -1) if last is not None else -1
        at = self.old.schedule
        return last if last is not None and (then < 0 or at.start[then] > at.start[was]) else None

    def _shut(self, machine: int, begin: int, end: int) -> tuple[int, int] | None:
        """A spell in which the machine was open before and is not now, that the operation meets."""
        one = self.shop.machines[machine]
        known = [x for x in self.old.shop.machines if x.name == one.name]
        before = {spell for x in known for spell in (*x.closed, *x.maintenance)}
        now = (*one.closed, *one.maintenance) if known else ()
        return next(((a, b) for a, b in sorted(now) if (a, b) not in before and a < end and b > begin), None)
