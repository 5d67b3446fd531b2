"""Which roller makes a mark: things on the coat that repeat at a roller's circumference.

The run is folded at each circumference, and at those near it, and it is asked whether one place on the roller stands
out.  Two sources: the row means of the frames (marks across the web) and single things found (marks at one place).
Length L tells circumferences apart down to about bin x C / L, so the true one is searched for within a tolerance.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.window.inspect.looked import Floats, Looked

__all__ = ["Suspect", "by_points", "by_rows", "rows_of"]

_BIN_MM = 2.0


@dataclass(frozen=True, slots=True)
class Suspect:
    """roller : its name;  circumference_mm : at which it stands out most;  at_mm : place on its circumference

    z : robust sd above the rest;  times : turns looked at
    """

    roller: str
    circumference_mm: float
    at_mm: float
    z: float
    times: float


def rows_of(looks: Sequence[tuple[float, Looked]], pixel: float) -> tuple[Floats, Floats]:
    """(place mm, relative grey) of all rows of frames (encoder_mm, looked); their own level taken off."""
    place, value = [], []
    for encoder, one in looks:
        if one.refused is None and one.rows.size:
            wide = max(int(12.0 / pixel), 3)
            rows = np.where(np.isfinite(one.rows), one.rows, float(np.nanmean(one.rows)))
            level = np.convolve(np.pad(rows, wide, mode="edge"), np.ones(2 * wide + 1) / (2 * wide + 1), mode="valid")
            place.append(encoder + np.arange(one.rows.size) * pixel)
            value.append(one.rows / level - 1)
    if not place:
        return np.empty(0), np.empty(0)
    return np.concatenate(place), np.concatenate(value)


def by_rows(
    place: Floats, value: Floats, circumferences: Mapping[str, float], *, tolerance: float = 0.003, limit: float = 6.0
) -> list[Suspect]:
    """Rollers at which a signal along the web repeats, strongest first.

    place : mm, value : (n,) NaN left out;  tolerance : share by which a circumference may be wrong;  limit : z, over
    the robust spread of the bins and allowing for the circumferences tried
    """
    good = np.isfinite(value)
    place, value = place[good], value[good] - (np.median(value[good]) if good.any() else 0.0)
    return _named(place, value, circumferences, tolerance, limit)


def by_points(
    place: Floats, circumferences: Mapping[str, float], *, tolerance: float = 0.003, limit: float = 6.0
) -> list[Suspect]:
    """The same for single things at one place across, at `place` mm along: where they crowd on the roller."""
    return _named(np.asarray(place, dtype=float), None, circumferences, tolerance, limit)


def _named(
    place: Floats, value: Floats | None, circumferences: Mapping[str, float], tolerance: float, limit: float
) -> list[Suspect]:
    out = []
    for name, mm in circumferences.items():
        if not 10 < mm < 1e5:
            raise BadValue(f"circumference of {name}", mm, "it must be from 10 to 100,000 mm", "give pi x diameter")
        if len(place) < 3 or np.ptp(place) < 3 * mm:
            continue
        tried = _near(mm, float(np.ptp(place)), tolerance)
        got = [_folded(place, value, one) for one in tried]
        z, at = max(got)
        if z > limit + np.log(len(tried)) / 3:
            out.append(Suspect(name, float(tried[got.index((z, at))]), at, z, float(np.ptp(place)) / mm))
    return _without_multiples(sorted(out, key=lambda one: -one.z))


def _near(mm: float, length: float, tolerance: float) -> Floats:
    """Circumferences near one, so close that a mark moves by half a bin over the run; 400 at most."""
    step = min(max(_BIN_MM * mm / length / 2, 2 * tolerance * mm / 400), tolerance * mm)
    side = np.arange(0, tolerance * mm + step / 2, step)
    return np.asarray(np.concatenate([mm - side[:0:-1], mm + side]))


def _folded(place: Floats, value: Floats | None, mm: float) -> tuple[float, float]:
    """(z of the bin that stands out most, its place mm)."""
    bins = max(int(mm / _BIN_MM), 8)
    where = ((place % mm) / mm * bins).astype(np.int64) % bins
    count = np.bincount(where, minlength=bins).astype(float)
    if value is None:
        count = count + np.roll(count, 1)  # a crowd may lie over the border of two
        mean = 2 * len(place) / bins
        z = (count - mean) / np.sqrt(mean + 1.0)
    else:
        total = np.bincount(where, value, bins)
        some = count > 0.3 * np.median(count)
        mean_of = np.where(some, total / np.maximum(count, 1), 0.0)
        off = mean_of - np.median(mean_of[some])
        z = np.abs(off) / (1.4826 * np.median(np.abs(off[some])) + 1e-12)
    best = int(z.argmax())
    return float(z[best]), (best + 0.5) * mm / bins


def _without_multiples(found: list[Suspect]) -> list[Suspect]:
    """A mark at C shows, weaker, at p/q C too, p and q small: what a stronger suspect explains is left out.

    So a second roller of twice the size of a suspect, say, is named only after the first has been cleaned.
    """
    parts = sorted({p / q for p in range(1, 6) for q in range(1, 6)} - {1.0})
    kept: list[Suspect] = []
    for one in found:
        ratios = [one.circumference_mm / other.circumference_mm for other in kept]
        if not any(abs(r / part - 1) < 0.004 for r in ratios for part in parts):
            kept.append(one)
    return kept
