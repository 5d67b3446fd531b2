"""What frames found wrong, as marks on the web: by metre, lane and repeat, before those seen twice are made one."""

from collections.abc import Iterator

import numpy as np

from reelmark.frames import WindowLayout
from reelmark.stations.window.count_marks import WindowMark
from reelmark.stations.window.count_seen import Metres, Part
from reelmark.stations.window.inspect.looked import Found, Kind, Looked

__all__ = ["found_marks"]


def found_marks(part: Part, layout: WindowLayout, metre: Metres) -> Iterator[WindowMark]:
    """Everything found in the part's frames."""
    web = part.web(layout.pitch_along_mm).tolist()
    for k, looked in enumerate(part.looked):
        left = _left(looked, layout)
        for n, one in enumerate(looked.found):
            y = part.height_mm - one.y_mm if part.turned else one.y_mm
            half = part.height_mm / 2 if one.kind == Kind.STREAK else 0.0
            ends = metre.of(web[k] + y - half), metre.of(web[k] + y + half)
            yield _mark(part, (k, n), _lane(one, left, layout), ends)


def _left(looked: Looked, layout: WindowLayout) -> float:
    """Where the first lane's cell begins, mm from the picture's first column; a window whose place in the cell the
    layout leaves open is taken for its middle."""
    nodes, pitch = looked.nodes, layout.pitch_across_mm
    if not len(nodes):
        return 0.0
    at = np.array([pitch / 2 if one.at_across_mm is None else one.at_across_mm for one in layout.windows])
    return float(np.median(nodes.x_mm - nodes.lane * pitch - at[nodes.window]))


def _lane(one: Found, left: float, layout: WindowLayout) -> int:
    """0..lanes-1; of the coat the lane whose cell it lies in, or next to."""
    at = one.lane if one.lane >= 0 else (one.x_mm - left) // layout.pitch_across_mm
    return int(np.clip(at, 0, layout.lanes - 1))


def _mark(part: Part, at: tuple[int, int], lane: int, ends_m: tuple[float, float]) -> WindowMark:
    """at : frame, and which of the things found in it"""
    k, n = at
    one = part.looked[k].found[n]
    repeat = part.counted.first[k] + (-one.i if part.turned else one.i) if one.window >= 0 else -1
    crop = next((crop for crop in part.crops[k] if crop.found == n), None)
    kept = (crop.file, crop.thumb_file, crop.sha256) if crop else ("", "", "")
    return WindowMark(
        str(one.kind), *ends_m, lane + 1, round(one.x_mm, 2),
        _offset(one, part.looked[k]), round(one.size_mm, 3), round(one.severity, 3), repeat, one.window, part.number,
        part.sights[k].flash, part.names[k], *kept, *_way(one, part.turned),
    )  # fmt: skip


def _way(one: Found, turned: bool) -> tuple[float | None, float | None]:
    """(across, along) as the web runs, mm, of what is shifted.  turned : rows run against the web"""
    across, along = one.off_mm
    if np.isnan(across):
        return None, None
    return round(across, 3), round(-along if turned else along, 3)


def _offset(one: Found, looked: Looked) -> float | None:
    """How far off, mm: of a shifted pass that pass from the others, of any other window its middle from its place."""
    if one.kind == Kind.SHIFTED_PASS:
        return round(float(np.hypot(*one.off_mm)), 3)
    nodes = looked.nodes
    at = np.flatnonzero((nodes.i == one.i) & (nodes.lane == one.lane) & (nodes.window == one.window))
    if one.window < 0 or not len(at):
        return None
    off = float(np.hypot(nodes.dx_mm[at[0]], nodes.dy_mm[at[0]]))
    return round(off, 3) if np.isfinite(off) else None
