"""The nine things that an engineer wants to see of a roll, each a figure with its table, and the way to the strips."""

from collections.abc import Sequence
from functools import partial
from typing import Any, Final, Protocol
from urllib.parse import quote, urlencode

from ...acts.follow import choose, follow
from ...acts.gauge import Across, fault_of, strip_place
from ...acts.gauge_alarms import Alarm
from ...acts.gauge_view import RollView
from ...acts.told import number_ranges
from ...errors import Problem
from ...figures.gauge_along import roll_picture
from ...spans import Extent, Spans
from ...stations.film.gauge import GaugeMark, Settings
from ...stations.film.gauge.marks import Grade
from ..content import Cell, Column, Field, Figure, Form, Link, Table
from ..gauges import Before
from ..page import Asked
from ..roles import Role
from .film_figures import Event, along, beside, die_round, fig, lanes, parts, roll_map, waves

__all__ = ["parts_of"]

GRADES: Final[tuple[Grade, ...]] = ("keep", "downgrade", "cut out")
MOST_FOLLOWED: Final = 24  # marks that are followed to their numbers on the page


class Asks(Protocol):
    """What the page was asked."""

    @property
    def core_m(self) -> float | None: ...
    @property
    def core_mm(self) -> float | None: ...
    @property
    def spot_mm(self) -> float | None: ...
    @property
    def mark(self) -> int: ...
    def query(self) -> dict[str, str]: ...


def parts_of(
    asked: Asked,
    view: RollView,
    settings: Settings,
    asks: Asks,
    file: str,
    across: Across,
    before: tuple[Sequence[Before], bool],
) -> tuple[Any, ...]:
    """All nine, in the order of the engineer's eye."""
    limits = settings.limits
    assert limits is not None
    ends = (limits.target_um - limits.tolerance_um, limits.target_um + limits.tolerance_um)
    marks = [(mark, _place(asked, view.roll, mark, across, asks.core_m or 0.0)) for mark in view.marks]
    return (
        _roll(view, ends), _stretches(view), _marks(asked, marks, asks, file), *_mark_form(asked, marks, asks.mark),
        parts(view), *beside(view, *before), roll_map(view, limits, asks.spot_mm),
        lanes(view, ends, settings.core_mm, asks.core_mm is None), *die_round(view),
        *along(view, ends, events(asked, view.roll, asks.core_m or 0.0)), *waves(view),
        _alarms(asked, view, settings, asks.core_m or 0.0),
    )  # fmt: skip


# ---- 1 the roll


def _roll(view: RollView, ends: tuple[float, float]) -> Figure:
    title = f"Roll {view.roll}"
    v = view.verdict
    rows: list[list[Cell]] = [
        ["limits", f"{ends[0]:.2f} to {ends[1]:.2f}", "um", ""],
        ["mean", f"{v.mean_um:.3f}", "um", "lanes weighed alike"],
        ["total spread, 2 s", f"{v.two_sigma_um:.3f}", "um", "all causes, the gauge's own noise left out where given"],
        ["spread of the readings, 2 s", f"{v.points_two_sigma_um:.3f}", "um", "as they stand in the file"],
        _extreme("thinnest", view.least), _extreme("thickest", view.most), *_capable(view),
        ["area out of limits", _percent(v.out_percent), "%", "by the map and its standard deviation"],
        ["readings out of limits", _percent(v.out_points_percent), "%", "as they stand"],
        ["web speed", f"{60 * view.speed_m_s:,.2f}", "m/min", "metres over running time"],
    ]  # fmt: skip
    columns = (Column("What"), Column("Is", kind="figure"), Column("Unit"), Column("Note"))
    under = Table("roll-figures", "The roll in figures", columns, rows)
    draw = partial(roll_picture, view, title=title)
    return Figure("roll", title, lambda alone: draw(alone=alone), under, "From the core, left, to the outside.")


def _extreme(word: str, one: tuple[float, float, float]) -> list[Cell]:
    return [word, f"{one[0]:.2f}", "um", f"at {one[1]:,.1f} m, {one[2]:,.0f} mm; mean of a pass and lane"]


