"""The gauge's columns, checked and cleaned.

    refused     columns of unlike length, wrong units, a clock or a web that goes back, a counter that jumps, a head
                that stands, a dead or saturated detector, a roll shorter than one sweep
    noted       what was left out (not finite, no signal, beyond belief, constant, at the stop of the range, web or
                head standing, rows written twice), gaps, steps of the clock, coarse stamps and readings, a soft stop

A refusal names the row, so that the one who wrote the file can look there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reelmark.errors import BadValue
from reelmark.stations.film.gauge import detector
from reelmark.stations.film.gauge.believed import Believed, unit_notes
from reelmark.stations.film.gauge.clocks import STAMPS, reconciled, resolution, spread
from reelmark.stations.film.gauge.passes import Ints, split, usual, visits

__all__ = ["Bools", "Floats", "Records", "clean"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_LEAST = 40  # points below which nothing is worth saying
_LOST = 0.5  # with more than this share left out there is no record to speak of
_STANDS = 0.02  # share of the width within which a head stands


@dataclass(frozen=True, slots=True)
class Records:
    """Points of one roll in the order of time, all shape (N,), and what was left out.

    across_mm, gauge_um : as written;  time_s, metre_m : too, but for steps, jumps and stands taken out (notes)
    place : across as a share of the sweep, 0..1
    sweep : number of the pass of the head, 0..passes-1;  forward : by pass, did it go towards greater mm
    left_mm, right_mm : edges of what was swept, half a step beyond the outermost points
    speed_m_s : metres over running time;  notes : what is smaller than the file, in words
    shortest_s : period below which these times show no wave; infinite where the clock is not believed
    step_um : in which readings are written, where that is coarse beside their noise; else 0
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
    shortest_s: float = 0.0
    step_um: float = 0.0

    @property
    def passes(self) -> int:
        return len(self.forward)

    @property
    def pass_s(self) -> float:
        """Seconds from one pass to the next, middle value, turn and all."""
        starts = self.time_s[np.searchsorted(self.sweep, np.arange(self.passes))]
        return float(np.median(np.diff(starts)))


def clean(
    time_s: ArrayLike,
    metre_m: ArrayLike,
    across_mm: ArrayLike,
    gauge_um: ArrayLike,
    *,
    believed: Believed | None = None,
) -> Records:
    """Columns of one roll -> Records; all of one length N, in the order of time.

    believed : ranges of gauge, width, speed and head outside which a unit is doubted
    Valid for one roll at about one speed, one head.  Refuses (BadValue) what the head of this file names.
    """
    table = _columns(time_s, metre_m, across_mm, gauge_um)
    notes: list[str] = []
    table = _keep(table, np.asarray(np.isfinite(table).all(axis=0)), "not finite", notes)
    _order(table)
    table = _keep(table, table[3] > 0, "at or below 0 (no signal: dead detector)", notes)
    table = _keep(table, _new(table), "written twice (the row before again)", notes, "records")
    notes += unit_notes(table[0], table[1], table[2], table[3], believed or Believed())
    table, step = _film(table, notes)
    table[0], stamps, said = spread(table[0])
    notes += said
    table, stands = _running(table, notes)
    good = _sweeping(table[2])
    stood = np.flatnonzero(np.diff(stands[good]) > 0)
    place = float(table[2, np.argmin(good)])
    table = _keep(table, good, f"of a head that stands (first at {place:.4g} mm)", notes, "across_mm")
    clocked = reconciled(table[0], table[1], table[2], stood, stamps)
    table[:2] = clocked.time, clocked.metre
    notes += clocked.notes
    return _records(table, clocked.cuts, STAMPS * stamps if clocked.trusted else np.inf, step, notes)


def _columns(*columns: ArrayLike) -> Floats:
    arrays = [np.asarray(one, dtype=np.float64).reshape(-1) for one in columns]
    sizes = [one.size for one in arrays]
    if len(set(sizes)) > 1:
        raise BadValue("records", sizes, "columns differ in length", "write every column on every row")
    if sizes[0] < _LEAST:
        raise BadValue(
            "records", f"{sizes[0]} rows", f"fewer than {_LEAST} points", "read a longer stretch of the roll"
        )
    return np.stack(arrays)


def _keep(table: Floats, good: Bools, what: str, notes: list[str], field: str = "gauge_um") -> Floats:
    """The good columns; refused when more than half is bad."""
    bad = int(good.size - np.count_nonzero(good))
    if not bad:
        return table
    if bad > _LOST * good.size:
        true = f"{bad} of {good.size} points are {what}; first at row {int(np.argmin(good)) + 1}"
        raise BadValue(field, what, true, "repair or re-set the gauge and read the roll again")
    notes.append(f"{bad} of {good.size} points left out: {what}")
    return table[:, good]


def _new(table: Floats) -> Bools:
    """False where a row says again what the row before says."""
    same = table[0, 1:] == table[0, :-1]
    if same.any():
        same &= (table[:, 1:] == table[:, :-1]).all(axis=0)
    return np.concatenate([[True], ~same])


