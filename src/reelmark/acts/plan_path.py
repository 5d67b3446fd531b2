"""The chain of reasons behind a delivery: what waited for what, from the first task to the last."""

from typing import Any

from ..jobs import ANYWHERE
from ..plan.planned import Planned
from .plan_time import OpenTime, in_words, iso
from .plan_waits import Waits

__all__ = ["chapters", "critical", "finisher", "last_line", "why_late"]


def finisher(planned: Planned, line: int) -> int:
    """The operation that completes a due line: the last of so many batches to end their last stage."""
    shop, due = planned.shop, planned.shop.dues[line]
    last = len(shop.jobs[due.job].stages) - 1
    ends = sorted((planned.schedule.end[i], i) for b in range(shop.jobs[due.job].batches)
                  for i in (shop.number(due.job, b, last),))  # fmt: skip
    return ends[due.batches - 1][1]


def last_line(planned: Planned) -> int | None:
    """The due line that is most late; where none is, the last to be ready; None without due lines."""
    lines = range(len(planned.shop.dues))
    ready = {n: planned.schedule.end[finisher(planned, n)] for n in lines}
    return max(lines, key=lambda n: (max(0, ready[n] - planned.shop.dues[n].at), ready[n]), default=None)


def why_late(planned: Planned, line: int) -> str:
    """The longest wait of the batch that completes a due line, and what its machine does meanwhile."""
    waits, way = Waits(planned), [finisher(planned, line)]
    for number in way:  # grows as it is walked
        way += [p for p in waits.before(number) if p not in way]
    found = [(planned.schedule.start[i] - (bound := waits.of(i)).route, i, bound) for i in way]
    most, number, bound = max(found, key=lambda one: one[:2])  # of equals the later stage
    stage, hours = planned.shop.stage(number).name, planned.shop.hours
    if most <= 0:
        length = planned.schedule.end[way[0]] - min(planned.schedule.start[i] for i in way)
        return f"its stages and their least waits alone take {in_words(length * hours)}"
    head = f"{stage} waits {in_words(most * hours)}"
    others = _meanwhile(planned, number, bound.route)
    if bound.kind in {"machine", "batch"} and others:
        return f"{head} for {waits.machine(number)}, which is taken by {others}"
    return f"{head}: {waits.said(number, bound)}"


def _meanwhile(planned: Planned, number: int, since: int) -> str:
    """What the machine of an operation does from a unit on until it begins: most first, three at most."""
    shop, at = planned.shop, planned.schedule
    m, until = at.machine[number], at.start[number]
    if m == ANYWHERE:
        return ""
    time, held = OpenTime(shop.machines[m]), dict[str, int]()
    for i, (job, _, stage) in enumerate(shop.operations):
        low, high = max(since, at.start[i]), min(until, at.end[i])
        if at.machine[i] == m and low < high:
            what = f"{shop.jobs[job].name}, {shop.jobs[job].stages[stage].name}"
            held[what] = held.get(what, 0) + time.between(low, high)
    ranked = sorted((units, what) for what, units in held.items() if units)[::-1]
    said = [f"{what} ({in_words(units * shop.hours)})" for units, what in ranked[:3]]
    rest = sum(units for units, _ in ranked[3:])
    return " and ".join([", ".join(said), *([f"others ({in_words(rest * shop.hours)})"] if rest else [])])


def critical(planned: Planned, line: int | None = None) -> list[dict[str, Any]]:
    """The chain of operations behind a due line, first to last, each with why it begins when it does.

    line : of shop.dues; None: the one most late, or else the last.  says : the reason in words
    """
    line = last_line(planned) if line is None else line
    if line is None:
        return []
    waits, number, rows = Waits(planned), finisher(planned, line), list[dict[str, Any]]()
    seen = set[int]()
    at: int | None = number
    while at is not None and at not in seen:
        seen.add(at)
        binding = waits.of(at)
        job, batch, stage = planned.shop.operations[at]
        rows.append({
            "operation": at, "order": planned.shop.jobs[job].name, "batch": batch + 1,
            "stage": planned.shop.jobs[job].stages[stage].name, "machine": waits.machine(at),
            "start": iso(planned, planned.schedule.start[at]),
            "end": iso(planned, planned.schedule.end[at]),
            "because": binding.kind, "says": waits.said(at, binding),
        })  # fmt: skip
        at = binding.by
    return rows[::-1]


def chapters(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The same chain, batches of one order and stage that follow one another on one machine told as one step.

    batches : "3" or "3 to 7";  operation, start, because, says : of the first of them;  end : of the last
    """
    out: list[dict[str, Any]] = []
    for row in rows:
        last = out[-1] if out else None
        same = last is not None and all(last[key] == row[key] for key in ("order", "stage", "machine"))
        if last is not None and same:
            last["end"] = row["end"]
            last["batches"] = f"{last['batches'].partition(' ')[0]} to {row['batch']}"
        else:
            out.append(row | {"batches": str(row["batch"])})
    return out
