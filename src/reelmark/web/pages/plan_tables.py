"""The tables of a plan below its pictures: the critical path, people, pins, breaches, tasks."""

from typing import Any, cast

from ...acts.plan_time import in_words, moment, name
from ...acts.plan_view import chapters, critical, machine_name, people, tasks
from ...plan.planned import Planned
from ..content import Column, Link, Part, Rows, Table
from ..planfiles import Kept

__all__ = ["Window", "breaches_table", "critical_table", "hours", "people_table", "percent", "pinned_at", "pins_table",
           "tasks_table"]  # fmt: skip

Window = tuple[int, int]


def hours(title: str) -> Column:
    """A column of hours."""
    return Column(title, "h", "figure", 1)


def percent(share: float | None) -> float | None:
    """A share in %."""
    return None if share is None else 100 * share


def pinned_at(at: str, number: int) -> str:
    """Where a task is pinned: at, the page's address."""
    return f"{at}?op={number}#do-pin-a-task"


def critical_table(kept: Kept, line: int | None) -> Table:
    planned = kept.planned
    chain = cast(list[dict[str, Any]], kept.once(("critical", line), lambda: chapters(critical(planned, line))))
    rows = [[row["order"], row["stage"], row["batches"], row["machine"], row["start"], row["end"], row["says"]]
            for row in chain]  # fmt: skip
    columns = (Column("order"), Column("stage"), Column("batches"), Column("machine"), Column("begins", kind="time"),
               Column("ends", kind="time"), Column("begins then because"))  # fmt: skip
    which = "the delivery most late, or else the last one" if line is None else f"delivery {line + 1} of the table"
    return Table("critical", "Critical path", columns, rows, "The plan has no delivery to explain.",
                 f"The chain behind {which}: what an hour saved would be saved on.")  # fmt: skip


def people_table(kept: Kept) -> list[Part]:
    rows = [[row["resource"], row["week"], row["held_h"], row["there_h"],
             percent(row["share"]), row["peak"]]
            for row in cast(list[dict[str, Any]], kept.once("people", lambda: people(kept.planned)))]  # fmt: skip
    columns = (Column("who"), Column("week"), hours("at work"), hours("there"),
               Column("share", "%", "figure", 0), Column("most at once", kind="figure"))  # fmt: skip
    if not kept.planned.shop.resources:
        return []
    note = "Hours of one person. People of set-ups are not counted."
    return [Table("people", "People", columns, rows, "Nobody is needed.", note, most=12)]


def pins_table(planned: Planned, at: str) -> Table:
    rows: Rows = [
        [Link(name(planned.shop, i), pinned_at(at, i)), machine_name(planned.shop, m),
         moment(planned, start).isoformat(), moment(planned, planned.schedule.start[i]).isoformat(),
         in_words((planned.schedule.start[i] - start) * planned.shop.hours)]
        for i, m, start in planned.pinned
    ]  # fmt: skip
    columns = (Column("task"), Column("machine"), Column("not before", kind="time"), Column("begins", kind="time"),
               Column("after that"))  # fmt: skip
    return Table("pins", "Pinned", columns, rows)


def breaches_table(kept: Kept) -> Table:
    rows: Rows = [[one["kind"], one["says"], one["hours"]] for one in kept.told.get("breaches", ())]
    columns = (Column("what"), Column("in words"), hours("by"))
    note = "By a checker that shares nothing with the search; times in hours from the plan's begin. "
    note += "Each is priced in the cost where works.toml prices it."
    return Table("breaches", "Breaches", columns, rows, note=note)


def tasks_table(kept: Kept, at: str, window: Window | None) -> Table:
    """All tasks, or those of the window."""
    planned = kept.planned
    rows = cast(list[dict[str, Any]], kept.once("tasks", lambda: tasks(planned)))
    if window:
        low, high = window
        inside = planned.schedule
        rows = [row for row in rows if inside.start[row["operation"]] < high and inside.end[row["operation"]] > low]
    fixed = {(True, True): "pinned, frozen", (True, False): "pinned", (False, True): "frozen"}
    cells: Rows = [
        [Link(str(row["operation"]), pinned_at(at, row["operation"])), row["order"], row["batch"], row["stage"],
         row["machine"], row["setup_from"], row["start"], row["end"], fixed.get((row["pinned"], row["frozen"]), "")]
        for row in rows
    ]  # fmt: skip
    columns = (Column("task"), Column("order"), Column("batch", kind="figure"), Column("stage"), Column("machine"),
               Column("set-up from", kind="time"), Column("start", kind="time"), Column("end", kind="time"),
               Column("fixed"))  # fmt: skip
    note = "Those of the stretch of time shown." if window else "All of them, in the order of time."
    return Table("tasks", "Tasks", columns, cells, "No task lies in this stretch of time: show the whole plan.", note,
                 most=40)  # fmt: skip
