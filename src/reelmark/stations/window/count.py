"""Count repeats over a roll: encoder and lattice locked to each other, so that a lost frame is a counted gap.

    step = round((encoder step x scale + phase of this frame - phase of the last) / pitch)

The lattice alone says where a frame lies within a repeat only; the encoder alone drifts: a wheel 63 ppm wrong is half a
metre wrong after 8 km.  Together they count, while the encoder errs by less than half a repeat between two frames that
were seen.  Its scale is learnt slowly, from the steps that fit; a step that does not fit is a slip.

    Counter(pitch_mm).step(sight)                     frame by frame, as they come
    count_roll(sights, pitch_mm, index_every)         a whole roll: scale learnt first, index marks asked last

A slip of more than half a repeat cannot be told from one of less: beyond a quarter the count says that it is doubtful,
until an index mark (`count_index`) settles it.
"""

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Final

from reelmark.errors import BadValue
from reelmark.stations.window.count_index import settled

__all__ = ["DOUBTFUL", "Counted", "Counter", "Sight", "Step", "count_roll"]

DOUBTFUL: Final = 0.25  # of a repeat: half way to a count that is one off
LEAST_SLIP_MM: Final = 3.0  # a web weaves and phases are read to some 0.01 mm: assumed, no source
SPREADS: Final = 6.0  # robust standard deviations of the steps' residual that make a slip
KEPT: Final = 60  # residuals that the spread is taken from
MEMORY_MM: Final = 200e3  # of web that the scale is learnt over: 0.1 mm of encoder over it is 0.5 ppm
UNSURE: Final = 2e-3  # of the scale before any web was seen: wheels and stretch, assumed
FLOOR: Final = 20e-6  # of the scale once it is learnt
LEARN: Final = 400  # steps that the first pass over a roll learns from


@dataclass(frozen=True, slots=True)
class Sight:
    """What counting needs of one frame.

    encoder_mm : of the picture's first row;  flash : as the strobe counts
    phase_mm : where repeat 0 begins in the picture, 0 up to the pitch;  NaN: no lattice was seen
    index : which of the picture's repeats bears the index mark; None: none was seen
    """

    encoder_mm: float
    flash: int
    phase_mm: float
    index: int | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """From the frame seen last to this one.

    first : number of the picture's repeat 0 along the roll, 0 for the first frame seen
    residual_mm : by how much the encoder missed the lattice, within half a repeat;  allowed_mm : above it, a slip
    lost : flashes between that gave no frame;  doubtful : the count may be one off from here on
    """

    first: int
    residual_mm: float
    allowed_mm: float
    lost: int
    scale: float
    doubtful: bool = False

    @property
    def slip(self) -> bool:
        """The web ran on while the encoder did not, or the other way."""
        return abs(self.residual_mm) > self.allowed_mm


