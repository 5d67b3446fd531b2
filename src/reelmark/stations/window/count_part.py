"""One part of a roll: its frames, counted and put on one scale, its windows accounted for, its marks by metre."""

from collections import Counter as Many
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem
from reelmark.frames import WindowLayout
from reelmark.stations.window.count import Counted, Sight
from reelmark.stations.window.count_marks import WindowMark
from reelmark.stations.window.count_order import Place
from reelmark.stations.window.count_tally import Field, Gap, Tally, Windows, tally
from reelmark.stations.window.inspect.looked import Found, Kind, Looked

__all__ = ["Part", "PartSeen", "account"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Part:
    """Frames that were read, one element each, in order; `unread` those that were not, with the reason.

    height_mm : of web in a picture;  turned : pictures run against the encoder
    """

    number: int
    places: tuple[Place, ...]
    names: tuple[str, ...]
    looked: tuple[Looked, ...]
    crops: tuple[tuple[Any, ...], ...]
    sights: tuple[Sight, ...]
    counted: Counted
    height_mm: float
    turned: bool
    unread: tuple[tuple[Place, Problem], ...]

    @property
    def encoder(self) -> Floats:
        return np.array([one.encoder_mm for one in self.sights])

    @property
    def flash(self) -> NDArray[np.int64]:
        return np.array([one.flash for one in self.sights], np.int64)

    def web(self, pitch_mm: float) -> Floats:
        """Where each picture's first row lies along the part, mm of nominal repeats."""
        phase = np.array([one.phase_mm for one in self.sights])
        return np.asarray(np.array(self.counted.first) * pitch_mm - phase, np.float64)


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
    pitch = layout.pitch_along_mm
    many = layout.lanes * len(layout.windows)
    windows, measured = _windows(part, layout)
    fields = list(_fields(part, layout, _offsets(windows, part, layout, measured)))
    ends = fields if not part.sights else [one for one in fields if not _between(one, part.web(pitch))]
    made = tally(windows, many, ends)
    metre = _metres(part, pitch)
    gaps = tuple(Gap(g.start, g.stop, g.windows, _why(g, part, fields, pitch)) for g in made.gaps)
    steps = part.counted.steps
    lost = _lost(part)
    slips = tuple((float(part.sights[k].encoder_mm) / 1e3, round(steps[k].residual_mm, 1))
                  for k in range(len(steps)) if steps[k].slip)  # fmt: skip
    doubtful = tuple(float(part.sights[k].encoder_mm) / 1e3 for k in part.counted.doubtful)
    gaps_m = tuple((metre(g.start * pitch), metre(g.stop * pitch)) for g in gaps)
    marks = tuple(_marks(part, layout))
    return PartSeen(part, made, windows, measured[made.best], gaps, gaps_m, lost, slips, doubtful, marks,
                    tuple(_said(part, made, doubtful)))  # fmt: skip


def _windows(part: Part, layout: WindowLayout) -> tuple[Windows, Floats]:
    """All windows that frames looked at, and what was measured of them, (n, 7): the last is y in the cell."""
    if not part.looked:
        none = np.empty(0, np.int64)
        return Windows(none, none, none, np.empty(0), np.empty(0, bool)), np.empty((0, 7))
    nodes = [one.nodes for one in part.looked]
    frame = np.repeat(np.arange(len(nodes)), [len(one) for one in nodes])
    joined = {name: np.concatenate([getattr(one, name) for one in nodes])
              for name in ("i", "lane", "window", "y_mm", "dx_mm", "dy_mm", "size_x_mm", "size_y_mm", "edge_x_mm",
                           "edge_y_mm")}  # fmt: skip
    i = -joined["i"] if part.turned else joined["i"]
    repeat = np.array(part.counted.first, np.int64)[frame] + i
    column = joined["lane"] * len(layout.windows) + joined["window"]
    inside = np.minimum(joined["y_mm"], part.height_mm - joined["y_mm"])
    gone = {
        (k, f.i, f.lane, f.window) for k, one in enumerate(part.looked) for f in one.found if f.kind == Kind.MISSING
    }
    there = np.ones(len(frame), bool)
    if gone:
        keys = zip(
            frame.tolist(), joined["i"].tolist(), joined["lane"].tolist(), joined["window"].tolist(), strict=True
        )
        there = np.array([key not in gone for key in keys])
    begins = np.array([one.phase_mm for one in part.sights])[frame] + i * layout.pitch_along_mm
    y = part.height_mm - joined["y_mm"] if part.turned else joined["y_mm"]
    columns = [joined[name] for name in ("dx_mm", "dy_mm", "size_x_mm", "size_y_mm", "edge_x_mm", "edge_y_mm")]
    return Windows(repeat, column, frame, inside, there), np.stack([*columns, y - begins], axis=1)


def _offsets(windows: Windows, part: Part, layout: WindowLayout, measured: Floats) -> Floats:
    """Where each column's window lies in the cell along the web, mm; by the layout where no frame shows it."""
    at = [one.at_along_mm if one.at_along_mm is not None else layout.pitch_along_mm / 2 for one in layout.windows]
    offsets = np.array(at * layout.lanes, dtype=float)
    for c in np.unique(windows.column):
        offsets[c] = np.median(measured[windows.column == c, 6][:500])
    return offsets


def _fields(part: Part, layout: WindowLayout, offsets: Floats) -> Iterator[Field]:
    """What each unread frame would have shown, by the encoder from the nearest frame that was read."""
    pitch, web = layout.pitch_along_mm, part.web(layout.pitch_along_mm) if part.sights else np.zeros(1)
    encoder = part.encoder if part.sights else np.array([part.unread[0][0].encoder_mm if part.unread else 0.0])
    half = np.array([one.along_mm / 2 for one in layout.windows] * layout.lanes)
    for k, (place, problem) in enumerate(part.unread):
        if not np.isfinite(place.encoder_mm):
            continue
        near = int(np.abs(encoder - place.encoder_mm).argmin())
        start = web[near] + (place.encoder_mm - encoder[near]) * part.counted.scale
        first = np.ceil((start + half - offsets) / pitch - 1e-6).astype(int)
        last = np.floor((start + part.height_mm - half - offsets) / pitch + 1e-6).astype(int)
        yield Field(k, float(start), problem.asked, tuple(zip(first.tolist(), last.tolist(), strict=True)))


def _between(one: Field, web: Floats) -> bool:
    return bool(web[0] <= one.web_mm <= web[-1])


def _lost(part: Part) -> int:
    """Flashes of which there is no row at all."""
    flashes = {one.flash for one in part.sights} | {one.flash for one, _ in part.unread if one.flash is not None}
    return max(flashes) - min(flashes) + 1 - len(flashes) if flashes else 0


def _why(gap: Gap, part: Part, fields: Sequence[Field], pitch: float) -> tuple[tuple[str, int], ...]:
    """Reasons of a gap: frames that were not read, flashes lost, a slip; else pictures that do not meet."""
    start, stop = gap.start * pitch, gap.stop * pitch
    why = Many(one.why for one in fields if start < one.web_mm + part.height_mm and one.web_mm < stop)
    web = part.web(pitch) if part.sights else np.zeros(0)
    k = int(np.searchsorted(web, (start + stop) / 2))
    if 0 < k < len(web):
        here = set(range(part.sights[k - 1].flash + 1, part.sights[k].flash))
        lost = len(here - {one.flash for one, _ in part.unread})
        why += Many({"flash without a frame": lost} if lost else {})
        why += Many({"slip": 1} if part.counted.steps[k].slip else {})
    return tuple(why.most_common()) or (("pictures do not meet", 1),)


class _metres:  # noqa: N801  a function that keeps its table
    """Metre by the encoder of a place along the part, mm."""

    def __init__(self, part: Part, pitch: float) -> None:
        self.scale = part.counted.scale
        self.web = part.web(pitch) if part.sights else np.zeros(1)
        first = part.unread[0][0].encoder_mm if part.unread else 0.0
        self.encoder = part.encoder if part.sights else np.array([first])

    def __call__(self, web_mm: float) -> float:
        k = int(np.clip(np.searchsorted(self.web, web_mm) - 1, 0, len(self.web) - 1))
        return round(float(self.encoder[k] + (web_mm - self.web[k]) / self.scale) / 1e3, 4)


def _marks(part: Part, layout: WindowLayout) -> Iterator[WindowMark]:
    """Everything found, on the web."""
    first, pitch = part.counted.first, layout.pitch_across_mm
    for k, looked in enumerate(part.looked):
        nodes = looked.nodes
        left = float(np.median(nodes.x_mm - nodes.lane * pitch)) if len(nodes) else pitch / 2
        crops = {one.found: one for one in part.crops[k]}
        for n, one in enumerate(looked.found):
            y = part.height_mm - one.y_mm if part.turned else one.y_mm
            metre = (part.sights[k].encoder_mm + y / part.counted.scale) / 1e3
            lane = one.lane if one.lane >= 0 else int(np.clip(round((one.x_mm - left) / pitch), 0, layout.lanes - 1))
            repeat = first[k] + (-one.i if part.turned else one.i) if one.window >= 0 else -1
            half = part.height_mm / 2e3 if one.kind == Kind.STREAK else 0.0
            crop = crops.get(n)
            kept = (crop.file, crop.thumb_file, crop.sha256) if crop else ("", "", "")
            yield WindowMark(str(one.kind), round(metre - half, 4), round(metre + half, 4), lane + 1,
                             round(one.x_mm, 2), _offset(one, looked), round(one.size_mm, 3), round(one.severity, 3),
                             repeat, one.window, part.number, part.sights[k].flash, part.names[k], *kept)  # fmt: skip


def _offset(one: Found, looked: Looked) -> float | None:
    """How far off, mm.  Of a shifted pass about twice the spread that its edge has above the others: with half of the
    step in that pass the variance it adds is a quarter of its offset squared, and not far from it with a third."""
    if one.kind == Kind.SHIFTED_PASS:
        return round(2 * float(np.sqrt(max(one.size_mm**2 - looked.health.focus_mm**2, 0.0))), 3)
    nodes = looked.nodes
    at = np.flatnonzero((nodes.i == one.i) & (nodes.lane == one.lane) & (nodes.window == one.window))
    if one.window < 0 or not len(at):
        return None
    off = float(np.hypot(nodes.dx_mm[at[0]], nodes.dy_mm[at[0]]))
    return round(off, 3) if np.isfinite(off) else None


def _said(part: Part, made: Tally, doubtful: tuple[float, ...]) -> Iterator[str]:
    if doubtful:
        where = ", ".join(f"{one:,.1f}" for one in doubtful[:5])
        yield (f"phase doubtful at {where} m: the encoder missed the lattice by more than a quarter of a repeat, and "
               "the count may be one repeat off from there; an index mark would settle it")  # fmt: skip
    if made.unlike:
        yield f"{made.unlike:,} windows are missing in one frame and there in another: counted as missing"
    if not part.sights:
        yield "no frame of this part could be read: its windows are counted by the encoder alone"
