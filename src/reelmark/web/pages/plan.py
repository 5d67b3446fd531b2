"""The plan of a works: who does what when, what is ready when, what is full, and why a delivery is when it is.

A window (since, until) cuts the pictures and the tasks to a stretch of time; without it all of the plan is shown.
"""

from datetime import datetime, timedelta
from typing import Annotated, Any, Final

from fastapi import Query
from pydantic import BeforeValidator, Field

from ...acts.plan_time import moment, short, unit_at
from ...errors import BadValue, Problem
from ...figures.gantt import whole
from ...plan.planned import Planned
from ..content import Action, Content, Part
from ..page import Asked, AskedNow, Page
from ..planfiles import PLANS, Kept, turn_of
from ..plansearch import gap_of
from ..planwork import key_of, moment_of
from ..roles import Role
from . import plan_compare
from .plan_forms import again_form, back_form, pin_form, take_in_form, unpin_forms, window_form
from .plan_needs import needs_parts
from .plan_parts import first_parts, further_parts

__all__ = ["MORE", "PAGE"]

_blank = BeforeValidator(lambda value: None if value == "" else value)
At = Annotated[str, Query(max_length=40)]
Number = Annotated[Annotated[int, Field(ge=0, le=10**7)] | None, _blank, Query()]
FIRST: Final = "Plan the works"  # the form where there is no plan yet
SAID: Final = 8  # changes told above the plan
LEAST_H: Final = 12  # hours of a window, to be worth a picture


def build(asked: AskedNow, since: At = "", until: At = "", op: Number = None, line: Number = None) -> Content:
    """The plan as it stands.  since, until : the window;  op : a task to be pinned;  line : the delivery explained"""
    if asked.live.works.plant is None:
        return Content("Plan", (_no_plant(asked),))
    may = asked.may(Role.WRITE)
    try:
        kept = PLANS.current(asked.live)
    except Problem as problem:
        return _content(asked, (f"{problem}.",), _without(asked, may), None)
    if kept is None:
        return _content(asked, (_empty(may),), _without(asked, may), None)
    planned = kept.planned
    window = _window(asked, planned, since, until)
    _known(planned, op, line)
    shown = window if since or until else None
    parts: list[Part] = [
        *first_parts(asked, kept, shown, op),
        *(_acts(asked, kept, op) if may else ()),
        window_form(asked, planned, window),
        *further_parts(asked, kept, shown, line),
        *needs_parts(asked, kept.orders),
    ]
    opened = "" if op is None else "Pin a task"
    return _content(asked, _lead(asked, kept), tuple(parts), _actions(asked, planned, window), opened, turn_of(kept))


def _acts(asked: Asked, kept: Kept, op: int | None) -> list[Part]:
    back = [back_form(asked)] if PLANS.has_before(asked.live) else []
    return [
        take_in_form(asked),
        again_form(asked),
        pin_form(asked, kept.planned, op),
        *unpin_forms(asked, kept.planned),
        *back,
    ]


def _without(asked: Asked, may: bool) -> tuple[Part, ...]:
    return (*((again_form(asked, FIRST),) if may else ()), *needs_parts(asked, [asked.live.order.name]))


def _content(
    asked: Asked,
    lead: tuple[str, ...],
    parts: tuple[Part, ...],
    actions: Any,
    opened: str = FIRST,
    turn: str = turn_of(None),
) -> Content:
    jobs = asked.house.jobs.of(key_of(asked.live))
    failed = [one for one in jobs[:1] if one.fault]
    said = tuple(f"{one.title[:1].upper()}{one.title[1:]} came to nothing. {': '.join(one.fault[:2])}; {one.fault[2]}."
                 for one in failed if one.fault)  # fmt: skip
    extra = {"running": [one.told() for one in jobs if one.open], "may_stop": asked.may(Role.WRITE), "opened": opened,
             "turn": turn, "place": "/plan"}  # fmt: skip
    return Content("Plan", (*said, *lead), parts, actions or (), template="plan.html", extra=extra)


def _no_plant(asked: Asked) -> str:
    return (
        f"works.toml of {asked.live.works.name} says nothing of hours, rates, route and yields, so nothing can be "
        "planned. Add [plant] to it, with its calendars, machines and stages: `reelmark new` in an empty folder writes "
        "one to begin with, every value explained. Then start the server again."
    )


def _empty(may: bool) -> str:
    if may:
        return "No plan yet. Plan the works with the form below; what the order needs stands under it."
    return "No plan yet. To make one, a person needs the role write. What the order needs stands below."


