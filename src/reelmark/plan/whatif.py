"""What if: the question changed in one point, and two plans side by side.

    other = machine_more(shop, "relief press")             one of its kind more, on every stage that it does
    other = shift_less(shop, "relief press", week(shop, first, units))
    plant = yield_better(plant, "relief front", 0.01)
    told = compare(planned, other_plan)                    dates, cost, set-ups, load, moved operations

Each gives a new value and changes nothing; the same question asked twice is the same question.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from ..errors import BadValue, Clash, NotThere
from ..jobs import Due, Job, JobShop, Machine, Schedule, Spell, Stage
from ..plant import Plant
from .check_time import overlap
from .deliveries import Delivered, deliveries, priced
from .freeze import machine_number
from .makeup import without_job
from .matched import moved
from .opening import joined
from .planned import Planned

__all__ = [
    "Compared", "Load", "compare", "loads", "machine_more", "shift_less", "shift_more", "week", "with_order",
    "without_order", "yield_better",
]  # fmt: skip


def machine_more(shop: JobShop, machine: str) -> JobShop:
    """One more of the same kind, calendar and speed, set up for nothing yet."""
    number = machine_number(shop, machine)
    names = {one.name for one in shop.machines}
    name = next(f"{machine} {n}" for n in range(2, len(names) + 3) if f"{machine} {n}" not in names)
    more = replace(shop.machines[number], name=name, family=None)

    def widened(stage: Stage) -> Stage:
        extra = tuple((len(shop.machines), units) for m, units in stage.on if m == number)
        return replace(stage, on=stage.on + extra)

    jobs = tuple(replace(job, stages=tuple(widened(one) for one in job.stages)) for job in shop.jobs)
    return replace(shop, machines=(*shop.machines, more), jobs=jobs)


def week(shop: JobShop, first: int, units: int) -> tuple[Spell, ...]:
    """So many units from `first` on, week after week up to the horizon."""
    step = 7 * 24 * 60 // shop.unit_min
    if units < 1 or not 0 <= first < max(1, shop.horizon) or units > step:
        true = f"a shift lasts 1 to {step} units and begins within the plan's {shop.horizon}"
        raise BadValue("first, units", (first, units), true, "give when the first begins, and its units")
    return tuple((at, min(at + units, shop.horizon)) for at in range(first, shop.horizon, step))


def shift_less(shop: JobShop, machine: str, spells: Iterable[Spell]) -> JobShop:
    """The machine closed in these spells too."""
    number = machine_number(shop, machine)
    one = shop.machines[number]
    return _with(shop, number, replace(one, closed=tuple(joined([*one.closed, *spells]))))


def shift_more(shop: JobShop, machine: str, spells: Iterable[Spell]) -> JobShop:
    """The machine open in these spells.  Its crew's hours and rest are settled first; levels of people stay."""
    number = machine_number(shop, machine)
    closed = list(shop.machines[number].closed)
    for begin, end in spells:
        cut = [part for a, b in closed for part in ((a, min(b, begin)), (max(a, end), b))]
        closed = [(a, b) for a, b in cut if a < b]
    return _with(shop, number, replace(shop.machines[number], closed=tuple(closed)))


def _with(shop: JobShop, number: int, machine: Machine) -> JobShop:
    return replace(shop, machines=(*shop.machines[:number], machine, *shop.machines[number + 1 :]))


def with_order(
    shop: JobShop, job: Job, dues: Iterable[Due] = (), setups: Mapping[tuple[int, int], int] | None = None
) -> JobShop:
    """One order more.  dues : of the new job, whatever job number they bear;  setups : pairs with its families."""
    if job.name in [one.name for one in shop.jobs]:
        raise Clash("order", job.name, "the plan has one of that name", "give it its own name")
    for stage in job.stages:
        for m, _ in stage.on:
            if not 0 <= m < len(shop.machines):
                raise NotThere(f"{stage.name}: machine", m, f"there are {len(shop.machines)}", "number them from 0")
    last = len(shop.jobs)
    more = tuple(replace(one, job=last) for one in dues)
    pairs = dict(shop.setups) | dict(setups or {})
    return replace(shop, jobs=(*shop.jobs, job), dues=(*shop.dues, *more), setups=pairs)


