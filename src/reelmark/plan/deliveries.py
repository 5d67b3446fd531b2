"""When each delivery of a plan is ready, make-up batches included; and what the plan costs and breaks."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from ..jobs import JobShop, Schedule
from .check import Violation, check
from .planned import Planned

__all__ = ["MAKE_UP", "Delivered", "Priced", "deliveries", "hours_text", "moment_text", "parent", "priced"]

MAKE_UP = " make-up"  # a job of that name belongs to the order named before it
BREACHES = {"store": "store", "wait long": "wait"}  # what is priced and named; all else must not be


@dataclass(frozen=True, slots=True)
class Delivered:
    """A delivery.  number : of its order, from 1, in the order of days;  due, ready : units;  last : the operation
    that makes it ready;  batches : of the order that it waits for"""

    order: str
    number: int
    due: int
    ready: int
    last: int
    batches: int

    @property
    def late(self) -> int:
        """Units."""
        return max(0, self.ready - self.due)

    @property
    def key(self) -> tuple[str, int]:
        """The same in every plan of the order."""
        return self.order, self.number


@dataclass(frozen=True, slots=True)
class Priced:
    """What a plan costs.  breaches : of the store and of longest waits, in `cost` at the shop's prices;  faults : what
    can not be at all, that is not among what is frozen"""

    cost: float
    late_h: float
    setup_h: float
    span_h: float
    breaches: tuple[Violation, ...]
    faults: tuple[Violation, ...]

    def words(self, shop: JobShop) -> tuple[str, ...]:
        """Each breach with its price."""
        price = {"store": shop.prices.store, "wait long": shop.prices.wait}
        return tuple(
            f"{one.text}: {one.size:g} h beyond, priced at {one.size * price[one.kind]:,.0f}" for one in self.breaches
        )


def parent(name: str) -> str:
    """The order a job belongs to."""
    return name.removesuffix(MAKE_UP)


def deliveries(shop: JobShop, schedule: Schedule) -> tuple[Delivered, ...]:
    """Every due line of an order, ready when its batches and those made up for it are."""
    lines: dict[str, list[tuple[int, int, int, int]]] = {}
    extra: dict[tuple[str, int], tuple[int, int]] = {}
    for due in shop.dues:
        name = shop.jobs[due.job].name
        ready, last = _ready(shop, schedule, due.job, due.batches)
        if name == parent(name):
            lines.setdefault(name, []).append((due.at, due.batches, ready, last))
        else:
            extra[parent(name), due.at] = max((ready, last), extra.get((parent(name), due.at), (ready, last)))
    return tuple(
        Delivered(name, number, at, *max((ready, last), extra.get((name, at), (ready, last))), batches)
        for name, rows in lines.items()
        for number, (at, batches, ready, last) in enumerate(sorted(rows), 1)
    )


def _ready(shop: JobShop, schedule: Schedule, job: int, batches: int) -> tuple[int, int]:
    """(when so many batches have ended, the operation that ends last)."""
    stage = len(shop.jobs[job].stages) - 1
    numbers = [shop.number(job, b, stage) for b in range(shop.jobs[job].batches)]
    ends = sorted((schedule.end[number], number) for number in numbers)
    return ends[batches - 1]


def priced(shop: JobShop, schedule: Schedule, frozen: Collection[int] = ()) -> Priced:
    """The cost by the independent checker, breaches at their prices.

    What concerns frozen operations alone is a fact and is neither priced nor a fault: no plan can mend it.
    """
    looked, still = check(shop, schedule), set(frozen)
    ours = [one for one in looked.violations if not one.operations or not _ends(shop, one) <= still]
    breaches = tuple(one for one in ours if one.kind in BREACHES)
    beyond = sum(one.size * float(getattr(shop.prices, BREACHES[one.kind])) for one in breaches)
    faults = tuple(one for one in ours if one.kind not in BREACHES)
    return Priced(looked.cost + beyond, looked.late_h, looked.setup_h, looked.span_h, breaches, faults)


def _ends(shop: JobShop, one: Violation) -> set[int]:
    """The operations that make it one: what lies in the store lies there until its next stage takes it."""
    if one.kind != "store":
        return set(one.operations)
    lasts = {i for i in one.operations if shop.operations[i].stage == len(shop.jobs[shop.operations[i].job].stages) - 1}
    return {i + 1 for i in set(one.operations) - lasts} | lasts


def moment_text(planned: Planned, unit: int) -> str:
    """Day and time, as a person writes it.

    >>> from datetime import UTC
    >>> _text(datetime(2026, 7, 14, 16, 30, tzinfo=UTC))
    '14 Jul 16:30'
    """
    return _text(planned.moment(unit))


_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def _text(when: datetime) -> str:
    return f"{when.day} {_MONTHS[when.month - 1]} {when:%H:%M}"


def hours_text(shop: JobShop, units: float) -> str:
    """So many units in hours."""
    return f"{units * shop.hours:g} h"


def same(before: Iterable[Delivered], after: Iterable[Delivered]) -> list[tuple[Delivered, Delivered]]:
    """Deliveries of both, by order and number, as the second has them."""
    known = {one.key: one for one in before}
    return [(known[one.key], one) for one in after if one.key in known]
