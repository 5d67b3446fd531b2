"""When each delivery is ready, what moved it, and what no plan can keep."""

from typing import Any, cast

from ...acts.plan_view import deliveries
from ...plan.impossible import impossible_words
from ..content import Column, Link, Part, Rows, Table
from ..planfiles import Kept
from .plan_tables import hours

__all__ = ["deliveries_table", "impossible_parts", "log_table"]


def deliveries_table(kept: Kept, at: str) -> Table:
    """ready before: where the last thing that happened moved it."""
    told = kept.told
    was = {(one["order"], one["delivery"]): one["from"] for one in told.get("moves", ())}
    rows: Rows = [
        [row["order"], row["delivery"], row["due"], was.get((row["order"], row["delivery"])), row["ready"],
         row["late_h"], row["says"], row["p_on_time"], row["batches"],
         Link(f"Path {n}", f"{at}?line={row['line']}#t-critical")]
        for n, row in enumerate(deliveries(kept.planned, told.get("p_on_time")), 1)
    ]  # fmt: skip
    columns = (
        Column("order"), Column("delivery", kind="figure"), Column("due", kind="time"),
        Column("ready before it moved", kind="time"), Column("ready", kind="time"), hours("late"), Column("in words"),
        Column("P on time", kind="figure", places=2), Column("batches", kind="figure"), Column("why"),
    )  # fmt: skip
    return Table("deliveries", "Deliveries", columns, rows, "The orders name no delivery: add [[deliveries]] to them.",
                 _risk_note(told))  # fmt: skip


def _risk_note(told: dict[str, Any]) -> str:
    if told.get("no_risk"):
        return f"No chance is told: {told['no_risk']}."
    if not told.get("runs"):
        return ""
    said = f"P on time: share of {told['runs']:,} runs of this plan with varying work, breakdowns and yields, its "
    said += f"sequence kept; all on time in {100 * told.get('all_on_time', 0):.0f} %."
    if told.get("left_out"):
        said += f" Not in the runs: {', '.join(told['left_out'])}, so it is too high where they are short."
    if told.get("unknown"):
        said += f" No source backs {', '.join(str(one).replace('_', ' ') for one in told['unknown'])}."
    return said


def log_table(kept: Kept) -> Table:
    """Each time that the journal was taken in and said something, newest first."""
    rows: Rows = [[one["at"], f"{one['since']:,} to {one['entries'] - 1:,}", line]
                  for one in kept.told.get("log", ()) for line in one["says"]]  # fmt: skip
    columns = (Column("as of", kind="time"), Column("entries"), Column("in words"))
    note = "What the journal said since this plan was made, newest first; the last is told at the top of the page."
    return Table("log", "What moved the plan", columns, rows, note=note, most=20)


def impossible_parts(kept: Kept) -> list[Part]:
    """Dates that are proved impossible, and what would make them possible; nothing where none is."""
    planned = kept.planned
    lines = cast(tuple[str, ...], kept.once("impossible", lambda: impossible_words(planned.shop, planned.begins)))
    if not lines:
        return []
    note = "Proved: no plan keeps them. A date that is not named here may be out of reach all the same: set-ups, store "
    note += "and people are not in the proof."
    return [Table("impossible", "Impossible dates", (Column("in words"),), [[line] for line in lines], note=note)]
