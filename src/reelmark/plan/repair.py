"""Repair of a neighbourhood: some steps freed, the rest kept in place and time, and the best found by CP-SAT.

    repair(Neighbourhood(arrays, start, lists, steps, seconds, seed))  ->  Found

A freed step is one campaign a machine; set-ups are arcs of a circuit over campaigns.  What CP-SAT answers is decoded as
any other candidate, so that a model that leaves something out (people, set-ups in open time) can propose no false plan:
it is only taken when the decoded cost is lower.
"""

from typing import Any, NamedTuple

import numpy as np

from .arrays import Arrays
from .decode import ROUNDS, Lists, Placed, Start, decode
from .lists import empty, lists_of
from .search import Found, cost_of_lists
from .tables import NEVER

__all__ = ["Neighbourhood", "repair"]


class Neighbourhood(NamedTuple):
    """Which steps are freed, from which lists, and for how long CP-SAT may think."""

    arrays: Arrays
    start: Start
    lists: Lists
    steps: tuple[int, ...]
    seconds: float
    seed: int


def repair(task: Neighbourhood) -> Found:
    """The lists after the repair, or as they were."""
    a, placed = task.arrays, empty(task.arrays)
    cost = float(decode(a, task.lists, task.start, placed, np.inf, ROUNDS))
    if cost >= NEVER:
        return Found(cost, task.lists, 0)
    machine, begin = _Model(task, placed, cost).solve()
    if machine is None:
        return Found(cost, task.lists, 0)
    lists = lists_of(a, task.start, machine, begin)
    found = cost_of_lists(a, task.start, lists)
    return Found(found, lists, 0) if found < cost - 1e-9 else Found(cost, task.lists, 0)


