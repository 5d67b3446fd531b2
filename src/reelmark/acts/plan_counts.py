"""Batches of an order done and going on at each stage, with their times, from what passed it by the records."""

from datetime import UTC
from math import floor

from ..errors import BadValue
from ..plan.backward import Backward
from ..plan.matched import Row
from ..plan.planned import Planned
from ..plan.tables import NEVER, longest, table
from .plan_facts import Event, Passed, shares_left

__all__ = ["Counts"]


class Counts:
    """Batches done and going on, by stage, with their times."""

    def __init__(self, planned: Planned, back: Backward, told: Passed, batches: int, now: int) -> None:
        self.planned, self.told, self.batches, self.now = planned, told, batches, now
        names = [one.name for one in planned.shop.jobs]
        self.job = names.index(back.order.name)
        each = back.order.notes / batches / back.order.layout.ups
        self.batch = [each / share for share in shares_left(back)]  # sheets that a batch is, by stage
        if len(self.batch) != len(planned.shop.jobs[self.job].stages):
            true = f"the plan has {len(planned.shop.jobs[self.job].stages)} stages, the plant {len(self.batch)}"
            raise BadValue("stages", len(self.batch), true, "plan the order anew with this plant")
        through = [sum(many for _, many in told.events.get(s, ())) for s in range(len(self.batch))]
        self.done = [
            max(min(batches, int(through[t] / self.batch[t] + 1e-9)) for t in range(s, len(through)))
            for s in range(len(through))
        ]

    def actual(self) -> dict[int, Row]:
        """Operation -> (machine, start, end)."""
        found: dict[int, Row] = {}
        for s in range(len(self.batch)):
            events = self.told.events.get(s, ())
            for b in range(self.batches):
                row = self._row(s, b, events)
                if row is not None:
                    found[self.planned.shop.number(self.job, b, s)] = row
        return found

    def _row(self, s: int, b: int, events: tuple[Event, ...]) -> Row | None:
        begin, end = self._reached(events, b * self.batch[s], True), self._reached(events, (b + 1) * self.batch[s])
        if begin is None:
            return None
        machine = self._machine(s)
        if end is not None:
            return machine, begin, max(end, begin + 1)
        total = sum(many for _, many in events)
        return machine, begin, self._until(s, machine, 1 - (total - b * self.batch[s]) / self.batch[s])

    def _reached(self, events: tuple[Event, ...], sheets: float, beyond: bool = False) -> int | None:
        """Unit in which so many sheets had passed, or (beyond) the first after them."""
        total = 0.0
        for at, many in events:
            total += many
            if total > sheets + 1e-9 if beyond else total >= sheets - 1e-6:
                minutes = (at.astimezone(UTC) - self.planned.begins.astimezone(UTC)).total_seconds() / 60
                return floor(minutes / self.planned.shop.unit_min)
        return None

    def _machine(self, s: int) -> int:
        stage = self.planned.shop.jobs[self.job].stages[s]
        names = [one.name for one in self.planned.shop.machines]
        name = self.told.machines.get(s, "")
        return names.index(name) if name in names else stage.on[0][0]

    def _until(self, s: int, machine: int, left: float) -> int:
        """When what is left of a batch will have passed, from now on, at the rate of the plan."""
        shop = self.planned.shop
        units = dict(shop.jobs[self.job].stages[s].on).get(machine, shop.jobs[self.job].stages[s].on[0][1])
        _, ends = table(shop.machines[machine], max(1, round(units * left)), longest(shop))
        end = int(ends[min(self.now, ends.size - 1)])
        return end if end < NEVER else self.now + max(1, round(units * left))
