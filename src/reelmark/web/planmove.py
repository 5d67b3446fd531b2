"""A plan moved by what its order's journal says: new dates, and the reasons in words.

move(live, kept, report)        works out, and writes unless another plan has come meanwhile
"""

from dataclasses import replace
from datetime import datetime
from typing import Final

from ..acts.plan_drift import Drift, Standing, drifted_from, facts_of
from ..acts.planning import plant_of
from ..errors import Problem
from ..plan.planned import Planned
from .live import Live
from .planfiles import PLANS, Kept, Told
from .plansearch import Report, searching
from .plantold import told_of

__all__ = ["SECONDS", "move", "moved_told"]

SECONDS: Final = 3  # of search, where a delivery gets late; with all else a page shows it within 10 s
LOGGED: Final = 30  # times that the journal was taken in and said something


def move(live: Live, kept: Kept, report: Report, since: int) -> bool:
    """True where it was written: quietly where no delivery moves, nothing new is held, and nobody has just planned.

    since : entries before it are known to the plan.  Problem where the plan cannot be moved: it stays as it is
    """
    planned = kept.planned
    drift, at = _drift(live, planned, report, since)
    after, told = moved_told(kept, drift, since, at)
    if says := told.pop("says"):
        return _written(live, kept, replace(after, says=(*says, *_beyond(live, at))), told)
    changed = (after.schedule, after.shop) != (planned.schedule, planned.shop)
    after, quiet = replace(after, says=planned.says), not kept.told.get("by_hand")
    return PLANS.replace(live, after, told | (told_of(after) if changed else {}), kept.stamp, quiet)


def _drift(live: Live, planned: Planned, report: Report, since: int) -> tuple[Drift, datetime]:
    """As of the last record; where the calendars then leave no room, as of the last one while the plan still ran."""
    plant, search = plant_of(live.works), searching(report, SECONDS)
    calendars, runs = planned.moment(planned.shop.horizon - 1), planned.moment(max(planned.schedule.end, default=0))
    standing, at = _standing(live, planned, calendars)
    try:
        return drifted_from(standing, live.order, planned, plant, search=search, since=since), at
    except Problem:
        if at <= runs:
            raise
    standing, at = _standing(live, planned, runs)
    return drifted_from(standing, live.order, planned, plant, search=search, since=since), at


def _standing(live: Live, planned: Planned, ends: datetime) -> tuple[Standing, datetime]:
    """Where the order stands at its last record before `ends`; at the plan's begin, where that is later."""
    with live.looking:
        reading = live.now.reading
        at = max([planned.begins, *(one.at for one in reading.records if one.at < ends)])
        return facts_of(reading, planned, plant_of(live.works), now=at), at


def _beyond(live: Live, at: datetime) -> tuple[str, ...]:
    """Said where the last entry is of a time that the plan does not reach."""
    last = max((one.at for one in live.now.reading.records[-1:]), default=at)
    if last <= at:
        return ()
    when = f"{last.astimezone(at.tzinfo):%Y-%m-%d %H:%M}, too late for the plan's calendars"
    return (f"the last entry is of {when}: it is taken as of {at:%Y-%m-%d %H:%M}; plan again for days to come",)


def moved_told(kept: Kept, drift: Drift, since: int, at: datetime) -> tuple[Planned, Told]:
    """The plan, and what is told beside it.  says : nothing, where no delivery moves and nothing new is held"""
    after, size = drift.after.planned, drift.standing.entries
    told = {**kept.told, "entries": size, "now": drift.standing.now, "by_hand": False}
    moves = [
        {"order": now.order, "delivery": now.number, "from": kept.planned.moment(was.ready).isoformat(),
         "to": after.moment(now.ready).isoformat()}
        for was, now in drift.after.was if was.ready != now.ready
    ]  # fmt: skip
    speaks = moves or any(one.entry >= since for one in drift.standing.losses)
    told["says"] = after.says if speaks else ()
    if speaks:
        one = {"at": at.isoformat(), "since": since, "entries": size, "says": list(after.says)}
        told |= {"moves": moves, "log": [one, *list(kept.told.get("log", ()))[: LOGGED - 1]]}
    return after, told


def _written(live: Live, kept: Kept, after: Planned, told: Told) -> bool:
    """Where a delivery moves the plan that was is the one before; else that stays what it was."""
    put = PLANS.write if told["moves"] else PLANS.replace
    return put(live, after, told | told_of(after), kept.stamp)
