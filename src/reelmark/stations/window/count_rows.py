"""Rows of a source as they are to be counted: a frame that was read or refused, and a part of them, counted.

judged(rows)                         refused too: without lattice or place, of another size than most
part_of(number, order, rows, ...)    counted, turned over where pictures run against the encoder, frames out of line out
"""

from collections import Counter as Many
from collections.abc import Sequence
from dataclasses import replace
from math import isfinite
from typing import Final

import numpy as np
from scipy.ndimage import median_filter

from reelmark.errors import Problem
from reelmark.frames import WindowLayout
from reelmark.stations.window.count import Counted, Sight, count_roll
from reelmark.stations.window.count_seen import Part, Seen
from reelmark.stations.window.inspect.looked import Looked

__all__ = ["judged", "out_of_line", "part_of"]

OUT_OF_LINE: Final = 0.15  # of a repeat: a frame alone so far from its neighbours, which agree, was misread or turned
ASIDE: Final = 0.05  # of the pitch across: no web weaves so far between flashes; assumed
BACK_IN_LINE: Final = 0.04  # of a repeat: how well its neighbours must agree


def judged(rows: Sequence[Seen]) -> list[Seen]:
    """Each with the reason why it cannot be counted, if there is one."""
    some = [one if (why := _refused(one)) is one.refused else replace(one, refused=why) for one in rows]
    sizes = Many(one.shape for one in some if one.refused is None)
    if len(sizes) < 2:
        return some
    usual = sizes.most_common(1)[0][0]
    return [replace(one, refused=_size(one.shape, usual)) if one.refused is None and one.shape != usual else one
            for one in some]  # fmt: skip


def _refused(one: Seen) -> Problem | None:
    """By the source, by the detector, or for want of a place."""
    if one.refused is not None or one.looked is None:
        return one.refused or Problem("frame", "not looked at", "look")
    if one.looked.refused is not None:
        return one.looked.refused
    if not isfinite(one.place.encoder_mm):
        return Problem("no encoder count", f"it is {one.place.encoder_mm}", "give the encoder's count")
    if one.place.flash is None:
        return Problem("no flash number", "the strobe's number is not known", "give the strobe's count")
    if not isfinite(one.looked.phase_mm):
        return Problem("frame without windows", "no lattice was found", "look at the picture")
    return None


def _size(shape: tuple[int, int], usual: tuple[int, int]) -> Problem:
    true = f"it has {shape[0]} rows by {shape[1]} columns, and most have {usual[0]} by {usual[1]}"
    return Problem("picture of another size", true, "give frames of one camera, uncut")


def part_of(
    number: int, order: Sequence[int], rows: Sequence[Seen], layout: WindowLayout, index_every: int
) -> tuple[Part, tuple[int, ...]]:
    """A part counted, and the frames that were put out because they are out of line."""
    good = [k for k in order if rows[k].refused is None]
    turned = _turned([rows[k] for k in good], layout)
    sights, counted = _counted(good, rows, layout, turned, index_every)
    some = [*_odd(counted, layout.pitch_along_mm), *_aside([rows[k] for k in good], layout)]
    out = {good[k] for k in some}
    if out:
        good = [k for k in good if k not in out]
        sights, counted = _counted(good, rows, layout, turned, index_every)
    kept, used = set(good), [rows[k] for k in good]
    unread = tuple((rows[k].place, rows[k].refused or out_of_line(rows[k])) for k in order if k not in kept)
    tall = used[0].shape[0] if used else max((one.shape[0] for one in rows), default=0)
    height = tall * layout.mm_per_pixel or _step([one.encoder_mm for one, _ in unread])
    part = Part(
        number, tuple(one.place for one in used), tuple(one.name for one in used),
        tuple(one.looked for one in used if one.looked), tuple(one.crops for one in used), sights, counted,
        height, turned, unread,
    )  # fmt: skip
    return part, tuple(sorted(out))


