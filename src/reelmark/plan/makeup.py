"""What is lost made good: first from the surplus of the start number, then from a batch more.

    short = shortfall(wanted=(3_000_000, 6_000_000, 9_000_000), good=8_999_280, batches=4)
    short.surplus, short.notes          0, 720
    shop = with_make_up(shop, "TM-20-1", short, job)

A make-up batch is a job of its own beside the order's, so that the batches of a job stay alike.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from ..errors import BadValue, NotThere
from ..jobs import Due, Job, JobShop
from ..order import Order
from ..plant import Plant
from .backward import backward
from .deliveries import MAKE_UP
from .loading import loaded

__all__ = ["Shortfall", "make_up_job", "shortfall", "with_make_up", "without_job"]


@dataclass(frozen=True, slots=True)
class Shortfall:
    """What the batches will give against what is wanted, in notes.

    wanted : cumulative, a delivery each;  good : expected from the order's own batches
    surplus : beyond all that is wanted;  notes : to be made up
    batches : of the order that each delivery waits for;  made_up : notes of each that come from the make-up batch
    """

    wanted: tuple[int, ...]
    good: int
    surplus: int
    notes: int
    batches: tuple[int, ...]
    made_up: tuple[int, ...]


def shortfall(wanted: Sequence[int], good: int, batches: int) -> Shortfall:
    """Which deliveries the expected good notes reach.

    wanted : cumulative, ascending;  good : notes, spread evenly over so many batches
    """
    if good < 0 or batches < 1 or not wanted or list(wanted) != sorted(wanted) or wanted[0] < 1:
        true = "notes wanted add up and are above 0, good ones are 0 or above"
        raise BadValue("wanted, good, batches", (tuple(wanted), good, batches), true, "correct the counts")
    needs = tuple(min(batches, -(-one * batches // good)) if good else batches for one in wanted)
    beyond = [max(0, one - good) for one in wanted]
    made_up = tuple(now - before for now, before in zip(beyond, (0, *beyond), strict=False))
    return Shortfall(tuple(wanted), good, max(0, good - wanted[-1]), beyond[-1], needs, made_up)


def make_up_job(shop: JobShop, order: Order, plant: Plant, begins: datetime, notes: int, release: int) -> Job:
    """A batch of so many good notes, from the film on, in the families of the shop.

    release : unit from which it can begin.  Overs are as for an order of that size, so that the level asked for holds.
    """
    few = replace(order, notes=notes, deliveries=())
    days = max(1, shop.horizon * shop.unit_min // 1440)
    alone = loaded([backward(few, replace(plant, reserve=0.0, batch=max(notes, 1)))], plant, begins, days)
    where = {name: number for number, name in enumerate(shop.families)}
    stages = []
    for stage in alone.jobs[0].stages:
        name = alone.families[stage.family]
        if name not in where:
            true = f"the plan knows {', '.join(shop.families) or 'no families'}"
            raise NotThere("family", name, true, "plan the order anew: its stages are not those of the plan")
        stages.append(replace(stage, family=where[name]))
    return Job(order.name + MAKE_UP, tuple(stages), 1, release)


def with_make_up(shop: JobShop, order: str, short: Shortfall, job: Job | None) -> JobShop:
    """The shop whose deliveries of the order wait for the batches they now need, and for the make-up batch.

    job : None where nothing is made up.  A delivery never waits for fewer batches than before: a date that could be
    kept is not put forward by what happened elsewhere.
    """
    names = [one.name for one in shop.jobs]
    if order not in names:
        raise NotThere("order", order, f"the plan has {', '.join(names)}", "name one of these, or plan it")
    j = names.index(order)
    mine = sorted((one for one in shop.dues if one.job == j), key=lambda one: (one.at, one.batches))
    if len(mine) != len(short.wanted):
        raise BadValue("deliveries", len(short.wanted), f"the plan has {len(mine)} of {order}", "plan the order anew")
    raised = [replace(one, batches=max(one.batches, now)) for one, now in zip(mine, short.batches, strict=True)]
    dues = [one for one in shop.dues if one.job != j] + raised
    if job is None:
        return replace(shop, dues=tuple(dues))
    last = len(shop.jobs)
    late = [Due(last, 1, one.at, one.weight) for one, notes in zip(raised, short.made_up, strict=True) if notes]
    return replace(shop, jobs=(*shop.jobs, job), dues=(*dues, *late))


def without_job(shop: JobShop, name: str) -> JobShop:
    """The shop without a job and its dues; the shop itself where it has none of that name."""
    names = [one.name for one in shop.jobs]
    if name not in names:
        return shop
    gone = names.index(name)
    dues = tuple(replace(one, job=one.job - (one.job > gone)) for one in shop.dues if one.job != gone)
    return replace(shop, jobs=(*shop.jobs[:gone], *shop.jobs[gone + 1 :]), dues=dues)
