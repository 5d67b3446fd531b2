"""Numbering boxes as things: set by hand at each block, stepped by each strike, sometimes set wrong or stuck.

And the dull way to write a number, so that the demo does not lean on the part it is there to judge.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..order import Series

__all__ = ["Boxes", "Slip", "written"]


@dataclass(frozen=True, slots=True)
class Slip:
    """One box going wrong.  offset : set so far off for the block of that tick; 0 = it stuck at that tick instead."""

    series: int
    position: int
    tick: int
    offset: int


def written(series: Series, index: int) -> str:
    """Text of the number with that place in the series, 0 the first; 0000000 is left out."""
    full = 10**series.digits
    turn, rest = divmod(index, full - 1 if series.skip_zero else full)
    letters = ""
    for _ in range(series.letters):
        turn, letter = divmod(turn, len(series.alphabet))
        letters = series.alphabet[letter] + letters
    if turn:
        raise ValueError(f"number {index:,} is past the end of series {series.name}")
    return f"{series.prefix}{letters}{rest + series.skip_zero:0{series.digits}d}"


class Boxes:
    """The boxes of one press, one at each position, counting down inside a block."""

    def __init__(self, ups: int, block: int, slips: tuple[Slip, ...]) -> None:
        self.ups, self.block, self.slips = ups, block, slips

    def _block(self, series: int, number: int) -> NDArray[np.int64]:
        """What block number so-and-so really prints, (tick in block, position), as places in the series."""
        base = number * self.ups * self.block
        settings = base + np.arange(self.ups) * self.block + self.block - 1
        steps = np.ones((self.block, self.ups), np.int64)
        steps[0] = 0
        for slip in self.slips:
            if slip.series == series and slip.tick // self.block == number:
                if slip.offset:
                    settings[slip.position] += slip.offset
                else:
                    steps[slip.tick % self.block, slip.position] = 0
        return settings - np.cumsum(steps, axis=0)

    def strike(self, series: int, ticks: NDArray[np.int64]) -> NDArray[np.int64]:
        """(tick, position): what those strikes print, as places in the series."""
        printed = np.empty((len(ticks), self.ups), np.int64)
        for number in np.unique(ticks // self.block).tolist():
            here = ticks // self.block == number
            printed[here] = self._block(series, number)[ticks[here] % self.block]
        return printed

    def planned(self, tick: int, position: int) -> int:
        """What the plan says that strike prints, as a place in the series."""
        block, inside = divmod(tick, self.block)
        return block * self.ups * self.block + position * self.block + self.block - 1 - inside
