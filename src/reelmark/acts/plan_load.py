"""How full: machines and people week by week, the store from moment to moment."""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Any

from ..jobs import ANYWHERE, JobShop, Spell
from ..plan.planned import Planned
from .plan_time import OpenTime, iso, name, setups, weeks

__all__ = ["busiest", "load", "people", "store"]

Row = dict[str, Any]


def load(planned: Planned) -> list[Row]:
    """Each machine in each ISO week until the plan's end: hours of work and of set-up against hours open.

    open_h : less maintenance;  share : (work + set-up) / open, None where it is never open
    """
    shop, ends, ahead = planned.shop, max(planned.schedule.end, default=0), setups(planned)
    every = list(weeks(planned, ends))
    rows = []
    for m, machine in enumerate(shop.machines):
        time, able = OpenTime(machine), OpenTime(machine, kept=True)
        mine = [i for i, at in enumerate(planned.schedule.machine) if at == m]
        work = [(planned.schedule.start[i], planned.schedule.end[i]) for i in mine]
        made = [ahead[i] for i in mine if i in ahead]
        rows += [_week(shop, m, week, [_within(time, work, week), _within(able, made, week), able.between(*week[1:])])
                 for week in every]  # fmt: skip
    return rows


def _within(time: OpenTime, spells: Sequence[Spell], week: tuple[str, int, int]) -> int:
    """Open units of the spells in the week."""
    _, low, high = week
    return sum(time.between(max(a, low), min(b, high)) for a, b in spells if a < high and b > low)


def _week(shop: JobShop, machine: int, week: tuple[str, int, int], units: Sequence[int]) -> Row:
    work, made, able = (one * shop.hours for one in units)
    share = (work + made) / able if able else None
    return {"machine": shop.machines[machine].name, "week": week[0], "work_h": work, "setup_h": made, "open_h": able,
            "share": share}  # fmt: skip


def busiest(rows: Sequence[Row]) -> Row | None:
    """The bottleneck: the machine with the highest share over all weeks, and its fullest week; None without work."""
    sums: dict[str, list[float]] = {}
    for row in rows:
        one = sums.setdefault(row["machine"], [0.0, 0.0])
        one[0] += row["work_h"] + row["setup_h"]
        one[1] += row["open_h"]
    shares = {machine: worked / there for machine, (worked, there) in sums.items() if there and worked}
    if not shares:
        return None
    machine = max(shares, key=lambda one: shares[one])
    fullest = max((row for row in rows if row["machine"] == machine), key=lambda row: row["share"] or 0.0)
    return {"machine": machine, "share": shares[machine], "week": fullest["week"], "week_share": fullest["share"]}


def store(planned: Planned) -> Row:
    """Batches in the store.  places : None where there is no limit;  levels : from each moment on

    breaches : stretches with more batches than places, with the batches that lie there
    """
    lying = list(_lying(planned))
    places = planned.shop.store.places if planned.shop.store else None
    moments = sorted({t for a, b, _ in lying for t in (a, b)})
    counts = [(t, [i for a, b, i in lying if a <= t < b]) for t in moments]
    levels = [{"at": iso(planned, t), "unit": t, "level": len(there)} for t, there in counts]
    return {"places": places, "levels": levels, "breaches": _over(planned, counts, places)}


def _lying(planned: Planned) -> Iterator[tuple[int, int, int]]:
    """(from, to, operation after which the batch lies there): until the first of the stages that follow begins."""
    shop, at = planned.shop, planned.schedule
    for i, (job, batch, stage) in enumerate(shop.operations):
        if not shop.stage(i).stored:
            continue
        follow = [s for s, one in enumerate(shop.jobs[job].stages)
                  if stage in ((s - 1,) if one.after is None else one.after)]  # fmt: skip
        leaves = min((at.start[shop.number(job, batch, s)] for s in follow), default=at.end[i])
        if leaves > at.end[i]:
            yield at.end[i], leaves, i


def _over(planned: Planned, counts: Sequence[tuple[int, list[int]]], places: int | None) -> list[Row]:
    found: list[Row] = []
    for (t, there), (until, _) in pairwise(counts):
        if places is None or len(there) <= places:
            continue
        if found and found[-1]["to"] == iso(planned, t):
            found[-1]["to"] = iso(planned, until)
            found[-1]["most"] = max(found[-1]["most"], len(there))
        else:
            says = "; ".join(name(planned.shop, i) for i in there[places:])
            found.append({"from": iso(planned, t), "to": iso(planned, until), "most": len(there), "places": places,
                          "says": f"no place for {says}"})  # fmt: skip
    return found


def people(planned: Planned) -> list[Row]:
    """Each resource in each ISO week: hours held against hours there, and the highest number held at once."""
    shop, ends = planned.shop, max(planned.schedule.end, default=0)
    rows = []
    for r, resource in enumerate(shop.resources):
        held, steps = list(_held(planned, r)), [*resource.levels]
        there = [(one.begins, after.begins, one.amount) for one, after in pairwise(steps)]
        there += [(steps[-1].begins, max(ends, steps[-1].begins), steps[-1].amount)] if steps else []
        for week, low, high in weeks(planned, ends):
            used = [(max(a, low), min(b, high), n) for a, b, n in held if a < high and b > low]
            able = sum((min(b, high) - max(a, low)) * n for a, b, n in there if a < high and b > low) * shop.hours
            hours = sum((b - a) * n for a, b, n in used) * shop.hours
            rows.append({"resource": resource.name, "week": week, "held_h": hours, "there_h": able,
                         "share": hours / able if able else None, "peak": _peak(used)})  # fmt: skip
    return rows


def _held(planned: Planned, resource: int) -> Iterator[tuple[int, int, int]]:
    """(from, to, amount) while operations hold a resource: not while their machine is closed."""
    shop, at = planned.shop, planned.schedule
    times = {m: OpenTime(one) for m, one in enumerate(shop.machines)} | {ANYWHERE: OpenTime(None)}
    for i in range(len(shop.operations)):
        amount = sum(n for r, n in shop.stage(i).uses if r == resource)
        for a, b in times[at.machine[i]].parts(at.start[i], at.end[i]) if amount else ():
            yield a, b, amount


def _peak(used: Sequence[tuple[int, int, int]]) -> int:
    level = peak = 0
    for _, change in sorted([(a, n) for a, _, n in used] + [(b, -n) for _, b, n in used]):
        level += change
        peak = max(peak, level)
    return peak
