"""What is true of every sheet of the order, by the dullest means: plain arrays, one entry a sheet, nothing of trace.

Sheets are numbered as they were cut.  A pile is the array of its sheets from the top; a pass takes some out and turns
the rest over.  A place on a lane's roll goes back to the film pass by pass, by adding up what each pass kept.
"""

from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from order50 import BLOCK, CUT_OFF, UPS, Shop50

Ints = NDArray[np.int64]


class Truth:
    """The order walked through, sheet by sheet."""

    def __init__(self, shop: Shop50) -> None:
        self.shop = shop
        self.first = np.cumsum([0, *(cut.sheets for cut in shop.cuts)]).tolist()
        self.born = self.first[-1]
        self.sheet_of_tick = np.full(shop.ticks, -1, np.int64)
        self._walk_piles()

    def _walk_piles(self) -> None:
        at = {c.pile: np.arange(a, a + c.sheets)[::-1] for c, a in zip(self.shop.cuts, self.first, strict=False)}
        for run in self.shop.runs:
            if run.pile is None:
                continue
            feed = np.concatenate([at.pop(unit) for unit in run.pile.inputs])
            left = np.ones(len(feed), bool)
            for pull in run.pile.pulls:
                left[pull.start : pull.start + pull.sheets] = False
            feed = feed[left]
            if run.imprint:
                self.sheet_of_tick[run.imprint.first_tick : run.imprint.first_tick + len(feed)] = feed
            for unit, many in run.pile.outputs:
                part, feed = (feed, feed[:0]) if many is None else (feed[:many], feed[many:])
                at[unit] = part[::-1] if run.pile.reverses else part

    @cached_property
    def tick_of_sheet(self) -> Ints:
        """Tick of each sheet, -1 where it never got a number."""
        ticks = np.full(self.born, -1, np.int64)
        ticks[self.sheet_of_tick] = np.arange(len(self.sheet_of_tick))
        return ticks

    def web(self, cut: int) -> Ints:
        """Where each sheet of a cut begins on the lane's roll as wound, um."""
        c = self.shop.cuts[cut]
        return c.length - (c.first + (np.arange(c.sheets) + 1) * CUT_OFF)

    def film(self, cut: int, at: Ints) -> tuple[str, int, Ints]:
        """(roll, lane, um as first wound) of places on the roll that a cut was made from."""
        unit, lane = self.shop.cuts[cut].unit, self.shop.cuts[cut].lane
        while unit in self.shop.wound:
            pass_ = self.shop.wound[unit]
            at = _before(at, pass_.length, np.array(pass_.kept, np.int64))
            unit = pass_.source
        return unit, lane, at

    def numbers(self, ticks: Ints) -> Ints:
        """Every number of the sheets struck at these ticks, a row a sheet: 45-up, stacks of a block, counting down."""
        block, step = ticks // BLOCK, BLOCK - 1 - ticks % BLOCK
        return np.stack([block * UPS * BLOCK + p * BLOCK + step for p in range(UPS)], axis=1)


def _before(at: Ints, length: int, kept: Ints) -> Ints:
    """A place on a roll, um as wound, as it was on the roll that the pass unwound."""
    many = kept[:, 1] - kept[:, 0]
    ends = np.cumsum(many)
    which = np.searchsorted(ends, at, "right")  # what is wound first came first off the other roll
    unwound = kept[which, 0] + at - (ends - many)[which]
    return np.asarray(length - 1 - unwound, np.int64)
