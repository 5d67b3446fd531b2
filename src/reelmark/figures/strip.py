"""One track of a strip as a picture: units to scale, what lies on them, and what a selection touches.

A column is drawn wherever anything in it is meant (its maximum); how strongly, says how much of it (its mean).  MAY is
pale and stands out above and below; MUST is strong and narrower, within it.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final
from xml.sax.saxutils import escape

from ..acts.strips import Box, Track
from ..bins import bands, shares
from ..spans import Spans
from ..svg import el, label, picture, rects

__all__ = ["Window", "high_of", "overlay", "strip_picture"]

TOP: Final = 10  # px above the material: marks hang there
LANE, ROW, AXIS = 11, 26, 20  # px of a lane of many, of a row that is alone, of the axis under it
LETTER: Final = 6.4  # px that a letter under a strip takes at most
MATERIAL = {"film": "clear", "coat": "white", "window": "white", "optic": "white"}
Flat = Mapping[int, Spans]


@dataclass(frozen=True, slots=True)
class Window:
    """Axis start..stop drawn on `wide` px."""

    start: int
    stop: int
    wide: int

    def x(self, at: float) -> float:
        """Px of a place."""
        return (at - self.start) * self.wide / max(1, self.stop - self.start)

    @property
    def px(self) -> float:
        """How much of the axis a px holds."""
        return (self.stop - self.start) / self.wide


def _row(track: Track) -> int:
    return LANE if len(track.rows) > 1 else ROW


def high_of(track: Track) -> int:
    """Px the picture of a track is high."""
    return TOP + _row(track) * max(1, len(track.rows)) + AXIS


def strip_picture(
    track: Track,
    window: Window,
    layers: Mapping[str, Flat],
    touched: tuple[Flat, Flat] | None,
    marks: Iterable[tuple[float, str, str]] = (),
    *,
    title: str,
    says: str,
    alone: bool,
    number: Callable[[int], str] | None = None,
) -> str:
    """layers, touched : on the track's axis; marks : (place, words, address) to hang above; number : of a note."""
    inside = [
        *_material(track, window),
        *(_layer(track, window, layers.get(name, {}), name) for name in ("lost", "doubt", "packed", "spoiled", "held")),
        *_ticks(track, window, layers.get("splice", {}), "line ink"),
        el("g", overlay(track, window, touched), cls="touched"),
        *_ticks(track, window, layers.get("mark", {}), "line accent"),
        *(_mark(window, at, words, address, alone) for at, words, address in marks),
        *_axis(track, window, number),
    ]
    role = "img" if alone else "group"
    return picture(
        window.wide, high_of(track), inside, title=title, says=says, alone=alone, role=role,
        width=window.wide if alone else None, height=high_of(track) if alone else None,
    )  # fmt: skip


def _seen(track: Track, window: Window) -> list[Box]:
    return [box for box in track.boxes if box.start < window.stop and box.start + box.length > window.start]


def _tops(track: Track) -> dict[int, float]:
    return {lane: TOP + n * _row(track) for n, lane in enumerate(track.rows)}


def _material(track: Track, window: Window) -> list[str]:
    """The units; a gap between neighbours, a lighter end where its length is not sure."""
    tops, high, seen = _tops(track), _row(track) - 1, _seen(track, window)
    ink = MATERIAL.get(track.key.partition(".")[0], "material")

    def area(box: Box, length: int) -> tuple[float, float]:
        left, right = max(0.0, window.x(box.start)), min(float(window.wide), window.x(box.start + length))
        return left, max(0.6, right - left - 0.8)

    sure = [(area(b, b.sure), tops[lane]) for b in seen for lane in b.lanes]
    unsure = [(area(b, b.length), tops[lane]) for b in seen for lane in b.lanes if b.sure < b.length]
    return [
        rects(((x, y, wide, high) for (x, wide), y in unsure), "pale l1"),
        rects(((x, y, wide, high) for (x, wide), y in sure), ink),
        rects(((x, y, wide, high) for (x, wide), y in sure), "line rule"),
        *_boxes(track, window),
    ]


