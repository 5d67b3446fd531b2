"""Time, metre and head against each other: stamps too coarse, steps of the clock, jumps of the length counter.

Three witnesses say how long an interval lasted: the clock, the metre over the web's speed about there, and the head,
which goes across at one speed and turns in one time.  Two that agree out-vote the third.

    clock jumps, metre and head go on     a step of the clock: taken out, noted
    metre jumps, clock and head go on     a jump of the length counter: a small one is taken out and noted, else refused
    clock and metre leap together         a gap: the record is lost there, the times stand
    clock leaps, metre less, head unknown the web stood, or the clock was set: the running time is taken from the metre
    metre leaps, the clock too little     nobody can say which: refused
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.stations.film.gauge.passes import Ints, usual

__all__ = ["STAMPS", "Clocked", "reconciled", "resolution", "spread"]

_Floats = NDArray[np.float64]
_Says = Literal["clock", "counter", "stood"]

_GRIDS = (3600.0, 60.0, 30.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)  # in which columns are rounded
STAMPS = 4  # stamps a period at least: rounding then takes a tenth of a wave (sinc 1/4, closed form)
_OFTEN = 0.02  # share of repeated stamps from which the clock is coarse, and not only stumbles
_SLACK = 0.15  # share of an interval by which web and head may differ from their usual speed
_SLIP = 0.01  # share of the roll that a counter may jump and be put right
_MOST = 20  # disagreements, or one interval in 500, beyond which the clock is not believed at all


@dataclass(frozen=True, slots=True)
class Clocked:
    """time, metre : put right, (N,);  cuts : intervals that end a pass of the head, as a gap does, by the point before

    trusted : clock and metre belong together;  notes : what was put right
    """

    time: _Floats
    metre: _Floats
    cuts: Ints
    trusted: bool
    notes: tuple[str, ...]


def resolution(values: _Floats) -> float:
    """The step in which a rising column is written, where it is a quarter of the usual step or more; else 0."""
    step = np.diff(values)
    dense = usual(step)
    few = np.concatenate([values[:2000], values[-2000:]]) - values[0]
    for grid in _GRIDS:
        if grid < dense / 4 or grid > (values[-1] - values[0]) / 4:
            continue
        if bool(np.all(np.abs(few / grid - np.round(few / grid)) < 1e-6)):
            return grid
    if np.count_nonzero(step == 0) <= _OFTEN * step.size:
        return 0.0
    return float(step[step > 0].min())


def spread(time: _Floats) -> tuple[_Floats, float, list[str]]:
    """(time with equal stamps spread evenly over their step, that step s or 0 where stamps are fine, notes)."""
    grid = resolution(time)
    new = np.flatnonzero(np.diff(time, prepend=time[0] - 1) > 0)
    shared = time.size - new.size
    notes: list[str] = []
    step = 0.0
    if shared:
        many = np.diff(np.append(new, time.size))
        step = float(np.diff(time[new]).min()) if new.size > 1 else 0.0
        place = (np.arange(time.size) - np.repeat(new, many) + 0.5) / np.repeat(many, many) - 0.5
        time = time + np.where(np.repeat(many, many) > 1, place, 0.0) * step
        notes.append(f"{shared} points have the time of the point before: spread evenly over {step:.3g} s")
    if shared > _OFTEN * time.size or grid >= 0.5:
        step = max(grid, step)
        notes.append(f"times are written in steps of {step:.3g} s: no wave shorter than {STAMPS * step:.3g} s is told")
        return time, step, notes
    return time, 0.0, notes


def reconciled(time: _Floats, metre: _Floats, across: _Floats, stood: Ints, stamps_s: float) -> Clocked:
    """Clock, metre and head brought together.

    stamps_s : step in which times were written, before they were spread
    stood : intervals, by the point before, out of which points of a standing web were left
    Valid for speeds that change by less than 15 % within some tens of points; a pass in about one time.
    """
    dt, dm = np.diff(time), np.diff(metre)
    low, high = _speeds(time, metre)
    excess = np.maximum(dt - dm / low, 0.0) + np.minimum(dt - dm / high, 0.0)
    dense = usual(dt)
    base = max(1.01 * dense, 2 * stamps_s, 2 * resolution(metre) / usual(high))
    limit = base + _SLACK * np.maximum(dt, dm / high)
    odd = np.union1d(np.flatnonzero(np.abs(excess) > limit), stood)
    if odd.size == 0:
        return Clocked(time, metre, odd, True, ())
    if odd.size - stood.size > max(_MOST, dt.size / 500):
        note = (
            f"clock and metre disagree at {odd.size} places: no wave is told, lengths stand as the counter wrote them"
        )
        return Clocked(time, metre, odd, False, (note,))
    head = _Head(across, dt, base)
    notes: list[str] = []
    cuts: list[int] = []
    fix_t, fix_m = np.zeros(dt.size), np.zeros(dt.size)
    for i in odd.tolist():
        speed = float(low[i] + high[i]) / 2
        says, due = head.says(i, dt[i], dm[i] / speed)
        if says == "stood":
            cuts.append(i)
            fix_t[i] = max(dm[i] / speed, 1e-3 * dense) - dt[i]
            if i not in stood:
                notes.append(_stood(i, dt[i], dm[i], metre, speed))
        elif says == "clock":
            fix_t[i] = due - dt[i]
            if i not in stood:
                notes.append(_stepped(dt[i] - due, metre[i], i))
        else:
            fix_m[i] = due * speed - dm[i]
            notes.append(_jumped(dm[i] - due * speed, metre, i))
    return Clocked(_moved(time, fix_t), _moved(metre, fix_m), np.array(cuts, np.int64), True, tuple(_few(notes)))


def _moved(values: _Floats, by: _Floats) -> _Floats:
    return values + np.concatenate([[0.0], np.cumsum(by)]) if by.any() else values


def _few(notes: list[str], most: int = 6) -> list[str]:
    return (
        notes
        if len(notes) <= most
        else [*notes[:most], f"{len(notes) - most} more places where clock and metre differ"]
    )


def _speeds(time: _Floats, metre: _Floats) -> tuple[_Floats, _Floats]:
    """Least and greatest speed of the web about each interval, m/s: of blocks, single wild ones left out."""
    n = time.size - 1
    long = max(8, min(max(64, int(40 * resolution(metre) / max(float(np.ptp(metre)) / n, 1e-12))), n // 5))
    edge = np.append(np.arange(0, n - long + 1, long), n) if n >= 2 * long else np.array([0, n])
    speed = np.diff(metre[edge]) / np.maximum(np.diff(time[edge]), 1e-12)
    speed = np.median(_windows(speed, 5), axis=1)
    speed = np.maximum(speed, 0.05 * float(np.median(speed)) + 1e-12)
    around = _windows(speed, 3)
    many = np.diff(edge)
    return np.repeat(around.min(axis=1), many), np.repeat(around.max(axis=1), many)


def _windows(values: _Floats, wide: int) -> _Floats:
    """Each value with its neighbours, shape (n, wide); the ends repeat."""
    padded = np.pad(values, wide // 2, mode="reflect" if values.size > wide // 2 else "edge")
    return np.lib.stride_tricks.sliding_window_view(padded, wide)


class _Head:
    """How long an interval lasted by the head."""

    def __init__(self, across: _Floats, dt: _Floats, base: float) -> None:
        self.across, self.base = across, base
        dx = np.diff(across)
        self.half = 0.5 * float(np.ptp(across))
        turned = np.zeros(dt.size, bool)
        turned[1:-1] = np.sign(dx[:-2]) * np.sign(dx[2:]) < 0
        flown = np.abs(dx) > self.half
        inside = (dt > 0) & ~turned & ~flown & (dx != 0)
        self.turned, self.flown = turned, flown
        self.speed = float(np.median(np.abs(dx[inside]) / dt[inside])) if inside.any() else np.inf
        self.turn_s = float(np.median(dt[turned])) if turned.any() else 0.0
        self.fly_s = float(np.median(dt[flown])) if flown.any() else 0.0

    def due(self, i: int) -> float:
        """s that the interval behind point i lasts when the head goes on as ever."""
        if self.turned[i]:
            return self.turn_s
        if self.flown[i]:
            return self.fly_s
        return abs(float(self.across[i + 1] - self.across[i])) / self.speed

    def says(self, i: int, clock: float, metre: float) -> tuple[_Says, float]:
        """(who is wrong, s that are right).  clock, metre : s of the interval by either."""
        due = self.due(i)
        by_clock, by_metre = (abs(one - due) <= self.base + _SLACK * due for one in (clock, metre))
        if by_metre and self._goes_on(i):
            return "clock", due if due > 0 else metre
        if by_clock and self._goes_on(i):
            return "counter", due
        if metre > 2 * clock:
            true = f"after row {i + 1} of those kept {metre:.4g} s of web go by, {clock:.4g} s by the clock"
            raise BadValue("metre_m", i + 1, true, "split the file there, or correct clock or counter")
        return "stood", metre

    def _goes_on(self, i: int) -> bool:
        """Does the head keep its way over the interval?"""
        if self.turned[i] or self.flown[i]:
            return True
        way = np.sign(np.diff(self.across[max(0, i - 1) : i + 3]))
        return bool(np.all(way >= 0) or np.all(way <= 0))


def _stepped(by: float, metre: float, i: int) -> str:
    way = "ahead" if by > 0 else "back"
    return (
        f"the clock steps {way} by {abs(by):.4g} s at {metre:.1f} m (row {i + 1} of those kept) "
        "while metre and head go on: taken out of the times behind it"
    )


def _jumped(by: float, metre: _Floats, i: int) -> str:
    ran = float(np.ptp(metre)) - max(by, 0.0)
    if abs(by) > _SLIP * ran:
        true = (
            f"the length counter jumps by {by:+.4g} m after row {i + 1} (of the rows kept) while clock and head go on"
        )
        raise BadValue("metre_m", float(metre[i + 1]), true, "split the file there, or correct the counter")
    said = f"the length counter jumps by {by:+.3g} m at {metre[i]:.1f} m while clock and head go on"
    return f"{said}: metres behind are put right"


def _stood(i: int, dt: float, dm: float, metre: _Floats, speed: float) -> str:
    why = "it stood, or the clock was set" if dm < dt * speed else "it ran faster, or the clock was set back"
    return (
        f"gap of {dt:.1f} s, {metre[i]:.1f} to {metre[i + 1]:.1f} m, in which {dm / speed:.1f} s of web went by: "
        f"{why}; times behind are by the metre"
    )
