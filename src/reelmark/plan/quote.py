"""A quote: when a new order could be ready, and what it adds, given what is running.

    offer = quote(planned, shop, "TM-21-1", now=48)
    offer.ready        unit;  offer.added  cost;  offer.moves  deliveries that get later, none unless allowed

The new order's batches are put between those planned at several places; what is planned keeps its machines and its
order.  `earliest` is a bound: with the whole works to itself it could not be ready sooner.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import NotThere, Problem
from ..jobs import Due, JobShop, Prices, Schedule
from .arrays import arrays
from .bound import lower_bound
from .decode import ROUNDS, WORST, Lists, Start, decode
from .deliveries import Delivered, deliveries, hours_text, moment_text, parent, priced, same
from .drift import Search
from .freeze import frozen_of, start_of
from .lists import empty, lists_of, schedule_of
from .matched import rows_by_step
from .planned import Planned
from .slots import slots

__all__ = ["Quote", "alone", "quote"]

FIRM = 100.0  # how much dearer an hour of a planned delivery is than one of the new order, while that is looked for


@dataclass(frozen=True, slots=True)
class Quote:
    """An offer.  ready, earliest : units;  added : cost, lateness of the new order left out;  planned : the plan then
    moves : deliveries that get later, as they were and are
    swift : of those ready sooner the one that costs least, planned deliveries left to move;  None where there is none
    """

    planned: Planned
    ready: int
    earliest: int
    added: float
    moves: tuple[tuple[Delivered, Delivered], ...]
    swift: "Quote | None" = None

    def words(self) -> tuple[str, ...]:
        """The offer, what it moves, and what a swifter one would move."""
        at = self.planned
        said = [f"ready {moment_text(at, self.ready)}, cost {self.added:+,.0f}; alone in the works not before "
                f"{moment_text(at, self.earliest)}"]  # fmt: skip
        said += [f"delivery {b.number} of {b.order} would move by {hours_text(at.shop, b.ready - a.ready)} to "
                 f"{moment_text(at, b.ready)}" for a, b in self.moves]  # fmt: skip
        if self.swift:
            said += [f"or, with others moved: {line}" for line in self.swift.words()]
        return tuple(said)


def quote(
    planned: Planned,
    shop: JobShop,
    order: str,
    now: int = 0,
    horizon: int = 0,
    allowed: int = 0,
    search: Search | None = None,
) -> Quote:
    """The earliest place found for an order that the shop has and the plan has not.

    shop : the plan's with the order in it (see `whatif.with_order`, or `loading.job_shop` of all orders), its dues
        or none;  now, horizon : as in `freeze.start_of`
    allowed : units by which planned deliveries may get later if they then still keep their dates; those late already
        may not get later at all.  search : goes on from the best place found, for a sooner one
    Problem where no place is found within the calendars.
    """
    names = [one.name for one in shop.jobs]
    if order not in names or order in [one.name for one in planned.shop.jobs]:
        raise NotThere("order", order, f"the question has {', '.join(names)}", "add the new order, and name it")
    start = start_of(planned, now, horizon, None, shop)
    places = _places(planned, shop, start, now + horizon)
    found = [_quoted(planned, shop, names.index(order), start, schedule) for schedule, _ in places]
    kept = [one for one in found if _kept(one, allowed)]
    if search is not None and kept:
        near = min(zip(found, places, strict=True), key=lambda one: (not _kept(one[0], allowed), one[0].ready))
        asked = _asked(planned, shop, names.index(order), allowed)
        found.append(_quoted(planned, shop, names.index(order), start, search(asked, start, near[1][1])))
        kept += [found[-1]] if _kept(found[-1], allowed) else []
    if not kept:
        best = min(found, key=lambda one: one.ready, default=None)
        true = "calendars end before it is done" if best is None else f"planned dates move: {best.words()[1]}"
        raise Problem(f"a quote for {order}", true, "plan over more days, or allow planned deliveries to move")
    offer = min(kept, key=lambda one: (one.ready, one.added))
    sooner = [one for one in found if one.ready < offer.ready]
    return replace(offer, swift=min(sooner, key=lambda one: (one.added, one.ready), default=None))


def _asked(planned: Planned, shop: JobShop, job: int, allowed: int) -> JobShop:
    """The question of a quote: the new order as soon as may be, every planned delivery where it is."""
    ready = {(one.order, one.due): one.ready for one in deliveries(planned.shop, planned.schedule)}
    dues = [
        replace(one, at=min(max(one.at, was), was + allowed), weight=one.weight * FIRM)
        for one in shop.dues if (was := ready.get((parent(shop.jobs[one.job].name), one.at))) is not None
    ]  # fmt: skip
    new = Due(job, shop.jobs[job].batches, 0)
    return replace(shop, dues=(*dues, new))


def _places(planned: Planned, shop: JobShop, start: Start, new_from: int) -> list[tuple[Schedule, Lists]]:
    """A schedule for each place tried, and its lists."""
    a, found = arrays(shop), []
    for machine, turn in slots(shop, a, start, rows_by_step(planned, shop, a), new_from):
        placed, lists = empty(a), lists_of(a, start, machine, turn)
        if float(decode(a, lists, start, placed, np.inf, ROUNDS)) < WORST:
            found.append((schedule_of(shop, a, placed), lists))
    return found


def _quoted(planned: Planned, shop: JobShop, job: int, start: Start, schedule: Schedule) -> Quote:
    frozen = frozen_of(shop, arrays(shop), start)
    last = len(shop.jobs[job].stages) - 1
    ready = max(schedule.end[shop.number(job, b, last)] for b in range(shop.jobs[job].batches))
    cost = priced(replace(shop, dues=tuple(one for one in shop.dues if one.job != job)), schedule, frozen)
    added = cost.cost - priced(planned.shop, planned.schedule, planned.frozen).cost
    pairs = same(deliveries(planned.shop, planned.schedule), deliveries(shop, schedule))
    after = replace(planned, shop=shop, schedule=schedule, cost=cost.cost, bound=0.0, frozen=frozen,
                    says=cost.words(shop))  # fmt: skip
    later = tuple((a, b) for a, b in pairs if b.ready > a.ready)
    return Quote(after, ready, alone(shop, job, shop.jobs[job].batches), added, later)


def _kept(offer: Quote, allowed: int) -> bool:
    """No delivery gets later by more than allowed, or late by it; and no limit is broken."""
    calm = all(b.ready - a.ready <= allowed and b.late <= a.late for a, b in offer.moves)
    return calm and not priced(offer.planned.shop, offer.planned.schedule, offer.planned.frozen).breaches


def alone(shop: JobShop, job: int, batches: int) -> int:
    """Unit before which so many batches of a job cannot be ready, with the works to itself: a bound."""
    one = replace(shop.jobs[job], batches=batches)
    price = Prices(late=1 / shop.hours, setup=0.0, span=0.0)
    return round(lower_bound(replace(shop, jobs=(one,), dues=(Due(0, batches, 0),), prices=price)))
