"""Gather the looked-at frames of a roll into a verdict: every window accounted for, what is wrong by metre and lane.

    read_roll(seen, layout)      seen: one `Seen` for every row of the source, looked at or booked, in any order

Nothing is left out silently: a frame is used, or stands in `booked` with the reason.
"""

from collections import Counter as Many
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from reelmark.errors import BadValue, Problem
from reelmark.frames import WindowLayout
from reelmark.stations.window.count import Counted, Sight, count_roll
from reelmark.stations.window.count_figures import Figures, figures_of
from reelmark.stations.window.count_marks import WindowMark, merged
from reelmark.stations.window.count_order import Place, in_order
from reelmark.stations.window.count_part import Part, PartSeen, account
from reelmark.stations.window.count_rollers import suspects
from reelmark.stations.window.inspect.looked import Looked
from reelmark.stations.window.inspect.rollers import Suspect

__all__ = ["Booked", "Crop", "RollSeen", "Seen", "read_roll"]

OUT_OF_LINE = 0.15  # of a repeat: a frame alone so far from both its neighbours, which agree, was misread or turned


@dataclass(frozen=True, slots=True)
class Crop:
    """A picture kept of something found.  found : its index in the frame's;  png, thumb : bytes, or names once kept"""

    found: int
    png: bytes = b""
    thumb: bytes = b""
    file: str = ""
    thumb_file: str = ""
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Seen:
    """A row of the source: looked at, or refused with the reason.  shape : rows, columns;  index : see `Sight`"""

    name: str
    place: Place
    shape: tuple[int, int] = (0, 0)
    looked: Looked | None = None
    refused: Problem | None = None
    notes: tuple[str, ...] = ()
    crops: tuple[Crop, ...] = ()
    index: int | None = None


@dataclass(frozen=True, slots=True)
class Booked:
    """A frame that was not used, and why.  sort : in a word or two"""

    name: str
    place: Place
    why: Problem


@dataclass(frozen=True, slots=True)
class RollSeen:
    """The verdict.  parts : stretches counted by themselves, one as a rule;  used : frames read and counted"""

    parts: tuple[PartSeen, ...]
    marks: tuple[WindowMark, ...]
    booked: tuple[Booked, ...]
    figures: Figures
    used: int
    rollers: tuple[Suspect, ...]
    notes: tuple[str, ...]

    def total(self, what: str) -> int:
        """expected, seen, missing or not_seen, of all parts."""
        return sum(getattr(one.tally, what) for one in self.parts)

    @property
    def closes(self) -> bool:
        """expected = seen + missing + not seen, in every part."""
        return all(one.tally.closes for one in self.parts)


def read_roll(
    seen: Iterable[Seen], layout: WindowLayout, index_every: int = 0, rollers_mm: Mapping[str, float] | None = None
) -> RollSeen:
    """The verdict on all frames of a source; Problem where there is not one row.

    index_every : an odd window every so many repeats;  rollers_mm : circumferences by name, to be suspected
    """
    rows = [_judged(one) for one in seen]
    if not rows:
        raise Problem("frames", "there are none", "give a folder with frames.csv and its pictures")
    rows = _of_one_size(rows)
    ordered = in_order([one.place for one in rows], layout.pitch_along_mm)
    rows = [replace(one, place=replace(one.place, encoder_mm=-one.place.encoder_mm)) for one in rows] if (
        ordered.down) else rows  # fmt: skip
    for k, problem in ordered.odd:
        rows[k] = replace(rows[k], refused=problem)
    parts: list[PartSeen] = []
    marks: list[WindowMark] = []
    notes = [*ordered.notes]
    for number, order in enumerate(ordered.parts, 1):
        part, odd, said = _part(number, order, rows, layout, index_every)
        for k in odd:
            rows[k] = replace(rows[k], refused=_out_of_line(rows[k]))
        told = account(part, layout)
        parts.append(told)
        marks += told.marks
        notes += [*said, *told.notes]
    booked = tuple(Booked(one.name, one.place, one.refused) for one in rows if one.refused)
    field_m = max((one.shape[0] for one in rows), default=0) * layout.mm_per_pixel / 1e3
    notes += _notes(rows, booked)
    used = len(rows) - len(booked)
    told_marks = merged(marks, field_m)
    rollers = tuple(suspects(parts, told_marks, layout, rollers_mm or {}))
    return RollSeen(tuple(parts), told_marks, booked, figures_of(parts, layout), used, rollers, tuple(notes))


