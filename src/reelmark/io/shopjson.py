"""A job shop as JSON: orders of alike batches over named stages.

    unit_min, orders, batches_per_order, stages, pool_of_stage {stage: pool}, machines {pool: [name]},
    duration [{order, stage, machine, units}]                                          must be there
    time0, horizon, release [units], weight [number], due [{order, batches, at}],
    wait_after_h {stage: {min, max}}, closed {machine: [[from, to]]}, maintenance {machine: [[from, to]]},
    setup [{from: [order, stage], to: [order, stage], units}], setups_open, store {limit_batches, after_stages},
    after {stage: [stage]}                                                              may be there

Times are whole units, waits hours.  Cost = 10 x weight x hours late, for each due line, + 5 x hours of set-up + hours
to the end.  A set-up that is not named takes nothing; the first on a machine is free.
"""

import json
import math
from graphlib import CycleError, TopologicalSorter
from typing import Any

from reelmark.errors import BadValue, Clash
from reelmark.io.shopsize import few, sized
from reelmark.io.shopvalues import Value, whole_text
from reelmark.jobs import Due, Job, JobShop, Machine, Spell, Stage, Store

__all__ = ["shop_of_json"]

MOST_UNIT = 7 * 24 * 60  # minutes: a shop is planned by the week at the coarsest
MOST_YEARS = 5  # of a horizon: every unit of it is kept for every machine

MUST = ("unit_min", "orders", "batches_per_order", "stages", "pool_of_stage", "machines", "duration")
MAY = (
    *("time0", "horizon", "release", "weight", "due", "wait_after_h", "closed", "maintenance", "setup"),
    *("setups_open", "store", "after"),
)


def shop_of_json(text: str, name: str) -> JobShop:
    """The shop.  name : of the file, for the errors"""
    try:
        read = json.loads(text, object_pairs_hook=lambda pairs: _once(pairs, name))
    except json.JSONDecodeError as error:
        where = f"{name}, line {error.lineno}"
        cure = "correct it there; the file may be cut short" if error.pos >= len(text.rstrip()) else "correct it there"
        raise BadValue(where, text[error.pos : error.pos + 20], f"it is not JSON: {error.msg}", cure) from error
    except ValueError as error:  # a whole number of thousands of digits
        raise BadValue(name, text[:20], "a number in it has too many digits", "correct the number") from error
    except RecursionError as error:
        raise BadValue(name, text[:20], "it is nested too deep", "give a job shop") from error
    top = Value(f"{name}: ", read).table(MUST, MAY)
    return sized(_Reader(top).shop(), name)


def _once(pairs: list[tuple[str, Any]], name: str) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for key, value in pairs:
        whole_text(f"{name}: a name", key)
        if key in out:
            raise Clash(f"{name}: {key}", str(value)[:40], "the key stands twice in one object", "keep one of them")
        out[key] = value
    return out


