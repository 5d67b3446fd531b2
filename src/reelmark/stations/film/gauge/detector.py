"""Readings that are no film: a detector that is dead, flickers, or stops at the end of its range.

Each test gives a mask of what is film; what is only doubtful is said in words.  How many equal readings make a dead
detector depends on the steps in which the column is written: whole micrometres repeat by nature.
"""

import numpy as np
from numpy.typing import NDArray

from reelmark.stations.film.gauge.passes import usual

__all__ = ["alive", "believed", "ends_softly", "heaped", "within"]

_Floats = NDArray[np.float64]
_Bools = NDArray[np.bool_]

_DEAD = 12  # so many equal readings in a row are no film, where readings are written finely
_CHANCE = 1e-3  # of one run that long in a good record
_MANY = 20_000  # readings looked at where a share of the record tells enough
_SOFT = 0.5  # with less than this share of the usual flutter the range has ended


def believed(gauge: _Floats) -> _Bools:
    """Readings within half and twice the middle one: what lies beyond is no film, and one such would spoil a fit."""
    middle = usual(gauge)
    return np.asarray((gauge > middle / 2) & (gauge < 2 * middle), np.bool_)


def alive(values: _Floats) -> tuple[_Bools, int, float]:
    """(False in every run of so many equal readings, how many, the step readings are written in if coarse, else 0).

    Equal neighbours come by chance with p, the middle of fifty parts of the record; a run of k has the chance
    N p^(k - 1), and within a part that lies in the middle of a step p is greater: a third of 1 - p is taken for it.
    """
    same = np.diff(values) == 0
    p = float(np.median([part.mean() for part in np.array_split(same, 50)]))
    often = p if p < 0.1 else 1 - (1 - p) / 3
    needs = 1 + np.log(_CHANCE / values.size) / np.log(min(max(often, 1e-9), 1 - 1e-9))
    most = max(_DEAD, values.size // 4)
    many = int(np.clip(np.ceil(needs), _DEAD, most))
    new = np.flatnonzero(np.concatenate([[True], ~same]))
    runs = np.diff(np.append(new, values.size))
    if p < 0.1 or many >= values.size // 4:
        return np.repeat(runs < many, runs), many, 0.0
    step = np.abs(np.diff(values[:_MANY]))
    return np.repeat(runs < many, runs), many, float(step[step > 0].min(initial=np.inf))


def within(values: _Floats) -> _Bools:
    """False at the largest or smallest reading when that is a stop: equal readings heaped where a tail should thin.

    A stop holds more than 5 points and more than twice the readings of the next level, or of the next fiftieth of a
    sigma, inside it; a gauge that writes few decimals has heaps too, but they thin towards the tail.
    """
    good, near = np.ones(values.size, bool), 0.02 * float(np.std(values))
    for end in (float(values.min()), float(values.max())):
        away = abs(values - end)
        heap = np.count_nonzero(away == 0)
        if 5 < heap < values.size:
            level = float(away[away > 0].min())
            beside = np.count_nonzero(away <= max(near, level)) - heap
            good &= (away > 0) | (heap <= 2 * beside)
    return good


def heaped(values: _Floats) -> float | None:
    """The reading to which a detector falls back now and then: far commoner than the twenty levels beside it.

    None where there is no such, or fewer than twenty levels to compare with.
    """
    levels, many = np.unique(values[:: max(1, values.size // _MANY)], return_counts=True)
    at = int(np.argmax(many))
    beside = np.delete(many[max(0, at - 10) : at + 11], min(at, 10))
    if levels.size < 20 or many[at] <= 4 * beside.max() + 8:
        return None
    return float(levels[at])


def ends_softly(values: _Floats) -> tuple[float, float, bool] | None:
    """(reading beyond which the range ends softly, share of the usual flutter left there, is it the upper end).

    Near a soft stop readings flutter less from point to point than elsewhere.  Flutter is the difference of two
    neighbours, sorted by the mean of the two readings beside them, which does not choose among differences.
    Valid for noise that does not depend on the gauge; a hundred points in the outer twentieth at least.
    """
    some = values[: 10 * _MANY]
    if some.size < 2000:
        return None
    beside, flutter = (some[:-3] + some[3:]) / 2, np.abs(some[2:-1] - some[1:-2])
    usual = float(flutter.mean())
    for share, upper in ((0.95, True), (0.05, False)):
        end = float(np.quantile(beside, share))
        here = flutter[beside > end if upper else beside < end]
        if here.size >= 100 and usual > 0 and float(here.mean()) < _SOFT * usual:
            return end, float(here.mean()) / usual, upper
    return None
