"""From the journal to the dates: a mark on the film, the notes it holds, what they lack, and the day of delivery.

    drift = drifted(reading, planned, plant, search=search)
    drift.after.planned.says        each new date, and why

`facts_of` says where the order stands; `drifted` moves the plan by it.  Times are the records' own; `now` is the time
of the last record unless another is given.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ..order import Order
from ..plan.deliveries import MAKE_UP, Delivered
from ..plan.drift import Replanned, Search, replan
from ..plan.makeup import Shortfall, make_up_job, shortfall, with_make_up, without_job
from ..plan.planned import Planned
from ..plant import Plant
from ..reading import Reading
from .plan_facts import HOLDING
from .plan_standing import Standing, batches_of, facts_of

__all__ = ["Drift", "Standing", "drifted", "drifted_from", "facts_of"]

MOST_SAID = 8


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
    return drifted_from(standing, reading.order, planned, plant, frozen_h=frozen_h, search=search, since=since)


def drifted_from(
    standing: Standing,
    order: Order,
    planned: Planned,
    plant: Plant,
    *,
    frozen_h: float = 24.0,
    search: Search | None = None,
    since: int = 0,
) -> Drift:
    """The same where the order's standing is known already: the journal is not looked at any more."""
    horizon = round(frozen_h / planned.shop.hours)
    short = shortfall(standing.wanted, standing.good, batches_of(planned.shop, order.name))
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
