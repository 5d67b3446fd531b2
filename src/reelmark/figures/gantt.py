"""A plan as bars over time, by machine or by order: work, set-ups and waits, closed time, dues, what is fixed.

    gantt_picture(planned, (0, 336), by="machine", alone=True)

Orders differ in tone and pattern and carry a letter, so that colour is never alone.  Batches of one campaign that would
be too thin to be seen are drawn as one bar; none is left out.
"""

from collections.abc import Callable, Iterator
from typing import Final, Literal

from ..acts.plan_time import OpenTime, iso, moment, short
from ..plan.planned import Planned
from ..svg import el, label, picture, rects
from .gantt_bars import written
from .gantt_marks import LEFT, WIDE, Scale, axis, flags, legend, patterns
from .gantt_rows import Row, by_machine, by_order, machine_rows, order_rows

__all__ = ["By", "gantt_picture", "whole"]

By = Literal["machine", "order"]
TOP: Final = 46  # px above the first row: days, and flags
BEYOND: Final = 0.4  # of the time the work takes, in which a due after it is still shown
LETTER: Final = 6.6  # px that a letter of a row's name takes at most
Address = Callable[[int], str]


def whole(planned: Planned) -> tuple[int, int]:
    """The window that holds all work, first to last unit; dues that lie not far beyond it too."""
    high = max(planned.schedule.end, default=1)
    low = min([*planned.schedule.start, high - 1])
    near = high + (high - low) * BEYOND
    high = max([high, *(due.at for due in planned.shop.dues if due.at <= near)])
    room = max(1, (high - low) // 60)
    return max(0, low - room), high + room


def gantt_picture(
    planned: Planned,
    window: tuple[int, int],
    *,
    by: By = "machine",
    alone: bool = True,
    address: Address | None = None,
    chosen: int | None = None,
    now: float | None = None,
) -> str:
    """window : units;  address : where an operation's bar leads;  chosen : drawn with an outline;  now : unit"""
    scale = Scale(*window)
    rows = machine_rows(planned, TOP) if by == "machine" else order_rows(planned, TOP)
    high = rows[-1].top + rows[-1].high if rows else TOP
    bars = list(by_machine(planned, scale, rows) if by == "machine" else by_order(planned, scale, rows))
    stem = f"gantt-{by}"
    inside = [
        patterns(stem, len(planned.shop.jobs)),
        *_names(rows),
        *(closed := list(_closed(planned, scale, rows, stem))),
        *(line for row in rows for line in row.under),
        *(bar.drawn(None if alone else address, chosen) for bar in bars),
        el("g", *closed[:1], fill_opacity=0.55, pointer_events="none"),  # where a task rests
        *axis(planned, scale, TOP, high),
        *flags(planned, scale, rows, TOP, high),
        *_now(scale, now, high),
        *written(bars),
        *(legend(planned, stem, high + 16)),
    ]
    total = high + 34 + 18 * (-(-len(planned.shop.jobs) // 4))
    return picture(
        WIDE, total, inside, title=f"Plan by {by}", says=_says(planned, window, by), alone=alone,
        role="img" if alone else "group", width=WIDE if alone else None, height=total if alone else None,
        **_hold(planned, scale, rows),
    )  # fmt: skip


def _says(planned: Planned, window: tuple[int, int], by: str) -> str:
    shop = planned.shop
    what = f"{len(shop.operations):,} operations of {len(shop.jobs):,} orders on {len(shop.machines):,} machines"
    low, high = (short(moment(planned, unit)) for unit in window)
    return f"{what}, by {by}, from {low} to {high}. The tables of tasks, deliveries and load say the same."


def _hold(planned: Planned, scale: Scale, rows: list[Row]) -> dict[str, object]:
    """What a hand that drags a bar must know: the window, and which row is which machine."""
    machines = [row for row in rows if row.machine is not None]
    return {
        "data_from": iso(planned, scale.low), "data_minutes": (scale.high - scale.low) * planned.shop.unit_min,
        "data_step": planned.shop.unit_min, "data_left": LEFT, "data_wide": WIDE,
        "data_machines": ",".join(str(row.machine) for row in machines) or None,
        "data_tops": ",".join(f"{row.top:g}" for row in machines) or None,
        "data_high": machines[0].high if machines else None,
    }  # fmt: skip


def _names(rows: list[Row]) -> Iterator[str]:
    for row in rows:
        y = row.top + row.high - max(3.0, (row.high - 11) / 2)
        most = int((LEFT - 8 - row.indent) / LETTER)
        name = row.name if len(row.name) <= most else row.name[: most - 1] + "…"
        whose = {} if row.machine is None else {"data_machine": row.machine, "data_name": row.name}
        yield label(row.indent, y, name, "ink small", font_weight=None if row.bars else 600, **whose)
        yield el("path", cls="line rule", d=f"M0 {row.top + row.high:.1f}H{WIDE}")


def _closed(planned: Planned, scale: Scale, rows: list[Row], stem: str) -> Iterator[str]:
    """Closed time shaded, maintenance hatched, in the rows of machines."""
    shut, kept = [], []
    for row in rows:
        if row.machine is None:
            continue
        machine = planned.shop.machines[row.machine]
        shut += [(*box, row.high - 1) for box in _boxes(scale, OpenTime(machine).closed, row)]
        kept += [(*box, row.high - 1) for box in _boxes(scale, machine.maintenance, row)]
    yield rects(((x, y, wide, high) for x, wide, y, high in shut), "material")
    for x, wide, y, high in kept:
        yield el("rect", x=x, y=y, width=wide, height=float(high), fill=f"url(#{stem}-kept)")


def _boxes(scale: Scale, spells: object, row: Row) -> Iterator[tuple[float, float, float]]:
    for a, b in spells:  # type: ignore[attr-defined]
        if a < scale.high and b > scale.low:
            left, right = scale.x(a), scale.x(b)
            yield left, max(0.5, right - left), row.top


def _now(scale: Scale, now: float | None, high: float) -> Iterator[str]:
    if now is not None and scale.low <= now <= scale.high:
        x = scale.x(now)
        yield el("path", cls="line ink", d=f"M{x:.1f} {TOP - 6}V{high:.1f}", stroke_dasharray="1 3")
        yield label(x + 3, TOP - 8, "now", "ink small")