class _Model:
    """The CP-SAT model of a neighbourhood."""

    def __init__(self, task: Neighbourhood, placed: Placed, cost: float) -> None:
        from ortools.sat.python import cp_model

        self.cp, self.task, self.a, self.placed, self.cost = cp_model, task, task.arrays, placed, cost
        self.model = cp_model.CpModel()
        self.free = set(task.steps)
        self.top = int(min(self.a.start.shape[1] - 1, placed.end.max() * 1.06 + 48))
        self.starts: dict[int, Any] = {}
        self.ends: dict[int, Any] = {}
        self.on: dict[int, dict[int, Any]] = {}  # row -> machine -> literal
        self.costs: list[Any] = []
        for k in sorted(self.free):
            for b in range(int(task.start.done[k]), int(self.a.batches[k])):
                self._operation(k, int(self.a.offset[k]) + b)
        self._flow()
        for m in range(self.a.which.shape[1]):
            self._machine(m)
        self._store()
        self._objective()

    def begin_of(self, row: int) -> Any:
        return self.starts.get(row, int(self.placed.begin[row]))

    def end_of(self, row: int) -> Any:
        return self.ends.get(row, int(self.placed.end[row]))

    def _operation(self, k: int, row: int) -> None:
        model, a = self.model, self.a
        s = model.new_int_var(0, self.top, f"s{row}")
        e = model.new_int_var(0, self.top, f"e{row}")
        self.starts[row], self.ends[row] = s, e
        model.add_hint(s, int(self.placed.begin[row]))
        model.add_hint(e, int(self.placed.end[row]))
        model.add(s >= max(int(a.release[k]), int(self.task.start.earliest[row])))
        every, self.on[row] = [], {}
        for m in map(int, np.flatnonzero(a.which[k] >= 0)):
            here = []
            u = a.which[k, m]
            t = np.flatnonzero(a.start[u, : self.top + 1] == np.arange(self.top + 1))
            t = t[a.end[u, t] <= self.top]
            spans = (a.end[u, t] - t).astype(int)
            hinted = int(self.placed.machine[row]) == m
            for span in np.unique(spans):
                z = model.new_bool_var(f"z{row}.{m}.{span}")
                domain = self.cp.Domain.from_values([int(x) for x in t[spans == span]])
                model.add_linear_expression_in_domain(s, domain).only_enforce_if(z)
                model.add(e == s + int(span)).only_enforce_if(z)
                model.add_hint(z, hinted and int(self.placed.end[row] - self.placed.begin[row]) == int(span))
                here.append(z)
            every += here
            if len(here) == 1:
                self.on[row][m] = here[0]
                continue
            y = model.new_bool_var(f"y{row}.{m}")
            model.add(sum(here) == y)
            model.add_hint(y, hinted)
            self.on[row][m] = y
        model.add_exactly_one(every)

    def _flow(self) -> None:
        """Waits before and after, and batches in their order."""
        a = self.a
        for k in range(a.batches.size):
            for b in range(int(a.batches[k])):
                row = int(a.offset[k]) + b
                if b and k in self.free and row in self.starts:
                    self.model.add(self.starts[row] >= self.begin_of(row - 1))
                if a.first[k] or not ({k, k - 1} & self.free):
                    continue
                before = self.end_of(int(a.offset[k - 1]) + b)
                if row not in self.starts and isinstance(before, int):
                    continue
                self.model.add(self.begin_of(row) >= before + int(a.least[k]))
                if a.most[k] < NEVER:
                    self.model.add(self.begin_of(row) <= before + int(a.most[k]))

    def _machine(self, m: int) -> None:
        """Campaigns on the machine in a circuit."""
        nodes = self._kept(m) + [one for k in sorted(self.free) if (one := self._freed(k, m))]
        if not any(node[4] is not None for node in nodes):
            return  # nothing changes here
        a, model = self.a, self.model
        free, family0 = int(self.task.start.free[m]), int(self.task.start.family[m])
        arcs: list[Any] = []
        idle = model.new_bool_var("")
        arcs.append((0, 0, idle))
        price = float(a.prices[1])
        for i, (f, s, _, _, here) in enumerate(nodes, 1):
            first, last = model.new_bool_var(""), model.new_bool_var("")
            arcs += [(0, i, first), (i, 0, last)]
            units = int(a.setup[family0, f]) if family0 >= 0 else 0
            model.add(s >= free + units).only_enforce_if(first)
            if units:
                self.costs.append(price * units * first)
            if here is not None:
                arcs.append((i, i, ~here))
            else:
                model.add(idle == 0)
        for i, (f, _, e, fixed, _) in enumerate(nodes, 1):
            for j, (g, s, _, other, _) in enumerate(nodes, 1):
                if i == j or (fixed is not None and other is not None and other != fixed + 1 and other <= fixed):
                    continue
                arc = model.new_bool_var("")
                arcs.append((i, j, arc))
                units = int(a.setup[f, g])
                model.add(s >= e + units).only_enforce_if(arc)
                if units:
                    self.costs.append(price * units * arc)
        model.add_circuit(arcs)

    def _kept(self, m: int) -> list[Any]:
        """(family, start, end, order, None) of the campaigns that stay."""
        a = self.a
        out: list[list[Any]] = []
        rows = [
            (int(self.placed.begin[row]), int(self.placed.end[row]), k)
            for k in range(a.batches.size)
            for row in range(int(a.offset[k]) + int(self.task.start.done[k]), int(a.offset[k]) + int(a.batches[k]))
            if k not in self.free and self.placed.machine[row] == m
        ]
        for s, e, k in sorted(rows):
            if out and out[-1][4] == k:
                out[-1][2] = e
            else:
                out.append([int(a.family[k]), s, e, len(out), k])
        return [(f, s, e, order, None) for f, s, e, order, _ in out]

    def _freed(self, k: int, m: int) -> Any:
        """(family, start, end, None, present) of a freed step's campaign on the machine."""
        a, model = self.a, self.model
        rows = [row for row in self.starts if a.offset[k] <= row < a.offset[k] + a.batches[k] and m in self.on[row]]
        if not rows:
            return None
        here = model.new_bool_var("")
        s, e = model.new_int_var(0, self.top, ""), model.new_int_var(0, self.top, "")
        model.add_max_equality(here, [self.on[row][m] for row in rows])
        mine = [row for row in rows if self.placed.machine[row] == m]
        model.add_hint(here, bool(mine))
        if mine:
            model.add_hint(s, int(self.placed.begin[mine].min()))
            model.add_hint(e, int(self.placed.end[mine].max()))
        model.add(s <= e)
        intervals = []
        for row in rows:
            on = self.on[row][m]
            model.add(s <= self.starts[row]).only_enforce_if(on)
            model.add(e >= self.ends[row]).only_enforce_if(on)
            size = model.new_int_var(0, self.top, "")
            intervals.append(model.new_optional_interval_var(self.starts[row], size, self.ends[row], on, ""))
        model.add_no_overlap(intervals)
        return int(a.family[k]), s, e, None, here

    def _store(self) -> None:
        a = self.a
        if a.places >= NEVER:
            return
        inside, changed = [], False
        for k in range(a.batches.size - 1):
            if not a.stored[k] or a.last[k]:
                continue
            for b in range(int(a.batches[k])):
                into, out = self.end_of(int(a.offset[k]) + b), self.begin_of(int(a.offset[k + 1]) + b)
                changed |= not (isinstance(into, int) and isinstance(out, int))
                inside.append(self._interval(into, out))
        if changed:
            self.model.add_cumulative(inside, [1] * len(inside), int(a.places))

    def _interval(self, into: Any, out: Any) -> Any:
        if isinstance(into, int) and isinstance(out, int):
            return self.model.new_fixed_size_interval_var(into, max(0, out - into), "")
        size = self.model.new_int_var(0, self.top, "")
        return self.model.new_interval_var(into, size, out, "")

    def _objective(self) -> None:
        a, model = self.a, self.model
        late, _, span, _, _ = (float(one) for one in a.prices)
        lasts = [k for k in range(a.batches.size) if a.last[k]]
        fixed = max((int(self.placed.end[row]) for k in lasts if k not in self.free
                     for row in range(int(a.offset[k]), int(a.offset[k]) + int(a.batches[k]))), default=0)  # fmt: skip
        length = model.new_int_var(fixed, self.top, "length")
        for row, e in self.ends.items():
            if any(a.offset[k] <= row < a.offset[k] + a.batches[k] for k in lasts):
                model.add(length >= e)
        costs = [*self.costs, span * length]
        for d in range(a.due_step.size):
            k = int(a.due_step[d])
            if k not in self.free:
                continue
            rows = range(int(a.offset[k]), int(a.offset[k]) + int(a.due_batch[d]) + 1)
            tardy = model.new_int_var(0, self.top, "")
            for row in rows:
                model.add(tardy >= self.end_of(row) - int(a.due_at[d]))
            costs.append(late * float(a.due_weight[d]) * tardy)
        model.minimize(sum(costs))

    def solve(self) -> Any:
        solver = self.cp.CpSolver()
        solver.parameters.max_time_in_seconds = self.task.seconds
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.task.seed % 1000
        status = solver.solve(self.model)
        self.status = solver.status_name(status), solver.wall_time
        if status not in (self.cp.OPTIMAL, self.cp.FEASIBLE):
            return None, None
        machine, begin = self.placed.machine.copy(), self.placed.begin.copy()
        for row, s in self.starts.items():
            begin[row] = solver.value(s)
            machine[row] = next(m for m, on in self.on[row].items() if solver.boolean_value(on))
        return machine, begin
