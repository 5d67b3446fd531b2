"""The work of planning, as a job beside the desk: what is asked, the risk of what was found, and the file."""

from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from typing import Any, Final, cast

from ..acts.plan_pins import Pin
from ..acts.plan_view import changed
from ..acts.planning import plant_of
from ..errors import BadValue, Problem
from ..jobs import JobShop, Schedule
from ..plan.planned import Planned
from ..reading import Tell
from .house import House
from .jobs import Act, Job
from .live import Live
from .page import Asked
from .planfiles import PLANS, Kept, turn_of
from .plansearch import HOPELESS, Report, better, gap_of, searched
from .plantold import told_of
from .words import zone_of

__all__ = ["DESK", "begin", "key_of", "moment_of", "plan_again", "plan_on", "running"]

BEYOND_DAYS, LEAST_DAYS, MOST_DAYS = 90, 60, 1098  # calendars are written out beyond the last delivery
DESK: Final = "the desk"  # by whom a plan is moved that nobody asked for
_HAND: Final = ThreadPoolExecutor(1, thread_name_prefix="plans")
_DESK_HAND: Final = ThreadPoolExecutor(1, thread_name_prefix="drifts")


def moment_of(text: str, live: Live, field: str) -> datetime:
    """A moment as a form gives it, in the works' zone; BadValue for what is none."""
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise BadValue(field, text, "it is no moment", "write date and time, as 2026-04-01T06:00") from error
    zone = zone_of(live.works.zone)
    if not 1971 <= at.year <= 2200:
        raise BadValue(field, text, "plans are made for 1971 to 2200", "correct the year")
    return at.astimezone(zone) if at.tzinfo else at.replace(tzinfo=zone)


def key_of(live: Live) -> str:
    """Under which the jobs of planning are kept, apart from those that write the journal."""
    return f"{live.key} plan"


@dataclass(frozen=True)
class _Beside:
    """Stands where a job wants whoever writes: a thread beside, that writes no journal."""

    key: str
    hand: ThreadPoolExecutor

    def write(self, act: Callable[[Any], Any]) -> "Future[Any]":
        return self.hand.submit(act, None)


def running(asked: Asked) -> Job | None:
    """The plan of this order that somebody asked for and that is being made."""
    return next((one for one in asked.house.jobs.of(key_of(asked.live)) if one.open and one.by != DESK), None)


def begin(house: House, live: Live, title: str, by: str, act: Act, key: str = "") -> Job:
    """The job, told of to open pages as any other; where the plan has then changed, to pages that show the old one.

    by : DESK where nobody asked: such work does not wait for what somebody asked.  key : under which it is kept
    """
    hand, turn = _DESK_HAND if by == DESK else _HAND, _turn(live)

    def over() -> None:
        if _turn(live) != turn:
            house.news.tell("job", {"id": turn, "state": "done"})

    return house.jobs.start(cast(Live, _Beside(key or key_of(live), hand)), title, by, act, [], over)


def _turn(live: Live) -> str:
    try:
        return turn_of(PLANS.current(live))
    except Problem:
        return ""


def plan_again(asked: Asked, lives: Sequence[Live], begins: datetime, seconds: int) -> Job:
    """A plan from the orders and the plant.  What cannot be planned at all is refused before the job begins."""
    from ..plan.loading import job_shop

    orders, plant = [one.order for one in lives], plant_of(asked.live.works)
    last = max((one.by for order in orders for one in order.deliveries), default=begins.date().isoformat())
    days = (date.fromisoformat(last) - begins.date()).days + BEYOND_DAYS
    shop = job_shop(orders, plant, begins, min(MOST_DAYS, max(LEAST_DAYS, days)))
    started = datetime.fromisoformat(shop.begins).astimezone(begins.tzinfo)  # by the clock on the wall
    told = {"orders": [one.name for one in orders], "by": asked.name, "seconds": seconds, "entries": 0, "by_hand": True}
    old = _before(asked)
    pins = _pins(old, shop, started)
    lost = len(old.planned.pinned) - len(pins) if old else 0
    says = (f"{lost} pins fell away: what they hold is no longer in the plan",) if lost else ()
    first = Planned(shop, Schedule((), (), ()), started, HOPELESS, 0.0, pinned=pins, says=says)
    work = partial(_work, asked.live, first, told, seconds, None)
    return begin(asked.house, asked.live, f"plan of {', '.join(one.name for one in orders)}", asked.name, work)


def _before(asked: Asked) -> Kept | None:
    try:
        return PLANS.current(asked.live)
    except Problem:  # a damaged file does not keep anybody from planning again
        return None


def _pins(old: Kept | None, shop: JobShop, begins: datetime) -> tuple[Pin, ...]:
    """The pins of a plan in a new shop: the same task by name, where it is still ahead."""
    if old is None:
        return ()
    was, names = old.planned, {job.name: j for j, job in enumerate(shop.jobs)}
    machines = {one.name: m for m, one in enumerate(shop.machines)}
    shift = round((was.begins - begins).total_seconds() / 60 / shop.unit_min)
    found = []
    for number, machine, start in was.pinned:
        job, batch, _ = was.shop.operations[number]
        one, step = was.shop.jobs[job], was.shop.stage(number).name
        j = names.get(one.name)
        on = machines.get(was.shop.machines[machine].name) if machine >= 0 else machine
        stages = [s.name for s in shop.jobs[j].stages] if j is not None else []
        at = start * was.shop.unit_min // shop.unit_min + shift
        if j is None or on is None or step not in stages or batch >= shop.jobs[j].batches or at < 0:
            continue
        new = shop.number(j, batch, stages.index(step))
        if on in dict(shop.stage(new).on):
            found.append((new, on, at))
    return tuple(found)


def plan_on(asked: Asked, old: Kept, planned: Planned, seconds: int) -> Job:
    """From a plan that was changed by hand: it is kept at once, and bettered where it can be."""
    told = {**old.told, "by": asked.name, "seconds": seconds, "by_hand": True}  # the journal is taken in anew
    planned = replace(planned, says=changed(old.planned, planned))
    PLANS.write(asked.live, planned, told | told_of(planned))
    work = partial(_work, asked.live, planned, told, seconds, old.planned)
    title = f"plan of {', '.join(old.orders)} with {len(planned.pinned)} pinned"
    return begin(asked.house, asked.live, title, asked.name, work)


# ---- in the thread of the job


def _work(
    live: Live, first: Planned, told: dict[str, Any], seconds: int, was: Planned | None, _: Any, tell: Tell
) -> list[dict[str, Any]]:
    """Search, take what is better, look at its risk, and write it; what it came to.

    was : the plan before it was changed by hand, which stays the one before; None: what is the plan becomes that
    """
    best = better(first, searched(first, seconds, Report(tell, seconds)))
    if not best.schedule.start:
        true = f"no plan was found in {seconds} s"
        raise Problem("a plan", true, "give more time, or look whether hours, machines and store suffice at all")
    if was is None:
        PLANS.write(live, best, told | told_of(best))
    else:
        best = replace(best, says=changed(was, best))
        PLANS.replace(live, best, told | told_of(best))
    return [{"cost": best.cost, "bound": best.bound, "gap": gap_of(best)}]