def _capable(view: RollView) -> list[list[Cell]]:
    """Cpk of the whole web with its interval, and of the worst lane."""
    v, cpk = view.verdict, view.verdict.cpk
    if cpk is None or v.lane_cpk is None:
        return []
    lane = f"{view.edges_mm[v.worst_lane]:,.0f} to {view.edges_mm[v.worst_lane + 1]:,.0f} mm"
    said = f"95 %: {cpk.cpk_low:.2f} to {cpk.cpk_high:.2f}, as of {cpk.n:,.0f} independent readings"
    return [["Cpk, whole web", f"{cpk.cpk:.2f}", "", said],
            ["Cpk, worst lane", f"{v.lane_cpk[v.worst_lane]:.2f}", "", f"lane at {lane}"]]  # fmt: skip


def _percent(value: float | None) -> str:
    if value is None:
        return "–"
    return "under 0.001" if 0 < value < 0.001 else f"{value:.3g}"


def _stretches(view: RollView) -> Table:
    rows = [[s.choice, s.from_m, s.to_m, s.metres, s.sheets, s.notes, s.why] for s in view.verdict.stretches]
    columns = (Column("Choice"), fig("From", "m", 1), fig("To", "m", 1), fig("Long", "m", 1),
               fig("Sheets"), fig("Notes"), Column("Why"))  # fmt: skip
    sums = ((choice, *view.verdict.cost(choice)) for choice in GRADES)
    costs = "; ".join(f"{choice} {m:,.1f} m, {sheets:,} sheets, {notes:,} notes" for choice, m, sheets, notes in sums)
    note = f"In all: {costs}. A proposal; the choice stays with the engineer. All lanes of the order counted."
    return Table("stretches", "Keep, downgrade, cut out", columns, rows, note=note, most=10)


# ---- 9 the marks, on the strips


def _place(asked: Asked, roll: str, mark: GaugeMark, across: Across, core_m: float) -> str | Problem:
    """Where the mark lies on the strips, or why nowhere."""
    try:
        return strip_place(asked.now.reading, roll, mark, across, core_m)
    except Problem as problem:
        return problem


def _concerned(asked: Asked, place: str) -> int:
    """Notes whose numbers the place may touch."""

    def count(reading: Any) -> int:
        return sum(many for *_, many in number_ranges(reading, follow(reading, choose(reading, [place])).may))

    return asked.now.recent(("gauge place", place), count)


Marks = Sequence[tuple[GaugeMark, str | Problem]]


def _marks(asked: Asked, marks: Marks, asks: Asks, file: str) -> Table:
    def rows() -> list[list[Cell]]:
        return [_mark_row(asked, n, mark, place, asks, file) for n, (mark, place) in enumerate(marks, 1)]

    columns = (Column("Mark"), fig("From", "m", 1), fig("To", "m", 1), Column("Across", "mm"),
               fig("Off", "um", 2), Column("Grade"), Column("What to know and do"),
               Column("On the strips"), fig("May touch", "numbers"), Column("In the journal"))  # fmt: skip
    note = "Metres of the gauge, from the core; a moment is taken as a metre. The strips show what became of it."
    empty = "The gauge shows nothing wrong with this roll."
    return Table("marks", "Marks, and where they lie on the strips", columns, rows, empty, note)


def _mark_row(asked: Asked, n: int, mark: GaugeMark, place: str | Problem, asks: Asks, file: str) -> list[Cell]:
    across = f"{round(mark.from_mm) + 0:,} to {round(mark.to_mm):,}"
    there: Cell = f"nowhere: {place.true}" if isinstance(place, Problem) else None
    many: int | None = None
    todo: Cell = None
    if not isinstance(place, Problem):
        there = Link(place, f"{asked.base}?of={quote(place)}")
        many = _concerned(asked, place) if n <= MOST_FOLLOWED else None
        query = urlencode({"file": file, **asks.query(), "mark": str(n)})
        todo = _written(asked, place, mark.kind)
        if todo is None and asked.may(Role.WRITE):
            todo = Link("mark it", f"{asked.base}/film?{query}#q-mark-it")
    return [mark.kind, mark.from_m, mark.to_m, across, float(mark.size_um), mark.grade,
            mark.says, there, many, todo]  # fmt: skip


