"""The job shop as a planner sees it: orders of batches that pass stages on machines with calendars.

Time is counted in whole units (`unit_min` minutes each) from `JobShop.begins`.  Nothing here solves: `JobShop` is the
question, `Schedule` an answer, and everything in `plan` reads the one and makes or checks the other.

    shop.operations             every operation, order by order, batch by batch, stage by stage
    Schedule(machine, start, end)   one entry an operation, in that order
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

from .errors import BadValue

__all__ = [
    "ANYWHERE",
    "Due",
    "Job",
    "JobShop",
    "Level",
    "Machine",
    "Operation",
    "Prices",
    "Resource",
    "Schedule",
    "Spell",
    "Stage",
    "Store",
]

Spell = tuple[int, int]  # units, half open
ANYWHERE = -1  # in Stage.on: the stage needs no machine, only resources


@dataclass(frozen=True, slots=True)
class Machine:
    """A machine: when it is closed (work rests and goes on afterwards), when it is maintained (no work may reach over
    it), and the family it is set up for when the plan begins (None: the first set-up costs nothing)."""

    name: str
    closed: tuple[Spell, ...] = ()
    maintenance: tuple[Spell, ...] = ()
    family: int | None = None


@dataclass(frozen=True, slots=True)
class Stage:
    """A step of an order's way.

    on : (machine, units of open time a batch takes there), one entry an alternative
    family : what the machine is set up for; the same number needs no set-up between
    least_wait, most_wait : units from the end of this stage to the start of the next (None: as long as you like)
    stored : between this stage and the next a batch lies in the secure store
    uses : (resource, amount) held while it runs: from start to end less the hours its machine is closed
    after : the stages of the same batch that come before, by number (None: the one before); their waits hold for each
    """

    name: str
    on: tuple[tuple[int, int], ...]
    family: int
    least_wait: int = 0
    most_wait: int | None = None
    stored: bool = False
    uses: tuple[tuple[int, int], ...] = ()
    after: tuple[int, ...] | None = None


@dataclass(frozen=True, slots=True)
class Job:
    """An order: so many alike batches over the same stages, none before `release`."""

    name: str
    stages: tuple[Stage, ...]
    batches: int = 1
    release: int = 0


@dataclass(frozen=True, slots=True)
class Due:
    """The first `batches` batches of a job to end their last stage are wanted at `at`; `weight` prices lateness."""

    job: int
    batches: int
    at: int
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Store:
    """Room for so many batches between stored stages and their next."""

    places: int


@dataclass(frozen=True, slots=True)
class Level:
    """So many of a resource from `begins` on, until the next level begins."""

    begins: int
    amount: int


@dataclass(frozen=True, slots=True)
class Resource:
    """What operations share that is no machine: the people of a shift.  levels : in order, the first from 0."""

    name: str
    levels: tuple[Level, ...]


@dataclass(frozen=True, slots=True)
class Prices:
    """What an hour costs: late (times the due's weight), of set-up, of the whole plan; and breaches, where allowed.

    store : each hour that a batch stands where there is no place;  wait : each hour beyond a longest wait
    moved : each operation that a new plan moves or puts on another machine
    """

    late: float = 10.0
    setup: float = 5.0
    span: float = 1.0
    store: float = 200.0
    wait: float = 200.0
    moved: float = 0.0


class Operation(NamedTuple):
    """Which operation: job, batch and stage, each from 0."""

    job: int
    batch: int
    stage: int


@dataclass(frozen=True)
class JobShop:
    """The question.

    setups : (family before, family after) -> units; pairs that are absent need none
    setups_open : a set-up needs the machine open (people do it); else it may run while the machine is closed
    """

    unit_min: int
    machines: tuple[Machine, ...]
    jobs: tuple[Job, ...]
    dues: tuple[Due, ...] = ()
    setups: Mapping[tuple[int, int], int] = field(default_factory=dict)
    store: Store | None = None
    resources: tuple[Resource, ...] = ()
    prices: Prices = Prices()
    horizon: int = 0
    setups_open: bool = False
    families: tuple[str, ...] = ()
    begins: str = ""

    def __post_init__(self) -> None:
        for job in self.jobs:
            if not job.stages or job.batches < 1:
                true = f"{len(job.stages)} stages, {job.batches} batches"
                raise BadValue(f"job {job.name}", true, "a job has at least one of each", "give its stages and batches")
            for stage in job.stages:
                if not stage.on:
                    raise BadValue(
                        f"{job.name}, {stage.name}", "no machine", "nothing can do this stage", "name a machine for it"
                    )

    @cached_property
    def operations(self) -> tuple[Operation, ...]:
        """Every operation; the place in this tuple is the operation's number."""
        return tuple(
            Operation(j, b, s)
            for j, job in enumerate(self.jobs)
            for b in range(job.batches)
            for s in range(len(job.stages))
        )

    @cached_property
    def first(self) -> tuple[int, ...]:
        """Number of the first operation of each job."""
        total, out = 0, []
        for job in self.jobs:
            out.append(total)
            total += job.batches * len(job.stages)
        return tuple(out)

    def number(self, job: int, batch: int, stage: int) -> int:
        """The operation's number."""
        return self.first[job] + batch * len(self.jobs[job].stages) + stage

    def stage(self, number: int) -> Stage:
        """The stage an operation belongs to."""
        job, _, stage = self.operations[number]
        return self.jobs[job].stages[stage]

    @property
    def hours(self) -> float:
        """Hours in a unit."""
        return self.unit_min / 60


@dataclass(frozen=True, slots=True)
class Schedule:
    """An answer: machine, start and end (units, half open) of each operation, by its number."""

    machine: tuple[int, ...]
    start: tuple[int, ...]
    end: tuple[int, ...]
