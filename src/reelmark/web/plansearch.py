"""The search for a plan, told of while it goes on: from nothing, or from a plan that was changed by hand.

What is heavy (the search itself) is imported when it is first asked for, so that a server starts without it.
"""

from dataclasses import replace
from time import monotonic
from typing import TYPE_CHECKING, Any, Final

from ..acts.plan_pins import carried_over, costs, kept
from ..jobs import JobShop, Schedule
from ..plan.planned import Planned
from ..reading import Tell
from .jobs import Cancelled

if TYPE_CHECKING:
    from ..plan.decode import Lists, Start
    from ..plan.drift import Search
    from ..plan.solve import Progress

__all__ = ["HOPELESS", "Report", "better", "gap_of", "searched", "searching"]

HOPELESS: Final = 1e14  # cost of a search that found no plan


def gap_of(planned: Planned) -> float:
    """To a lower bound, as a share of the cost: not the distance from the best there is."""
    return max(0.0, (planned.cost - planned.bound) / planned.cost) if planned.cost > 0 else 0.0


class Report:
    """What is told while the search goes on: cost, bound, gap, and how long nothing better was found."""

    def __init__(self, tell: Tell, seconds: int) -> None:
        self._tell, self._seconds, self._begun = tell, seconds, monotonic()
        self._words, self._better = "getting ready", monotonic()

    def begin(self) -> None:
        """The time asked for runs from now on."""
        self._begun = self._better = monotonic()

    def found(self, cost: float, bound: float) -> None:
        gap = 100 * max(0.0, (cost - bound) / cost) if cost > 0 else 0.0
        self._words = f"cost {cost:,.0f}, lower bound {bound:,.0f}, gap to a lower bound {gap:.0f} %"
        self._better = monotonic()

    def stopped(self) -> bool:
        """Tells; has somebody asked to stop?"""
        spent, quiet = monotonic() - self._begun, monotonic() - self._better
        words = self._words + (f", nothing better for {quiet:.0f} s" if quiet >= 2 else "")
        try:
            self._tell(words, min(self._seconds, int(spent)), self._seconds)
        except Cancelled:
            return True
        return False


def searched(first: Planned, seconds: int, report: Report) -> Planned:
    """The best that the solver finds, with what is pinned no earlier than it may be and what is frozen where it is."""
    from ..plan.search import compile_ahead
    from ..planner import solve_shop

    best = first
    if report.stopped():
        return best
    compile_ahead()  # never out of the time asked for
    report.begin()

    def found(progress: "Progress") -> None:
        nonlocal best
        report.found(progress.cost, progress.bound)
        if len(progress.schedule.start) == len(first.shop.operations):  # else it is of a part of a long book
            best = replace(first, schedule=progress.schedule, cost=progress.cost, bound=progress.bound)

    start, lists = _start(first)
    solve_shop(first.shop, seconds, start=start, begin_with=lists, tell=found, stop=report.stopped)
    return best


def searching(report: Report, seconds: float) -> "Search":
    """The solver as `plan.drift.replan` wants it: it goes on from a plan that was only pushed."""

    def search(shop: JobShop, start: "Start", lists: "Lists") -> Schedule:
        from ..planner import solve_shop

        report.begin()
        return solve_shop(shop, seconds, start=start, begin_with=lists, stop=report.stopped).schedule

    return search


def _start(first: Planned) -> tuple[Any, Any]:
    """(what the search keeps to, where it goes on from); None for both where nothing is pinned and nothing is there."""
    from ..plan.arrays import arrays, is_chain
    from ..plan.lists import fresh, lists_of, rows_of

    if not is_chain(first.shop) or not (first.pinned or first.schedule.start):
        return None, None
    a = arrays(first.shop)
    start, lists = _frozen(first, a) if first.frozen else fresh(a), None
    offset = {(int(j), int(s)): int(o) for j, s, o in zip(a.job, a.stage, a.offset, strict=True)}
    for number, _, unit in first.pinned:
        job, batch, stage = first.shop.operations[number]
        start.earliest[offset[job, stage] + batch] = unit
    if first.schedule.start:
        machine, begun, _ = rows_of(first.shop, a, first.schedule)
        lists = lists_of(a, start, machine, begun)
    return start, lists


def _frozen(first: Planned, a: Any) -> Any:
    """What a plan froze stays where it is: it goes on from the last begin of that."""
    from ..plan.freeze import start_of

    return start_of(first, max(0, 1 + max(first.schedule.start[i] for i in first.frozen)), a=a)


def better(first: Planned, found: Planned) -> Planned:
    """What was found, with its pins laid on it where the search let them slip; the first one where that is better."""
    if found.schedule.start and found.cost < HOPELESS:
        found = carried_over(found)
        if not kept(found.schedule, found.pinned):
            return first
        found = replace(found, cost=costs(found.shop, found.schedule)[0])
        if not first.schedule.start or found.cost < first.cost - 1e-6:
            return found
    bound = max(first.bound, found.bound if found.cost < HOPELESS else 0.0)
    return replace(first, bound=min(bound, first.cost))
