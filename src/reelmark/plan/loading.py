"""Orders and plant as the job shop that the planner solves: batches, hours, set-ups, store, people, dues.

Time is in units of half an hour from `begins`; durations and set-ups round up to whole units.
"""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from itertools import combinations
from math import ceil

from ..errors import BadValue, Clash, Problem
from ..jobs import Due, Job, JobShop, Level, Machine, Prices, Resource, Stage, Store
from ..order import Order
from ..plant import DAYS, MOST_OPERATIONS, Plant, PlantMachine, PlantStage, share_numbers
from .backward import Backward, StageNeed, backward
from .needs import hours_on
from .opening import at_unit, closed_of, end_of_day, joined, levels_of, maintenance_of

__all__ = ["UNIT_MIN", "begun", "checked", "job_shop", "loaded"]

UNIT_MIN = 30
MOST_DAYS = 366 * 3


def job_shop(orders: Sequence[Order], plant: Plant, begins: datetime, horizon_days: int) -> JobShop:
    """The shop of these orders.

    begins : now, with the zone of the works: nothing begins earlier, and hours and days are those of its clock
    horizon_days : calendars are written out so far, at most three years
    Clash where two orders' series could give the same number; BadValue for a delivery before `begins`, a store too
    small for one batch, too few people for a machine.
    """
    return loaded([backward(one, plant) for one in checked(orders, begins, horizon_days)], plant, begins, horizon_days)


def checked(orders: Sequence[Order], begins: datetime, horizon_days: int) -> Sequence[Order]:
    """The orders, if they can be planned together: each its own name, no number that could be of two."""
    if not orders:
        raise Problem("a plan", "there is no order to plan", "name one or more order files")
    if begins.tzinfo is None:
        raise BadValue("begins", begins.isoformat(), "it has no zone", "add the zone of the works, as +01:00")
    begun(begins)
    if not 1 <= horizon_days <= MOST_DAYS:
        raise BadValue("horizon_days", horizon_days, f"1 to {MOST_DAYS} days are planned", "give fewer, or more")
    names = [one.name for one in orders]
    for at, name in enumerate(names):
        if name in names[:at]:
            raise Clash("name", name, "two orders have that name", "give each its own")
    for one, other in combinations(orders, 2):
        _apart(one, other)
    return orders


def begun(begins: datetime) -> datetime:
    """The moment, if plans can begin then; BadValue where its day is out of reach."""
    if not DAYS[0] <= begins.date() <= DAYS[1]:
        true = f"plans begin from {DAYS[0]} to {DAYS[1]}"
        raise BadValue("begins", begins.isoformat(), true, "correct the year, as 2026-04-01T06:00")
    return begins


def _few(backs: Sequence[Backward], plant: Plant) -> None:
    """BadValue where the batches are more than can be scheduled."""
    many = sum(one.batches * len(one.stages) for one in backs)
    if many > MOST_OPERATIONS:
        batches = sum(one.batches for one in backs)
        true = f"that makes {batches:,} batches and {many:,} operations; a schedule has {MOST_OPERATIONS:,} at most"
        cure = "make the batch larger, or plan fewer orders at a time; what they need is told without a schedule"
        raise BadValue("plant.batch", plant.batch, true, cure)


def _apart(one: Order, other: Order) -> None:
    """Clash where a number could be of either order."""
    for mine in one.series:
        for theirs in other.series:
            if share_numbers(mine, theirs):
                true = f"a number of it could be one of {theirs.name} of order {other.name}"
                cure = "give one of the two another prefix, or other letters or digits"
                raise Clash(f"order {one.name}: series", mine.name, true, cure)


def loaded(backs: Sequence[Backward], plant: Plant, begins: datetime, horizon_days: int) -> JobShop:
    """The shop of orders whose way back is known; begins is put off to the next whole unit of the wall clock."""
    rest = timedelta(seconds=-(begins.minute * 60 + begins.second) % (UNIT_MIN * 60), microseconds=-begins.microsecond)
    begins = (begins.astimezone(UTC) + rest).astimezone(begins.tzinfo)  # through UTC: never back when the clocks change
    _few(backs, plant)
    units = horizon_days * 24 * 60 // UNIT_MIN
    families = _Families()
    jobs = tuple(_job(one, plant, families) for one in backs)
    people = Resource("people", levels_of(plant.shifts, begins, units, UNIT_MIN)) if plant.shifts else None
    levels = people.levels if people else ()
    if people:
        _enough(plant, max(one.amount for one in levels))
    return JobShop(
        UNIT_MIN,
        tuple(_machine(one, plant, levels, begins, units) for one in plant.machines),
        jobs,
        dues=tuple(due for j, one in enumerate(backs) for due in _dues(j, one, plant, begins)),
        setups=families.setups(),
        store=_store(backs, plant),
        resources=(people,) if people else (),
        prices=_prices(plant),
        horizon=units,
        setups_open=True,
        families=tuple(families.names),
        begins=begins.isoformat(),
    )