def _lead(asked: Asked, kept: Kept) -> tuple[str, ...]:
    planned = kept.planned
    made = f"Plan of {', '.join(kept.orders) or 'the works'}, made {kept.at:%Y-%m-%d %H:%M} UTC by {kept.by}: "
    gap = f"{100 * gap_of(planned):.0f}\u00a0% gap to a lower bound"
    made += f"cost {planned.cost:,.0f}, lower bound {planned.bound:,.0f}, {gap}."
    begins, ends = (short(moment(planned, unit)) for unit in (0, max(planned.schedule.end, default=0)))
    span = f"From {begins} to {ends}, {len(planned.shop.operations):,} tasks. {_holds(asked, kept)}"
    broken = int(kept.told.get("more", 0)) + len(kept.told.get("breaches", ()))
    said = f"{broken:,} thing{'' if broken == 1 else 's'} in it cannot be: see Breaches." if broken else ""
    news = [f"{one[:1].upper()}{one[1:]}." for one in planned.says]
    more = [f"{len(news) - SAID:,} changes more."] if len(news) > SAID else []
    return tuple(filter(None, [made, span, said, *news[:SAID], *more]))


def _holds(asked: Asked, kept: Kept) -> str:
    """Up to which entry of the journal."""
    size, known = asked.now.reading.size, kept.entries
    if asked.live.order.name not in [one.name for one in kept.planned.shop.jobs]:
        return f"It does not hold {asked.live.order.name}, so its journal does not move it."
    if known is None:
        return "It does not say up to which entry of the journal it holds."
    if known >= size:
        return f"It holds up to entry {size - 1:,}, the last." if size else "The journal has no entry yet."
    more = size - known
    return f"{more:,} of {size:,} entries {'is' if more == 1 else 'are'} not taken in yet."


def _known(planned: Planned, op: int | None, line: int | None) -> None:
    for field, value, many, what in (("op", op, len(planned.shop.operations), "tasks"),
                                     ("line", line, len(planned.shop.dues), "deliveries")):  # fmt: skip
        if value is not None and value >= many:
            raise BadValue(field, value, f"the plan has {many:,} {what}, counted from 0", "follow a link on the page")


def _window(asked: Asked, planned: Planned, since: str, until: str) -> tuple[int, int]:
    """Units shown; BadValue for a window that ends before it begins."""
    low, high = whole(planned)
    if since:
        low = _unit(planned, moment_of(since, asked.live, "since"))
    if until:
        high = _unit(planned, moment_of(until, asked.live, "until"))
    least = max(1, round(LEAST_H / planned.shop.hours))
    if high <= low:
        raise BadValue("until", until, f"the window begins at {short(moment(planned, low))}", "give a later moment")
    return low, max(high, low + least)


def _unit(planned: Planned, at: datetime) -> int:
    far = 10**6
    return min(far, max(-far, round(unit_at(planned, at))))


def _actions(asked: Asked, planned: Planned, window: tuple[int, int]) -> tuple[Action, ...]:
    low, high = window
    wide, middle, at = high - low, (low + high) // 2, f"{asked.base}/plan"
    near, far = max(1, wide // 4), wide
    moves = {
        "Earlier": (low - wide // 2, high - wide // 2), "Later": (low + wide // 2, high + wide // 2),
        "Nearer": (middle - near, middle + near), "Farther": (middle - far, middle + far),
    }  # fmt: skip
    links = [Action(words, f"{at}?{window_query(planned, *ends)}") for words, ends in moves.items()]
    days = timedelta(days=14)
    first = moment(planned, min(planned.schedule.start, default=0))
    fortnight = f"since={first:%Y-%m-%dT%H:%M}&until={first + days:%Y-%m-%dT%H:%M}"
    return (
        Action("What if", f"{at}/compare"), Action("Whole plan", at), Action("First two weeks", f"{at}?{fortnight}"),
        *links,
        Action("Calendar of campaigns", f"{at}.ics"), Action("Calendar of tasks", f"{at}.ics?each=task"),
    )  # fmt: skip


def window_query(planned: Planned, low: int, high: int) -> str:
    """A window as it stands in an address."""
    return "&".join(
        f"{name}={moment(planned, unit):%Y-%m-%dT%H:%M}" for name, unit in (("since", low), ("until", high))
    )


PAGE: Final = Page("/orders/{order}/plan", "Plan", build, menu="order")
MORE: Final[tuple[Page, ...]] = (plan_compare.PAGE,)
