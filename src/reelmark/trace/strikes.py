"""Between strikes of the numbering boxes and numbers: closed form, nothing stored a note.

A strike axis is one setting of the boxes: series, first number, block, positions, direction.  Tick t at position p is

    base + (t // block) * ups * block + p * block + (t % block, or block - 1 - t % block when descending)
"""

from collections.abc import Sequence
from typing import Final, NamedTuple

import numpy as np

from ..facts import SERIES, Imprint
from ..spans import EMPTY, Place, Spans

__all__ = ["Strikes"]

FEW: Final = 8  # stretches, up to which one after another is quicker than all at once


class Strikes(NamedTuple):
    """One setting of the boxes."""

    series: str
    base: int
    block: int
    ups: int
    descending: bool

    @classmethod
    def of(cls, imprint: Imprint) -> "Strikes":
        """The setting an imprint was made with."""
        return cls(imprint.series, imprint.base, imprint.block, imprint.ups, imprint.descending)

    @property
    def place(self) -> Place:
        """Its tick axis, as a place."""
        return f"ticks of {self.series} from {self.base}{' down' if self.descending else ' up'}", 0

    @property
    def numbers_place(self) -> Place:
        """The series, as a place."""
        return SERIES + self.series, 0

    def number(self, tick: int, position: int) -> int:
        """Number at a position of the sheet struck at tick."""
        blocks, step = divmod(tick, self.block)
        step = self.block - 1 - step if self.descending else step
        return self.base + (blocks * self.ups + position) * self.block + step

    def struck(self, number: int) -> tuple[int, int]:
        """(tick, position) of a number."""
        stack, step = divmod(number - self.base, self.block)
        blocks, position = divmod(stack, self.ups)
        return blocks * self.block + (self.block - 1 - step if self.descending else step), position

    def _by_block(self, spans: Spans) -> tuple["np.ndarray", "np.ndarray", "np.ndarray"]:
        """Spans cut at multiples of the block: (which block, first within it, one past the last within it)."""
        first, last = spans.starts // self.block, (spans.stops - 1) // self.block
        many = last - first + 1
        mine = np.repeat(np.arange(len(many)), many)
        block = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many) + np.repeat(first, many)
        low = np.maximum(spans.starts[mine], block * self.block) - block * self.block
        high = np.minimum(spans.stops[mine], (block + 1) * self.block) - block * self.block
        return block, *((self.block - high, self.block - low) if self.descending else (low, high))

    def numbers(self, ticks: Spans) -> Spans:
        """All numbers struck at these ticks, at every position."""
        if not ticks:
            return EMPTY
        block, low, high = self._by_block(ticks)
        stack = (block[:, None] * self.ups + np.arange(self.ups)) * self.block + self.base
        return Spans((stack + low[:, None]).ravel(), (stack + high[:, None]).ravel())

    def numbers_of(self, stretches: Sequence[tuple[int, int]]) -> Spans:
        """The same, of ticks start up to stop in any order: the quicker way for few."""
        if len(stretches) > FEW:
            return self.numbers(Spans.of(*stretches))
        firsts, many = [], []
        for start, stop in stretches:
            for at in range(start - start % self.block, stop, self.block):
                low, high = max(start - at, 0), min(stop - at, self.block)
                firsts.append(self.base + at * self.ups + (self.block - high if self.descending else low))
                many.append(high - low)
        starts = np.add.outer(firsts, np.arange(0, self.ups * self.block, self.block))
        return Spans(starts.ravel(), np.add(starts.T, many).T.ravel())

    def ticks(self, numbers: Spans) -> Spans:
        """Ticks at which any of these numbers was struck."""
        mine = (numbers & Spans.of((self.base, 2**62))).shifted(-self.base)
        if not mine:
            return EMPTY
        stack, low, high = self._by_block(mine)
        at = stack // self.ups * self.block
        return Spans(at + low, at + high)
