"""How offset, size and edges of the windows go along the roll: a row a lane, across and along the web side by side."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..acts.window_view import AXES, Beyond, Limit
from ..svg import el, label, picture
from .gauge import WIDE, said, ticks

__all__ = ["trend_picture"]

Told = Mapping[str, Any]
LEFT, GAP, RIGHT, HEAD, FOOT = 52, 56, 14, 40, 46  # px
LEAST, MOST = 16, 38  # px of a lane


@dataclass(frozen=True, slots=True)
class _Panel:
    """One axis of the web: metres left..right on px x..x+wide, mm low..high on the height of a row."""

    x: float
    wide: float
    left: float
    right: float
    low: float
    high: float
    row: float

    def at(self, metre: float) -> float:
        return self.x + (metre - self.left) / (self.right - self.left) * self.wide

    def up(self, lane: int, value: float) -> float:
        share = min(1.0, max(0.0, (value - self.low) / (self.high - self.low)))
        return HEAD + (lane + 1) * self.row - 2 - share * (self.row - 4)


def trend_picture(
    quantity: str, trends: Told, limits: Mapping[str, Limit], lanes: Sequence[Beyond], *, title: str, alone: bool
) -> str:
    """quantity : offset, size or edge;  lanes : what `beyond` tells of it"""
    metre, many = trends["metre_m"], max((one.lane for one in lanes), default=1)
    row = min(MOST, max(LEAST, 420 / many))
    wide = (WIDE - LEFT - GAP - RIGHT) / 2
    parts: list[str] = []
    for n, axis in enumerate(AXES):
        name = f"{quantity}_{axis}_mm"
        low, high = _span([one for one in lanes if one.name == name], limits[name])
        start, stop = (metre[0], metre[-1]) if len(metre) > 1 else (metre[0] - 0.5, metre[0] + 0.5) if metre else (0, 1)
        panel = _Panel(LEFT + n * (wide + GAP), wide, start, stop, low, high, row)
        parts += _panel(panel, axis, metre, trends["value"][name], limits[name], many)
    high_px = HEAD + many * row + FOOT
    return picture(WIDE, high_px, parts, title=title, says=_says(lanes), alone=alone, width=WIDE, height=high_px)


def _span(lanes: Sequence[Beyond], limit: Limit) -> tuple[float, float]:
    """All that is drawn, limits among it."""
    values = [value for one in lanes for value in (one.least, one.most)]
    values += [value for value in (limit.low, limit.high, limit.usual) if value is not None]
    low, high = min(values), max(values)
    pad = 0.06 * (high - low) or 0.01
    return low - pad, high + pad


def _panel(
    panel: _Panel, axis: str, metre: Sequence[float], table: Sequence[Sequence[float | None]], limit: Limit, lanes: int
) -> Iterator[str]:
    yield label(panel.x, 14, f"{axis} the web; each row {_mm(panel.low)} to {_mm(panel.high)} mm", "ink small")
    yield label(panel.x, 30, _limits(limit), "quiet small")
    for lane in range(lanes):
        top = HEAD + lane * panel.row
        yield el("rect", cls="material", x=panel.x, y=top + 1, width=panel.wide, height=panel.row - 2,
                 fill_opacity=0.35)  # fmt: skip
        yield label(panel.x - 5, top + panel.row / 2 + 4, f"lane {lane + 1}", "quiet small", text_anchor="end")
        yield from _row(panel, lane, [(at, row[lane]) for at, row in zip(metre, table, strict=True)], limit)
    foot = HEAD + lanes * panel.row
    for at in ticks(panel.left, panel.right, 5):
        yield el("line", cls="line rule", x1=panel.at(at), x2=panel.at(at), y1=foot, y2=foot + 4)
        yield label(panel.at(at), foot + 17, said(at), "quiet small", text_anchor="middle")
    yield label(panel.x + panel.wide / 2, foot + 36, "metre by the encoder", "ink small", text_anchor="middle")


def _row(panel: _Panel, lane: int, values: Sequence[tuple[float, float | None]], limit: Limit) -> Iterator[str]:
    """A lane: its limits dashed, its line, and a sign where it lies beyond them."""
    ends = (panel.x, panel.x + panel.wide)
    for at, dash in ((limit.low, "4 3"), (limit.high, "4 3"), (limit.usual, None)):
        if at is not None:
            yield el("line", cls="line accent" if dash else "line rule", x1=ends[0], x2=ends[1],
                     y1=panel.up(lane, at), y2=panel.up(lane, at), stroke_dasharray=dash)  # fmt: skip
    d, pen = [], "M"
    for metre, value in values:
        if value is None:
            pen = "M"
            continue
        d.append(f"{pen}{panel.at(metre):.1f} {panel.up(lane, value):.1f}")
        pen = "L"
    yield el("path", cls="line ink", d="".join(d), stroke_width=1.2)
    over = [(metre, value) for metre, value in values if value is not None and limit.broken(value)]
    spots = "".join(f"M{panel.at(m) - 3:.1f} {panel.up(lane, v) - 3:.1f}h6v6h-6z" for m, v in over)
    if spots:
        yield el("path", cls="accent", d=spots)


def _limits(limit: Limit) -> str:
    ends = [_mm(one) for one in (limit.low, limit.high) if one is not None]
    words = f"dashed: limits {ends[0]} and {ends[1]} mm" if len(ends) == 2 else f"dashed: limit {ends[0]} mm"
    return words + (", assumed" if limit.assumed else "") + "; squares: beyond"


def _mm(value: float) -> str:
    return f"{value:.3f}".replace("-", "−")


def _says(lanes: Sequence[Beyond]) -> str:
    out = [f"{one.name.removesuffix('_mm').replace('_', ' ')} of lane {one.lane} in {one.out} of {one.of}"
           for one in lanes if one.out]  # fmt: skip
    return f"Beyond its limits: {'; '.join(out)} stretches." if out else "No lane runs beyond its limits."
