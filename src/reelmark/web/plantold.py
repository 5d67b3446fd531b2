"""What is told beside a plan: when it was made, what in it cannot be, and its risk."""

from datetime import UTC, datetime
from typing import Any, Final

from ..errors import Problem
from ..plan.deliveries import priced
from ..plan.planned import Planned

__all__ = ["told_of"]

RUNS: Final = 2_000  # of the plan, each with other chances
NAMED: Final = 1_000  # breaches


def told_of(planned: Planned) -> dict[str, Any]:
    """Of the plan as it is; what concerns frozen work alone is a fact and no breach."""
    cost = priced(planned.shop, planned.schedule, planned.frozen)
    at = datetime.now(UTC).isoformat(timespec="seconds")
    breaches = [{"kind": one.kind, "says": one.text, "hours": one.size} for one in (*cost.faults, *cost.breaches)]
    return {"at": at, "breaches": breaches[:NAMED], "more": max(0, len(breaches) - NAMED)} | _risk(planned)


def _risk(planned: Planned) -> dict[str, Any]:
    """P(on time) line by line, what it rests on, and what to take up first."""
    from ..plan.risk import simulate

    if not planned.shop.dues:
        return {"p_on_time": [], "runs": 0}
    try:
        outcome = simulate(planned.shop, planned.schedule, runs=RUNS)
    except Problem as problem:
        return {"p_on_time": [], "runs": 0, "no_risk": str(problem)}
    return {
        "p_on_time": [one.p_on_time for one in outcome.deliveries], "all_on_time": outcome.all_on_time,
        "runs": outcome.runs, "unknown": list(outcome.unknown), "left_out": list(outcome.left_out),
        "start_now": [[one.operation, one.share] for one in outcome.start_now[:20]],
    }  # fmt: skip
