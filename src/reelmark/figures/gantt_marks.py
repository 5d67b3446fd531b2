"""What stands around the bars of a plan: the days, due flags, the frozen line, patterns of orders and their legend."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from xml.sax.saxutils import escape

from ..acts.plan_path import finisher
from ..acts.plan_time import moment, short, unit_at
from ..plan.planned import Planned
from ..svg import el, label

__all__ = ["LEFT", "WIDE", "Scale", "axis", "days", "flags", "legend", "letter", "patterns"]

WIDE, LEFT, RIGHT = 1180, 138, 8  # px of the picture, beside the rows on both sides
GROUNDS: Final = ("pale", "lost", "paper", "material")
MARKS: Final = ("", "M0 8L8 0", "M0 0L8 8", "M4 0V8", "M0 4H8", "M0 8L8 0M0 0L8 8")  # on a tile of 8 x 8


@dataclass(frozen=True, slots=True)
class Scale:
    """Units low..high on the px of the rows."""

    low: int
    high: int

    @property
    def px(self) -> float:
        """Px of a unit."""
        return (WIDE - LEFT - RIGHT) / max(1, self.high - self.low)

    def x(self, unit: float) -> float:
        """Px of a unit, kept inside."""
        return LEFT + (min(self.high, max(self.low, unit)) - self.low) * self.px


def letter(job: int) -> str:
    """A, B … Z, AA, AB …: an order's short name in the picture.

    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    return (letter(job // 26 - 1) if job >= 26 else "") + chr(65 + job % 26)


def _tone(job: int) -> tuple[str, str]:
    """(ground, marks): no two of 24 orders alike, neighbours unlike in both."""
    return GROUNDS[job % len(GROUNDS)], MARKS[(job + job // 12) % len(MARKS)]


def patterns(stem: str, jobs: int) -> str:
    """The pattern of each order, and that of maintenance.  stem : tells the pictures of one page apart"""
    made = [_pattern(f"{stem}-{job}", *_tone(job)) for job in range(jobs)]
    kept = _pattern(f"{stem}-kept", "ground", "M0 8L8 0M0 4L4 0M4 8L8 4")
    return el("defs", *made, kept)


def _pattern(name: str, ground: str, d: str) -> str:
    tile = el("rect", cls=ground, width=8, height=8)
    marks = [el("path", cls="line quiet", d=d)] if d else []
    return el("pattern", tile, *marks, id=name, width=8, height=8, patternUnits="userSpaceOnUse")


def days(planned: Planned, scale: Scale) -> Iterator[tuple[float, str]]:
    """(unit, words) along the axis: hours, days, weeks or months, as there is room."""
    begin, end = moment(planned, scale.low), moment(planned, scale.high)
    yield float(scale.low), _day(begin)
    long = (end - begin) / timedelta(days=1)
    if long <= 3:
        yield from _every(planned, begin, end, timedelta(hours=6), lambda at: f"{at:%a %H:%M}" if at.hour else _day(at))
    elif long <= 21:
        yield from _every(planned, begin, end, timedelta(days=1), _day)
    elif long <= 200:
        yield from ((unit, text) for unit, text in _every(planned, begin, end, timedelta(days=7), _day))
    else:
        yield from _months(planned, begin, end)


def _day(at: datetime) -> str:
    return f"{at:%a} {at.day} {at:%b}"


def _every(planned: Planned, begin: datetime, end: datetime, step: timedelta, said: Any) -> Iterator[tuple[float, str]]:
    """On the clock on the wall, weeks on Mondays."""
    at = begin.replace(hour=0, minute=0, second=0, microsecond=0)
    if step.days == 7:
        at -= timedelta(days=at.weekday())
    while at <= end:
        if at > begin:
            yield unit_at(planned, at), said(at)
        at += step


def _months(planned: Planned, begin: datetime, end: datetime) -> Iterator[tuple[float, str]]:
    at = begin.replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    while at <= end:
        if at > begin:
            yield unit_at(planned, at), f"{at:%b %Y}"
        at = (at + timedelta(days=32)).replace(day=1)


def axis(planned: Planned, scale: Scale, top: float, high: float) -> Iterator[str]:
    """Thin lines down the rows, their days above."""
    free = 0.0
    for unit, words in days(planned, scale):
        x = scale.x(unit)
        yield el("path", cls="line rule", d=f"M{x:.1f} {top - 4}V{high:.1f}", pointer_events="none")
        if x >= free and x + 6.4 * len(words) < WIDE:
            yield label(x + 2, 12.0, words, "quiet small")
            free = x + 6.4 * len(words) + 10


def flags(planned: Planned, scale: Scale, rows: Sequence[Any], top: float, high: float) -> Iterator[str]:
    """A flag at each due date, filled where the plan is late; the line up to which all is frozen."""
    named: dict[int, list[str]] = {}
    yield from _beyond(planned, scale, rows, top)
    for n, due in enumerate(planned.shop.dues):
        if not scale.low <= due.at <= scale.high:
            continue
        mine = [row for row in rows if row.job == due.job]
        low, foot = (mine[0].top, mine[-1].top + mine[-1].high) if mine else (top - 22, high)
        yield _flag(planned, n, scale.x(due.at), low, foot)
        if not mine:
            said = named.setdefault(due.at, [])
            said.append(
                str(due.batches) if said and said[0].startswith(letter(due.job)) else f"{letter(due.job)}{due.batches}"
            )
    for at, said in named.items():
        yield label(scale.x(at) + 11, top - 13.0, ", ".join(said), "accent small")
    frozen = max((planned.schedule.start[i] for i in planned.frozen), default=scale.low - 1)
    if scale.low <= frozen <= scale.high:
        x = scale.x(frozen)
        yield el("path", cls="line ink", d=f"M{x:.1f} {top - 6}V{high:.1f}", stroke_width=2)
        yield label(x + 3, top - 2, "frozen before", "ink small")


def _beyond(planned: Planned, scale: Scale, rows: Sequence[Any], top: float) -> Iterator[str]:
    """Dues after the window, at its right edge: with their order, or all above the machines."""
    after = [due for due in planned.shop.dues if due.at > scale.high]
    for job in dict.fromkeys(due.job for due in after):
        head = next((row for row in rows if row.job == job), None)
        if head is not None:
            said = ", ".join(f"{(at := moment(planned, due.at)).day} {at:%b}" for due in after if due.job == job)
            yield label(WIDE - 4.0, head.top + 14, f"due {said} →", "accent small", text_anchor="end")
    if after and rows and rows[0].job is None:
        first = moment(planned, min(due.at for due in after))
        words = f"{len(after)} due later, from {first.day} {first:%b} →"
        yield label(WIDE - 4.0, top - 13.0, words, "accent small", text_anchor="end")


def _flag(planned: Planned, line: int, x: float, low: float, foot: float) -> str:
    due = planned.shop.dues[line]
    ready = planned.schedule.end[finisher(planned, line)]
    says = f"{planned.shop.jobs[due.job].name}: {due.batches} batches due {short(moment(planned, due.at))}, "
    says += f"ready {short(moment(planned, ready))}{', late' if ready > due.at else ''}"
    cloth = f"M{x:.1f} {low:.1f}h9l-3 4l3 4h-9z"
    return el(
        "g",
        el("title", escape(says)),
        el("path", cls="line accent", d=f"M{x:.1f} {low:.1f}V{foot:.1f}", stroke_width=1.2),
        el("path", cls="accent" if ready > due.at else "ground", d=cloth),
        el("path", cls="line accent", d=cloth),
    )


def legend(planned: Planned, stem: str, top: float) -> Iterator[str]:
    """What each pattern and mark means."""
    x, y = LEFT, top
    for job, one in enumerate(planned.shop.jobs):
        if x + 60 + 6.4 * len(one.name) > WIDE:
            x, y = LEFT, y + 18
        yield el("rect", x=x, y=y - 10, width=16, height=12, fill=f"url(#{stem}-{job})")
        yield el("rect", cls="line ink", x=x, y=y - 10, width=16, height=12, stroke_width=0.7)
        words = f"{letter(job)} {one.name}"
        yield label(x + 21, y, words, "ink small")
        x += int(40 + 6.4 * len(words))
    yield from _signs(stem, y + 18, by_machine=stem.endswith("machine"))


def _signs(stem: str, y: float, by_machine: bool) -> Iterator[str]:
    signs = [("flag: due, filled when late", el("path", cls="line accent", d=f"M{LEFT} {y + 2}v-12h9l-3 4l3 4h-9"))]
    if by_machine:
        signs += [
            ("set-up", el("rect", cls="ink", x=LEFT, y=y - 5, width=16, height=6)),
            ("closed", el("rect", cls="material", x=LEFT, y=y - 10, width=16, height=12)),
            ("maintenance", el("rect", x=LEFT, y=y - 10, width=16, height=12, fill=f"url(#{stem}-kept)")),
        ]
    else:
        signs.append(("line: a batch waits for its next stage", el("path", cls="line quiet", d=f"M{LEFT} {y - 4}h16")))
    signs += [
        ("pinned", el("circle", cls="accent", cx=LEFT + 8, cy=y - 4, r=3.4)),
        ("frozen", el("rect", cls="line ink", x=LEFT + 1, y=y - 9, width=14, height=10, stroke_width=2.5)),
    ]
    x = 0.0
    for words, sign in signs:
        yield el("g", sign, label(LEFT + 21, y, words, "ink small"), transform=f"translate({x:g} 0)")
        x += 40 + 6.2 * len(words)
