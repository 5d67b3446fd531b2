"""One machine in the model: one operation at a time, and set-ups between them.

A machine without set-ups is one rule.  With them its operations stand in a circuit, an arc for each "next after", which
carries the units of the set-up; where a set-up needs people, it is work of its own, placed by the machine's calendar.
"""

from collections.abc import Iterator

from ortools.sat.python import cp_model

from ..jobs import JobShop, Stage
from .exact_alike import is_chain, sorted_stages
from .exact_work import Cp, Flag, Starts, Work, work_of

__all__ = ["add_machine"]

Arc = tuple[int, int, cp_model.LiteralT]
Term = tuple[float, cp_model.LinearExprT]


def add_machine(cp: Cp, shop: JobShop, m: int, works: list[Work], starts: Starts) -> list[Term]:
    """Add the machine; (units, arc) of every set-up that can be."""
    here = [i for i, work in enumerate(works) if m in work.ways]
    intervals = [works[i].ways[m].interval for i in here]
    machine = shop.machines[m]
    if len(here) > 1:
        if all(works[i].ways[m].units for i in here):  # what takes no time may lie in maintenance
            intervals += [cp.new_fixed_size_interval_var(a, b - a, "") for a, b in machine.maintenance]
        cp.add_no_overlap(intervals)
    families = {shop.stage(i).family for i in here}
    before = families | ({machine.family} if machine.family is not None else set())
    if not any(shop.setups.get((f, g), 0) for f in before for g in families if f != g):
        return []
    return _Circuit(cp, shop, m, works, starts, here).add()


class _Circuit:
    def __init__(self, cp: Cp, shop: JobShop, m: int, works: list[Work], starts: Starts, here: list[int]) -> None:
        self.cp, self.shop, self.m, self.works, self.starts, self.here = cp, shop, m, works, starts, here
        self.sorted = {j: set(sorted_stages(shop, j)) for j in range(len(shop.jobs))}
        self.arcs: list[Arc] = []
        self.terms: list[Term] = []

    def add(self) -> list[Term]:
        """The circuit, and the set-ups in it."""
        chosen = [self.works[i].ways[self.m].chosen for i in self.here]
        for n, (i, flag) in enumerate(zip(self.here, chosen, strict=True), 1):
            self.arcs.append((n, 0, self.cp.new_bool_var("")))
            if flag is not None:
                self.arcs.append((n, n, ~flag))
            self._into(n, i)
        if all(flag is not None for flag in chosen):
            self.arcs.append((0, 0, self.cp.new_bool_var("")))
        self.cp.add_circuit(self.arcs)
        return self.terms

    def _into(self, n: int, i: int) -> None:
        """Every arc into one operation; those with a set-up by how long it is."""
        by_units: dict[int, list[tuple[Flag, int]]] = {}
        for k, other in [(0, -1), *enumerate(self.here, 1)]:
            if k == n or (k and self._never(other, i)):
                continue
            arc = self.cp.new_bool_var("")
            self.arcs.append((k, n, arc))
            units = self._units(other, i)
            if k:
                self.cp.add(self.works[i].start >= self.works[other].end + units).only_enforce_if(arc)
            elif units:
                self.cp.add(self.works[i].start >= units).only_enforce_if(arc)
            if units:
                self.terms.append((units, arc))
                by_units.setdefault(units, []).append((arc, other))
        if self.shop.setups_open:
            for units, arcs in by_units.items():
                self._placed(units, arcs, i)

    def _units(self, before: int, i: int) -> int:
        family = self.shop.machines[self.m].family if before < 0 else self.shop.stage(before).family
        wanted = self.shop.stage(i).family
        return 0 if family is None or family == wanted else self.shop.setups.get((family, wanted), 0)

    def _placed(self, units: int, arcs: list[tuple[Flag, int]], i: int) -> None:
        """A set-up of so many units before the operation, in open time, not over maintenance."""
        needed = self.cp.new_bool_var("")
        self.cp.add(sum(arc for arc, _ in arcs) == needed)
        setup = work_of(self.cp, self.starts, Stage("set-up", ((self.m, units),), 0), 0, "")
        if setup is None:
            self.cp.add(needed == 0)
            return
        self.cp.add(setup.end <= self.works[i].start).only_enforce_if(needed)
        for arc, other in arcs:
            if other >= 0:
                self.cp.add(setup.start >= self.works[other].end).only_enforce_if(arc)

    def _never(self, first: int, then: int) -> bool:
        """Can `then` never be the next after `first`?  Only said where all of it takes time."""
        a, b = self.shop.operations[first], self.shop.operations[then]
        if a.job != b.job or not is_chain(self.shop.jobs[a.job]) or any(self._instant(a.job)):
            return False
        if a.stage == b.stage:
            return a.stage in self.sorted[a.job] and (
                a.batch > b.batch or (len(self.shop.stage(first).on) == 1 and b.batch != a.batch + 1)
            )
        if a.stage < b.stage:
            return False
        return a.batch == b.batch or (b.stage in self.sorted[a.job] and a.batch > b.batch)

    def _instant(self, job: int) -> Iterator[bool]:
        return (units == 0 for stage in self.shop.jobs[job].stages for _, units in stage.on)