class Counter:
    """The running count, before any index mark is asked.  pitch_mm : of the repeat, as pictures show it."""

    def __init__(self, pitch_mm: float, scale: float = 1.0, known_mm: float = 0.0) -> None:
        """scale : repeats by the lattice over repeats by the encoder;  known_mm : of web that it was learnt over."""
        if not 0 < pitch_mm < math.inf or not 0.5 < scale < 2:
            raise BadValue("pitch, scale", (pitch_mm, scale), "a pitch above 0, a scale near 1", "correct the layout")
        self.pitch_mm, self.scale = pitch_mm, scale
        self._travelled = max(known_mm, 1e3)  # a metre's worth of belief in the encoder as it is
        self._residuals: deque[float] = deque(maxlen=KEPT)
        self._last: Sight | None = None
        self._first = 0

    def step(self, sight: Sight) -> Step:
        """Count one frame on; BadValue for a frame without lattice or encoder, which is to be booked instead."""
        if not (math.isfinite(sight.phase_mm) and math.isfinite(sight.encoder_mm)):
            raise BadValue("phase, encoder", (sight.phase_mm, sight.encoder_mm), "not both known", "book the frame")
        last, self._last = self._last or sight, sight
        moved = sight.encoder_mm - last.encoder_mm
        apart = moved * self.scale + sight.phase_mm - last.phase_mm
        repeats = round(apart / self.pitch_mm)
        residual = apart - repeats * self.pitch_mm
        self._first += repeats
        allowed = self._allowed(moved)
        step = Step(self._first, -residual, allowed, max(0, sight.flash - last.flash - 1), self.scale,
                    abs(residual) > DOUBTFUL * self.pitch_mm)  # fmt: skip
        if not step.slip:
            self._learn(moved, repeats * self.pitch_mm + last.phase_mm - sight.phase_mm)
        if last is not sight:
            self._residuals.append(residual)
        return step

    def _allowed(self, moved: float) -> float:
        """Greatest residual that is no slip, mm: by the spread of those before, and by how well the scale is known."""
        spread = 1.4826 * median(map(abs, self._residuals)) if len(self._residuals) >= 10 else 0.0
        unsure = max(FLOOR, UNSURE * 1e3 / self._travelled) * abs(moved)
        return min(max(LEAST_SLIP_MM, SPREADS * spread) + unsure, DOUBTFUL * self.pitch_mm)

    def _learn(self, moved: float, web: float) -> None:
        """Sums of web and of encoder, the older forgotten: what one step misreads, the next gives back."""
        if abs(moved) < 0.1 * self.pitch_mm or abs(moved) > MEMORY_MM / 4:
            return
        self.scale = (self.scale * self._travelled + abs(web)) / (self._travelled + abs(moved))
        self._travelled = min(self._travelled + abs(moved), MEMORY_MM)


@dataclass(frozen=True, slots=True)
class Counted:
    """A roll.  first : number of each frame's repeat 0;  steps : as they were counted;  doubtful : frames from which
    the count may be one off, none of them settled by an index mark;  scale : at the end;  misread : index marks"""

    first: tuple[int, ...]
    steps: tuple[Step, ...]
    doubtful: tuple[int, ...]
    scale: float
    misread: tuple[int, ...] = ()


def count_roll(sights: Sequence[Sight], pitch_mm: float, index_every: int = 0) -> Counted:
    """Count a roll whose frames are all there, in the order in which they were taken.

    The scale is learnt from the roll's first short steps before counting begins, so that a gap near the beginning does
    not find it unknown.  index_every : repeats between index marks, 0: there are none
    """
    counter = Counter(pitch_mm, *_scale(sights, pitch_mm))
    steps = tuple(counter.step(one) for one in sights)
    told = settled(
        [one.first for one in steps],
        [one.residual_mm for one in steps],
        [k for k, one in enumerate(steps) if one.slip],
        [k for k, one in enumerate(steps) if one.doubtful],
        [one.index for one in sights],
        _every(index_every),
    )
    return Counted(told.first, steps, told.doubtful, counter.scale, told.misread)


def _every(index_every: int) -> int:
    if index_every < 0:
        raise BadValue("index_every", index_every, "marks lie so many repeats apart", "give 0 for none, or a count")
    return index_every


def _scale(sights: Sequence[Sight], pitch_mm: float) -> tuple[float, float]:
    """The scale by the middle of the roll's first steps, and mm of web that it rests on; 1 where there are too few."""
    counter = Counter(pitch_mm)
    found, web = [], 0.0
    for last, one in pairwise(sights):
        moved = one.encoder_mm - last.encoder_mm
        if 0.5 * pitch_mm < moved and one.flash == last.flash + 1:
            apart = moved * counter.scale + one.phase_mm - last.phase_mm
            true = round(apart / pitch_mm) * pitch_mm + last.phase_mm - one.phase_mm
            found.append(true / moved)
            web += moved
        if len(found) == LEARN:
            break
    if len(found) < 5:
        return 1.0, 0.0
    scale = median(found)
    return (scale, web) if abs(scale - 1) < 0.02 else (1.0, 0.0)
