"""What was found wrong on a roll, each once, by metre and lane.

A window that two frames show is told once, as the frame shows it best; a streak that goes on from frame to frame is one
streak.  Metres are the encoder's, at the middle of what was found.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

__all__ = ["WindowMark", "merged"]

NEAR_MM = 1.5  # two holes closer than this, seen by two frames, are one: reading of the place, and slips allowed


@dataclass(frozen=True, slots=True)
class WindowMark:
    """One thing wrong on the web.

    metre_m, to_m : by the encoder, the same but for a streak;  lane : 1.. from the left
    across_mm : of the picture, from its first column
    offset_mm : how far the window's middle lies from its place; of a shifted pass about how far the pass is off;
        None where nothing is to be measured
    off_across_mm, off_along_mm : the same with its way, of a shifted window and of a shifted pass; None of all else
    size_mm, severity : as the frame's finding has them;  repeat : along its part, -1 of the coat
    part : 1..;  flash, file : of the frame that shows it;  crop, sha256 : of the picture kept of it
    """

    kind: str
    metre_m: float
    to_m: float
    lane: int
    across_mm: float
    offset_mm: float | None
    size_mm: float
    severity: float
    repeat: int
    window: int
    part: int
    flash: int
    file: str
    crop: str = ""
    thumb: str = ""
    sha256: str = ""
    off_across_mm: float | None = None
    off_along_mm: float | None = None


def merged(marks: Iterable[WindowMark], frame_m: float) -> tuple[WindowMark, ...]:
    """Each thing once, by metre.  frame_m : length of a frame's field, within which a streak goes on in the next."""
    windows: dict[tuple[int, int, int, int, str], WindowMark] = {}
    coat: dict[tuple[int, str], list[WindowMark]] = {}
    for one in marks:
        if one.repeat < 0 and one.window < 0:
            coat.setdefault((one.part, one.kind), []).append(one)
            continue
        key = (one.part, one.repeat, one.lane, one.window, one.kind)
        if key not in windows or windows[key].severity < one.severity:
            windows[key] = one
    found = list(windows.values())
    for (_, kind), some in coat.items():
        found += _streaks(some, frame_m) if kind == "streak" else _holes(some)
    return tuple(sorted(found, key=lambda one: (one.part, one.metre_m, one.lane)))


def _holes(some: Sequence[WindowMark]) -> list[WindowMark]:
    """Holes, those of two frames at one place once."""
    kept: list[WindowMark] = []
    for one in sorted(some, key=lambda one: one.metre_m):
        same = next((k for k in range(len(kept) - 1, max(-1, len(kept) - 50), -1) if _same(kept[k], one)), None)
        if same is None:
            kept.append(one)
        elif kept[same].severity < one.severity:
            kept[same] = one
    return kept


def _same(a: WindowMark, b: WindowMark) -> bool:
    near = abs(a.metre_m - b.metre_m) * 1e3 < NEAR_MM and abs(a.across_mm - b.across_mm) < NEAR_MM
    return near and a.flash != b.flash


def _streaks(some: Sequence[WindowMark], frame_m: float) -> list[WindowMark]:
    """Streaks, those that go on at one place across joined."""
    by_place = sorted(some, key=lambda one: one.across_mm)
    lines: list[list[WindowMark]] = [[by_place[0]]]
    for last, one in pairwise(by_place):
        width = NEAR_MM + min(last.size_mm, one.size_mm) / 2
        if one.across_mm - last.across_mm < width:
            lines[-1].append(one)
        else:
            lines.append([one])
    return [one for line in lines for one in _joined(sorted(line, key=lambda one: one.metre_m), frame_m)]


def _joined(line: Sequence[WindowMark], frame_m: float) -> list[WindowMark]:
    kept = [line[0]]
    for one in line[1:]:
        last = kept[-1]
        if one.metre_m - last.to_m < 1.5 * frame_m:
            worse = one if one.severity > last.severity else last
            kept[-1] = replace(worse, metre_m=last.metre_m, to_m=max(last.to_m, one.to_m))
        else:
            kept.append(one)
    return kept
