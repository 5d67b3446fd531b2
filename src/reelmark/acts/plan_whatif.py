"""Two plans side by side, and a quote, as the pages and commands show them.

side_by_side(planned, other)                      deliveries, cost, set-ups, load, moved operations
other = what_if(planned, shop, search=search)     the plan of a changed question
offer(planned, order, plant, search=search)       when another order could be ready, and what it costs
"""

from dataclasses import replace
from datetime import timedelta
from math import ceil
from typing import Any

from ..errors import Clash
from ..jobs import JobShop, Stage
from ..order import Order
from ..plan.deliveries import Delivered
from ..plan.drift import Search, replan
from ..plan.loading import checked, job_shop
from ..plan.planned import Planned
from ..plan.quote import quote
from ..plan.whatif import compare, with_order
from ..plant import Plant

__all__ = ["offer", "order_in", "side_by_side", "what_if"]


def what_if(planned: Planned, shop: JobShop, *, now: int = 0, frozen_h: float = 0.0, search: Search) -> Planned:
    """The plan of a changed question (see `plan.whatif`), from the plan that is: what began before now stays."""
    horizon = round(frozen_h / shop.hours)
    return replan(planned, now, shop=shop, horizon=horizon, search=search, always=True).planned


def side_by_side(one: Planned, other: Planned) -> dict[str, Any]:
    """As JSON takes it; of every pair the first is of `one`.  load : busy share of open time up to the last end."""
    found = compare(one, other)
    return {
        "deliveries": [_pair(one, a, other, b) for a, b in found.deliveries],
        "cost": list(found.cost), "late_h": list(found.late_h), "setup_h": list(found.setup_h),
        "span_h": list(found.span_h), "moved": found.moved,
        "load": [{"machine": name, "before": a, "after": b} for name, a, b in found.loads],
    }  # fmt: skip


def _pair(one: Planned, a: Delivered | None, other: Planned, b: Delivered | None) -> dict[str, Any]:
    known = b or a
    assert known is not None
    ready = [p.moment(x.ready) if x else None for p, x in ((one, a), (other, b))]
    shift = (ready[1] - ready[0]) / timedelta(hours=1) if ready[0] and ready[1] else None
    return {
        "order": known.order, "delivery": known.number,
        "due": (other if b else one).moment(known.due).isoformat(),
        "ready": [when.isoformat() if when else None for when in ready],
        "late_h": [x.late * p.shop.hours if x else None for p, x in ((one, a), (other, b))], "shift_h": shift,
    }  # fmt: skip


def order_in(planned: Planned, order: Order, plant: Plant) -> JobShop:
    """The plan's question with an order more: its set-ups beside those there, its dues as it asks.

    Clash where the plan has an order of that name.  Series that could give the same number are not seen here: plan all
    orders together before the new one is accepted.
    """
    shop = planned.shop
    if order.name in [one.name for one in shop.jobs]:
        raise Clash("order", order.name, "the plan has one of that name", "give it its own name")
    days = max(1, shop.horizon * shop.unit_min // 1440)
    alone = job_shop(checked([order], planned.begins, days), plant, planned.begins, days)
    names = list(dict.fromkeys([*shop.families, *alone.families]))
    job = alone.jobs[0]
    stages = tuple(replace(one, family=names.index(alone.families[one.family])) for one in job.stages)
    joined = with_order(shop, replace(job, stages=stages), alone.dues, _setups(shop, plant, names, stages))
    return replace(joined, families=tuple(names))


def _setups(shop: JobShop, plant: Plant, names: list[str], stages: tuple[Stage, ...]) -> dict[tuple[int, int], int]:
    """Between families that share a machine, one of them of the new order: what the stage that follows asks."""
    units = [ceil(_setup(plant, name) * 60 / shop.unit_min) for name in names]
    on: dict[int, set[int]] = {}
    for stage in (*(one for job in shop.jobs for one in job.stages), *stages):
        on.setdefault(stage.family, set()).update(m for m, _ in stage.on)
    mine = {one.family for one in stages}
    return {
        (a, b): units[b] for a in on for b in on if a != b and mine & {a, b} and units[b] and on[a] & on[b]
    }  # fmt: skip


def _setup(plant: Plant, family: str) -> float:
    """Hours of the stage that a family is of: it is called as the stage, or as order and stage."""
    return next((one.setup for one in plant.stages if family == one.name or family.endswith(f", {one.name}")), 0.0)


def offer(
    planned: Planned,
    order: Order,
    plant: Plant,
    *,
    now: int = 0,
    frozen_h: float = 24.0,
    allowed_h: float = 0.0,
    search: Search | None = None,
) -> dict[str, Any]:
    """When the order could be ready given what is running, as JSON takes it; see `plan.quote.quote`."""
    shop = order_in(planned, order, plant)
    horizon, allowed = round(frozen_h / shop.hours), round(allowed_h / shop.hours)
    found = quote(planned, shop, order.name, now, horizon, allowed, search)
    moves = [
        {"order": b.order, "delivery": b.number, "from": planned.moment(a.ready).isoformat(),
         "to": planned.moment(b.ready).isoformat(), "late_h": b.late * shop.hours}
        for a, b in found.moves
    ]  # fmt: skip
    return {
        "order": order.name, "ready": planned.moment(found.ready).isoformat(),
        "not_before": planned.moment(found.earliest).isoformat(), "added_cost": found.added, "moves": moves,
        "says": list(found.words()),
    }  # fmt: skip
