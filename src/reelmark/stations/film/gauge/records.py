"""The gauge's columns, checked and cleaned.

    refused     columns of unlike length, wrong units, a clock or a web that goes back, a head that stands,
                a dead or saturated detector, a roll shorter than one sweep
    noted       what was left out (not finite, beyond belief, constant, at the stop of the range, web standing) and gaps

A refusal names the row, so that the one who wrote the file can look there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reelmark.errors import BadValue
from reelmark.stations.film.gauge.passes import Ints, split

__all__ = ["Bools", "Floats", "Records", "clean"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_GAUGE = (5.0, 1000.0)  # um, thinnest and thickest film believed: common practice, no source
_WIDTH = (50.0, 20_000.0)  # mm, narrowest and widest sweep believed: common practice, no source
_SPEED = (0.005, 20.0)  # m/s, slowest and fastest web believed: common practice, no source
_LEAST = 40  # points below which nothing is worth saying
_DEAD = 12  # so many equal readings in a row are no film
_LOST = 0.5  # with more than this share left out there is no record to speak of


@dataclass(frozen=True, slots=True)
class Records:
    """Points of one roll in the order of time, all shape (N,), and what was left out.

    time_s, metre_m, across_mm, gauge_um : as written
    place : across as a share of the sweep, 0..1
    sweep : number of the pass of the head, 0..passes-1;  forward : by pass, did it go towards greater mm
    left_mm, right_mm : edges of what was swept, half a step beyond the outermost points
    speed_m_s : metres over running time;  notes : what is smaller than the file, in words
    """

    time_s: Floats
    metre_m: Floats
    across_mm: Floats
    gauge_um: Floats
    place: Floats
    sweep: Ints
    forward: Bools
    left_mm: float
    right_mm: float
    speed_m_s: float
    notes: tuple[str, ...]

    @property
    def passes(self) -> int:
        return len(self.forward)

    @property
    def pass_s(self) -> float:
        """Seconds from one pass to the next, middle value, turn and all."""
        starts = self.time_s[np.searchsorted(self.sweep, np.arange(self.passes))]
        return float(np.median(np.diff(starts)))


def clean(time_s: ArrayLike, metre_m: ArrayLike, across_mm: ArrayLike, gauge_um: ArrayLike) -> Records:
    """Columns of one roll -> Records; all of one length N, in the order of time.

    Valid for one roll at about one speed, one head.  Refuses (BadValue) what the head of this file names.
    """
    table = _columns(time_s, metre_m, across_mm, gauge_um)
    notes: list[str] = []
    table = _keep(table, np.asarray(np.isfinite(table).all(axis=0)), "not finite", notes)
    _order(table)
    _units(table)
    table = _keep(table, _believed(table[3]), "readings that no film of this roll can have", notes)
    table = _keep(table, _within(table[3]), "at the stop of the detector's range (saturated)", notes)
    table = _keep(table, _alive(table[3]), f"the same value {_DEAD} times or more (dead detector)", notes)
    table = _running(table, notes)
    return _records(table, notes)


def _columns(*columns: ArrayLike) -> Floats:
    arrays = [np.asarray(one, dtype=np.float64).ravel() for one in columns]
    sizes = [one.size for one in arrays]
    if len(set(sizes)) > 1:
        raise BadValue("records", sizes, "columns differ in length", "write every column on every row")
    if sizes[0] < _LEAST:
        raise BadValue(
            "records", f"{sizes[0]} rows", f"fewer than {_LEAST} points", "read a longer stretch of the roll"
        )
    return np.stack(arrays)


def _keep(table: Floats, good: Bools, what: str, notes: list[str]) -> Floats:
    """The good columns; refused when more than half is bad."""
    bad = int(good.size - np.count_nonzero(good))
    if not bad:
        return table
    if bad > _LOST * good.size:
        true = f"{bad} of {good.size} points are {what}; first at row {int(np.argmin(good)) + 1}"
        raise BadValue("gauge_um", what, true, "repair or re-set the gauge and read the roll again")
    notes.append(f"{bad} of {good.size} points left out: {what}")
    return table[:, good]


def _believed(gauge: Floats) -> Bools:
    """Readings within half and twice the middle one: what lies beyond is no film, and one such would spoil a fit."""
    middle = float(np.median(gauge))
    return np.asarray((gauge > middle / 2) & (gauge < 2 * middle), np.bool_)


def _order(table: Floats) -> None:
    """A clock that steps back, or a web that does, cannot be undone from the record."""
    for row, field, unit in ((0, "time_s", "s"), (1, "metre_m", "m")):
        back = np.diff(table[row])
        if back.min() < 0:
            i = int(np.argmin(back))
            what = "the clock steps back" if row == 0 else "the web goes back, or a new roll begins"
            true = f"{what} by {-back[i]:.6g} {unit} after row {i + 1} (of the finite rows)"
            raise BadValue(field, float(table[row, i + 1]), true, "split the file there, or correct the clock")


def _units(table: Floats) -> None:
    """Medians that no film, web or speed has: written in another unit."""
    middle = float(np.median(table[3]))
    _unit("gauge_um", middle, _GAUGE, ((1e3, "millimetres"), (1e6, "metres"), (1e-3, "nanometres"), (25.4, "mil/1000")))
    width = float(np.ptp(table[2]))
    if width <= 1e-3 * max(1.0, abs(float(table[2, 0]))):
        true = f"the head stands at {table[2, 0]:g} mm: one lane only says nothing of the web across"
        raise BadValue("across_mm", float(table[2, 0]), true, "let the head sweep; or read the level alone by charts")
    _unit("across_mm", width, _WIDTH, ((1e3, "metres"), (10.0, "centimetres"), (1e-3, "micrometres")))
    took, ran = float(np.ptp(table[0])), float(np.ptp(table[1]))
    if took <= 0:
        raise BadValue("time_s", float(table[0, 0]), "every row has the same time", "write the time of every point")
    if ran <= 0:
        true = f"the metre stays at {table[1, 0]:g} m for {took:.6g} s: the web stands"
        raise BadValue("metre_m", float(table[1, 0]), true, "read a roll that runs, or mend the length counter")
    cases = ((1e-3, "time_s in milliseconds or metre_m in kilometres, one of them"), (1e3, "metre_m in millimetres"))
    speed = ran / took
    if not _SPEED[0] <= speed <= _SPEED[1]:
        true = f"that is {speed:.4g} m/s, no speed of a web: {cases[speed > 1][1]}?"
        raise BadValue("metre_m", f"{ran:.6g} m in {took:.6g} s", true, "write seconds and metres")


def _unit(field: str, value: float, span: tuple[float, float], others: tuple[tuple[float, str], ...]) -> None:
    if span[0] <= value <= span[1]:
        return
    like = [name for factor, name in others if span[0] <= value * factor <= span[1]]
    guess = f"; it looks like {' or '.join(like)}" if like else ""
    true = f"outside {span[0]:g} to {span[1]:g}{guess}"
    raise BadValue(field, float(f"{value:.6g}"), true, "write it in the unit the column's name says")


def _alive(values: Floats) -> Bools:
    """False in every run of _DEAD or more equal readings."""
    new = np.flatnonzero(np.diff(values, prepend=np.nan) != 0)
    runs = np.diff(np.append(new, values.size))
    return np.repeat(runs < _DEAD, runs)


def _within(values: Floats) -> Bools:
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


def _running(table: Floats, notes: list[str]) -> Floats:
    """Leave out points of a standing web: below a twentieth of the speed over some seconds."""
    time, metre = table[0], table[1]
    speed = float(np.ptp(metre)) / float(np.ptp(time))
    grid = np.arange(time[0], time[-1] + 4.0, 4.0)  # s; a length counter may step by whole metres
    ahead = np.diff(np.interp(grid, time, metre)) / 4.0
    bin_ = np.minimum(((time - time[0]) / 4.0).astype(np.int64), ahead.size - 1)
    typical = float(np.median(ahead[ahead > 0.05 * speed]))
    stands = ahead < 0.05 * typical
    if not stands.any():
        return table
    good = ~stands[bin_]
    first = float(metre[np.argmin(good)])
    lasts = 4.0 * np.count_nonzero(stands)
    what = f"web standing (metre does not advance for about {lasts:.0f} s, first at {first:.1f} m)"
    return _keep(table, good, what, notes)


def _records(table: Floats, notes: list[str]) -> Records:
    time, metre, across, gauge = table
    step = np.diff(time)
    dense = float(np.median(step))
    sweep, forward, gaps = split(time, across)
    for i in gaps[:5]:
        notes.append(f"gap of {step[i]:.1f} s, {metre[i]:.1f} to {metre[i + 1]:.1f} m")
    if len(gaps) > 5:
        notes.append(f"{len(gaps) - 5} more gaps")
    if len(forward) < 2:
        true = f"{float(np.ptp(metre)):.4g} m hold {len(forward)} pass of the head, less than one sweep there and back"
        raise BadValue("records", f"{gauge.size} rows", true, "read at least two passes; ten for a useful answer")
    if len(forward) < 10:
        notes.append(f"only {len(forward)} passes: intervals are wide, no drift or slow wave can be told")
    half = 0.5 * float(np.median(abs(np.diff(across))))
    ran = step < 20 * dense + 60.0
    speed = float(np.sum(np.diff(metre)[ran]) / np.sum(step[ran]))
    left, right = float(across.min()) - half, float(across.max()) + half
    place = (across - left) / (right - left)
    return Records(time, metre, across, gauge, place, sweep, forward, left, right, speed, tuple(notes))
