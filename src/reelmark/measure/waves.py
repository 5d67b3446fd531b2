"""Waves in a row of time-stamped readings: how long, how high, how sure.

fit(t, y, periods)            sines with harmonics, periods refined; standard errors
find(t, y, shortest, ...)     strongest wave, fit, take away, look again: several waves by cleaning

Readings that a scanning head took hold the across profile too: take scan and lane parts out before, or its harmonics
are found as waves.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.measure.series import Floats, between, row
from reelmark.measure.spectrum import OVERSAMPLE, Spectrum, background, false_alarm, spectrum, thin

__all__ = ["Found", "Wave", "find", "fit"]

_THIN: Final = 8  # bins of time per shortest period
_CLOSE: Final = 1.0  # waves nearer than this over the stretch cannot be parted


@dataclass(frozen=True, slots=True)
class Wave:
    """y = sum over h of cosines[h] cos(2 pi (h+1) (t - origin)/period) + sines[h] sin(...).

    period_se, amplitude_se : standard errors; white residual assumed by fit, local noise by find
    probability : that noise alone shows such a peak (find; nan from fit)
    """

    period: float
    period_se: float
    amplitude_se: float
    cosines: tuple[float, ...]
    sines: tuple[float, ...]
    origin: float
    probability: float = math.nan

    @property
    def amplitude(self) -> float:
        """Of the fundamental: half its height from crest to trough."""
        return math.hypot(self.cosines[0], self.sines[0])

    @property
    def phase(self) -> float:
        """Radians by which the fundamental's crest follows the origin, 0 to 2 pi."""
        return math.atan2(self.sines[0], self.cosines[0]) % (2 * math.pi)

    @property
    def variance(self) -> float:
        """What the wave adds to the variance of readings spread evenly over its period."""
        return 0.5 * sum(a * a + b * b for a, b in zip(self.cosines, self.sines, strict=True))

    def at(self, t: ArrayLike) -> Floats:
        """The wave's part of the readings at times t."""
        turn = 2 * np.pi / self.period * (np.asarray(t, np.float64) - self.origin)
        done = np.zeros_like(turn)
        for h, (a, b) in enumerate(zip(self.cosines, self.sines, strict=True), 1):
            done += a * np.cos(h * turn) + b * np.sin(h * turn)
        return done


@dataclass(frozen=True, slots=True)
class Found:
    """waves : strongest above their surroundings first;  first : the spectrum before any was taken away

    sigma : sd of what is left, per reading;  width : bins of time the readings were thinned to, 0 if they were not
    """

    waves: tuple[Wave, ...]
    first: Spectrum
    sigma: float
    width: float


def fit(
    t: ArrayLike, y: ArrayLike, periods: ArrayLike, harmonics: int = 1, w: ArrayLike | None = None, turns: int = 30
) -> tuple[Wave, ...]:
    """Least squares of a mean and waves, their periods refined by Gauss-Newton from near guesses.

    t, y : shape (n,);  w : weights, e.g. counts;  periods : guesses, each right to about a tenth of period^2/stretch
    For one wave in white noise the period's error is sqrt(6/n) sigma period^2/(pi stretch amplitude) (Montgomery &
    O'Donoghue 1999, from memory).  Waves closer than 1/stretch in frequency, or a record under 1 period, are refused.
    """
    time, values = row("time", t, 8), row("values", y, 8)
    weight = np.ones(len(time)) if w is None else row("weights", w, 8)
    frequency = 1 / np.atleast_1d(np.asarray(periods, np.float64))
    stretch = float(np.ptp(time))
    _parted(frequency, stretch)
    origin = float(weight @ time / weight.sum())
    tau = (time - origin) / stretch
    turning = frequency * stretch
    root = np.sqrt(weight)
    waves = _Design(tau, harmonics, len(turning))
    flat = _solve(waves.flat(turning) * root[:, None], values * root)
    turning, flat = _refined(waves, turning, flat, values * root, root, turns)
    _parted(turning / stretch, stretch)
    full = waves.full(turning, flat) * root[:, None]
    left = values * root - full[:, : len(flat)] @ flat
    free = max(1, len(time) - full.shape[1])
    errors = np.sqrt(np.diag(np.linalg.pinv(full.T @ full)) * float(left @ left) / free)
    return tuple(waves.wave(i, turning, flat, errors, stretch, origin) for i in range(len(turning)))


