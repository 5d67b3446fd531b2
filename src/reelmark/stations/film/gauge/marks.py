"""Everything that is wrong with a roll as marks, from the model's residuals and parts: kind, place, size, grade.

die line        narrow, fixed on the die: wanders across with it; with a still die, narrow and lasting
streak          narrow at a fixed place while the die moves (so born behind it), or not lasting
pressure drop   the whole web off for a moment, as the bubble's pressure makes it; the gauge alone cannot tell the cause
drift           the level goes, and stays
wave            the level swings with one period
scan-locked wave  a swing in step with the head, which fakes a profile across

One rate of false alarms holds for all kinds and lanes together (the family); each kind gets a fifth of it.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.gauge.bursts import Burst, find_bursts
from reelmark.stations.film.gauge.drifts import find_drift
from reelmark.stations.film.gauge.lines import StayingLine, find_lines, merged
from reelmark.stations.film.gauge.model import Model
from reelmark.stations.film.gauge.passes import FEWEST
from reelmark.stations.film.gauge.records import Records
from reelmark.stations.film.gauge.shares import mirror
from reelmark.stations.film.gauge.waves import Wave

__all__ = ["GaugeMark", "Grade", "MarkKind", "family_alarm", "find_marks"]

MarkKind = Literal["die line", "streak", "pressure drop", "drift", "wave", "scan-locked wave"]
Grade = Literal["keep", "downgrade", "cut out"]

_WEEK = 604_800.0  # s
_KINDS = 5
_LASTING = 10  # passes: a still die's line lasts, a streak may not; common practice, no source
_NEAR = 4  # passes that may lie between two pieces of one line
_STRETCHES = 16  # of the roll, in which a wave's amplitude is looked at


@dataclass(frozen=True, slots=True)
class GaugeMark:
    """What is wrong and where.

    from_m, to_m : along;  from_mm, to_mm : across, all it can touch
    size_um : against what should be there, signed; amplitude of a wave
    grade : by size over the tolerance, "keep" where no tolerance was given
    strength : sizes over standard error (z, t);  says : what to know and do
    """

    kind: MarkKind
    from_m: float
    to_m: float
    from_mm: float
    to_mm: float
    size_um: float
    grade: Grade
    strength: float
    says: str


def find_marks(
    model: Model,
    *,
    tolerance_um: float | None = None,
    false_per_week: float = 1.0,
    downgrade: float = 0.5,
    cut_out: float = 1.0,
) -> list[GaugeMark]:
    """Marks of the roll, by metre.

    tolerance_um : half the width of the tolerance, for the grade: from `downgrade` of it on downgraded, from `cut_out`
    of it on cut out (inputs);  false_per_week : false marks of all kinds together in a week of running (family-wise)
    Below 8 passes no line or drop is looked for, below 16 no wave, below 100 no drift; the model's notes say so.
    """
    r, alarm = model.records, family_alarm(model.records, false_per_week)
    raw: list[_Raw] = []
    if r.passes >= FEWEST["lines and drops"]:
        lines, left = find_lines(model, alarm)
        raw += [_line(model, one) for one in merged(lines, _NEAR * r.pass_s * r.speed_m_s)]
        raw += [_burst(model, one) for one in find_bursts(model, left, alarm)]
        raw = [one for one in raw if abs(one[5]) >= r.step_um / 2]  # rounding makes steps of that size
    raw += _drift(model, alarm) + [_wave(model, one) for one in model.waves] + _locked(model, alarm)
    limits = (downgrade, cut_out)
    marks = [GaugeMark(*m[:6], _grade(m[5], tolerance_um, limits), *m[6:]) for m in raw]
    return sorted(marks, key=lambda mark: (mark.from_m, mark.kind))


def family_alarm(records: Records, false_per_week: float) -> float:
    """Chance that one kind may have of a false mark in this roll, so that all kinds have so many in a week."""
    if not false_per_week > 0:
        raise BadValue("false_per_week", false_per_week, "no limit is wide enough for none", "ask for more than 0")
    return min(0.5, false_per_week * float(np.ptp(records.time_s)) / _WEEK / _KINDS)


_Raw = tuple[MarkKind, float, float, float, float, float, float, str]


def _grade(size: float, tolerance: float | None, limits: tuple[float, float]) -> Grade:
    if tolerance is None or abs(size) < limits[0] * tolerance:
        return "keep"
    return "downgrade" if abs(size) < limits[1] * tolerance else "cut out"


def _line(model: Model, one: StayingLine) -> _Raw:
    kind: MarkKind = "die line" if one.angle is not None else "streak"
    if one.angle is None and model.die is None and one.passes >= _LASTING:
        kind = "die line"
    where = f"at {np.degrees(one.angle):.0f} deg on the die" if one.angle is not None else "at a fixed place"
    says = f"{one.size_um:+.2f} um, {one.wide_mm:.0f} mm wide, {where}, in {one.passes} passes; " + (
        "look at the lip there (hot: guard, gloves)" if kind == "die line" else "look at rolls and bars behind the die"
    )
    return kind, one.from_m, one.to_m, one.from_mm, one.to_mm, one.size_um, one.z, says


def _burst(model: Model, one: Burst) -> _Raw:
    if one.local:
        says = f"{one.size_um:+.2f} um at one place in neighbouring passes"
        return "streak", one.from_m, one.to_m, one.from_mm, one.to_mm, one.size_um, one.z, says
    r = model.records
    says = (
        f"{one.size_um:+.2f} um for {one.seconds:.1f} s, seen at {one.from_mm:.0f} to {one.to_mm:.0f} mm"
        f"{', up to a turn of the head, in which it may go on' if one.turned else ''}; "
        "as a fall of the bubble's pressure makes it: look at its log"
    )
    return "pressure drop", one.from_m, one.to_m, r.left_mm, r.right_mm, one.size_um, one.z, says


def _drift(model: Model, alarm: float) -> list[_Raw]:
    one = find_drift(model, alarm)
    if one is None:
        return []
    r = model.records
    says = f"{one.size_um:+.2f} um over {one.to_m - one.from_m:.0f} m, and stays; look at feed, speed, temperatures"
    return [("drift", one.from_m, one.to_m, r.left_mm, r.right_mm, one.size_um, one.t, says)]


def _wave(model: Model, wave: Wave) -> _Raw:
    r = model.records
    start, stop = _stretch(model, wave)
    names = ", ".join(wave.elements) or "no known element; compare with rolls, gears, pumps"
    says = f"period {wave.period_s:.2f} s = {wave.length_m:.2f} m, amplitude {wave.amplitude_um:.2f} um: {names}"
    strength = wave.amplitude_um / max(wave.amplitude_sd_um, 1e-9)
    return "wave", start, stop, r.left_mm, r.right_mm, wave.amplitude_um, strength, says


def _stretch(model: Model, wave: Wave) -> tuple[float, float]:
    """Metres between which the wave runs at more than half its strongest: by sixteenths of the roll."""
    r = model.records
    some = slice(None, None, max(1, r.time_s.size // 100_000))
    part, time = (r.sweep[some] * _STRETCHES) // r.passes, r.time_s[some]
    turn = time * (2 * np.pi / wave.period_s)
    value = model.residual_um[some] + wave.at(time)
    count = np.maximum(np.bincount(part, minlength=_STRETCHES), 1)
    c = np.bincount(part, value * np.cos(turn), _STRETCHES) / count
    s = np.bincount(part, value * np.sin(turn), _STRETCHES) / count
    strong = np.flatnonzero(np.hypot(c, s) > 0.5 * np.hypot(c, s).max())
    first, behind = (-(-k * r.passes // _STRETCHES) for k in (int(strong[0]), int(strong[-1]) + 1))
    a, b = np.searchsorted(r.sweep, [first, behind])
    return float(r.metre_m[a]), float(r.metre_m[b - 1])


def _locked(model: Model, alarm: float) -> list[_Raw]:
    seen = mirror(model, alarm)
    if seen is None or not seen.locked:
        return []
    r = model.records
    says = (
        f"forward and mirrored reverse passes agree ({seen.mirrored:+.2f}), forward and reverse do not "
        f"({seen.same:+.2f}): part of the profile across is a wave of {r.pass_s:.0f} s; scan at another speed to see it"
    )
    size = seen.odd_um * float(np.sqrt(2))
    return [("scan-locked wave", float(r.metre_m[0]), float(r.metre_m[-1]), r.left_mm, r.right_mm, size, 0.0, says)]