def _step(encoder_mm: Sequence[float]) -> float:
    """Web that a flash adds, mm: all that is known of the field where not one picture of a roll was read."""
    steps = np.abs(np.diff([one for one in encoder_mm if isfinite(one)]))
    return float(np.median(steps)) if len(steps) else 0.0


def _counted(
    good: Sequence[int], rows: Sequence[Seen], layout: WindowLayout, turned: bool, index_every: int
) -> tuple[tuple[Sight, ...], Counted]:
    sights = tuple(_sight(rows[k], layout, turned) for k in good)
    return sights, count_roll(sights, layout.pitch_along_mm, index_every)


def _sight(one: Seen, layout: WindowLayout, turned: bool) -> Sight:
    """What the count needs.  Turned over, repeat 0 begins where it ended."""
    assert one.looked is not None
    phase = one.looked.phase_mm
    index = one.index
    if turned:
        phase = one.shape[0] * layout.mm_per_pixel - phase - layout.pitch_along_mm
        index = None if index is None else -index
    return Sight(one.place.encoder_mm, one.place.flash or 0, phase, index)


def _turned(rows: Sequence[Seen], layout: WindowLayout) -> bool:
    """Whether the lattice fits the encoder far better with every picture turned over along the web."""
    if len(rows) < 8:
        return False
    ways = []
    for turned in (False, True):
        counted = count_roll([_sight(one, layout, turned) for one in rows[:400]], layout.pitch_along_mm)
        ways.append(float(np.median([abs(one.residual_mm) for one in counted.steps])))
    return ways[0] > 0.05 * layout.pitch_along_mm and ways[1] < ways[0] / 4


def _odd(counted: Counted, pitch_mm: float) -> list[int]:
    """Frames alone out of line: off from the one before, and the next is off by as much the other way."""
    off = np.array([one.residual_mm for one in counted.steps])
    if len(off) < 5 or 6 * 1.4826 * np.median(np.abs(off)) > OUT_OF_LINE * pitch_mm:
        return []
    back = (off[:-1] + off[1:] + pitch_mm / 2) % pitch_mm - pitch_mm / 2
    far = (np.abs(off[:-1]) > OUT_OF_LINE * pitch_mm) & (np.abs(off[1:]) > OUT_OF_LINE * pitch_mm)
    found: list[int] = []
    for k in np.flatnonzero(far & (np.abs(back) < BACK_IN_LINE * pitch_mm)):
        if k > 0 and (not found or found[-1] != k - 1):
            found.append(int(k))
    return found


def _aside(rows: Sequence[Seen], layout: WindowLayout) -> list[int]:
    """Frames whose lattice lies elsewhere across than in those about it: turned over or round, or misread.

    The web weaves, but slowly; so each is held against the median of the ten before and the ten after.
    """
    if len(rows) < 5:
        return []
    pitch = layout.pitch_across_mm
    place = np.array([_across(one.looked, pitch) if one.looked else np.nan for one in rows])
    turn = 2j * np.pi * place / pitch
    usual = np.angle(np.exp(turn[np.isfinite(place)]).mean()) / (2 * np.pi) * pitch if np.isfinite(place).any() else 0.0
    off = (np.nan_to_num(place - usual) + pitch / 2) % pitch - pitch / 2
    off -= median_filter(off, 21, mode="nearest")
    limit = max(ASIDE * pitch, 8 * 1.4826 * float(np.median(np.abs(off))))
    return np.flatnonzero(np.abs(off) > limit).tolist()


def _across(looked: Looked, pitch: float) -> float:
    """Mm across of lane 0, by the first window that the frame shows; NaN without one."""
    nodes = looked.nodes
    mine = nodes.window == nodes.window.min() if len(nodes) else np.zeros(0, bool)
    return float(np.median(nodes.x_mm[mine] - nodes.lane[mine] * pitch)) if mine.any() else np.nan


def out_of_line(one: Seen) -> Problem:
    """Why such a frame is not used."""
    true = f"the lattice of {one.name} lies off from the frames before and after, which agree: turned over, or misread"
    return Problem("frame out of line", true, "look at the picture; its windows are booked as not seen")
