"""The web's pace by flashes: where the encoder ran far on, or stood, while the strobe flashed on.

Either may be true of the web (a strobe switched off, a web that stood) or a fault of the encoder (a jump, a cable off).
Pictures alone do not tell, so it is said, and the windows are counted as the encoder has it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.stations.window.count import Sight

__all__ = ["Pace", "pace_of"]

FAR, SLOW, STANDS = 3.0, 0.1, 3  # shares of the usual step, flashes on end: assumed, no source
SHOWN: Final = 5


@dataclass(frozen=True, slots=True)
class Pace:
    """far : (n,) the encoder ran far on in the step to each frame;  notes : in words"""

    far: NDArray[np.bool_]
    notes: tuple[str, ...] = ()


def pace_of(sights: Sequence[Sight], pitch_mm: float) -> Pace:
    """Of a part's frames, in order."""
    if len(sights) < STANDS + 1:
        return Pace(np.zeros(len(sights), bool))
    encoder = np.array([one.encoder_mm for one in sights])
    flash = np.array([one.flash for one in sights], np.int64)
    moved, flashes = np.diff(encoder), np.maximum(np.diff(flash), 1)
    usual = float(np.median(moved / flashes))
    far = np.r_[False, moved > FAR * max(usual, 0.0) * flashes + 2 * pitch_mm]
    slow = moved < np.maximum(SLOW * usual * flashes, 0.01 * pitch_mm)
    return Pace(far, (*_far(far, encoder, flash), *_stands(slow, encoder)))


def _far(far: NDArray[np.bool_], encoder: NDArray[np.float64], flash: NDArray[np.int64]) -> Iterator[str]:
    at = np.flatnonzero(far)
    for k in at[:SHOWN]:
        run = (encoder[k] - encoder[k - 1]) / 1e3
        yield (f"between flash {flash[k - 1]} and {flash[k]} the encoder ran {run:,.1f} m on, far more than a flash "
               "takes: if the web did not, the windows not seen there are none")  # fmt: skip
    if len(at) > SHOWN:
        yield f"and at {len(at) - SHOWN:,} places more"


def _stands(slow: NDArray[np.bool_], encoder: NDArray[np.float64]) -> Iterator[str]:
    """Runs of steps in which nothing moved."""
    runs, k = [], 0
    for one, some in groupby(slow.tolist()):
        many = len(list(some))
        runs += [(k, many)] if one and many >= STANDS else []
        k += many
    for start, many in runs[:SHOWN]:
        yield (f"the encoder stands at {encoder[start] / 1e3:,.2f} m for {many:,} flashes: if the web ran on, windows "
               "there are counted once that were many")  # fmt: skip
    if len(runs) > SHOWN:
        yield f"and in {len(runs) - SHOWN:,} places more"