def _refined(
    waves: "_Design", turning: Floats, flat: Floats, wanted: Floats, root: Floats, turns: int
) -> tuple[Floats, Floats]:
    """Gauss-Newton on turns over the record and amplitudes together, no step over a fifth of a turn."""
    for _ in range(turns):
        full = waves.full(turning, flat) * root[:, None]
        step = _solve(full, wanted - full[:, : len(flat)] @ flat)
        flat = flat + step[: len(flat)]
        change = np.clip(step[len(flat) :], -0.2, 0.2)
        turning = turning + change
        if float(np.abs(change).max()) < 1e-9:
            break
    return turning, flat


def _parted(frequency: Floats, stretch: float) -> None:
    if not (np.isfinite(frequency).all() and len(frequency) and float(frequency.min()) * stretch > 1):
        true = f"the record of {stretch:g} holds less than one"
        raise BadValue("periods", float(1 / frequency.min()), true, "take a longer record")
    gaps = np.diff(np.sort(frequency)) * stretch
    if len(gaps) and float(gaps.min()) < _CLOSE / 2:
        true = f"two waves differ by {float(gaps.min()):.2g} turns over the record"
        raise BadValue("periods", tuple(1 / frequency), true, "take a longer record, or one wave for both")


def _solve(design: Floats, wanted: Floats) -> Floats:
    """Least squares by scaled normal equations: few columns, many rows."""
    scale = np.linalg.norm(design, axis=0)
    scale[scale == 0] = 1.0
    square = design.T @ design / np.outer(scale, scale)
    return np.asarray(np.linalg.lstsq(square, design.T @ wanted / scale, rcond=1e-13)[0] / scale, np.float64)


@dataclass(frozen=True, slots=True)
class _Design:
    """Columns: the mean; cos and sin of each harmonic of each wave; then the slope by each wave's turns."""

    tau: Floats
    harmonics: int
    count: int

    def flat(self, turning: Floats) -> Floats:
        columns = [np.ones_like(self.tau)]
        for one in turning:
            for h in range(1, self.harmonics + 1):
                angle = 2 * np.pi * h * one * self.tau
                columns += [np.cos(angle), np.sin(angle)]
        return np.column_stack(columns)

    def full(self, turning: Floats, flat: Floats) -> Floats:
        base = self.flat(turning)
        slopes = []
        for i in range(self.count):
            slope = np.zeros_like(self.tau)
            for h in range(1, self.harmonics + 1):
                c = self.place(i) + 2 * (h - 1)
                slope += 2 * np.pi * h * self.tau * (flat[c + 1] * base[:, c] - flat[c] * base[:, c + 1])
            slopes.append(slope)
        return np.column_stack([base, *slopes])

    def place(self, i: int) -> int:
        """The column of wave i's first cosine."""
        return 1 + 2 * self.harmonics * i

    def wave(self, i: int, turning: Floats, flat: Floats, errors: Floats, stretch: float, origin: float) -> Wave:
        c, period = self.place(i), stretch / float(turning[i])
        pair = flat[c : c + 2 * self.harmonics]
        error = float(errors[len(flat) + i]) * period**2 / stretch
        high = math.hypot(float(pair[0]), float(pair[1])) or 1.0
        along = math.hypot(float(pair[0] * errors[c]), float(pair[1] * errors[c + 1])) / high
        return Wave(period, error, along, tuple(map(float, pair[::2])), tuple(map(float, pair[1::2])), origin)


