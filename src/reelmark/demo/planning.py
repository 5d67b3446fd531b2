"""The main loop of the demo: a fault seen on the film moves the day of delivery, and says why.

The journal is taken as it stood early in the making; the plan of that moment is moved by two faults that the film gauge
might have marked for holding: one of 3 m, one of kilometres.  Nothing is written to the journal.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from time import perf_counter
from typing import Any

from ..acts.plan_drift import Drift, drifted
from ..jobs import JobShop
from ..plan.decode import Lists, Start
from ..plan.loading import job_shop
from ..plan.planned import Planned
from ..planner import solve_shop
from ..plant import Plant
from ..reading import Reading
from ..records import adapter

__all__ = ["Story", "plan_story"]

EARLY = 10  # one in so many of the entries stand in the journal at the moment of the story
SECONDS = 2.0  # of search, for the plan and for each re-plan
Fault = tuple[str, int, int, int]  # what is written, from m, to m, on how many of the first rolls
FAULTS: tuple[Fault, ...] = (("pressure drop -4.10 um", 2_400, 2_403, 1), ("drift -3.60 um", 500, 7_500, 1))  # invented


@dataclass(frozen=True)
class Story:
    """What happened to the plan.  planned : as it stands at last;  told : for the answer"""

    planned: Planned
    told: dict[str, Any]


def plan_story(reading: Reading, plant: Plant, faults: Sequence[Fault] = FAULTS, size: int = 0) -> Story:
    """The order planned, the journal's first entries taken in (a tenth, where `size` is 0), then each fault."""
    shop = job_shop([reading.order], plant, reading.records[0].at, 366)
    found = solve_shop(shop, SECONDS)
    begins = datetime.fromisoformat(shop.begins).astimezone(reading.records[0].at.tzinfo)
    planned = Planned(shop, found.schedule, begins, found.cost, found.bound)
    size = size or max(5, reading.size // EARLY)
    standing = drifted(reading.upto(size), planned, plant, search=_search)
    told = []
    for fault in faults:
        begun = perf_counter()
        after = drifted(_marked(reading, size, *fault), standing.after.planned, plant, search=_search, since=size)
        told.append(_told(fault, after, perf_counter() - begun))
    return Story(after.after.planned, {"entries": size, "now": standing.as_dict()["now"], "faults": told})


def _search(shop: JobShop, start: Start, lists: Lists) -> Any:
    return solve_shop(shop, SECONDS, start=start, begin_with=lists).schedule


def _marked(reading: Reading, size: int, fault: str, start: int, end: int, rolls: int) -> Reading:
    """The journal of `size` entries, and a mark across each of the first rolls."""
    at = max(one.at for one in reading.records[:size]).isoformat()
    marks = [
        {"machine": "office", "seq": 10**6 + n, "at": at, "by": "R. Tessel", "kind": "mark", "unit": roll,
         "lanes": list(reading.shop.rolls[roll]), **_place(reading.shop.web_length[roll] // 10**6, start, end),
         "fault": fault, "grade": "hold", "seen_by": "film gauge"}
        for n, roll in enumerate(list(reading.shop.rolls)[:rolls])
    ]  # fmt: skip
    parse = adapter().validate_python
    return Reading.of(reading.order, reading.works, [*reading.records[:size], *map(parse, marks)])


def _place(length: int, start: int, end: int) -> dict[str, str]:
    """Metres; on a short roll of the small demo the same share as of an 8 km one."""
    if end > length:
        start, end = start * length // 8000, max(end * length // 8000, start * length // 8000 + 1)
    return {"start": f"{start} m", "end": f"{end} m"}


def _told(fault: Fault, after: Drift, seconds: float) -> dict[str, Any]:
    whole = after.as_dict()
    moved = [one for one in whole["deliveries"] if one["ready"] != one["ready_before"]]
    keys = ("losses", "good_notes", "surplus_notes", "short_notes", "says", "breaches")
    return {"fault": fault[0], "moved": moved, "seconds": round(seconds, 2), **{key: whole[key] for key in keys}}
