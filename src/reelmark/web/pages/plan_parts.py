"""What stands on the page of a plan, in order; what is costly is worked out once while the plan's file is the same."""

from collections.abc import Callable
from functools import partial
from typing import Any, cast

from ...acts.plan_time import moment, name, short
from ...acts.plan_view import busiest, load, machine_name, store
from ...figures.gantt import By, gantt_picture, whole
from ...figures.gantt_levels import load_picture, store_picture
from ...plan.planned import Planned
from ..content import Cell, Column, Figure, Link, Part, Table
from ..page import Asked
from ..planfiles import Kept
from .plan_dates import deliveries_table, impossible_parts, log_table
from .plan_tables import (
    Window,
    breaches_table,
    critical_table,
    hours,
    people_table,
    percent,
    pinned_at,
    pins_table,
    tasks_table,
)

__all__ = ["first_parts", "further_parts"]


def first_parts(asked: Asked, kept: Kept, window: Window | None, op: int | None) -> list[Part]:
    """Deliveries and the two pictures.  window : None for all of it"""
    at = f"{asked.base}/plan"
    return [deliveries_table(kept, at), *impossible_parts(kept), *_gantt(kept, at, window or whole(kept.planned), op)]


def further_parts(asked: Asked, kept: Kept, window: Window | None, line: int | None) -> list[Part]:
    """What stands below the forms."""
    planned, at = kept.planned, f"{asked.base}/plan"
    share = cast(list[dict[str, Any]], kept.once("load", lambda: load(planned)))
    parts: list[Part] = [
        log_table(kept),
        breaches_table(kept),
        critical_table(kept, line),
        _start_now(kept, at),
        _load(planned, share),
        _store(kept, window or whole(planned)),
        *people_table(kept),
        pins_table(planned, at),
        tasks_table(kept, at, window),
    ]
    return [
        one
        for one in parts
        if not (isinstance(one, Table) and one.name in {"breaches", "pins", "log"} and not one.rows)
    ]


def _gantt(kept: Kept, at: str, window: Window, op: int | None) -> list[Figure]:
    planned = kept.planned
    said = f"{short(moment(planned, window[0]))} to {short(moment(planned, window[1]))}. "
    notes: dict[By, str] = {
        "machine": "A bar leads to the form that pins it, and can be drawn to another time or machine.",
        "order": "Each order stage by stage, a lane a machine.",
    }

    def drawn(by: By, alone: bool) -> str:
        key = ("gantt", by, window, op, alone)
        address = partial(pinned_at, at)
        make = partial(gantt_picture, planned, window, by=by, alone=alone, address=address, chosen=op)
        return cast(str, kept.once(key, make))

    return [
        Figure(f"gantt-{by}", f"By {by}", cast(Callable[[bool], str], partial(drawn, by)), note=said + note)
        for by, note in notes.items()
    ]


def _start_now(kept: Kept, at: str) -> Table:
    planned = kept.planned
    rows: list[list[Cell]] = [
        [Link(name(planned.shop, i), pinned_at(at, i)), machine_name(planned.shop, planned.schedule.machine[i]),
         moment(planned, planned.schedule.start[i]).isoformat(), 100 * float(share)]
        for i, share in kept.told.get("start_now", ()) if 0 <= i < len(planned.shop.operations)
    ]  # fmt: skip
    columns = (Column("task"), Column("machine"), Column("start", kind="time"),
               Column("on the chain of late deliveries", "%", "figure", 0))  # fmt: skip
    note = "Tasks that can begin at once, by the share of late deliveries that hang on them in the runs."
    empty = "No delivery was late in the runs, so nothing hurries: follow the plan."
    return Table("start-now", "What to take up first", columns, rows, empty, note)


def _load(planned: Planned, rows: list[dict[str, Any]]) -> Figure:
    keys = ("work_h", "setup_h", "open_h")
    table = Table(
        "load", "Load in hours",
        (Column("machine"), Column("week"), *(hours(words) for words in ("work", "set-up", "open")),
         Column("share", "%", "figure", 0)),
        [[row["machine"], row["week"], *(row[key] for key in keys), percent(row["share"])] for row in rows],
        "The plan holds no task.", most=12,
    )  # fmt: skip
    top = busiest(rows)
    note = "Of the hours open less maintenance; work in pale, full weeks (90 % and more) in red, set-up black."
    if top:
        note = (f"Bottleneck: {top['machine']}, {100 * top['share']:.0f} % of its open hours over the whole plan, "
                f"{100 * (top['week_share'] or 0):.0f} % in {top['week']}. {note}")  # fmt: skip
    return Figure("load", "Load and bottleneck", lambda alone: load_picture(rows, alone=alone), table, note)


def _store(kept: Kept, window: Window) -> Part:
    planned = kept.planned
    if not any(stage.stored for job in planned.shop.jobs for stage in job.stages):
        return "No stage of the route puts batches into the store."
    told = cast(dict[str, Any], kept.once("store", lambda: store(planned)))
    rows = [[one["from"], one["to"], one["most"], one["places"], one["says"]] for one in told["breaches"]]
    columns = (Column("from", kind="time"), Column("to", kind="time"), Column("most at once", "batches", "figure"),
               Column("places", "batches", "figure"), Column("in words"))  # fmt: skip
    places = told["places"]
    fits = "works.toml sets no limit: add plant.store to have one." if places is None else "Every batch has its place."
    table = Table("store", "More in store than there are places", columns, rows, fits)
    return Figure("store", "Store", lambda alone: store_picture(planned, told, window, alone=alone), table,
                  "Batches between a stage after which they are stored and the next.")  # fmt: skip
