"""The physical truth: film wound and unwound, sheets cut, piles turned over, by moving the things themselves.

Nothing here knows how reelmark traces: ``floor`` cuts, reverses and lays together strips of film and arrays of
sheets, each sheet known by its place of birth.  What it leaves is used to judge, never to answer.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .boxes import Boxes

__all__ = ["KINDS", "Ints", "Truth"]

Ints = NDArray[np.int64]
KINDS = ("good", "spoiled", "sample", "destroyed")


@dataclass(frozen=True, slots=True)
class Truth:
    """What became of every sheet cut; arrays by order of birth, -1 where there is none.

    film_rolls : names; roll, start, stop, way : (sheet, 2) film under the sheet, lead edge first: which roll, um as
        wound at the film line, +1 where the film's um grow from the lead edge to the tail; second piece behind a splice
    lane : lane on the film, from 1
    series, tick : place in the order's series list, and when the boxes struck; -1 for a sheet without a number
    flip : (sheet, 2) rows, columns reversed as it lay under the boxes
    kind : place in KINDS; lot : place in lots, -1 for a sheet never pulled
    piles : every pile that ever was, sheets from the top
    notes : text of a note whose fate differs from its sheet's, and what it is
    """

    film_rolls: tuple[str, ...]
    roll: Ints
    start: Ints
    stop: Ints
    way: Ints
    lane: Ints
    series: Ints
    tick: Ints
    flip: NDArray[np.bool_]
    kind: Ints
    lot: Ints
    lots: tuple[str, ...]
    piles: dict[str, Ints]
    boxes: Boxes
    notes: dict[str, str]

    def numbers(self, sheets: Ints) -> Ints:
        """(sheet, position): what is really printed on numbered sheets, as places in their series."""
        printed = np.empty((len(sheets), self.boxes.ups), np.int64)
        for series in np.unique(self.series[sheets]).tolist():
            here = self.series[sheets] == series
            printed[here] = self.boxes.strike(series, self.tick[sheets][here])
        return printed
