"""From the journal to the dates: a mark on the film, the notes it holds, what they lack, and the day of delivery.

    drift = drifted(reading, planned, plant, search=search)
    drift.after.planned.says        each new date, and why

`facts_of` says where the order stands; `drifted` moves the plan by it.  Times are the records' own; `now` is the time
of the last record unless another is given.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime
from math import floor
from typing import Any

from ..errors import BadValue, NotThere
from ..jobs import JobShop
from ..plan.backward import backward
from ..plan.deliveries import MAKE_UP, Delivered
from ..plan.drift import Replanned, Search, replan
from ..plan.freeze import Facts
from ..plan.makeup import Shortfall, make_up_job, shortfall, with_make_up, without_job
from ..plan.matched import Row
from ..plan.planned import Planned
from ..plant import Plant
from ..reading import Reading
from ..spans import Extent
from .plan_counts import Counts
from .plan_facts import HOLDING, expected, passed, touched
from .plan_losses import Loss, held_in_books, mark_loss, marks_held

__all__ = ["Drift", "Standing", "drifted", "facts_of"]

MOST_SAID = 8


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


@dataclass(frozen=True, slots=True)
class Drift:
    """The plan after what the journal tells."""

    standing: Standing
    short: Shortfall
    after: Replanned

    def as_dict(self) -> dict[str, Any]:
        """As JSON takes it."""
        one, planned, shop = self.after, self.after.planned, self.after.planned.shop
        losses = [
            {"why": x.why, "entry": x.entry, "metres": x.metres, "sheets": x.sheets, "notes": x.notes}
            for x in self.standing.losses
        ]
        return {
            "entries": self.standing.entries, "now": planned.moment(self.standing.now).isoformat(),
            "done": list(self.standing.done), "good_notes": self.standing.good, "surplus_notes": self.short.surplus,
            "short_notes": self.short.notes, "losses": losses,
            "deliveries": [_delivery(planned, was, now) for was, now in one.was],
            "cost": one.cost.cost, "cost_pushed": one.pushed, "searched": one.searched, "moved": len(one.moved),
            "breaches": [{"what": x.text, "hours": x.size, "kind": x.kind} for x in one.cost.breaches],
            "frozen": len(planned.frozen), "operations": len(shop.operations), "says": list(planned.says),
        }  # fmt: skip


def _delivery(planned: Planned, was: Delivered, now: Delivered) -> dict[str, Any]:
    return {
        "order": now.order, "delivery": now.number, "due": planned.moment(now.due).isoformat(),
        "ready_before": planned.moment(was.ready).isoformat(), "ready": planned.moment(now.ready).isoformat(),
        "late_h": now.late * planned.shop.hours,
    }  # fmt: skip


def drifted(
    reading: Reading,
    planned: Planned,
    plant: Plant,
    *,
    now: datetime | None = None,
    frozen_h: float = 24.0,
    search: Search | None = None,
    holding: Collection[str] = HOLDING,
    since: int = 0,
) -> Drift:
    """The plan moved by the journal of one of its orders; other orders are taken to run as planned.

    frozen_h : hours from now in which nothing is moved that was to begin
    search : see `plan.drift.replan`;  holding : grades of marks that take material out
    since : losses from this entry of the journal on are named one by one
    """
    standing = facts_of(reading, planned, plant, now=now, holding=holding)
    order, horizon = reading.order, round(frozen_h / planned.shop.hours)
    short = shortfall(standing.wanted, standing.good, _batches(planned.shop, order.name))
    begun = _making_up(planned, order.name, standing.now)
    shop = planned.shop if begun else without_job(planned.shop, order.name + MAKE_UP)
    job = None
    if short.notes and not begun:
        job = make_up_job(shop, order, plant, planned.begins, short.notes, standing.now + horizon)
    after = replan(
        planned, standing.now, shop=with_make_up(shop, order.name, short, job), actual=standing.actual,
        horizon=horizon, search=search, causes=_causes(standing, short, since, begun),
    )  # fmt: skip
    return Drift(standing, short, after)


def _batches(shop: JobShop, order: str) -> int:
    names = [one.name for one in shop.jobs]
    if order not in names:
        raise NotThere("order", order, f"the plan has {', '.join(names)}", "plan the order first, or name its own plan")
    return shop.jobs[names.index(order)].batches


def _making_up(planned: Planned, order: str, now: int) -> bool:
    """Has a make-up batch of the order begun?  It is then left as it is, and taken to give what was lacking."""
    names = [one.name for one in planned.shop.jobs]
    if order + MAKE_UP not in names:
        return False
    return planned.schedule.start[planned.shop.number(names.index(order + MAKE_UP), 0, 0)] < now


def _causes(standing: Standing, short: Shortfall, since: int, begun: bool) -> list[str]:
    told = sorted((one for one in standing.losses if one.entry >= since), key=lambda one: -one.notes)
    lines = [one.words for one in told[:MOST_SAID]]
    if len(told) > MOST_SAID:
        lines.append(f"and {sum(one.notes for one in told[MOST_SAID:]):,} notes held by {len(told) - MOST_SAID} more")
    if begun:
        return [*lines, "a make-up batch is under way"]
    if short.notes:
        return [*lines, f"{short.good:,} good notes are to be expected of {short.wanted[-1]:,}: "
                        f"a make-up batch of {short.notes:,} notes"]  # fmt: skip
    if lines:
        lines.append(f"surplus of {short.surplus:,} notes covers it: no date moves")
    return lines


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
    batches = _batches(planned.shop, reading.order.name)
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
        reading.size, unit, counts.actual() | _others(planned, counts.job, unit), tuple(counts.done),
        expected(reading, plant, back, told, lost, complete), sums, tuple(one for one in losses if one.notes),
    )  # fmt: skip


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
