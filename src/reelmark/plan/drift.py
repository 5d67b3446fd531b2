"""The plan moved by what happened, the smallest change first; every new date with its reason.

    after = replan(planned, now, horizon=48, actual=facts, search=search)
    after.planned.says          "delivery 2 of TM-20-1 moves from 14 Jul 10:00 to 14 Jul 16:30: ..."

First everything keeps its machine and its turn and is only pushed on.  Where a delivery gets later by that, a search
goes on from there; its plan is taken if it is cheaper with the price of every operation that it moves.  After a drift
there may be no plan that keeps the store and the longest waits: both are priced then, and every breach is named.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from ..errors import Problem
from ..jobs import JobShop, Schedule
from .arrays import Arrays, arrays
from .bound import lower_bound
from .decode import ROUNDS, WORST, Lists, Start, decode
from .deliveries import Delivered, Priced, deliveries, hours_text, moment_text, priced, same
from .freeze import Facts, frozen_of, start_of
from .lists import empty, lists_of, schedule_of
from .matched import Row, counterparts, moved, rows_by_step
from .planned import Planned
from .reasons import Reasons
from .slots import slots

__all__ = ["Replanned", "Search", "replan"]

Search = Callable[[JobShop, Start, Lists], Schedule]


@dataclass(frozen=True, slots=True)
class Replanned:
    """The plan after the drift.

    was : the deliveries as they were, each beside what it is now
    moved : operations on another machine or at another start than before, frozen ones among them;  searched : a search
        bettered the plan that was only pushed on;  pushed : what that one costs, moves priced
    """

    planned: Planned
    was: tuple[tuple[Delivered, Delivered], ...]
    moved: tuple[int, ...]
    searched: bool
    pushed: float
    cost: Priced


@dataclass(frozen=True, slots=True)
class _Case:
    """What is asked: the plan that was, the shop as it is, and where it begins."""

    old: Planned
    shop: JobShop
    a: Arrays
    start: Start
    frozen: frozenset[int]
    tolerance: int

    def worth(self, schedule: Schedule) -> float:
        """What it costs with the price of its moves; what is frozen is no choice."""
        many = len(set(moved(self.old, self.shop, schedule, self.tolerance)) - self.frozen)
        return priced(self.shop, schedule, self.frozen).cost + many * self.shop.prices.moved

    def rank(self, schedule: Schedule) -> tuple[float, int, float, int]:
        """Lateness and breaches first, then how much it moves, then what it costs, then its length."""
        cost, prices = priced(self.shop, schedule, self.frozen), self.shop.prices
        ill = cost.cost - prices.setup * cost.setup_h - prices.span * cost.span_h
        many = len(moved(self.old, self.shop, schedule, self.tolerance))
        return round(ill, 6), many, round(cost.cost, 6), max(schedule.end)


def replan(
    planned: Planned,
    now: int,
    *,
    shop: JobShop | None = None,
    actual: Facts | None = None,
    horizon: int = 0,
    search: Search | None = None,
    causes: Sequence[str] = (),
    tolerance: int = 0,
    always: bool = False,
) -> Replanned:
    """The plan from now on.

    shop : the question as it stands now (see `makeup`, `whatif`, `freeze.breakdown`); None: as it was
    actual, horizon : see `freeze.start_of`
    search : looks for a better plan from given lists, and ends by itself;  None: only push on
    causes : what is known to lie behind it, said first;  tolerance : units that a start may differ and count as kept
    always : search even where no delivery gets late, or later still
    Problem where not even a pushed plan ends within the horizon of the calendars.
    """
    shop = planned.shop if shop is None else shop
    a = arrays(shop)
    start = start_of(planned, now, horizon, actual, shop, a)
    case = _Case(planned, shop, a, start, frozen_of(shop, a, start), tolerance)
    schedule, lists = _pushed(case, now + horizon)
    pushed, searched = case.worth(schedule), False
    before = deliveries(planned.shop, planned.schedule)
    if search is not None and (always or _worse(before, deliveries(shop, schedule), case, schedule)):
        found = search(shop, start, lists)
        if _keeps_pins(case, schedule, found) and case.worth(found) < pushed - 1e-9:
            schedule, searched = found, True
    return _told(case, schedule, pushed, searched, causes, actual)


def _worse(before: Sequence[Delivered], after: Sequence[Delivered], case: _Case, schedule: Schedule) -> bool:
    later = any(now.late > was.late for was, now in same(before, after))  # in time is in time: then least is moved
    return later or bool(priced(case.shop, schedule, case.frozen).breaches)


def _pushed(case: _Case, new_from: int) -> tuple[Schedule, Lists]:
    """Machines and turns as they were, new jobs where they cost least.

    Nothing is earlier than planned, unless that costs more than what it moves: what waits for a batch that came sooner
    may keep it waiting for too long.
    """
    rows = rows_by_step(case.old, case.shop, case.a)
    calm = _calm(case, rows)
    best: tuple[tuple[float, int, float, int], Schedule, Lists] | None = None
    for machine, turn in slots(case.shop, case.a, case.start, rows, new_from):
        lists, placed = lists_of(case.a, case.start, machine, turn), empty(case.a)
        for start in (calm, case.start):
            if float(decode(case.a, lists, start, placed, np.inf, ROUNDS)) < WORST:
                schedule = schedule_of(case.shop, case.a, placed)
                rank = case.rank(schedule)
                if best is None or rank < best[0]:
                    best = rank, schedule, lists
    if best is None:
        true = f"the calendars end after {case.a.start.shape[1] * case.shop.hours:g} h, with work left"
        raise Problem("a plan after what happened", true, "plan over more days")
    return best[1], best[2]


def _calm(case: _Case, rows: dict[int, list[Row]]) -> Start:
    """The start with every planned begin as the earliest: what is not pushed stays."""
    earliest = case.start.earliest.copy()
    for k, some in rows.items():
        for b, (_, begin, _) in enumerate(some):
            at = int(case.a.offset[k]) + b
            earliest[at] = max(int(earliest[at]), begin)
    return case.start._replace(earliest=earliest)


def _keeps_pins(case: _Case, pushed: Schedule, found: Schedule) -> bool:
    """A person's pin is not given up for a cheaper plan, unless it can not be held at all."""
    now = {old: new for new, old in counterparts(case.old.shop, case.shop).items()}
    for number, machine, begin in case.old.pinned:
        new = now.get(number)
        held = new is not None and (pushed.machine[new], pushed.start[new]) == (machine, begin)
        if new is not None and held and (found.machine[new], found.start[new]) != (machine, begin):
            return False
    return True