def find(
    t: ArrayLike, y: ArrayLike, shortest: float, longest: float | None = None, alarm: float = 0.01, most: int = 5
) -> Found:
    """Waves between two periods, by cleaning.

    t, y : shape (n,), any order, uneven;  longest None: an eighth of the stretch; slower is a drift
    alarm : probability that noise alone gives a wave; a peak must pass it against white noise (Baluev) and against
    the local background, so slow drifts give none.  Standard errors are widened to the local noise.
    Readings are thinned to an eighth of the shortest period where that saves half; amplitudes are put right for it.
    """
    time, values = row("time", t, 32), row("values", y, 32)
    longest = float(np.ptp(time)) / 8 if longest is None else longest
    width = shortest / _THIN
    when, what, count = thin(time, values, between("shortest", shortest, 0, longest) / _THIN)
    if 2 * len(when) > len(time):
        when, what, count, width = time, values, np.ones(len(time)), 0.0
    waves: tuple[Wave, ...] = ()
    first: Spectrum | None = None
    left = what - np.average(what, weights=count)
    while True:
        seen = spectrum(when, left, shortest, w=count)
        first = first or seen
        ground = background(seen)
        peak = _peak(seen, ground, alarm, longest) if len(waves) < most else None
        together = None if peak is None else _with(waves, peak[0], when, what, count)
        if together is None or peak is None:
            break
        waves = (*_keep(together, waves), replace(together[-1], probability=peak[1]))
        left = what - np.average(what, weights=count) - sum(one.at(when) for one in waves)
    final = tuple(_widened(_restored(one, width), seen, ground) for one in waves)
    rest = values - values.mean() - sum(one.at(time) for one in final)
    return Found(final, first, float(np.std(rest)), width)


def _peak(seen: Spectrum, ground: Floats, alarm: float, longest: float) -> tuple[float, float] | None:
    """Period and probability of the peak highest above its surroundings; None when noise explains it."""
    above = seen.power / np.maximum(ground, 1e-300)
    above[seen.frequency * longest < 1 - 1e-9] = 0.0
    top = int(np.argmax(above))
    frequency, stretch = seen.frequency, 1 / float(seen.frequency[1] - seen.frequency[0])
    many = max(1.0, (float(frequency[-1]) - float(frequency[0])) * stretch / OVERSAMPLE)
    local = min(1.0, many * math.exp(-float(above[top]) * math.log(2)))
    probability = max(local, false_alarm(float(seen.power[top]), seen))
    return (1 / float(frequency[top]), probability) if probability < alarm else None


def _with(waves: tuple[Wave, ...], period: float, t: Floats, y: Floats, w: Floats) -> tuple[Wave, ...] | None:
    """All waves and one more fitted together; None when it cannot be parted from one already taken."""
    try:
        return fit(t, y, [*(one.period for one in waves), period], w=w)
    except BadValue:
        return None


def _keep(fitted: tuple[Wave, ...], before: tuple[Wave, ...]) -> tuple[Wave, ...]:
    return tuple(replace(new, probability=old.probability) for new, old in zip(fitted, before, strict=False))


def _restored(wave: Wave, width: float) -> Wave:
    """The amplitude as it was before the readings were thinned."""
    share = float(np.sinc(width / wave.period))
    cosines, sines = (tuple(one / share for one in pair) for pair in (wave.cosines, wave.sines))
    return replace(wave, cosines=cosines, sines=sines, amplitude_se=wave.amplitude_se / share)


def _widened(wave: Wave, seen: Spectrum, ground: Floats) -> Wave:
    """Standard errors for the noise that stands at the wave's own frequency: power of white noise is 2/(n - 1)."""
    local = float(np.interp(1 / wave.period, seen.frequency, ground)) / math.log(2)
    wider = math.sqrt(max(1.0, local * (seen.n - 1) / 2))
    return replace(wave, period_se=wave.period_se * wider, amplitude_se=wave.amplitude_se * wider)
