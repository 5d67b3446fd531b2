"""Small invented shops, a greedy plan for them, and the same shop as processes that meet: the oracle of the risk.

`processes` shares no code with reelmark.plan: calendars are walked spell by spell, machines and batches wait for one
another by events of SimPy.
"""

from bisect import bisect_right
from collections.abc import Generator, Sequence
from random import Random
from typing import Any

from reelmark.jobs import ANYWHERE, Due, Job, JobShop, Machine, Schedule, Stage, Store

WEEK = 336  # half hours
DAY = 48


def calendar(weeks: int, shifts: int) -> tuple[tuple[int, int], ...]:
    """Closed: Sundays, and each night after so many shifts of 8 h."""
    out = []
    for day in range(7 * weeks):
        if day % 7 == 6:
            out.append((day * DAY, (day + 1) * DAY))
        elif shifts < 3:
            out.append((day * DAY + 16 * shifts, (day + 1) * DAY))
    return tuple(out)


def shop(seed: int, orders: int = 6, batches: int = 12, stages: int = 10, weeks: int = 28, **more: Any) -> JobShop:
    """Orders of alike batches over pools of two machines, every third pool re-entrant; half-hour units."""
    rng = Random(seed)
    pools = [s - (1 if s % 3 == 2 else 0) for s in range(stages)]  # stage 2 on the machines of stage 1, and so on
    number = {(pool, k): i for i, (pool, k) in enumerate((p, k) for p in sorted(set(pools)) for k in (0, 1))}
    machines = tuple(
        Machine(
            f"M{pool}{'ab'[k]}",
            () if pool == 0 else calendar(weeks, 2 if pool == stages - 1 else 3),
            tuple((w * WEEK + rng.randrange(200), w * WEEK + 208) for w in range(k + pool % 2, weeks, 3)),
            rng.choice((None, 0)),
        )
        for pool, k in number
    )
    jobs = tuple(
        Job(
            f"order {j + 1}",
            tuple(
                Stage(
                    f"stage {s + 1}",
                    tuple((number[pools[s], k], rng.randrange(8, 20)) for k in (0, 1)),
                    j * stages + s,
                    rng.choice((0, 0, 16)),
                    rng.choice((None, 300)),
                    s in (stages // 2, stages - 3),
                )
                for s in range(stages)
            ),
            batches,
            rng.randrange(0, 200),
        )
        for j in range(orders)
    )
    families = range(orders * stages)
    setups = {(a, b): rng.randrange(2, 14) for a in families for b in families if a != b}
    dues = tuple(Due(j, b, 1500 + 400 * j) for j in range(orders) for b in sorted({(batches + 1) // 2, batches}))
    return JobShop(30, machines, jobs, dues, setups, Store(orders * 2), horizon=weeks * WEEK, **more)


def greedy(one: JobShop) -> Schedule:
    """Order by order in turn, each batch to the machine that ends it first: a plan to carry out, no good one."""
    free, family = [0.0] * len(one.machines), [m.family for m in one.machines]
    end: dict[int, float] = {}
    rows: dict[int, tuple[int, float, float]] = {}
    longest = max(len(job.stages) for job in one.jobs)
    turns = [(b, s, j) for s in range(longest) for j in range(len(one.jobs)) for b in range(one.jobs[j].batches)]
    for b, s, j in turns:
        if s >= len(one.jobs[j].stages):
            continue
        i, stage = one.number(j, b, s), one.jobs[j].stages[s]
        ready = float(one.jobs[j].release) if s == 0 else end[i - 1] + one.jobs[j].stages[s - 1].least_wait
        found = []
        for m, units in stage.on:
            if m == ANYWHERE:
                found.append((ready + units, ready, m))
                continue
            was = family[m]
            setup = 0 if was is None or was == stage.family else one.setups.get((was, stage.family), 0)
            able = _walk(one.machines[m], free[m], setup)[1] if one.setups_open and setup else free[m] + setup
            begin, ended = _walk(one.machines[m], max(ready, able), units)
            found.append((ended, begin, m))
        ended, begin, m = min(found)
        rows[i], end[i] = (m, begin, ended), ended
        if m != ANYWHERE:
            free[m], family[m] = ended, stage.family
    ordered = [rows[i] for i in range(len(one.operations))]
    machine, start, stop = zip(*ordered, strict=True)
    return Schedule(tuple(machine), tuple(map(int, start)), tuple(map(int, stop)))


def _walk(machine: Machine, time: float, work: float) -> tuple[float, float]:
    """(start, end) of work from time on, by going through the spells one by one."""
    kept, closed = sorted(machine.maintenance), sorted(machine.closed)
    while True:
        blocks = [b for a, b in closed + kept if a <= time < b]
        if blocks:
            time = float(max(blocks))
            continue
        now, left = time, work
        nexts = iter([pair for pair in closed[bisect_right(closed, (time, 0.0)) :]])
        for a, b in nexts:
            if now + left <= a:
                break
            left -= a - now
            now = float(b)
        ended = now + left
        hit = [b for a, b in kept if time < b and ended > a]
        if not hit:
            return time, ended
        time = float(min(hit))


class Processes:
    """A shop as SimPy processes: one for each machine, which takes its operations in the plan's order."""

    def __init__(self, one: JobShop, plan: Schedule, holds: Sequence[float]) -> None:
        self.shop, self.plan, self.holds = one, plan, holds
        self.line: dict[int, list[int]] = {}
        for i in sorted(range(len(plan.start)), key=lambda i: (plan.start[i], plan.end[i], i)):
            self.line.setdefault(plan.machine[i], []).append(i)
        self.closed = [sorted(m.closed) for m in one.machines]
        self.opens = [[b for _, b in spells] for spells in self.closed]
        self.kept = [sorted(m.maintenance) for m in one.machines]
        self.free = [[b for _, b in spells] for spells in self.kept]

    def run(self, work: Sequence[float]) -> tuple[list[float], list[float]]:
        """Start and end of every operation, for one draw of the work."""
        import simpy

        self.env, self.work = simpy.Environment(), work
        self.start, self.end = [0.0] * len(work), [0.0] * len(work)
        self.done = [self.env.event() for _ in work]
        for m, line in self.line.items():
            for part in [line] if m != ANYWHERE else [[i] for i in line]:
                self.env.process(self._machine(m, part))
        self.env.run()
        return self.start, self.end

    def _machine(self, m: int, line: Sequence[int]) -> Generator[Any, Any, Any]:
        family = None if m == ANYWHERE else self.shop.machines[m].family
        for i in line:
            stage = self.shop.stage(i)
            units = self.shop.setups.get((family, stage.family), 0) if family not in (None, stage.family) else 0
            family = stage.family
            if units and self.shop.setups_open:
                yield from self._work(m, units)
            elif units:
                yield self.env.timeout(units)
            yield from self._await(i)
            self.start[i] = yield from self._work(m, self.work[i])
            self.end[i] = self.env.now
            self.done[i].succeed()

    def _await(self, i: int) -> Generator[Any, Any, Any]:
        """Until the batch has come, rested, and the plan wants it."""
        j, b, s = self.shop.operations[i]
        stages, ready = self.shop.jobs[j].stages, max(float(self.shop.jobs[j].release), self.holds[i])
        after = stages[s].after
        for e in ((s - 1,) if s else ()) if after is None else after:
            p = self.shop.number(j, b, e)
            if not self.done[p].processed:
                yield self.done[p]
            ready = max(ready, self.end[p] + stages[e].least_wait)
        if ready > self.env.now:
            yield self._until(ready)

    def _until(self, time: float) -> Any:
        """An event at just that time: a delay would round twice."""
        event = self.env.event()
        event._ok, event._value = True, None
        self.env.schedule(event, delay=time - self.env.now)
        return event

    def _work(self, m: int, work: float) -> Generator[Any, Any, Any]:
        """Work off, resting while closed; waits first where it would reach into maintenance.  Gives its start."""
        if m == ANYWHERE:
            start = self.env.now
            yield self.env.timeout(work)
            return start
        while True:
            closed = self._within(self.closed[m], self.opens[m]) or self._within(self.kept[m], self.free[m])
            if closed is None and (closed := self._hit(m, work)) is None:
                break
            yield self.env.timeout(closed - self.env.now)
        start = self.env.now
        while True:
            k = bisect_right(self.opens[m], self.env.now)
            rest = self.closed[m][k] if k < len(self.closed[m]) else None
            if rest is None or self.env.now + work <= rest[0]:
                yield self.env.timeout(work)
                return start
            work -= rest[0] - self.env.now
            yield self.env.timeout(rest[1] - self.env.now)

    def _within(self, spells: Sequence[tuple[int, int]], ends: Sequence[int]) -> int | None:
        k = bisect_right(ends, self.env.now)
        return spells[k][1] if k < len(spells) and spells[k][0] <= self.env.now else None

    def _hit(self, m: int, work: float) -> int | None:
        """End of the next maintenance, where the work would reach into it."""
        k = bisect_right(self.free[m], self.env.now)
        if k == len(self.kept[m]):
            return None
        now, (begin, after) = self.env.now, self.kept[m][k]
        first = bisect_right(self.opens[m], now)
        for a, b in self.closed[m][first:]:
            if a >= begin or now + work <= a:
                break
            work -= a - now
            now = b
        return after if now + work > begin else None