class _Reader:
    """The parts of the file, as far as they are read."""

    def __init__(self, top: dict[str, Value]) -> None:
        self.top = top
        self.unit = top["unit_min"].whole(1, MOST_UNIT)
        self.orders = top["orders"].whole(1)
        self.batches = top["batches_per_order"].whole(1)
        most = MOST_YEARS * 365 * 24 * 60 // self.unit
        self.horizon = top["horizon"].whole(0, most) if "horizon" in top else 0
        self.stages = top["stages"].names()
        few(top["batches_per_order"].where, self.batches, self.orders * self.batches * len(self.stages))
        pools = {pool: value.names() for pool, value in top["machines"].named().items()}
        self.machines = tuple(dict.fromkeys(machine for pool in pools.values() for machine in pool))
        self.pool = {}
        for stage, value in top["pool_of_stage"].named(self.stages, "stages").items():
            self.pool[stage] = pools[value.one_of(tuple(pools), "pools")]

    def shop(self) -> JobShop:
        return JobShop(
            unit_min=self.unit,
            machines=self._machines(),
            jobs=self._jobs(),
            dues=self._dues(),
            setups=self._setups(),
            store=self._store()[0],
            horizon=self.horizon,
            setups_open=self.top["setups_open"].flag() if "setups_open" in self.top else False,
            families=tuple(f"order {o}, {stage}" for o in range(self.orders) for stage in self.stages),
            begins=self.top["time0"].text() if "time0" in self.top else "",
        )

    def _machines(self) -> tuple[Machine, ...]:
        closed, kept = self._spells("closed"), self._spells("maintenance")
        for name in self.machines:
            shut = [False] * self.horizon
            for a, b in (*closed.get(name, ()), *kept.get(name, ())):
                shut[a:b] = [True] * len(shut[a:b])
            if self.horizon and all(shut):
                true = f"it has no open hour before the horizon, {self.horizon} units"
                raise BadValue(f"{self.top['machines'].where}, {name}", "closed", true, "open it, or take it out")
        return tuple(Machine(name, closed.get(name, ()), kept.get(name, ())) for name in self.machines)

    def _spells(self, key: str) -> dict[str, tuple[Spell, ...]]:
        if key not in self.top:
            return {}
        return {
            name: tuple(_spell(one) for one in value.list())
            for name, value in self.top[key].named(self.machines, "machines").items()
        }

    def _jobs(self) -> tuple[Job, ...]:
        on, waits, after, stored = self._durations(), self._waits(), self._after(), self._store()[1]
        release = self._by_order("release", 0, whole=True)
        jobs = []
        for o in range(self.orders):
            stages = []
            for s, name in enumerate(self.stages):
                if not on.get((o, s)):
                    true = "it has no machine: no duration names one"
                    raise BadValue(
                        f"{self.top['duration'].where}, order {o}, {name}", "", true, "give its units on a machine"
                    )
                least, most = waits.get(name, (0, None))
                family = o * len(self.stages) + s
                stages.append(
                    Stage(name, tuple(on[o, s].items()), family, least, most, name in stored, after=after.get(name))
                )
            jobs.append(Job(f"order {o}", tuple(stages), self.batches, int(release[o])))
        return tuple(jobs)

    def _durations(self) -> dict[tuple[int, int], dict[int, int]]:
        out: dict[tuple[int, int], dict[int, int]] = {}
        for one in self.top["duration"].list():
            row = one.table(("order", "stage", "machine", "units"))
            o, stage = row["order"].whole(0, self.orders - 1), row["stage"].one_of(self.stages, "stages")
            machine = row["machine"].one_of(self.machines, "machines")
            if stage not in self.pool:
                raise BadValue(
                    row["stage"].where, stage, "pool_of_stage does not name its pool", "give the stage's pool"
                )
            if machine not in self.pool[stage]:
                true = f"it is not in the pool of {stage}: {', '.join(self.pool[stage])}"
                raise BadValue(row["machine"].where, machine, true, "correct the machine, or the pool")
            here = out.setdefault((o, self.stages.index(stage)), {})
            if self.machines.index(machine) in here:
                raise Clash(one.where, f"order {o}, {stage}, {machine}", "it stands twice", "keep one of them")
            here[self.machines.index(machine)] = row["units"].whole(0)
        return out

    def _waits(self) -> dict[str, tuple[int, int | None]]:
        """Whole units: the least rounded up, the most down."""
        out: dict[str, tuple[int, int | None]] = {}
        if "wait_after_h" not in self.top:
            return out
        for stage, value in self.top["wait_after_h"].named(self.stages, "stages").items():
            row = value.table((), ("min", "max"))
            least = row["min"].number(0) if "min" in row else 0.0
            most = row["max"].number(0) if "max" in row and row["max"].value is not None else None
            if most is not None and least > most:
                true = f"the least wait, {least:g} h, is above the longest, {most:g} h"
                raise BadValue(value.where, value.value, true, "exchange them, or correct one")
            units = [math.ceil(least * 60 / self.unit), None if most is None else math.floor(most * 60 / self.unit)]
            if units[1] is not None and (units[0] or 0) > units[1]:
                true = f"no whole unit of {self.unit} min lies between the two"
                raise BadValue(value.where, value.value, true, "widen the wait, or take a shorter unit")
            out[stage] = (units[0] or 0, units[1])
        return out

    def _after(self) -> dict[str, tuple[int, ...]]:
        if "after" not in self.top:
            return {}
        named = {
            stage: value.names(self.stages, "stages", least=0)
            for stage, value in self.top["after"].named(self.stages, "stages").items()
        }
        before = {stage: named.get(stage, self.stages[max(0, s - 1) : s]) for s, stage in enumerate(self.stages)}
        try:
            TopologicalSorter(before).prepare()
        except CycleError as circle:
            way = " before ".join(circle.args[1])
            where = self.top["after"].where
            raise BadValue(where, way, "the route is a circle", "take one of them out") from circle
        return {stage: tuple(self.stages.index(one) for one in all_) for stage, all_ in named.items()}

    def _by_order(self, key: str, default: float, whole: bool) -> list[float]:
        if key not in self.top:
            return [default] * self.orders
        values = [one.whole(0) if whole else one.number(0) for one in self.top[key].list()]
        if len(values) != self.orders:
            raise BadValue(
                self.top[key].where, len(values), f"there are {self.orders} orders", "give one value an order"
            )
        return values

    def _dues(self) -> tuple[Due, ...]:
        weight = self._by_order("weight", 1.0, whole=False)
        out = []
        for one in self.top["due"].list() if "due" in self.top else ():
            row = one.table(("order", "batches", "at"))
            order, batches = row["order"].whole(0, self.orders - 1), row["batches"].whole(1)
            if batches > self.batches:
                true = f"the order has {self.batches} batches"
                raise BadValue(row["batches"].where, batches, true, "ask for no more than there are")
            out.append(Due(order, batches, row["at"].whole(0), weight[order]))
        return tuple(out)

    def _setups(self) -> dict[tuple[int, int], int]:
        out: dict[tuple[int, int], int] = {}
        for one in self.top["setup"].list() if "setup" in self.top else ():
            row = one.table(("from", "to", "units"))
            pair = (self._family(row["from"]), self._family(row["to"]))
            if pair in out:
                raise Clash(one.where, str(one.value)[:60], "the set-up stands twice", "keep one of them")
            out[pair] = row["units"].whole(0)
        return out

    def _family(self, value: Value) -> int:
        parts = value.list()
        if len(parts) != 2:
            raise BadValue(value.where, str(value.value)[:40], "a family is [order, stage]", "write both")
        return parts[0].whole(0, self.orders - 1) * len(self.stages) + self.stages.index(
            parts[1].one_of(self.stages, "stages")
        )

    def _store(self) -> tuple[Store | None, frozenset[str]]:
        if "store" not in self.top or self.top["store"].value is None:
            return None, frozenset()
        row = self.top["store"].table(("limit_batches", "after_stages"))
        stages = row["after_stages"].names(self.stages, "stages", least=0)
        places = row["limit_batches"].whole(0)
        if places < 1 and stages:
            true = "it has no place for one batch, and batches must lie in it"
            raise BadValue(row["limit_batches"].where, places, true, "give it places, or take the stages out")
        return Store(places), frozenset(stages)


def _spell(value: Value) -> Spell:
    ends = [one.whole(0) for one in value.list()]
    if len(ends) != 2 or ends[0] >= ends[1]:
        raise BadValue(value.where, value.value, "a spell is [from, to], to after from", "correct the two")
    return ends[0], ends[1]
