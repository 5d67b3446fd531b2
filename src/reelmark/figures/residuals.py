"""The reads of a pile as a small multiple: a panel for each position, laid out as the positions lie on the sheet.

Across, the tick; up, steps ahead of the plan; down, steps behind it.  All panels have the same scales, so that a box
that fails stands out from its neighbours.  The stretch in which a finding may lie is pale, where it surely lies strong.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import log10
from typing import Final

from ..acts.residuals import FindingAt, Point
from ..svg import el, label, picture

__all__ = ["residuals_picture"]

HIGH, GAP, TOP, LEFT, UNDER = 44, 7, 24, 64, 42  # px: a panel, between panels, above, left of and under them all
PAD: Final = 7  # px of a panel kept free above and under its points
LINEAR: Final = 5  # steps off up to which the scale is even; above, by powers of ten, so that 1 is seen beside 1,000
LEGEND: Final = "each panel a position of the sheet, by its number; pale where a finding may lie, strong where it must"
LEAST: Final = 2.0  # px a stretch is wide at least, so that a single tick is seen


@dataclass(frozen=True, slots=True)
class _Scales:
    """Ticks first..last over `wide` px of a panel; steps from -most to most over its height."""

    first: int
    last: int
    wide: int
    most: int

    def x(self, tick: float) -> float:
        return (tick - self.first) * self.wide / max(1, self.last - self.first)

    def y(self, off: int) -> float:
        return HIGH / 2 - self._up(off) / self._up(self.most) * (HIGH / 2 - PAD)

    def _up(self, off: int) -> float:
        if self.most <= LINEAR:
            return off
        return log10(1 + abs(off)) * (1 if off > 0 else -1)


def residuals_picture(
    points: Sequence[Point],
    findings: Sequence[FindingAt],
    *,
    rows: int,
    columns: int,
    ticks: tuple[int, int],
    title: str,
    alone: bool = True,
) -> str:
    """The small multiple of one pile.  ticks : first and last of the pile."""
    most = max((abs(one.off) for one in points if one.off), default=1)
    scales = _Scales(*ticks, min(180, max(54, 900 // columns - GAP)), most)
    by_position: dict[int, list[Point]] = {p: [] for p in range(rows * columns)}
    for one in points:
        by_position[one.position].append(one)
    panels = [_panel(p, columns, some, findings, scales) for p, some in by_position.items()]
    wide, high = LEFT + columns * (scales.wide + GAP) + 8, TOP + rows * (HIGH + GAP) + UNDER
    says = _says(points, findings, rows * columns)
    return picture(wide, high, [*_axes(rows, scales, most), *panels], title=title, says=says, alone=alone, width=wide,
                   height=high)  # fmt: skip


def _panel(position: int, columns: int, points: Sequence[Point], findings: Iterable[FindingAt], scales: _Scales) -> str:
    row, column = divmod(position, columns)
    mine = [one for one in findings if one.position in {None, position}]
    inside = [
        el("title", _told(position, points)),
        el("rect", cls="material", width=scales.wide, height=HIGH, fill_opacity=0.45),
        *(_stretch(one.may, scales, 0.45) for one in mine),
        *(_stretch(sure, scales, 1.0) for one in mine for sure in one.sure),
        el("line", cls="line rule", x1=0, y1=HIGH / 2, x2=scales.wide, y2=HIGH / 2),
        label(3, 11, str(position), "quiet small"),
        *_dots(points, scales),
    ]
    at = LEFT + column * (scales.wide + GAP), TOP + row * (HIGH + GAP)
    return el("g", *inside, transform=f"translate({at[0]} {at[1]})")


def _stretch(ends: tuple[int, int], scales: _Scales, strength: float) -> str:
    a, b = max(0.0, scales.x(ends[0])), min(float(scales.wide), scales.x(ends[1] + 1))
    wide = max(LEAST, b - a)
    return el("rect", cls="pale", x=min(a, scales.wide - wide), y=0, width=wide, height=HIGH, fill_opacity=strength)


def _dots(points: Iterable[Point], scales: _Scales) -> list[str]:
    """One dot for each place that can be told apart, those off the plan on top of the others."""
    seen = {(round(scales.x(p.tick), 1), None if p.off is None else round(scales.y(p.off), 1), bool(p.off)): p
            for p in points}  # fmt: skip
    return [_dot(x, y, off) for x, y, off in sorted(seen, key=lambda one: one[2])]


def _dot(x: float, y: float | None, off: bool) -> str:
    if y is None:  # nothing was readable: a cross at the foot of the panel
        return el("path", cls="line lost", d=f"M{x - 2:g} {HIGH - 6}l4 4m-4 0l4 -4")
    return el("circle", cls="accent" if off else "quiet", cx=x, cy=y, r=2.4 if off else 1.2)


def _axes(rows: int, scales: _Scales, most: int) -> list[str]:
    """Marks at the first panel of the last row, and the words for both axes, once."""
    top = TOP + (rows - 1) * (HIGH + GAP)
    sides = [label(LEFT - 6, top + scales.y(one) + 4, _signed(one), "quiet small", text_anchor="end")
             for one in (-most, 0, most)]  # fmt: skip
    foot, right = top + HIGH + 14, LEFT + scales.wide
    even = "" if most <= LINEAR else ", by powers of ten"
    middle = TOP + rows * (HIGH + GAP) / 2
    return [
        *sides,
        label(LEFT, foot, f"{scales.first:,}", "quiet small"),
        label(right, foot, f"{scales.last:,}", "quiet small", text_anchor="end"),
        label(LEFT, foot + 17, "tick of the numbering press", "ink"),
        label(14, middle, f"steps ahead (+), behind (−){even}", "ink", text_anchor="middle",
              transform=f"rotate(-90 14 {middle:g})"),
        label(LEFT, 15, LEGEND, "quiet"),
    ]  # fmt: skip


def _signed(steps: int) -> str:
    return f"{steps:+,}".replace("-", "−") if steps else "0"


def _told(position: int, points: Sequence[Point]) -> str:
    off, unread = sum(bool(p.off) for p in points), sum(p.off is None for p in points)
    return f"position {position}: {len(points):,} reads, {off:,} off the plan, {unread:,} unreadable"


def _says(points: Sequence[Point], findings: Sequence[FindingAt], positions: int) -> str:
    off, unread = [p for p in points if p.off], sum(p.off is None for p in points)
    where = sorted({p.position for p in off})
    at = f", at {len(where):,} positions" if len(where) > 6 else f", at position {', '.join(map(str, where))}"
    head = f"{positions:,} positions, {len(points):,} reads: {len(off):,} off the plan{at if off else ''}; "
    return " ".join([f"{head}{unread:,} unreadable.", *(f"{one.text}." for one in findings)])
