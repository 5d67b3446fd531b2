"""Why an operation begins when it does.

It begins at the latest of its release, the ends of the stages before it plus their least waits, the begin of the batch
before it, and its machine free and set up; then when the machine is open; and later still where the plan holds it back.
The term that binds is the reason.
"""

from dataclasses import dataclass
from typing import Literal

from ..jobs import ANYWHERE
from ..plan.planned import Planned
from .plan_time import OpenTime, in_words, moment, name, sequences, short

__all__ = ["Binding", "Waits"]

Kind = Literal["release", "stage", "batch", "machine", "pin"]


@dataclass(frozen=True, slots=True)
class Binding:
    """What an operation waits for.

    by : the operation waited for, None for a release or a pin;  floor : unit from which on it would let it begin
    opened : first unit from then on at which the machine can take it;  route : unit from which its own batch is ready
    """

    kind: Kind
    by: int | None
    floor: int
    opened: int
    route: int


class Waits:
    """The bindings of a plan, looked up one by one."""

    def __init__(self, planned: Planned) -> None:
        self.planned = planned
        self._last: dict[int, int] = {}
        for numbers in sequences(planned):
            self._last |= dict(zip(numbers[1:], numbers, strict=False))
        self._times = {m: OpenTime(one) for m, one in enumerate(planned.shop.machines)} | {ANYWHERE: OpenTime(None)}
        self._pinned = {operation: start for operation, _, start in planned.pinned}

    def before(self, number: int) -> list[int]:
        """Operations of the same batch that come right before it."""
        job, batch, stage = self.planned.shop.operations[number]
        after = self.planned.shop.jobs[job].stages[stage].after
        return [self.planned.shop.number(job, batch, s) for s in ((stage - 1,) if stage else ())] if after is None \
            else [self.planned.shop.number(job, batch, s) for s in after]  # fmt: skip

    def of(self, number: int) -> Binding:
        """What binds an operation."""
        shop, at = self.planned.shop, self.planned.schedule
        job, batch, stage = shop.operations[number]
        release = shop.jobs[job].release
        terms: list[tuple[int, Kind, int | None]] = [(release, "release", None)]
        terms += [(at.end[p] + shop.stage(p).least_wait, "stage", p) for p in self.before(number)]
        route = max(floor for floor, _, _ in terms)
        more: list[tuple[int, Kind, int | None]] = []
        if batch:
            fellow = shop.number(job, batch - 1, stage)
            more.append((at.start[fellow], "batch", fellow))
        if number in self._pinned:
            more.append((self._pinned[number], "pin", None))
        terms.append((self._ready(number), "machine", self._last.get(number)))
        terms += [one for one in more if one[0] <= at.start[number]]  # kept by the planner, not by every plan
        floor, kind, by = max(terms, key=lambda one: one[0])  # of equals the batch's own way
        units = dict(shop.stage(number).on).get(at.machine[number], 0)
        return Binding(kind, by, floor, self._times[at.machine[number]].place(floor, units), route)

    def _ready(self, number: int) -> int:
        """When the machine is free and set up for it."""
        shop, m = self.planned.shop, self.planned.schedule.machine[number]
        if m == ANYWHERE:
            return 0
        last = self._last.get(number)
        free = 0 if last is None else self.planned.schedule.end[last]
        family = shop.machines[m].family if last is None else shop.stage(last).family
        units = self.setup(family, number)
        if not units:
            return free
        time = self._times[m]
        return time.end(time.place(free, units), units) if shop.setups_open else free + units

    def setup(self, family: int | None, number: int) -> int:
        """Units of set-up from a family to an operation's."""
        after = self.planned.shop.stage(number).family
        return 0 if family in (None, after) else self.planned.shop.setups.get((family, after), 0)

    def said(self, number: int, binding: Binding) -> str:
        """The reason in words; times in the plan's zone."""
        machine = self.machine(number)
        start = self.planned.schedule.start[number]
        parts = [self._term(number, binding, machine)]
        if binding.opened > binding.floor:
            parts.append(f"{machine} is closed or kept until {self._at(binding.opened)}")
        if start > binding.opened:
            parts.append(f"held back {self._h(start - binding.opened)}, {self._held(number)}")
        return "; then ".join(parts)

    def _term(self, number: int, binding: Binding, machine: str) -> str:
        shop, by = self.planned.shop, binding.by
        if binding.kind == "release":
            return f"the order is released at {self._at(binding.floor)}" if binding.floor else "the plan begins"
        if binding.kind == "pin":
            return f"pinned to {self._at(binding.floor)}"
        if by is None:
            return f"{machine} is being set up" if binding.floor else f"{machine} is free from the beginning"
        if binding.kind == "stage":
            least = shop.stage(by).least_wait
            rest = f" and rests {self._h(least)}" if least else ""
            return f"{shop.stage(by).name} ends at {self._at(self.planned.schedule.end[by])}{rest}"
        if binding.kind == "batch":
            return f"batch {shop.operations[by].batch + 1} goes first"
        units = self.setup(shop.stage(by).family, number)
        made = f", and is then set up, {self._h(units)}" if units else ""
        return f"{machine} is taken by {name(shop, by)} until {self._at(self.planned.schedule.end[by])}{made}"

    def _held(self, number: int) -> str:
        """What the plan keeps by it: no term of the operation itself, so told with care."""
        shop, at = self.planned.shop, self.planned.schedule
        job, batch, stage = shop.operations[number]
        if stage + 1 < len(shop.jobs[job].stages):
            most, after = shop.stage(number).most_wait, shop.number(job, batch, stage + 1)
            if most is not None and at.start[after] - at.end[number] >= most - 1:
                return f"so that it waits no longer than {self._h(most)} for {shop.stage(after).name}"
        kept = ["people"] if shop.stage(number).uses else []
        kept += ["a place in the store"] if shop.store else []
        return f"to keep {' or '.join([*kept, 'a wait'])} within what may be"

    def machine(self, number: int) -> str:
        """Name of the machine an operation is on."""
        m = self.planned.schedule.machine[number]
        return "no machine" if m == ANYWHERE else self.planned.shop.machines[m].name

    def _at(self, unit: int) -> str:
        return short(moment(self.planned, unit))

    def _h(self, units: int) -> str:
        return in_words(units * self.planned.shop.hours)
