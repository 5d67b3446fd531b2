"""A plan as plain values, for a file, and back."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any, Final

from ..errors import Problem
from ..jobs import (
    ANYWHERE,
    Due,
    Job,
    JobShop,
    Level,
    Machine,
    Prices,
    Resource,
    Schedule,
    Stage,
    Store,
)  # fmt: skip
from ..plan.planned import Planned

__all__ = ["FORMAT", "from_dict", "to_dict"]

FORMAT: Final = 1
AGAIN: Final = "plan again; the old file can be deleted"


def to_dict(planned: Planned) -> dict[str, Any]:
    """Lists, texts and numbers only; ``from_dict`` gives the same plan again."""
    shop = planned.shop
    rest = {"unit_min": shop.unit_min, "horizon": shop.horizon, "setups_open": shop.setups_open,
            "families": list(shop.families), "begins": shop.begins}  # fmt: skip
    return {
        "format": FORMAT,
        "shop": rest | {
            "machines": [asdict(one) for one in shop.machines], "jobs": [asdict(one) for one in shop.jobs],
            "dues": [asdict(one) for one in shop.dues],
            "setups": [[before, after, units] for (before, after), units in shop.setups.items()],
            "places": shop.store.places if shop.store else None,
            "resources": [asdict(one) for one in shop.resources], "prices": asdict(shop.prices),
        },
        "machine": list(planned.schedule.machine), "start": list(planned.schedule.start),
        "end": list(planned.schedule.end), "begins": planned.begins.isoformat(), "cost": planned.cost,
        "bound": planned.bound, "frozen": sorted(planned.frozen), "pinned": [list(one) for one in planned.pinned],
        "says": list(planned.says),
    }  # fmt: skip


def from_dict(kept: Mapping[str, Any], begins: datetime | None = None) -> Planned:
    """The plan again.  begins : the same moment in the works' zone, else with the hours from UTC as written.

    Problem where the parts do not fit together: another number of operations, a machine that is not there.
    """
    shop = _shop(kept["shop"])
    schedule = Schedule(*(tuple(kept[name]) for name in ("machine", "start", "end")))
    pins = tuple((int(i), int(m), int(start)) for i, m, start in kept["pinned"])
    _fits(shop, schedule, [*kept["frozen"], *(i for i, _, _ in pins)])
    at = begins or datetime.fromisoformat(kept["begins"])
    if at.tzinfo is None:
        raise Problem("a plan", f"its begin {kept['begins']} has no zone", AGAIN)
    return Planned(shop, schedule, at, kept["cost"], kept["bound"], frozenset(kept["frozen"]), pins,
                   tuple(kept["says"]))  # fmt: skip


def _shop(kept: Mapping[str, Any]) -> JobShop:
    jobs = tuple(Job(one["name"], tuple(map(_stage, one["stages"])), one["batches"], one["release"])
                 for one in kept["jobs"])  # fmt: skip
    machines = tuple(Machine(one["name"], _spells(one["closed"]), _spells(one["maintenance"]), one["family"])
                     for one in kept["machines"])  # fmt: skip
    resources = tuple(Resource(one["name"], tuple(Level(**level) for level in one["levels"]))
                      for one in kept["resources"])  # fmt: skip
    return JobShop(
        kept["unit_min"], machines, jobs, tuple(Due(**one) for one in kept["dues"]),
        {(before, after): units for before, after, units in kept["setups"]},
        None if kept["places"] is None else Store(kept["places"]), resources, Prices(**kept["prices"]),
        kept["horizon"], kept["setups_open"], tuple(kept["families"]), kept["begins"],
    )  # fmt: skip


def _stage(one: Mapping[str, Any]) -> Stage:
    return Stage(
        one["name"], _spells(one["on"]), one["family"], one["least_wait"], one["most_wait"], one["stored"],
        _spells(one["uses"]), None if one["after"] is None else tuple(one["after"]),
    )  # fmt: skip


def _spells(pairs: Any) -> tuple[tuple[int, int], ...]:
    return tuple((int(a), int(b)) for a, b in pairs)


def _fits(shop: JobShop, schedule: Schedule, named: list[int]) -> None:
    """Problem where an index leads nowhere."""
    count = len(shop.operations)
    if not len(schedule.machine) == len(schedule.start) == len(schedule.end) == count:
        raise Problem("a plan", f"{count:,} operations, and times of {len(schedule.start):,}", AGAIN)
    used = {*schedule.machine, *(m for job in shop.jobs for stage in job.stages for m, _ in stage.on)}
    if any(m != ANYWHERE and not 0 <= m < len(shop.machines) for m in used):
        raise Problem("a plan", f"it names machines beyond the {len(shop.machines)} there are", AGAIN)
    uses = {r for job in shop.jobs for stage in job.stages for r, _ in stage.uses}
    if any(not 0 <= r < len(shop.resources) for r in uses) or any(not 0 <= i < count for i in named):
        raise Problem("a plan", "it names an operation or a resource that is not there", AGAIN)
    for due in shop.dues:
        if not (0 <= due.job < len(shop.jobs) and 1 <= due.batches <= shop.jobs[due.job].batches):
            raise Problem("a plan", f"a delivery of {due.batches} batches of job {due.job} cannot be", AGAIN)
