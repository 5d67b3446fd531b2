"""What a solved plan answers, for machines: of orders with their dates, and of a shop out of a file."""

from collections.abc import Sequence
from typing import Any

from ..jobs import JobShop
from ..plan.check import check
from ..plan.impossible import impossible_words
from ..plan.levers import Lever
from ..plan.outcome import Outcome
from ..plan.planned import Planned
from ..plan.solve import Progress
from .plan_risk import risk
from .plan_view import deliveries, tasks

__all__ = ["of_orders", "of_shop"]


def of_shop(shop: JobShop, progress: Progress) -> dict[str, Any]:
    """The plan of a shop out of a file, judged by the checker that knows no solver; times in the file's units.

    cost : of lateness, set-ups and length;  breach_cost : of what is breached beside it, at the prices of the shop
    violations : how many;  breaches : each in words;  order and batch count from 0, as in the file
    """
    found = check(shop, progress.schedule)
    return {
        "cost": found.cost, "bound": progress.bound, "gap": progress.gap, "proven": progress.proven,
        "breach_cost": max(0.0, round(progress.cost - found.cost, 6)),
        "late_weighted_h": found.late_h, "setup_h": found.setup_h, "span_h": found.span_h,
        "violations": len(found.violations), "breaches": [one.text for one in found.violations],
        "seconds": round(progress.seconds, 2), "tasks": _placed(shop, progress),
    }  # fmt: skip


def _placed(shop: JobShop, progress: Progress) -> list[dict[str, Any]]:
    plan = progress.schedule
    return [
        {
            "order": one.job, "batch": one.batch, "stage": shop.stage(number).name,
            "machine": shop.machines[plan.machine[number]].name if plan.machine[number] >= 0 else None,
            "start": plan.start[number], "end": plan.end[number],
        }
        for number, one in enumerate(shop.operations)
    ]  # fmt: skip


def of_orders(
    planned: Planned, progress: Progress, starts: dict[str, Any], outcome: Outcome, tried: Sequence[Lever]
) -> dict[str, Any]:
    """The plan of orders: what to start, when each delivery is ready and how surely, what would help, the tasks."""
    found = check(planned.shop, planned.schedule)
    return {
        **starts,
        "deliveries": deliveries(planned, outcome),
        "objective": progress.cost, "bound": progress.bound, "gap": progress.gap, "proven": progress.proven,
        "violations": len(found.violations), "breaches": [one.text for one in found.violations],
        "begins": planned.begins.isoformat(), "seconds": round(progress.seconds, 2),
        "risk": risk(planned, outcome, tried), "impossible": list(impossible_words(planned.shop, planned.begins)),
        "tasks": tasks(planned),
    }  # fmt: skip
