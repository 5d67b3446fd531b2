"""A roll across: its map with the head's path, the profile of the lanes, the die's round."""

from collections import defaultdict
from itertools import pairwise
from typing import Final

import numpy as np

from ..acts.gauge_view import Clock, Map, RollView
from ..svg import el, label, rects
from .gauge import LEFT, RIGHT, TOP, WIDE, Frame

__all__ = ["clock_picture", "lanes_picture", "map_picture"]

TALL: Final = 300  # px of the map
STEPS: Final = (0.125, 0.25, 0.5, 0.75, 1.0)  # of the scale, at which the map grows stronger
STRENGTH: Final = (0.0, 0.12, 0.28, 0.5, 0.75, 1.0)
Boxes = list[tuple[float, float, float, float]]


def map_picture(seen: Map, target: float, scale: float, unsure: float, *, title: str, alone: bool) -> str:
    """Metres across, mm downwards.  scale : um off the target, strongest from there;  unsure : sd hatched from."""
    step = float(seen.metre_m[1] - seen.metre_m[0])
    left, right = float(seen.metre_m[0]) - step / 2, float(seen.metre_m[-1]) + step / 2
    frame = Frame(left, right, float(seen.edges_mm[-1]), float(seen.edges_mm[0]), TALL)
    hatch = seen.sd_um > unsure
    parts = [
        el("defs", _hatching()), *frame.axes("metre of the gauge", "place across, mm"),
        el("rect", cls="paper", x=LEFT, y=TOP, width=WIDE - LEFT - RIGHT, height=TALL),
        *_cells(frame, seen, target, scale), *_far(frame, seen, target, scale),
        *_hatched(frame, seen, hatch), *_path(frame, seen),
        label(LEFT, 15, f"red: above the target, grey: below, strongest from {scale:g} um off;  framed: beyond it "
              f"somewhere in the cell;  hatched: sd above {unsure:.3g} um", "quiet small"),
    ]  # fmt: skip
    off = np.abs(seen.far_um - target) > scale
    says = f"{off.mean():.1%} of the cells reach beyond {scale:g} um off the target; {hatch.mean():.1%} are hatched."
    return frame.whole(parts, title=title, says=says, alone=alone)


def _hatching() -> str:
    line = el("path", cls="line quiet", d="M0 6L6 0", stroke_width=0.8)
    units: dict[str, object] = {"id": "unsure", "width": 6, "height": 6, "patternUnits": "userSpaceOnUse"}
    return el("pattern", line, cls="", **units)


def _box(frame: Frame, seen: Map, first: int, last: int, lane: int) -> tuple[float, float, float, float]:
    step = (WIDE - LEFT - RIGHT) / len(seen.metre_m)
    top, foot = frame.y(float(seen.edges_mm[lane])), frame.y(float(seen.edges_mm[lane + 1]))
    return LEFT + first * step, top, (last - first) * step, foot - top


def _runs(levels: np.ndarray) -> list[tuple[int, int, int]]:
    """(first, one past the last, value) of each run of like values."""
    edges = [0, *(np.flatnonzero(np.diff(levels)) + 1).tolist(), len(levels)]
    return [(a, b, int(levels[a])) for a, b in pairwise(edges)]


def _cells(frame: Frame, seen: Map, target: float, scale: float) -> list[str]:
    """The mean of each cell, as steps of strength; runs of a lane together."""
    off = (seen.mean_um - target) / scale
    level = np.searchsorted(STEPS, np.abs(off), "right") * np.sign(off).astype(int)
    boxes: dict[int, Boxes] = defaultdict(list)
    for lane in range(level.shape[1]):
        for a, b, step in _runs(level[:, lane]):
            if step:
                boxes[step].append(_box(frame, seen, a, b, lane))
    return [
        el("g", rects(some, "accent" if step > 0 else "ink"), fill_opacity=STRENGTH[abs(step)])
        for step, some in sorted(boxes.items())
    ]


def _far(frame: Frame, seen: Map, target: float, scale: float) -> list[str]:
    """Cells of which some part lies beyond the scale, so that nothing vanishes in the mean."""
    beyond = np.abs(seen.far_um - target) > scale
    some = [_box(frame, seen, a, b, lane) for lane in range(beyond.shape[1])
            for a, b, on in _runs(beyond[:, lane]) if on]  # fmt: skip
    return [rects(some, "line accent")] if some else []


