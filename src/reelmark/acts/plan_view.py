"""A plan as a planner reads it: tasks, deliveries, how loaded machines and people are, how full the store is.

Everything is worked out from the schedule by plain counting; moments are ISO 8601 in the plan's zone, lengths in hours.
"""

from collections import Counter
from collections.abc import Sequence
from itertools import groupby
from typing import Any

from ..jobs import ANYWHERE, JobShop
from ..plan.deliveries import MAKE_UP, parent
from ..plan.outcome import Outcome
from ..plan.planned import Planned
from .plan_load import busiest, load, people, store
from .plan_path import chapters, critical, finisher, why_late
from .plan_time import in_words, iso, moment, sequences, setups, short

__all__ = [
    "busiest", "campaigns", "changed", "chapters", "critical", "deliveries", "load", "machine_name", "people", "store",
    "tasks",
]  # fmt: skip

Row = dict[str, Any]


def tasks(planned: Planned) -> list[Row]:
    """Every operation in the order of time.

    setup_from : when the set-up before it begins, None where there is none;  pinned, frozen : it stays where it is
    """
    shop, at, ahead = planned.shop, planned.schedule, setups(planned)
    pinned = {operation for operation, _, _ in planned.pinned}
    return [
        {
            "operation": i, "order": shop.jobs[j].name, "batch": b + 1, "stage": shop.jobs[j].stages[s].name,
            "machine": machine_name(shop, at.machine[i]), "start": iso(planned, at.start[i]),
            "end": iso(planned, at.end[i]), "setup_from": iso(planned, ahead[i][0]) if i in ahead else None,
            "pinned": i in pinned, "frozen": i in planned.frozen,
        }
        for i, (j, b, s) in sorted(enumerate(shop.operations), key=lambda one: (at.start[one[0]], one[0]))
    ]  # fmt: skip


def machine_name(shop: JobShop, machine: int) -> str:
    """A machine's name; empty where the stage needs none."""
    return "" if machine == ANYWHERE else shop.machines[machine].name


def deliveries(planned: Planned, outcome: Outcome | Sequence[float | None] | None = None) -> list[Row]:
    """Every delivery of an order, ready when its batches and those made up for it are.

    outcome : of the runs of `plan.risk`, or P(on time) line by line; the lesser where batches are made up
    delivery : of its order, from 1, in the order of days;  line : of shop.dues, the one that makes it ready
    late_h : 0 on time;  margin_h : from ready to due, below 0 when late;  says : in words, and why where it is late
    """
    chances = [one.p_on_time for one in outcome.deliveries] if isinstance(outcome, Outcome) else list(outcome or ())
    return [_delivery(planned, lines, number, chances) for number, lines in _lines(planned.shop)]


def _lines(shop: JobShop) -> list[tuple[int, list[int]]]:
    """(number of the delivery, its line of shop.dues and that of what is made up for it)."""
    named = [(shop.jobs[due.job].name, due.at) for due in shop.dues]
    found = []
    for n, (name, at) in enumerate(named):
        if name == parent(name):
            number = 1 + sum(other == name and (when, m) < (at, n) for m, (other, when) in enumerate(named))
            found.append((number, [n, *(m for m, one in enumerate(named) if one == (name + MAKE_UP, at))]))
    return found


def _delivery(planned: Planned, lines: list[int], number: int, chances: Sequence[float | None]) -> Row:
    due = planned.shop.dues[lines[0]]
    ready, line = max((planned.schedule.end[finisher(planned, n)], n) for n in lines)
    margin = (due.at - ready) * planned.shop.hours
    known = [one for n in lines if n < len(chances) and (one := chances[n]) is not None]
    return {
        "order": planned.shop.jobs[due.job].name, "delivery": number, "batches": due.batches, "line": line,
        "due": iso(planned, due.at), "ready": iso(planned, ready), "late_h": max(0.0, -margin), "margin_h": margin,
        "p_on_time": min(known, default=None), "says": _said(planned, line, margin, line != lines[0]),
    }  # fmt: skip


def _said(planned: Planned, line: int, margin: float, made_up: bool) -> str:
    by = "; it waits for the make-up batch" if made_up else ""
    if margin < 0:
        return f"{in_words(-margin)} late{by}: {why_late(planned, line)}"
    return (f"ready {in_words(margin)} before it is due" if margin else "ready just as it is due") + by


def campaigns(planned: Planned) -> list[Row]:
    """What each machine does without a change of order or stage, in the order of time.

    number : which of its order and stage, from 1;  batches : their numbers, in words
    """
    shop, at, rows = planned.shop, planned.schedule, list[Row]()
    for numbers in sequences(planned):
        for (job, stage), some in groupby(numbers, key=lambda i: (shop.operations[i].job, shop.operations[i].stage)):
            same = list(some)
            batches = ", ".join(str(shop.operations[i].batch + 1) for i in same)
            rows.append({"order": shop.jobs[job].name, "stage": shop.jobs[job].stages[stage].name, "batches": batches,
                         "machine": machine_name(shop, at.machine[same[0]]), "unit": at.start[same[0]],
                         "start": iso(planned, at.start[same[0]]), "end": iso(planned, at.end[same[-1]])})  # fmt: skip
    rows.sort(key=lambda row: (row["unit"], row["machine"]))
    count = Counter[tuple[str, str]]()
    for row in rows:
        count[row["order"], row["stage"]] += 1
        row["number"] = count[row["order"], row["stage"]]
    return rows


def changed(before: Planned, after: Planned) -> tuple[str, ...]:
    """What another plan of the same shop does to the deliveries and to the cost, in words."""
    said = []
    for line, due in enumerate(after.shop.dues):
        was, now = (one.schedule.end[finisher(one, line)] for one in (before, after))
        if was != now:
            far = in_words(abs(now - was) * after.shop.hours)
            times = " to ".join(short(moment(one, unit)) for one, unit in ((before, was), (after, now)))
            what = f"{after.shop.jobs[due.job].name}, {due.batches} batches"
            said.append(f"{what}: ready {far} {'later' if now > was else 'earlier'}, from {times}")
    moved = sum(a != b for a, b in zip(_places(before), _places(after), strict=True))
    said = said or ["no delivery moves"]
    return (*said, f"{moved:,} tasks move; cost from {before.cost:,.0f} to {after.cost:,.0f}")


def _places(planned: Planned) -> list[tuple[int, int]]:
    return list(zip(planned.schedule.machine, planned.schedule.start, strict=True))