def _film(table: Floats, notes: list[str]) -> tuple[Floats, float]:
    """Readings that are film, and the coarse step they are written in, or 0; what else is there is noted or refused."""
    table = _keep(table, detector.believed(table[3]), "readings that no film of this roll can have", notes)
    table = _keep(table, detector.within(table[3]), "at the stop of the detector's range (saturated)", notes)
    good, many, step = detector.alive(table[3])
    table = _keep(table, good, f"the same value {many} times or more (dead detector)", notes)
    back = detector.heaped(table[3])
    if back is not None:
        what = f"just {back:g} um, far oftener than the values beside it (a detector that flickers dead)"
        table = _keep(table, table[3] != back, what, notes)
    soft = detector.ends_softly(table[3])
    if soft is not None:
        side = "above" if soft[2] else "below"
        said = f"{side} {soft[0]:.2f} um readings vary {soft[1]:.2f} times as much as elsewhere: the detector's range "
        notes.append(said + "ends softly there; extremes are told too small, and waves and marks may come of it")
    if step:
        said = (
            f"readings are written in steps of {step:.3g} um: only {many} equal ones tell of a dead detector, and no "
        )
        notes.append(said + "wave below a tenth of a step, no line or drop below half of one is told")
    return table, step


def _sweeping(across: Floats) -> Bools:
    """False where the head stands, or only jitters: a quarter of a pass and more within 2 % of the width."""
    width, good = float(np.ptp(across)), np.ones(across.size, bool)
    many = max(12, across.size // (4 * max(1, visits(across))))
    start = np.arange(0, across.size - many + 1, many)
    if start.size < 2:
        return good
    reach = np.maximum.reduceat(across, start) - np.minimum.reduceat(across, start)
    stands = np.flatnonzero(reach < _STANDS * width)
    if stands.size in (0, start.size):
        return good
    for run in np.split(stands, np.flatnonzero(np.diff(stands) > 1) + 1):
        a, b = int(start[run[0]]), min(int(start[run[-1]]) + many, across.size)
        place = float(np.median(across[a:b]))
        low, high = max(0, a - many), min(across.size, b + many)
        good[low:high] &= np.abs(across[low:high] - place) > _STANDS * width
    return good


def _order(table: Floats) -> None:
    """A clock that steps back, or a web that does, cannot be undone from the record."""
    for row, field, unit in ((0, "time_s", "s"), (1, "metre_m", "m")):
        back = np.diff(table[row])
        if back.min() < 0:
            i = int(np.argmin(back))
            what = "the clock steps back" if row == 0 else "the web goes back, or a new roll begins"
            true = f"{what} by {-back[i]:.6g} {unit} after row {i + 1} (of the finite rows)"
            raise BadValue(field, float(table[row, i + 1]), true, "split the file there, or correct the clock")


def _running(table: Floats, notes: list[str]) -> tuple[Floats, Ints]:
    """Leave out points of a standing web: below a twentieth of the speed over some seconds.

    Gives also how many such stands lie before each point that is left, (N,).
    """
    time, metre = table[0], table[1]
    speed = float(np.ptp(metre)) / float(np.ptp(time))
    wide = max(4.0, 4 * resolution(time), 4 * resolution(metre) / speed)
    grid = np.arange(time[0], time[-1] + wide, wide)  # s; a length counter may step by whole metres
    ahead = np.diff(np.interp(grid, time, metre)) / wide
    bin_ = np.minimum(((time - time[0]) / wide).astype(np.int64), ahead.size - 1)
    typical = float(np.median(ahead[ahead > 0.05 * speed]))
    stands = ahead < 0.05 * typical
    if not stands.any():
        return table, np.zeros(time.size, np.int64)
    good = ~stands[bin_]
    first = float(metre[np.argmin(good)])
    lasts = wide * np.count_nonzero(stands)
    what = f"web standing (metre does not advance for about {lasts:.0f} s, first at {first:.1f} m)"
    before = np.cumsum(~good & np.concatenate([[True], good[:-1]]))[good]
    return _keep(table, good, what, notes, "metre_m"), before


def _records(table: Floats, cuts: Ints, shortest: float, coarse: float, notes: list[str]) -> Records:
    time, metre, across, gauge = table
    step = np.diff(time)
    dense = usual(step)
    sweep, forward, gaps = split(time, across, cuts)
    for i in gaps[:5]:
        notes.append(f"gap of {step[i]:.1f} s, {metre[i]:.1f} to {metre[i + 1]:.1f} m")
    if len(gaps) > 5:
        notes.append(f"{len(gaps) - 5} more gaps")
    if len(forward) < 2:
        true = f"{float(np.ptp(metre)):.4g} m hold {len(forward)} pass of the head, less than one sweep there and back"
        raise BadValue("records", f"{gauge.size} rows", true, "read at least two passes; ten for a useful answer")
    half = 0.5 * usual(abs(np.diff(across)))
    ran = step < 20 * dense + 60.0
    speed = float(np.sum(np.diff(metre)[ran]) / np.sum(step[ran]))
    left, right = float(across.min()) - half, float(across.max()) + half
    place = (across - left) / (right - left)
    known = (time, metre, across, gauge, place, sweep, forward, left, right, speed, tuple(notes))
    return Records(*known, float(shortest), coarse)
