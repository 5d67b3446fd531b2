"""What looking at one frame gives: where its windows lie and how, what is wrong, and how the camera fares.

Places are on the web under the frame, lens-corrected, mm from the first column (x, across) and first row (y, along).
Arrays of `Nodes` have one element a window that the lattice puts wholly into the picture, found there or not.
"""

from dataclasses import dataclass
from enum import StrEnum
from math import nan

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import Problem

__all__ = ["Floats", "Found", "Health", "Ints", "Kind", "Looked", "Nodes"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Kind(StrEnum):
    """What may be wrong: the first six with a window, the last two with the coat."""

    MISSING = "missing"
    HALF_FILLED = "half filled"
    SHIFTED = "shifted"  # the window as a whole
    SHIFTED_PASS = "shifted pass"  # noqa: S105 - no password; seen by the width of an edge
    SIZE = "size"
    DIRTY = "dirty"
    PINHOLE = "pinhole"
    STREAK = "streak"


@dataclass(frozen=True, slots=True)
class Found:
    """One thing wrong.  x_mm, y_mm : its middle;  i, lane, window : of the node, -1 where it is of the coat

    size_mm : how large: deviation of the size, width of the edge, diameter of a hole, width of a streak; of a window
        missing, half filled, dirty or shifted its longer side
    severity : measured over the limit it broke, so 1 is just seen;  box : column, row, columns, rows in the picture
    off_mm : (across, along) of a shifted window, and of a shifted pass against the others; NaN of all else
    """

    kind: Kind
    x_mm: float
    y_mm: float
    i: int
    lane: int
    window: int
    size_mm: float
    severity: float
    box: tuple[int, int, int, int]
    off_mm: tuple[float, float] = (nan, nan)


@dataclass(frozen=True, slots=True)
class Nodes:
    """Windows that should be there, one element each; NaN where a window is missing.

    i : repeat; 0 is the first that begins in the picture, -1 one whose beginning lies before it
    lane : 0..lanes-1 from the left;  window : index into the layout's windows
    x_mm, y_mm : where the lattice puts the middle;  dx_mm, dy_mm : measured middle from there
    size_x_mm, size_y_mm : between opposite edges;  edge_x_mm, edge_y_mm : sd of the edge's spread, the wider of two
    fill : share of the window's area that is clear, 0..1
    """

    i: Ints
    lane: Ints
    window: Ints
    x_mm: Floats
    y_mm: Floats
    dx_mm: Floats
    dy_mm: Floats
    size_x_mm: Floats
    size_y_mm: Floats
    fill: Floats
    edge_x_mm: Floats
    edge_y_mm: Floats

    def __len__(self) -> int:
        return len(self.i)


@dataclass(frozen=True, slots=True)
class Health:
    """How the camera fares.  focus_mm : median width of edge (sd);  lamp, coat : median grey of windows and of coat

    noise : robust sd of the coat after filtering, grey;  notes : what the operator should hear, in words
    """

    focus_mm: float
    lamp: float
    coat: float
    noise: float
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Looked:
    """All of one frame.  phase_mm : where repeat 0 begins along the web, 0 <= phase < pitch, as the picture shows it

    pitch_scale : measured pitch along over nominal;  rotation_mrad : of the rows against the picture
    rows : mean grey of the coat along the web, one value a row of the picture, for marks that repeat (`rollers`);
        NaN where no coat is seen
    refused : why the frame could not be read; then nodes and found are empty and phase_mm is NaN
    """

    phase_mm: float
    pitch_scale: float
    rotation_mrad: float
    nodes: Nodes
    found: tuple[Found, ...]
    health: Health
    rows: Floats
    refused: Problem | None = None