def _names(plant: Plant) -> list[str]:
    return [one.name for one in plant.machines]


def _machine(one: PlantMachine, plant: Plant, levels: Sequence[Level], begins: datetime, units: int) -> Machine:
    """Closed outside its calendar, and while fewer people are there than it needs."""
    closed = closed_of(plant.calendar(one.calendar), begins, units, UNIT_MIN)
    ends = [*(level.begins for level in levels[1:]), units]
    without = [(level.begins, end) for level, end in zip(levels, ends, strict=False) if level.amount < one.people]
    kept = maintenance_of(one.maintenance, begins, units, UNIT_MIN)
    return Machine(one.name, tuple(joined([*closed, *without])), kept)


class _Families:
    """What machines are set up for, numbered as they come; a set-up takes what the stage that follows asks."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self._on: list[frozenset[str]] = []
        self._units: list[int] = []

    def of(self, order: Order, stage: PlantStage) -> int:
        name = f"{order.name}, {stage.name}" if stage.family == "order" else stage.name
        if name not in self.names:
            self.names.append(name)
            self._on.append(frozenset(stage.machines))
            self._units.append(ceil(stage.setup * 60 / UNIT_MIN))
        return self.names.index(name)

    def setups(self) -> dict[tuple[int, int], int]:
        """Units from one family to another, where they meet on a machine."""
        every = range(len(self.names))
        return {
            (a, b): self._units[b] for a in every for b in every
            if a != b and self._units[b] and self._on[a] & self._on[b]
        }  # fmt: skip


def _job(back: Backward, plant: Plant, families: _Families) -> Job:
    stages = tuple(_stage(one, back, plant, families) for one in back.stages)
    return Job(back.order.name, stages, back.batches)


def _stage(need: StageNeed, back: Backward, plant: Plant, families: _Families) -> Stage:
    """A stage of one batch: its even share of what runs, make-ready and whole rolls counted with it."""
    stage, share = need.stage, -(-need.into // back.batches)
    on = tuple(
        (_names(plant).index(name), _units(hours_on(plant.machine(name), share, stage, back.order)))
        for name in stage.machines
    )
    people = max(plant.machine(name).people for name in stage.machines)
    least = _units(stage.least_wait) if stage.least_wait else 0
    return Stage(
        stage.name, on, families.of(back.order, stage), least,
        None if stage.most_wait is None else max(least, int(stage.most_wait * 60 // UNIT_MIN)), stage.stored,
        ((0, people),) if people and plant.shifts else (),
    )  # fmt: skip


def _units(hours: float) -> int:
    return max(1, ceil(hours * 60 / UNIT_MIN - 1e-9))


def _enough(plant: Plant, most: int) -> None:
    """BadValue where a machine asks for more people than any shift has."""
    for one in plant.machines:
        if one.people > most:
            true = f"at most {most} are there at any time"
            raise BadValue(f"{one.name}: people", one.people, true, "add people to a shift, or correct the machine")


def _store(backs: Sequence[Backward], plant: Plant) -> Store | None:
    """Places for the largest batch."""
    if plant.store is None:
        return None
    largest = max(_stored(one) for one in backs)
    places = plant.store // largest if largest else 0
    if largest and places < 1:
        true = f"one batch is {largest:,} sheets"
        raise BadValue("plant.store", f"{plant.store:,} sheets", true, "make the store larger, or the batch smaller")
    return Store(places) if largest else None


def _stored(back: Backward) -> int:
    """Most sheets of a batch that lie in the store after any stage."""
    return max((-(-one.out // back.batches) for one in back.stages if one.stage.stored), default=0)


def _dues(job: int, back: Backward, plant: Plant, begins: datetime) -> list[Due]:
    """A due for every delivery: the batches that hold all notes up to it, by the end of the day's working time."""
    last = plant.calendar(plant.machine(plant.stages[-1].machines[0]).calendar)
    found, notes = [], 0
    for delivery in sorted(back.order.deliveries, key=lambda one: one.by):
        notes += delivery.notes
        at = at_unit(end_of_day(date.fromisoformat(delivery.by), last, begins), begins, UNIT_MIN, up=False)
        if at <= 0:
            late = timedelta(minutes=-at * UNIT_MIN)
            true = f"that day's work ends {late.total_seconds() / 3600:g} h before the plan begins"
            raise BadValue(f"order {back.order.name}: by", delivery.by, true, "move the delivery, or begin earlier")
        found.append(Due(job, min(back.batches, max(1, -(-notes * back.batches // back.notes))), at))
    return found


def _prices(plant: Plant) -> Prices:
    one = plant.prices
    return Prices(one.late, one.setup, one.span, one.store, one.wait, one.moved)