def _written(asked: Asked, place: str, kind: str) -> Link | None:
    """The journal's mark of that kind on that place."""
    there = choose(asked.now.reading, [place])
    for mark in asked.now.reading.shop.marks:
        if mark.fault.startswith(kind) and mark.extent & there:
            return Link(f"entry {mark.seq:,}", f"{asked.base}/entry/{mark.seq}")
    return None


def _mark_form(asked: Asked, marks: Marks, chosen: int) -> tuple[Form, ...]:
    """Write the mark chosen into the journal."""
    if not asked.may(Role.WRITE) or not 1 <= chosen <= len(marks):
        return ()
    mark, place = marks[chosen - 1]
    if isinstance(place, Problem) or _written(asked, place, mark.kind):  # it stands there: not twice
        return ()
    grades = tuple((one, one) for one in GRADES)
    fields = (
        Field("of", "", "hidden", place), Field("fault", "Fault", "text", fault_of(mark), required=True,
                                                more={"maxlength": "80"}),
        Field("grade", "Grade", "select", mark.grade, choices=grades),
    )  # fmt: skip
    says = f"Mark {chosen} of {len(marks)}: {mark.kind} on {place}. Once written, the strips carry it to every sheet."
    return (Form("Mark it", f"{asked.base}/mark", fields, "Mark it", "post", says),)


# ---- 8 alarms


def _alarms(asked: Asked, view: RollView, settings: Settings, core_m: float) -> Table:
    rows = [
        [a.rule, a.value, a.limit, a.unit, a.from_m, a.to_m, _lane(view, a), *_acted(asked, view, a, core_m)]
        for a in view.charts.alarms
    ]  # fmt: skip
    columns = (Column("Rule"), fig("Furthest", "", 3), fig("Limit", "", 3), Column("Unit"), fig("From", "m", 1),
               fig("To", "m", 1), Column("Lane", "mm"), Column("Marked as"), Column("Seen by"))  # fmt: skip
    note = (
        f"False alarms a week: {settings.false_per_week:g} in all, over {len(view.lane_um) + 3:,} charts. An alarm is "
        "answered by a mark in the journal on those metres; none stands there where the last columns are empty."
    )
    return Table("alarms", "Alarm log", columns, rows, "No chart went beyond its limits.", note)


def _lane(view: RollView, alarm: Alarm) -> str:
    if alarm.lane is None:
        return "whole web"
    return f"{view.edges_mm[alarm.lane]:,.0f} to {view.edges_mm[alarm.lane + 1]:,.0f}"


def _acted(asked: Asked, view: RollView, alarm: Alarm, core_m: float) -> list[Cell]:
    """The journal's mark on those metres, half a pass more at each end as alarms stand at middles; who saw it."""
    shop, roll, half = asked.now.reading.shop, view.roll, view.pass_s * view.speed_m_s / 2
    if roll not in shop.rolls:
        return [None, None]
    start, end = (round((m - core_m) * 1e6) for m in (alarm.from_m - half, alarm.to_m + half))
    there = Extent({(roll, lane): Spans.of((start, end)) for lane in shop.rolls[roll]})
    for mark in shop.marks:
        if mark.extent & there:
            return [Link(f"{mark.fault}, entry {mark.seq:,}", f"{asked.base}/entry/{mark.seq}"), mark.seen_by]
    return [None, None]


# ---- 6 what the journal knows of the roll


def events(asked: Asked, roll: str, core_m: float) -> tuple[Event, ...]:
    """Marks of the journal on the roll as it was wound, by the gauge's metres; those of the gauge itself left out."""
    shop = asked.now.reading.shop
    if roll not in shop.rolls:
        return ()
    whole = Extent({(roll, lane): Spans.of((0, shop.web_length[roll])) for lane in shop.rolls[roll]})
    found = []
    for mark in shop.marks:
        spans = [span for there in [mark.extent & whole] if there for _, some in there.items() for span in some]
        if spans and mark.seen_by != "gauge":
            start, end = (
                f(at) / 1e6 + core_m for f, at in ((min, [a for a, _ in spans]), (max, [b for _, b in spans]))
            )
            link = Link(f"entry {mark.seq:,}", f"{asked.base}/entry/{mark.seq}")
            found.append(Event(start, end, mark.fault, mark.seen_by, link))
    return tuple(sorted(found, key=lambda one: one.from_m))
