"""A roll under the window camera: metres along, its lanes one under another, marks by kind, what was not seen."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final
from xml.sax.saxutils import escape

from ..svg import el, label
from .gauge import LEFT, RIGHT, WIDE, Frame
from .window_signs import LETTER, key_rows, rank, sign

__all__ = ["strip_of_roll"]

Told = Mapping[str, Any]
SLOT, PAD = 8, 3  # px of a kind's row in a lane, and above and below them
ACROSS: Final = 7  # px within which marks of one kind and lane are one sign
MOST_TITLED: Final = 2_000  # signs that say in words what they are
MOST_LANES: Final = 40


def strip_of_roll(answer: Told, lanes: int, *, title: str, alone: bool) -> str:
    """answer : `acts.window.window_answer`;  lanes : of the camera."""
    marks, kinds = answer["marks"], _kinds(answer["marks"])
    start, stop = _ends(answer)
    lane_px = min(2 * PAD + SLOT * max(len(kinds), 2), max(10, 480 // max(lanes, 1)))
    keys, foot = key_rows([(kind, f"{kind} {many:,}") for kind, many in kinds.items()], LEFT, WIDE - RIGHT, 14)
    frame = Frame(start, stop, lanes + 0.5, 0.5, lane_px * lanes, top=round(foot) + 34)
    parts = [
        *keys, el("defs", _hatching()), *_axes(frame, lanes, lane_px), *_unseen(frame, answer["gaps"]),
        *_signs(frame, marks, list(kinds), lane_px), *_doubtful(frame, answer["phase_doubtful_m"]),
    ]  # fmt: skip
    return frame.whole(parts, title=title, says=_says(answer, kinds), alone=alone)


def _kinds(marks: Sequence[Told]) -> dict[str, int]:
    many = Counter(one["kind"] for one in marks)
    return {kind: many[kind] for kind in sorted(many, key=rank)}


def _ends(answer: Told) -> tuple[float, float]:
    """Metres by the encoder: those of the parts, and of what lies beyond them."""
    ends = [one[end] for one in answer["parts"] for end in ("from_m", "to_m") if one.get(end) is not None]
    ends += [one[end] for one in answer["gaps"] for end in ("from_m", "to_m")]
    ends += [at for one in answer["marks"] for at in (one["metre_m"], one.get("to_m", one["metre_m"]))]
    low, high = (min(ends), max(ends)) if ends else (0.0, 1.0)
    return low, high if high > low else low + 1.0


def _hatching() -> str:
    line = el("path", cls="line quiet", d="M0 6L6 0", stroke_width=1.2)
    units: dict[str, object] = {"id": "unseen", "width": 6, "height": 6, "patternUnits": "userSpaceOnUse"}
    return el("pattern", line, cls="", **units)


def _axes(frame: Frame, lanes: int, lane_px: float) -> Iterator[str]:
    """The lanes with their names, and the metres."""
    wide = WIDE - LEFT - RIGHT
    for n in range(lanes):
        y = frame.top + n * lane_px
        yield el("rect", cls="material", x=LEFT, y=y + 0.5, width=wide, height=lane_px - 1, fill_opacity=0.35)
        if lanes <= MOST_LANES or n % 5 == 0:
            yield label(LEFT - 6, y + lane_px / 2 + 4, f"lane {n + 1}", "quiet small", text_anchor="end")
    for at in frame._marks():
        yield from frame._across(at)
    yield label((LEFT + WIDE - RIGHT) / 2, frame.foot + 36, "metre by the encoder", "ink", text_anchor="middle")


def _unseen(frame: Frame, gaps: Sequence[Told]) -> Iterator[str]:
    """Hatched from the first lane to the last, its number in the table above it, the reason where there is room."""
    free = 0.0
    for n, one in enumerate(gaps, 1):
        a, b = frame.x(one["from_m"]), frame.x(one["to_m"])
        box = {"x": a, "y": frame.top - 4, "width": max(3.0, b - a), "height": frame.tall + 8}
        yield el("rect", cls="ground", fill_opacity=0.8, **box)
        yield el("rect", cls="", fill="url(#unseen)", **box)
        yield el("rect", cls="line quiet", **box)
        words = _fitting(n, one, min(a, WIDE - 30.0), free)
        if words:
            x = min(a, WIDE - RIGHT - LETTER * len(words))
            yield label(x, frame.top - 9, words, "ink small")
            free = x + LETTER * len(words) + 8


def _fitting(n: int, gap: Told, at: float, free: float) -> str:
    """The most that fits beside what stands there already."""
    whole = f"{n}: {', '.join(gap['why'])}"
    if at < free:
        return ""
    room = len(whole) * LETTER + at < WIDE - RIGHT and len(whole) <= 48
    return whole if room else f"{n}"


def _signs(frame: Frame, marks: Sequence[Told], kinds: Sequence[str], lane_px: float) -> Iterator[str]:
    """Marks that fall together are one sign, and its words say how many."""
    cells: dict[tuple[str, int, int], list[Told]] = defaultdict(list)
    for one in marks:
        cells[one["kind"], one["lane"], int(frame.x(one["metre_m"]) // ACROSS)].append(one)
    slot = (lane_px - 2 * PAD) / max(len(kinds), 1)
    for kind in kinds:
        mine = [(lane, some) for (which, lane, _), some in cells.items() if which == kind]
        row = PAD + slot * (kinds.index(kind) + 0.5)
        yield from _long(frame, [one for _, some in mine for one in some], row, lane_px)
        places = [(frame.x(some[0]["metre_m"]), frame.top + (lane - 1) * lane_px + row) for lane, some in mine]
        r = min(3.2, slot / 2 - 0.4)
        if len(cells) > MOST_TITLED:
            yield sign(kind, places, r)
            continue
        for place, (lane, some) in zip(places, mine, strict=True):
            yield el("g", el("title", escape(_words(kind, lane, some))), sign(kind, [place], r))


def _words(kind: str, lane: int, some: Sequence[Told]) -> str:
    metres = [one["metre_m"] for one in some]
    many = f"{len(some)} {kind}" if len(some) > 1 else kind
    where = f"{metres[0]:,.1f}" if len(some) == 1 else f"{min(metres):,.1f} to {max(metres):,.1f}"
    return f"{many}, {where} m, lane {lane}"


def _long(frame: Frame, marks: Sequence[Told], row: float, lane_px: float) -> Iterator[str]:
    """What goes on along the web, as a streak does."""
    d = "".join(
        f"M{frame.x(one['metre_m']):.1f} {frame.top + (one['lane'] - 1) * lane_px + row:.1f}H{frame.x(one['to_m']):.1f}"
        for one in marks if one.get("to_m") is not None and frame.x(one["to_m"]) - frame.x(one["metre_m"]) > 1
    )  # fmt: skip
    if d:
        yield el("path", cls="line accent", d=d, stroke_width=2)


def _doubtful(frame: Frame, metres: Sequence[float]) -> Iterator[str]:
    for n, at in enumerate(metres[:40]):
        x = frame.x(at)
        yield el("line", cls="line ink", x1=x, x2=x, y1=frame.top - 6, y2=frame.foot + 4, stroke_dasharray="4 3")
        if n < 3:
            yield label(min(x + 3, WIDE - 105.0), frame.top - 22, "phase doubtful →", "ink small")


def _says(answer: Told, kinds: Mapping[str, int]) -> str:
    """For who does not see it."""
    marks = ", ".join(f"{many:,} {kind}" for kind, many in kinds.items()) or "no mark"
    gaps = "; ".join(f"{one['from_m']:,.1f} to {one['to_m']:,.1f} m: {', '.join(one['why'])}"
                     for one in answer["gaps"][:20])  # fmt: skip
    doubt = "".join(f" Phase doubtful at {at:,.1f} m." for at in answer["phase_doubtful_m"][:5])
    return f"Marks: {marks}. Not seen: {gaps or 'nothing'}.{doubt}"
