"""What frames that were not read would have shown, by the encoder; and why windows are not seen."""

from collections import Counter as Many
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import WindowLayout
from reelmark.stations.window.count_tally import Gap

__all__ = ["Fields", "Reasons", "fields_of"]

SHOWN: Final = 20  # reasons of a gap that are named
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Fields:
    """Frames that were not read.  web_mm : (n,) of the first row, along the part, rising;  why : (n,) in words
    first, last : (n, columns) repeats that each column of windows would show;  last < first: none"""

    web_mm: Floats
    why: tuple[str, ...]
    first: Ints
    last: Ints


def fields_of(
    encoder: Floats, why: Sequence[str], known: tuple[Floats, Floats], scale: float, height_mm: float,
    layout: WindowLayout, offsets: Floats,
) -> Fields:  # fmt: skip
    """Fields by what the encoder said, (n,) mm, NaN: not known and left out.

    known : encoder and place along the part of the frames that were read, which the nearest of tells the place
    offsets : (columns,) where each column's window lies in the cell along the web, mm
    """
    good = np.flatnonzero(np.isfinite(encoder))
    at = encoder[good]
    if not len(at):
        none = np.empty((0, len(offsets)), np.int64)
        return Fields(np.empty(0), (), none, none)
    order = np.argsort(known[0], kind="stable")
    read, web = known[0][order], known[1][order]
    near = np.clip(np.searchsorted(read, at), 1, max(len(read) - 1, 1)) if len(read) > 1 else np.zeros(len(at), int)
    near -= (np.abs(at - read[near - 1]) < np.abs(at - read[near])) & (near > 0)
    start = web[near] + (at - read[near]) * scale
    half = np.array([one.along_mm / 2 for one in layout.windows] * layout.lanes)
    pitch = layout.pitch_along_mm
    first = np.ceil((start[:, None] + half - offsets) / pitch - 1e-6).astype(np.int64)
    last = np.floor((start[:, None] + height_mm - half - offsets) / pitch + 1e-6).astype(np.int64)
    by = np.argsort(start, kind="stable")
    return Fields(start[by], tuple(why[good[k]] for k in by), first[by], last[by])


@dataclass(frozen=True, slots=True)
class Reasons:
    """Why windows are not seen.  web_mm, flash : (n,) of the frames that were read;  slips : (n,) the step to each
    jumps : (n,) the encoder ran far on in the step to each;  unread : flashes of the frames that were not, rising
    unplaced : of each of these why, where its place is not known; nothing where it is, for then it is one of `fields`
    """

    fields: Fields
    web_mm: Floats
    flash: Ints
    slips: NDArray[np.bool_]
    jumps: NDArray[np.bool_]
    unread: Ints
    unplaced: tuple[str, ...]
    height_mm: float
    pitch_mm: float

    def of(self, gap: Gap) -> tuple[tuple[str, int], ...]:
        """Each with how often: frames that were not read, flashes lost, a slip; else pictures that do not meet."""
        start, stop = gap.start * self.pitch_mm, gap.stop * self.pitch_mm
        a = int(np.searchsorted(self.fields.web_mm, start - self.height_mm, side="right"))
        why = Many(self.fields.why[a : int(np.searchsorted(self.fields.web_mm, stop))])
        k = int(np.searchsorted(self.web_mm, (start + stop) / 2))
        if 0 < k < len(self.web_mm):
            why += Many(self._step(k))
        told = why.most_common(SHOWN)
        rest = why.total() - sum(many for _, many in told)
        return (*told, *([("other reasons", rest)] if rest else [])) or (("pictures do not meet", 1),)

    def _step(self, k: int) -> dict[str, int]:
        """Between the frame before the gap and the one after it."""
        between = int(self.flash[k] - self.flash[k - 1] - 1)
        known = np.searchsorted(self.unread, [self.flash[k - 1], self.flash[k]], side="left")
        lost = between - int(known[1] - known[0])
        why = Many(one for one in self.unplaced[known[0] : known[1]] if one)
        told = {
            **why,
            "flash without a frame": lost,
            "slip": int(self.slips[k]),
            "encoder ran far on": int(self.jumps[k]),
        }
        return {why: many for why, many in told.items() if many > 0}
