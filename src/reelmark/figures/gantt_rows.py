"""The rows and bars of a plan's picture: which operations are drawn together, and where."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Final

from ..acts.plan_time import in_words, moment, name, sequences, setups, short
from ..jobs import ANYWHERE
from ..plan.planned import Planned
from ..svg import el
from .gantt_bars import Bar
from .gantt_marks import Scale, letter

__all__ = ["Row", "by_machine", "by_order", "machine_rows", "order_rows"]

MACHINE, STAGE, HEAD = 26, 15, 20  # px of a machine's row, of a stage's, of an order's heading
THIN: Final = 2.0  # px below which batches of a campaign are drawn as one


@dataclass(slots=True)
class Row:
    """A row.  machine : its number, None elsewhere;  bars : it holds bars, else a heading;  under : drawn first"""

    name: str
    top: float
    high: float
    machine: int | None = None
    job: int | None = None
    stage: int | None = None
    bars: bool = True
    indent: int = 0
    under: list[str] = field(default_factory=list)


def machine_rows(planned: Planned, top: float) -> list[Row]:
    """A row a machine; one more for what needs none."""
    names: list[tuple[str, int | None]] = [(one.name, m) for m, one in enumerate(planned.shop.machines)]
    if ANYWHERE in planned.schedule.machine:
        names.append(("no machine", None))
    return [Row(text, top + MACHINE * n, MACHINE, machine) for n, (text, machine) in enumerate(names)]


def order_rows(planned: Planned, top: float) -> list[Row]:
    """A heading an order, under it a row a stage."""
    rows: list[Row] = []
    for j, job in enumerate(planned.shop.jobs):
        rows.append(Row(f"{letter(j)}  {job.name}", top, HEAD, None, j, bars=False))
        top += HEAD
        for s, stage in enumerate(job.stages):
            rows.append(Row(stage.name, top, STAGE, None, j, s, indent=14))
            top += STAGE
    return rows


def by_machine(planned: Planned, scale: Scale, rows: Sequence[Row]) -> Iterator[Bar]:
    """Bars in the rows of machines, set-ups before them."""
    there = {row.machine: row for row in rows}
    ahead = setups(planned)
    free = [[i] for i, m in enumerate(planned.schedule.machine) if m == ANYWHERE]
    for numbers in [*sequences(planned), *free]:
        for some in _runs(planned, scale, numbers):
            m = planned.schedule.machine[some[0]]
            row = there[None if m == ANYWHERE else m]
            begins = ahead[some[0]][0] if some[0] in ahead else None
            yield _bar(planned, scale, some, row.top + 3, row.high - 7, "gantt-machine", begins)


def by_order(planned: Planned, scale: Scale, rows: Sequence[Row]) -> Iterator[Bar]:
    """Bars in the rows of stages, a lane a machine; a thin line for each batch that waits for its next stage."""
    there = {(row.job, row.stage): row for row in rows if row.bars}
    shop, at = planned.shop, planned.schedule
    used: dict[tuple[int, int], list[int]] = {}
    for numbers in sequences(planned):
        for i in numbers:
            lanes = used.setdefault((shop.operations[i].job, shop.operations[i].stage), [])
            lanes += [at.machine[i]] if at.machine[i] not in lanes else []
    free = [[i] for i, m in enumerate(at.machine) if m == ANYWHERE]
    for numbers in [*sequences(planned), *free]:
        for some in _runs(planned, scale, numbers):
            job, _, stage = shop.operations[some[0]]
            row, lanes = there[job, stage], used.get((job, stage), [ANYWHERE])
            high = (row.high - 2) / len(lanes)
            lane = lanes.index(at.machine[some[0]]) if at.machine[some[0]] in lanes else 0
            yield _bar(planned, scale, some, row.top + 1 + high * lane, high - 0.6, "gantt-order", None)
    for (j, s), row in there.items():
        if j is not None and s is not None and (d := _waits(planned, scale, j, s, row)):
            row.under.append(el("path", cls="line lost", d=d, stroke_width=0.8))


def _waits(planned: Planned, scale: Scale, job: int, stage: int, row: Row) -> str:
    """From the end of a stage to the begin of the next, a line a batch."""
    shop, at, many = planned.shop, planned.schedule, planned.shop.jobs[job].batches
    if stage + 1 >= len(shop.jobs[job].stages):
        return ""
    d = []
    for b in range(many):
        a, z = at.end[shop.number(job, b, stage)], at.start[shop.number(job, b, stage + 1)]
        if z > a and a < scale.high and z > scale.low:
            y = row.top + 2 + (b + 0.5) * (row.high - 4) / many
            d.append(f"M{scale.x(a):.1f} {y:.1f}H{scale.x(z):.1f}")
    return "".join(d)


def _runs(planned: Planned, scale: Scale, numbers: Sequence[int]) -> Iterator[list[int]]:
    """Neighbours of one order and stage, together where one alone would be too thin; what lies outside is left."""
    shop, at = planned.shop, planned.schedule

    def campaign(i: int) -> tuple[int, int]:
        return shop.operations[i].job, shop.operations[i].stage

    for _, same in groupby(numbers, key=campaign):
        inside = [i for i in same if at.start[i] < scale.high and at.end[i] > scale.low]
        some: list[int] = []
        for i in inside:
            thin = (at.end[i] - at.start[i]) * scale.px < THIN
            if some and not (thin and (at.end[some[-1]] - at.start[some[-1]]) * scale.px < THIN):
                yield some
                some = []
            some.append(i)
        if some:
            yield some


def _bar(
    planned: Planned, scale: Scale, some: Sequence[int], top: float, high: float, stem: str, begins: int | None
) -> Bar:
    shop, at = planned.shop, planned.schedule
    job, batch, stage = shop.operations[some[0]]
    last = shop.operations[some[-1]].batch
    batches = f"{batch + 1}" if len(some) == 1 else f"{batch + 1}–{last + 1}"
    pins = {i for i, _, _ in planned.pinned}
    return Bar(
        tuple(some), scale.x(at.start[some[0]]), scale.x(at.end[some[-1]]), top, high, f"url(#{stem}-{job})",
        _title(planned, some), f"{letter(job)}{batches}", (letter(job), shop.jobs[job].stages[stage].name),
        not pins.isdisjoint(some), all(i in planned.frozen for i in some),
        None if begins is None else scale.x(begins),
    )  # fmt: skip


def _title(planned: Planned, some: Sequence[int]) -> str:
    shop, at = planned.shop, planned.schedule
    first, last = at.start[some[0]], at.end[some[-1]]
    what = name(shop, some[0])
    if len(some) > 1:
        what += f" and {len(some) - 1} batches more"
    m = at.machine[some[0]]
    where = "no machine" if m == ANYWHERE else shop.machines[m].name
    span = f"{short(moment(planned, first))} to {short(moment(planned, last))}"
    fixed = [word for word, there in (("pinned", {i for i, _, _ in planned.pinned}), ("frozen", planned.frozen))
             if not there.isdisjoint(some)]  # fmt: skip
    return "; ".join([f"{what}: {where}, {span}, {in_words((last - first) * shop.hours)}", *fixed])