def _boxes(track: Track, window: Window) -> list[str]:
    """Bundles of 1,000, or packs of 100, drawn as boxes where there is room for them."""
    step = next((size for size in (100, 1000) if size / window.px >= 5), None)
    if track.measure != "notes" or not track.key.startswith("finish") or step is None:
        return []
    first = -(-window.start // step) * step
    lines = "".join(f"M{window.x(at):.1f} {TOP}v{ROW - 1}" for at in range(first, min(window.stop, track.length), step))
    return [el("path", cls="line rule", d=lines)] if lines else []


INKS = {"lost": "lost", "doubt": "pale", "packed": "lost", "spoiled": "ink", "held": "accent"}


def _layer(track: Track, window: Window, flat: Flat, name: str) -> str:
    """Taken out fills the row; what is held or spoiled is a bar at its foot, packed a thin one."""
    low, part = {"spoiled": (0.66, 0.34), "held": (0.66, 0.34), "packed": (0.86, 0.14)}.get(name, (0.0, 1.0))
    row = _row(track) - 1
    return _columns(track, window, flat, INKS[name], low * row, part * row, 1.0)


def _columns(track: Track, window: Window, flat: Flat, ink: str, down: float, high: float, least: float) -> str:
    """Bands of columns, by strength.  least : px that a band is wide at least."""
    tops = _tops(track)
    by_level: dict[int, list[tuple[float, float, float, float]]] = {}
    for lane, spans in flat.items():
        for a, b, level in bands(shares(spans, window.start, window.stop, window.wide)):
            wide = max(least, float(b - a))
            x = a - (wide - (b - a)) / 2
            by_level.setdefault(level, []).append((x, tops[lane] + down, wide, high))
    return "".join(rects(some, f"{ink} l{level}") for level, some in sorted(by_level.items()))


def overlay(track: Track, window: Window, touched: tuple[Flat, Flat] | None) -> str:
    """What a selection may touch, wide and pale, and surely touches."""
    if touched is None:
        return ""
    row, (may, must) = _row(track) - 1, touched
    out = 3 if row > LANE else 1
    return _columns(track, window, may, "pale", -out, row + 2 * out, 4.0) + _columns(
        track, window, must, "accent", row * 0.15, row * 0.7, 2.0
    )


def _ticks(track: Track, window: Window, flat: Flat, cls: str) -> list[str]:
    """A thin line wherever the layer is: one a column at most."""
    tops, row = _tops(track), _row(track)
    d = "".join(
        f"M{x:.1f} {tops[lane] - 2:.1f}v{row + 1}"
        for lane, spans in flat.items()
        for a, b, _ in bands(shares(spans, window.start, window.stop, window.wide))
        for x in ([a + 0.5] if b - a < 3 else [])
    )
    return [el("path", cls=cls, d=d)] if d else []


def _mark(window: Window, at: float, words: str, address: str, alone: bool) -> str:
    """A small flag above the place, leading to it."""
    x = window.x(at)
    flag = el("path", cls="accent", d=f"M{x:.1f} {TOP}l-4 -9h8z") + el("title", escape(words))
    return flag if alone else el("a", flag, href=address, cls="flag", aria_label=words)


def _axis(track: Track, window: Window, number: Callable[[int], str] | None) -> list[str]:
    """Under each unit its name, and its own measure from its own beginning."""
    y, drawn, free = high_of(track) - 6, [], -1.0
    for box, left, right, named in _named(track, window):
        if named and left >= free:
            drawn.append(label(left + 1, y, box.unit, "ink small"))
            free = left + LETTER * len(box.unit) + 8
        for at, words in _steps(track, window, box, number):
            x = window.x(at)
            room = LETTER * len(words)
            if x - room / 2 >= max(free, left - 1) and x + room / 2 < right:
                drawn.append(el("path", cls="line rule", d=f"M{x:.1f} {y - 13}v4"))
                drawn.append(label(round(x, 1), y, words, "quiet small", text_anchor="middle"))
                free = x + room / 2 + 8
    return drawn


def _named(track: Track, window: Window) -> Iterator[tuple[Box, float, float, bool]]:
    """Units with their ends in px, and whether to name them: where there is room, else where it takes nobody's room."""
    seen = _seen(track, window)
    ends = [(max(0.0, window.x(b.start)), min(float(window.wide), window.x(b.start + b.length))) for b in seen]
    roomy = [right - left > LETTER * len(box.unit) for box, (left, right) in zip(seen, ends, strict=True)]
    for n, (box, (left, right)) in enumerate(zip(seen, ends, strict=True)):
        over = left + LETTER * len(box.unit) + 8
        crowds = any(roomy[m] and ends[m][0] < over for m in range(n + 1, min(n + 12, len(seen))))
        yield box, left, right, track.measure != "notes" and (roomy[n] or (right - left > 4 and not crowds))


def _steps(track: Track, window: Window, box: Box, number: Callable[[int], str] | None) -> Iterable[tuple[int, str]]:
    """Round places of a unit, and how they are written."""
    step = _round_step(window.px * 90)
    low = max(0, window.start - box.start)
    high = min(box.length, window.stop - box.start)
    for at in range(-(-low // step) * step, high, step):
        if number is not None:
            yield box.start + at, number(at)
        elif track.measure == "um":
            places = 0 if step >= 10**6 else 3
            yield box.start + at, f"{at / 1e6:,.{places}f} m"
        else:
            yield box.start + at, f"{at:,}"


def _round_step(least: float) -> int:
    """1, 2 or 5 times a power of ten, at least so much."""
    power = 1
    while power * 10 <= least:
        power *= 10
    return next(power * n for n in (1, 2, 5, 10) if power * n >= least or n == 10)