def _hatched(frame: Frame, seen: Map, hatch: np.ndarray) -> list[str]:
    some = [_box(frame, seen, a, b, lane) for lane in range(hatch.shape[1]) for a, b, on in _runs(hatch[:, lane]) if on]
    d = "".join(f"M{x:.1f} {y:.1f}h{wide:.1f}v{high:.1f}h{-wide:.1f}z" for x, y, wide, high in some)
    return [el("path", d=d, fill="url(#unsure)")] if d else []


def _path(frame: Frame, seen: Map) -> list[str]:
    ends = [[(frame.x(float(m)), frame.y(float(mm))) for m, mm in zip(*one, strict=True)] for one in seen.path]
    lines = "".join(f"M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}" for a, b in ends)
    return [el("path", cls="line quiet", d=lines, stroke_width=0.7, stroke_opacity=0.7)]


def lanes_picture(view: RollView, limits: tuple[float, float] | None, *, title: str, alone: bool) -> str:
    """Mean of every lane with two standard errors, within all that its passes read."""
    middle = ((view.edges_mm[1:] + view.edges_mm[:-1]) / 2).tolist()
    mean = view.mean_um + view.lane_um
    low, high = (f([float(v), *(limits or ())]) for f, v in ((min, view.low_um.min()), (max, view.high_um.max())))
    pad = 0.06 * (high - low) or 0.1
    frame = Frame(float(view.edges_mm[0]), float(view.edges_mm[-1]), low - pad, high + pad, 240)
    two = 2 * view.lane_sd_um
    parts = [
        *frame.axes("place across, mm", "gauge, um"),
        frame.band(middle, view.low_um.tolist(), view.high_um.tolist(), "lost", 0.3),
        frame.band(middle, (mean - two).tolist(), (mean + two).tolist(), "pale", 0.9),
        frame.line(middle, mean.tolist(), "accent", stroke_width=1.6), *frame.level(view.mean_um, "mean", "quiet"),
        label(LEFT, 15, "line: mean of the lane, in its band of ±2 standard errors;  wide band: all passes", "quiet"),
    ]  # fmt: skip
    for words, at in zip(("lower limit", "upper limit"), limits or (), strict=False):
        parts += frame.level(at, words)
    says = f"{len(middle)} lanes, from {mean.min():.2f} to {mean.max():.2f} um in the mean of the roll."
    return frame.whole(parts, title=title, says=says, alone=alone)


def clock_picture(clock: Clock, *, title: str, alone: bool) -> str:
    """The die's round with two standard errors; under it, how long each sector lay in mid-web."""
    at, um, two = clock.degrees.tolist(), clock.um, 2 * clock.sd_um
    low, high = float((um - two).min()), float((um + two).max())
    pad = 0.06 * (high - low) or 0.1
    frame = Frame(0, 360, low - pad, high + pad, 180)
    below = Frame(0, 360, 0, 1.1 * float(clock.time_share.max()), 70, top=frame.foot + 66)
    step = 360 / len(at)
    bars = [(below.x(x - step / 2) + 1, below.y(y), below.x(x + step / 2) - below.x(x - step / 2) - 2,
             below.foot - below.y(y)) for x, y in zip(at, clock.time_share.tolist(), strict=True)]  # fmt: skip
    parts = [
        *frame.axes("angle on the die, degrees", "um"),
        frame.band(at, (um - two).tolist(), (um + two).tolist(), "pale", 0.9),
        frame.line(at, um.tolist(), "accent", stroke_width=1.6),
        *below.axes("angle on the die that lies in mid-web, degrees", "share of time"), rects(bars, "lost"),
        label(LEFT, 15, "what the die brings, in its band of ±2 standard errors;  under it, where it stood how long",
              "quiet"),
    ]  # fmt: skip
    says = f"From {um.min():+.2f} to {um.max():+.2f} um; evenness of the motion {clock.even:.2f}."
    return below.whole(parts, title=title, says=says, alone=alone)