def _told(
    case: _Case, schedule: Schedule, pushed: float, searched: bool, causes: Sequence[str], actual: Facts | None
) -> Replanned:
    cost = priced(case.shop, schedule, case.frozen)
    now = {old: new for new, old in counterparts(case.old.shop, case.shop).items()}
    pinned = tuple((now[n], m, t) for n, m, t in case.old.pinned if n in now)
    bound = min(cost.cost, lower_bound(case.shop, case.a))
    after = replace(
        case.old, shop=case.shop, schedule=schedule, cost=cost.cost, bound=bound, frozen=case.frozen, pinned=pinned
    )
    pairs = same(deliveries(case.old.shop, case.old.schedule), deliveries(case.shop, schedule))
    reasons = Reasons(case.old, case.shop, schedule, [now[n] for n in actual or () if n in now])
    says = (*causes, *cost.words(case.shop), *(_line(after, *pair, reasons) for pair in pairs if _differs(*pair)))
    return Replanned(
        replace(after, says=says), tuple(pairs), moved(case.old, case.shop, schedule, case.tolerance), searched,
        pushed, cost,
    )  # fmt: skip


def _differs(was: Delivered, now: Delivered) -> bool:
    return was.ready != now.ready


def _line(after: Planned, was: Delivered, now: Delivered, reasons: Reasons) -> str:
    late = f", {hours_text(after.shop, now.late)} late" if now.late else ", in time"
    text = f"delivery {now.number} of {now.order} moves from {moment_text(after, was.ready)} to "
    text += moment_text(after, now.ready) + late
    if now.ready < was.ready:
        return f"{text}: what it waits for is ahead of its plan"
    why = [f"it now needs {now.batches} batches, not {was.batches}"] if now.batches > was.batches else []
    why += [one for one in (reasons.why(now.last),) if one]
    return f"{text}: {'; '.join(why)}" if why else text
