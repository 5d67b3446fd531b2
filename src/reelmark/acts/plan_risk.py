"""The plan against chance, as pages and commands show it: how surely, what to start now, what would help.

told = risk(planned, outcome, levers)
"""

from collections.abc import Sequence
from typing import Any

from ..plan.levers import Lever
from ..plan.outcome import Outcome
from ..plan.planned import Planned
from .plan_time import iso, name

__all__ = ["risk"]

SHOWN = 10


def risk(planned: Planned, outcome: Outcome, tried: Sequence[Lever] = ()) -> dict[str, Any]:
    """Plain rows; `says` tells what the runs rest on and leave out."""
    return {
        "runs": outcome.runs, "all_on_time": outcome.all_on_time, "all_interval": list(outcome.all_interval),
        "deliveries": [_delivery(planned, n, outcome) for n in range(len(outcome.deliveries))],
        "start_now": [
            {"operation": one.operation, "what": name(planned.shop, one.operation), "share": one.share}
            for one in outcome.start_now[:SHOWN]
        ],
        "breaches": [
            {"what": one.what, "share": one.share, "hours": one.hours, "most_h": one.most} for one in outcome.breaches
        ],
        "levers": [_lever(one) for one in tried[:SHOWN]],
        "says": _says(outcome),
    }  # fmt: skip


def _delivery(planned: Planned, line: int, outcome: Outcome) -> dict[str, Any]:
    one = outcome.deliveries[line]
    early, middle, late = (iso(planned, at) for at in one.ready)
    return {
        "order": planned.shop.jobs[one.due.job].name, "due": iso(planned, one.due.at), "p_on_time": one.p_on_time,
        "interval": list(one.interval), "ready_10": early, "ready_50": middle, "ready_90": late, "late_h": one.late_h,
    }  # fmt: skip


def _lever(one: Lever) -> dict[str, Any]:
    return {
        "what": one.text, "gain": one.gain, "interval": list(one.interval), "hours": one.hours,
        "gain_an_hour": one.per_hour if one.hours else None, "caution": one.caution,
    }  # fmt: skip


def _says(outcome: Outcome) -> list[str]:
    said = []
    if outcome.unknown:
        said.append(f"no source backs {', '.join(outcome.unknown)}: put the works' own figures in their place")
    if outcome.left_out:
        said.append(f"the runs do not keep to {', '.join(outcome.left_out)}: the chances are then too high")
    if outcome.beyond > 0:
        said.append(f"{outcome.beyond:.1%} of the runs end after the calendars do")
    return said