def _judged(one: Seen) -> Seen:
    """With the frame's own refusal taken over."""
    if one.refused is None and (one.looked is None or one.looked.refused is not None):
        return replace(one, refused=one.looked.refused if one.looked else Problem("frame", "not looked at", "look"))
    return one


def _of_one_size(rows: Sequence[Seen]) -> list[Seen]:
    """Frames of another size than most are refused: their camera, or their cut, is another."""
    sizes = Many(one.shape for one in rows if one.refused is None)
    if len(sizes) < 2:
        return list(rows)
    usual = sizes.most_common(1)[0][0]

    def refused(shape: tuple[int, int]) -> Problem:
        true = f"most have {usual[0]} rows by {usual[1]} columns"
        return BadValue("size of the picture", f"{shape[0]} by {shape[1]}", true, "give frames of one camera, uncut")

    return [replace(one, refused=refused(one.shape)) if one.refused is None and one.shape != usual else one
            for one in rows]  # fmt: skip


def _part(
    number: int, order: Sequence[int], rows: Sequence[Seen], layout: WindowLayout, index_every: int
) -> tuple[Part, list[int], list[str]]:
    """A part counted; frames out of line; what to say."""
    good = [k for k in order if rows[k].refused is None]
    turned = _turned([rows[k] for k in good], layout)
    sights = [_sight(rows[k], layout, turned) for k in good]
    counted = count_roll(sights, layout.pitch_along_mm, index_every)
    odd = _odd(counted, layout.pitch_along_mm)
    if odd:
        out = [good[k] for k in odd]
        good = [k for k in good if k not in out]
        sights = [_sight(rows[k], layout, turned) for k in good]
        counted = count_roll(sights, layout.pitch_along_mm, index_every)
    else:
        out = []
    said = ["the pictures run against the encoder: read turned over"] if turned else []
    unread = [(rows[k].place, rows[k].refused or _out_of_line(rows[k])) for k in order if k not in set(good)]
    used = [rows[k] for k in good]
    heights = [one.shape[0] * layout.mm_per_pixel for one in used] or [_height(rows, layout)]
    return Part(number, tuple(one.place for one in used), tuple(one.name for one in used),
                tuple(one.looked for one in used if one.looked), tuple(tuple(one.crops) for one in used),
                tuple(sights), counted, heights[0], turned, tuple(unread)), out, said  # fmt: skip


def _height(rows: Sequence[Seen], layout: WindowLayout) -> float:
    """Mm of web in a picture, where none of a part was read."""
    return max((one.shape[0] for one in rows), default=0) * layout.mm_per_pixel


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
    for k in np.flatnonzero(far & (np.abs(back) < 0.04 * pitch_mm)):
        if k > 0 and (not found or found[-1] != k - 1):
            found.append(int(k))
    return found


def _out_of_line(one: Seen) -> Problem:
    true = "its lattice lies off from the frames before and after, which agree: it is turned over, or misread"
    return BadValue("phase", one.name, true, "look at the picture; its windows are booked as not seen")


def _notes(rows: Sequence[Seen], booked: Sequence[Booked]) -> list[str]:
    """What was converted, and what the operator should hear, each with how many frames say so."""
    said: Mapping[str, int] = Many(
        chain.from_iterable(
            (*one.notes, *(one.looked.health.notes if one.looked and one.refused is None else ())) for one in rows
        )
    )
    told = [f"{text} ({many:,} frames)" if many > 1 else text for text, many in Many(said).most_common(20)]
    return [*told, *([f"{len(booked):,} of {len(rows):,} frames were not used; each is booked"] if booked else [])]