def without_order(shop: JobShop, name: str) -> JobShop:
    """One order less."""
    if name not in [one.name for one in shop.jobs]:
        raise NotThere("order", name, f"the plan has {', '.join(one.name for one in shop.jobs)}", "name one of these")
    return without_job(shop, name)


def yield_better(plant: Plant, stage: str, by: float) -> Plant:
    """The plant with the mean good share of a stage higher by `by` (negative: lower); batches vary as before."""
    names = [one.name for one in plant.stages]
    if stage not in names:
        raise NotThere("stage", stage, f"the route has {', '.join(names)}", "name one of these")
    one = plant.stages[names.index(stage)]
    mean = one.good.mean + by
    if not 0 < mean <= 1:
        true = f"{stage} gives {one.good.mean:g} good, and would give {mean:g}"
        raise BadValue("by", by, true, "stay above 0 and at 1 at most")
    better = replace(one, good=replace(one.good, mean=mean))
    return replace(plant, stages=tuple(better if other is one else other for other in plant.stages))


@dataclass(frozen=True, slots=True)
class Load:
    """A machine from the plan's begin to its last end.  work_h : at work;  open_h : open, maintenance left out."""

    machine: str
    work_h: float
    open_h: float

    @property
    def share(self) -> float:
        """Of the open time; 0 where it never opens."""
        return self.work_h / self.open_h if self.open_h else 0.0


def loads(shop: JobShop, schedule: Schedule) -> tuple[Load, ...]:
    """Of every machine.  The one with the highest share is the bottleneck."""
    span = max(schedule.end, default=0)
    work: Counter[int] = Counter()
    for number, m in enumerate(schedule.machine):
        work[m] += dict(shop.stage(number).on).get(m, 0)
    return tuple(
        Load(one.name, work[m] * shop.hours, (span - _shut(one, span)) * shop.hours)
        for m, one in enumerate(shop.machines)
    )


def _shut(machine: Machine, span: int) -> int:
    return sum(overlap(one, (0, span)) for one in joined([*machine.closed, *machine.maintenance]))


@dataclass(frozen=True, slots=True)
class Compared:
    """Two plans side by side, the first and the second of each pair.

    deliveries : of either; None where a plan has none;  loads : by machine, as the second has them first
    moved : operations of the second that the first has elsewhere
    """

    deliveries: tuple[tuple[Delivered | None, Delivered | None], ...]
    cost: tuple[float, float]
    late_h: tuple[float, float]
    setup_h: tuple[float, float]
    span_h: tuple[float, float]
    loads: tuple[tuple[str, float | None, float | None], ...]
    moved: int


def compare(one: Planned, other: Planned) -> Compared:
    """The two side by side.  Costs are by the independent checker, breaches among them, at each plan's own prices."""
    sides = [{x.key: x for x in deliveries(p.shop, p.schedule)} for p in (one, other)]
    costs = [priced(p.shop, p.schedule) for p in (one, other)]
    load = [{x.machine: x.share for x in loads(p.shop, p.schedule)} for p in (one, other)]

    def both(name: str) -> tuple[float, float]:
        return tuple(float(getattr(cost, name)) for cost in costs)  # type: ignore[return-value]

    return Compared(
        tuple((sides[0].get(key), sides[1].get(key)) for key in sorted({*sides[0], *sides[1]})),
        both("cost"), both("late_h"), both("setup_h"), both("span_h"),
        tuple((name, load[0].get(name), load[1].get(name)) for name in dict.fromkeys([*load[1], *load[0]])),
        len(moved(one, other.shop, other.schedule)),
    )  # fmt: skip
