"""Where an order stands by its journal, against its plan."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from math import floor

from ..errors import BadValue, NotThere
from ..jobs import JobShop
from ..plan.backward import backward
from ..plan.freeze import Facts
from ..plan.matched import Row
from ..plan.planned import Planned
from ..plant import Plant
from ..reading import Reading
from ..spans import Extent
from .plan_counts import Counts
from .plan_facts import HOLDING, expected, passed, touched
from .plan_losses import Loss, held_in_books, mark_loss, marks_held

__all__ = ["Standing", "batches_of", "facts_of"]


@dataclass(frozen=True, slots=True)
class Standing:
    """Where an order stands by its journal.

    entries : of the journal;  now : unit of the plan;  actual : see `plan.freeze.start_of`
    done : batches by stage of the plan;  good : notes to be expected, what is held left out
    wanted : notes, cumulative, a delivery each;  losses : what is held
    """

    entries: int
    now: int
    actual: Facts
    done: tuple[int, ...]
    good: int
    wanted: tuple[int, ...]
    losses: tuple[Loss, ...]


def batches_of(shop: JobShop, order: str) -> int:
    """Of an order in a plan; NotThere where it has none of that name."""
    names = [one.name for one in shop.jobs]
    if order not in names:
        raise NotThere("order", order, f"the plan has {', '.join(names)}", "plan the order first, or name its own plan")
    return shop.jobs[names.index(order)].batches


def facts_of(
    reading: Reading,
    planned: Planned,
    plant: Plant,
    *,
    now: datetime | None = None,
    holding: Collection[str] = HOLDING,
) -> Standing:
    """Where the order of the journal stands against its plan.

    A batch is done at a stage when what passed it, less the mean losses still to come, gives that batch's share of the
    notes ordered.  NotThere for an order that the plan does not have; BadValue before the plan begins.
    """
    batches = batches_of(planned.shop, reading.order.name)
    unit = _unit(planned, now or max((one.at for one in reading.records), default=planned.begins))
    back, told = backward(reading.order, plant), passed(reading, plant)
    counts = Counts(planned, back, told, batches, unit)
    marks = marks_held(reading, holding)
    lost = touched(reading, Extent([item for one in marks for item in one.extent.items()])) if marks else Extent()
    losses = [mark_loss(reading, one) for one in marks] + list(held_in_books(reading))
    complete = counts.done[0] == batches
    wanted = 0
    sums = tuple(wanted := wanted + one.notes for one in sorted(reading.order.deliveries, key=lambda one: one.by))
    return Standing(
        reading.size, unit, _within(counts.actual()) | _others(planned, counts.job, unit), tuple(counts.done),
        expected(reading, plant, back, told, lost, complete), sums, tuple(one for one in losses if one.notes),
    )  # fmt: skip


def _within(facts: dict[int, Row]) -> dict[int, Row]:
    """What was done before the plan begins is put at its begin: a plan has no times before."""
    return {number: (m, max(0, begin), max(1, end)) for number, (m, begin, end) in facts.items()}


def _unit(planned: Planned, now: datetime) -> int:
    if now.tzinfo is None:
        raise BadValue("now", now.isoformat(), "it has no zone", "add the zone of the works, as +01:00")
    minutes = (now.astimezone(UTC) - planned.begins.astimezone(UTC)).total_seconds() / 60
    unit = floor(minutes / planned.shop.unit_min)
    if unit < 0:
        true = f"the plan begins at {planned.begins.isoformat()}"
        raise BadValue("now", now.isoformat(), true, "give a later moment, or take the plan of that time")
    return unit


def _others(planned: Planned, job: int, now: int) -> dict[int, Row]:
    """Operations of other orders begun before now, as planned."""
    at = planned.schedule
    return {
        number: (at.machine[number], at.start[number], at.end[number])
        for number, one in enumerate(planned.shop.operations) if one.job != job and at.start[number] < now
    }  # fmt: skip
