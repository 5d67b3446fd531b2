"""What a camera over the web hands on: frames, and how the windows should lie in them.

    for frame in source: ...        any iterable of Frame is a stream: a folder, a ring of shared memory, a simulation

Across is x, along the web is y; y grows the way the web runs past, so that a later frame lies at a greater metre.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .errors import BadValue

__all__ = ["Frame", "Frames", "Picture", "Window", "WindowLayout"]

Picture = NDArray[np.uint8]


@dataclass(frozen=True, slots=True)
class Frame:
    """One picture.  picture : grey, (rows along, columns across), 255 is light;  encoder_mm : of its first row
    flash : its number, as the strobe counts;  time_s : when;  name : of its file, or what the source calls it
    index : which repeat of the picture bears the index mark, 0 the first that begins in it; None: none is seen
    """

    picture: Picture
    encoder_mm: float
    flash: int
    time_s: float
    name: str = ""
    index: int | None = None


Frames = Iterable[Frame]


@dataclass(frozen=True, slots=True)
class Window:
    """A window of the note: size and corner radius, and where its middle lies in the note's cell (None: to be found).

    corner_mm : half the smaller side makes it round
    """

    across_mm: float
    along_mm: float
    corner_mm: float = 0.0
    at_across_mm: float | None = None
    at_along_mm: float | None = None


@dataclass(frozen=True, slots=True)
class WindowLayout:
    """How windows lie on the web: one cell a note, `pitch_across_mm` by `pitch_along_mm`, its windows within.

    lanes : columns of notes that the frame shows across;  mm_per_pixel : of the picture, at its middle
    notes_per_repeat : notes that a cell holds along the web, where windows come round only with the cut-off; `windows`
        are then those of all of them, note by note
    """

    pitch_across_mm: float
    pitch_along_mm: float
    windows: tuple[Window, ...]
    mm_per_pixel: float
    lanes: int
    notes_per_repeat: int = 1

    def row_of(self, window: int) -> tuple[int, int]:
        """(which note of the repeat, which window of that note) a place in `windows` is, both from 0."""
        return divmod(window, len(self.windows) // self.notes_per_repeat)

    def __post_init__(self) -> None:
        sizes = (self.pitch_across_mm, self.pitch_along_mm, self.mm_per_pixel)
        if not all(0 < one < 1e5 for one in sizes) or self.lanes < 1 or not self.windows:
            true = "pitches, mm per pixel, lanes and windows must be above 0"
            raise BadValue("layout", sizes, true, "correct the layout")
        if self.notes_per_repeat < 1 or len(self.windows) % self.notes_per_repeat:
            true = f"{len(self.windows)} windows are not so many for each note"
            raise BadValue("notes_per_repeat", self.notes_per_repeat, true, "give every note its windows")
        for one in self.windows:
            if not (0 < one.across_mm < self.pitch_across_mm and 0 < one.along_mm < self.pitch_along_mm):
                true = f"it does not lie within the cell of {self.pitch_across_mm:g} by {self.pitch_along_mm:g} mm"
                raise BadValue("window", (one.across_mm, one.along_mm), true, "correct the window, or the pitch")
            if not 0 <= one.corner_mm <= min(one.across_mm, one.along_mm) / 2:
                true = f"half the smaller side is {min(one.across_mm, one.along_mm) / 2:g} mm"
                raise BadValue("corner_mm", one.corner_mm, true, "give 0 up to that")
