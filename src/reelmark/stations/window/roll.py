"""Gather the looked-at frames of a roll into a verdict: every window accounted for, what is wrong by metre and lane.

    read_roll(seen, layout)      seen: one `Seen` for every row of the source, looked at or booked, in any order

Nothing is left out silently: a frame is used, or stands in `booked` with the reason.
"""

from collections import Counter as Many
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem
from reelmark.frames import WindowLayout
from reelmark.stations.window.count_figures import Figures, figures_of
from reelmark.stations.window.count_marks import WindowMark, merged
from reelmark.stations.window.count_order import Ordered, Place, in_order
from reelmark.stations.window.count_part import PartSeen, account
from reelmark.stations.window.count_rows import judged, out_of_line, part_of
from reelmark.stations.window.count_seen import Crop, Seen, sort_of
from reelmark.stations.window.inspect.looked import Kind
from reelmark.stations.window.inspect.rollers import Suspect, suspects

__all__ = ["Booked", "Crop", "RollSeen", "Seen", "read_roll"]


@dataclass(frozen=True, slots=True)
class Booked:
    """A frame that was not used, and why."""

    name: str
    place: Place
    why: Problem

    @property
    def sort(self) -> str:
        """Why in a few words, the same for all that have the same fault."""
        return sort_of(self.why)


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
    given = judged(list(seen))
    if not given:
        raise Problem("frames", "there are none", "give a folder with frames.csv and its pictures")
    ordered = in_order([one.place for one in given], layout.pitch_along_mm)
    why = dict(ordered.odd)
    rows = [one if one.place is place and k not in why else replace(one, place=place, refused=one.refused or why.get(k))
            for k, (one, place) in enumerate(zip(given, ordered.places, strict=True))]  # fmt: skip
    parts: list[PartSeen] = []
    for number, order in enumerate(_with_unplaced(ordered), 1):
        part, out = part_of(number, order, rows, layout, index_every)
        why |= {k: out_of_line(rows[k]) for k in out}
        parts.append(account(part, layout))
    booked = tuple(Booked(one.name, one.place, reason)
                   for k, one in enumerate(given) if (reason := one.refused or why.get(k)))  # fmt: skip
    field_m = max(one.shape[0] for one in given) * layout.mm_per_pixel / 1e3
    marks = merged(chain.from_iterable(one.marks for one in parts), field_m)
    looks = [[*zip(one.part.encoder.tolist(), one.part.looked, strict=True)] for one in parts]
    rollers = tuple(suspects(looks, _holes(marks, len(parts)), layout.mm_per_pixel, rollers_mm or {}))
    notes = (*ordered.notes, *chain.from_iterable(one.notes for one in parts), *_notes(given, booked))
    return RollSeen(tuple(parts), marks, booked, figures_of(parts, layout), len(given) - len(booked), rollers, notes)


def _holes(marks: Iterable[WindowMark], parts: int) -> list[NDArray[np.float64]]:
    """Of each part, holes by mm across and along."""
    holes = [(one.part, one.across_mm, one.metre_m * 1e3) for one in marks if one.kind == Kind.PINHOLE]
    return [np.array([one[1:] for one in holes if one[0] == part]).reshape(-1, 2) for part in range(1, parts + 1)]


def _with_unplaced(ordered: Ordered) -> list[tuple[int, ...]]:
    """The parts' frames, and with them those of which the strobe's number alone is known, for their windows' sake."""
    parts = [list(one) for one in ordered.parts]
    flash = [[ordered.places[k].flash or 0 for k in one] for one in parts]
    for k, place in enumerate(ordered.places):
        if place.flash is None or isfinite(place.encoder_mm):
            continue
        inside = [n for n, some in enumerate(flash) if some[0] < place.flash < some[-1]]
        if len(inside) == 1:
            parts[inside[0]].append(k)
    return [tuple(one) for one in parts]


def _notes(rows: Sequence[Seen], booked: Sequence[Booked]) -> list[str]:
    """What was converted, and what the operator should hear, each with how many frames say so."""
    said: Mapping[str, int] = Many(
        chain.from_iterable(
            (*one.notes, *(one.looked.health.notes if one.looked and one.refused is None else ())) for one in rows
        )
    )
    told = [f"{text} ({many:,} frames)" if many > 1 else text for text, many in Many(said).most_common(20)]
    was = "was not used; it is booked" if len(booked) == 1 else "were not used; each is booked"
    return [*told, *([f"{len(booked):,} of {len(rows):,} frames {was}"] if booked else [])]
