"""What counting is given and works on: rows of a source, and a part of them, counted.

Crop, Seen     a picture kept of something found; a row, looked at or refused
Part, Metres   frames that go on from one another; where a place of theirs lies by the encoder
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue, Problem
from reelmark.stations.window.count import Counted, Sight
from reelmark.stations.window.count_restart import Place
from reelmark.stations.window.inspect.looked import Looked

__all__ = ["Crop", "Metres", "Part", "Seen", "sort_of"]


def sort_of(why: Problem) -> str:
    """Why a frame is not used in a few words, the same for all that have the same fault."""
    return f"{why.field} not right" if isinstance(why, BadValue) else why.asked


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
class Part:
    """Frames that were read, one element each, in order; `unread` those that were not, with the reason.

    height_mm : of web in a picture;  turned : pictures run against the encoder
    """

    number: int
    places: tuple[Place, ...]
    names: tuple[str, ...]
    looked: tuple[Looked, ...]
    crops: tuple[tuple[Crop, ...], ...]
    sights: tuple[Sight, ...]
    counted: Counted
    height_mm: float
    turned: bool
    unread: tuple[tuple[Place, Problem], ...]

    @property
    def encoder(self) -> NDArray[np.float64]:
        return np.array([one.encoder_mm for one in self.sights])

    @property
    def flash(self) -> NDArray[np.int64]:
        return np.array([one.flash for one in self.sights], np.int64)

    def web(self, pitch_mm: float) -> NDArray[np.float64]:
        """Where each picture's first row lies along the part, mm of nominal repeats."""
        phase = np.array([one.phase_mm for one in self.sights])
        return np.asarray(np.array(self.counted.first) * pitch_mm - phase, np.float64)


class Metres:
    """Metre by the encoder of a place along a part, mm: one for all frames that show it, also where the web slipped."""

    def __init__(self, part: Part, pitch_mm: float) -> None:
        """pitch_mm : of the repeat; of a part that was not read only the first frame's place is known."""
        self.scale = part.counted.scale
        first = part.unread[0][0].encoder_mm if part.unread else 0.0
        web, encoder = (part.web(pitch_mm), part.encoder) if part.sights else (np.zeros(1), np.array([first]))
        order = np.argsort(web, kind="stable")
        self.web, self.encoder = web[order], encoder[order]

    def of(self, web_mm: float) -> float:
        k = int(np.clip(np.searchsorted(self.web, web_mm, "right") - 1, 0, len(self.web) - 1))
        return round(float(self.encoder[k] + (web_mm - self.web[k]) / self.scale) / 1e3, 4)
