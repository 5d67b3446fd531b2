"""One part of a roll: its windows accounted for, its gaps with their reasons, its marks by metre."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import WindowLayout
from reelmark.stations.window.count_fields import Fields, Reasons, fields_of
from reelmark.stations.window.count_found import found_marks
from reelmark.stations.window.count_marks import WindowMark
from reelmark.stations.window.count_pace import Pace, pace_of
from reelmark.stations.window.count_seen import Metres, Part, sort_of
from reelmark.stations.window.count_tally import Gap, Tally, Windows, tally
from reelmark.stations.window.inspect.looked import Kind

__all__ = ["PartSeen", "account"]

Floats = NDArray[np.float64]
MEASURED = ("dx_mm", "dy_mm", "size_x_mm", "size_y_mm", "edge_x_mm", "edge_y_mm")


@dataclass(frozen=True, slots=True)
class PartSeen:
    """A part's account.  gaps_m : of each gap, from and to by the encoder;  lost : flashes without any frame
    columns : of each view of `windows`: measured dx, dy, size x, size y, edge x, edge y, mm;  slips : metre, mm
    """

    part: Part
    tally: Tally
    windows: Windows
    measured: Floats
    gaps: tuple[Gap, ...]
    gaps_m: tuple[tuple[float, float], ...]
    lost: int
    slips: tuple[tuple[float, float], ...]
    doubtful_m: tuple[float, ...]
    marks: tuple[WindowMark, ...]
    notes: tuple[str, ...]


def account(part: Part, layout: WindowLayout) -> PartSeen:
    """Count the part's windows, book its gaps with their reasons, and place its marks."""
    pitch, steps = layout.pitch_along_mm, part.counted.steps
    windows, measured = _windows(part, layout)
    fields = _fields(part, layout, _offsets(windows, layout, measured))
    made = tally(windows, layout.lanes * len(layout.windows), fields.first, fields.last)
    pace = pace_of(part.sights, pitch)
    why, metre = _reasons(part, fields, pace, pitch), Metres(part, pitch)
    gaps = tuple(Gap(g.start, g.stop, g.windows, why.of(g)) for g in made.gaps)
    gaps_m = tuple((metre.of(g.start * pitch), metre.of(g.stop * pitch)) for g in gaps)
    at_m = part.encoder / 1e3
    slips = tuple((float(at_m[k]), round(steps[k].residual_mm, 1)) for k in range(len(steps)) if steps[k].slip)
    doubtful = tuple(float(at_m[k]) for k in part.counted.doubtful)
    return PartSeen(part, made, windows, measured[made.best], gaps, gaps_m, _lost(part), slips, doubtful,
                    tuple(found_marks(part, layout, metre)), (*_said(part, made, doubtful), *pace.notes))  # fmt: skip


def _windows(part: Part, layout: WindowLayout) -> tuple[Windows, Floats]:
    """All windows that frames looked at, and what was measured of them, (n, 7): the last is y in the cell."""
    if not part.looked:
        none = np.empty(0, np.int64)
        return Windows(none, none, none, np.empty(0), np.empty(0, bool)), np.empty((0, 7))
    nodes = [one.nodes for one in part.looked]
    frame = np.repeat(np.arange(len(nodes)), [len(one) for one in nodes])
    joined = {name: np.concatenate([getattr(one, name) for one in nodes])
              for name in ("i", "lane", "window", "y_mm", *MEASURED)}  # fmt: skip
    i = -joined["i"] if part.turned else joined["i"]
    y = part.height_mm - joined["y_mm"] if part.turned else joined["y_mm"]
    column = joined["lane"] * len(layout.windows) + joined["window"]
    there = _there(part, frame, joined["i"], column, len(layout.windows))
    begins = np.array([one.phase_mm for one in part.sights])[frame] + i * layout.pitch_along_mm
    repeat = np.array(part.counted.first, np.int64)[frame] + i
    inside = np.minimum(y, part.height_mm - y)
    measured = np.stack([*(joined[name] for name in MEASURED), y - begins], axis=1)
    return Windows(repeat, column, frame, inside, there), measured


def _there(
    part: Part, frame: NDArray[np.int64], i: NDArray[np.int64], column: NDArray[np.int64], many: int
) -> NDArray[np.bool_]:
    """False where the frame found the window missing.  many : windows of a note"""
    gone = {(k, f.i, f.lane * many + f.window)
            for k, one in enumerate(part.looked) for f in one.found if f.kind == Kind.MISSING}  # fmt: skip
    if not gone:
        return np.ones(len(frame), bool)
    keys = zip(frame.tolist(), i.tolist(), column.tolist(), strict=True)
    return np.array([key not in gone for key in keys])


def _offsets(windows: Windows, layout: WindowLayout, measured: Floats) -> Floats:
    """Where each column's window lies in the cell along the web, mm; by the layout where no frame shows it."""
    at = [one.at_along_mm if one.at_along_mm is not None else layout.pitch_along_mm / 2 for one in layout.windows]
    offsets = np.array(at * layout.lanes, dtype=float)
    for c in np.unique(windows.column):
        offsets[c] = np.median(measured[windows.column == c, 6][:500])
    return offsets


def _fields(part: Part, layout: WindowLayout, offsets: Floats) -> Fields:
    """What the frames that were not read would have shown; where none was read, from the first of them on."""
    places = np.array([one.encoder_mm for one, _ in part.unread])
    begin = places[np.isfinite(places)][:1]
    known = (part.encoder, part.web(layout.pitch_along_mm)) if part.sights else (begin, np.zeros(len(begin)))
    why = [sort_of(one) for _, one in part.unread]
    return fields_of(places, why, known, part.counted.scale, part.height_mm, layout, offsets)


def _lost(part: Part) -> int:
    """Flashes of which there is no row at all."""
    flashes = {one.flash for one in part.sights} | {one.flash for one, _ in part.unread if one.flash is not None}
    return max(flashes) - min(flashes) + 1 - len(flashes) if flashes else 0


def _reasons(part: Part, fields: Fields, pace: Pace, pitch: float) -> Reasons:
    why = {one.flash: "" if np.isfinite(one.encoder_mm) else sort_of(reason)
           for one, reason in part.unread if one.flash is not None}  # fmt: skip
    unread = sorted(why)
    slips = np.array([one.slip for one in part.counted.steps], bool)
    return Reasons(fields, part.web(pitch), part.flash, slips, pace.far, np.array(unread, np.int64),
                   tuple(why[one] for one in unread), part.height_mm, pitch)  # fmt: skip


def _said(part: Part, made: Tally, doubtful: tuple[float, ...]) -> Iterator[str]:
    if part.turned:
        yield "the pictures run against the encoder: read turned over"
    if doubtful:
        where = ", ".join(f"{one:,.1f}" for one in doubtful[:5])
        yield (f"phase doubtful at {where} m: the encoder missed the lattice by more than a quarter of a repeat, and "
               "the count may be one repeat off from there; an index mark would settle it")  # fmt: skip
    if part.counted.misread:
        where = ", ".join(part.names[k] for k in part.counted.misread[:5])
        yield f"the index mark of {where} contradicts those before and after it, which agree: taken for misread"
    if made.unlike:
        yield f"{made.unlike:,} windows are missing in one frame and there in another: counted as missing"
    if not part.sights:
        yield "no frame of this part could be read: its windows are counted by the encoder alone"
