"""Periodic parts on true time stamps.

find_wave   the strongest wave left in residuals of scan + lane (+ die + waves), if chance does not make it
Names of machine elements come from measure.elements.
A mean by pass samples once a scan: a 37 s wave then shows as 54.4 s (reference notes 1.4).  Points with their own
times do not alias, but the pass mean, taken off as level, takes a share sinc^2(f T) of a wave with it.  The power is
divided by what is left: Lomb-Scargle with the levels as nuisance, for passes of one length T.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Found", "Wave", "find_wave"]

Floats = NDArray[np.float64]

_BINS = 2**17  # time bins at most; a bin never wider than a tenth of a pass
_PAD = 2  # trial frequencies by independent frequency
_SLOPES = 0.08  # about the first four locked frequencies, so much is taken by slopes of a wandering level within passes
_LEFT = 0.15  # least share of a wave's power that the levels must leave
_CLOSE = 3.0  # a fine grid finds peaks between independent frequencies: so many times as many chances, our own study
_ALIASES = 3  # by the passes, on either side, that are looked at beside a peak
_BAND = 48  # independent frequencies that make the local background


@dataclass(frozen=True, slots=True)
class Wave:
    """value = amplitude_um * cos(2 pi t / period_s - phase), t in the record's clock.

    period_sd_s, amplitude_sd_um : standard errors;  length_m : on the web
    chance : probability that noise over its local background shows such a wave anywhere in the record
    elements : machine elements that fit, in words
    """

    period_s: float
    period_sd_s: float
    amplitude_um: float
    amplitude_sd_um: float
    phase: float
    length_m: float
    chance: float
    elements: tuple[str, ...] = ()

    def at(self, time_s: Floats) -> Floats:
        """um at those times."""
        return self.amplitude_um * np.cos(2 * np.pi * time_s / self.period_s - self.phase)


@dataclass(frozen=True, slots=True)
class Found:
    """period_s to a twentieth of a turn over the record; the model's fit then moves it, and knows period_sd_s."""

    period_s: float
    period_sd_s: float
    chance: float


@dataclass(frozen=True, slots=True)
class _Bins:
    step: float
    total: Floats
    count: Floats


def find_wave(
    time: Floats, residual: Floats, pass_s: float, cycle_s: float, alarm: float, shortest_s: float = 0.0
) -> Found | None:
    """The strongest wave that chance shows with a probability below alarm, or None.

    time, residual : shape (N,), residuals with the pass means taken off;  pass_s : on the web;  cycle_s : turn and all
    shortest_s : period below which the time stamps show none
    Looked for: from 2.5 bins to the period of which the levels leave 15 %.  Periods locked to the passes,
    2 cycle_s / k, are left to the comparison of forward and reverse passes, for lanes cannot be told from them: each
    within three widths of a peak, the first four wider (slopes of a wandering level within passes look like these).
    """
    bins = _binned(time, residual, pass_s)
    freq, power, left = _power(bins, pass_s)
    good = _searched(freq, left, cycle_s, float(time[-1] - time[0]), bins.step) & (freq * shortest_s <= 1)
    if np.count_nonzero(good) < 4 * _PAD:
        return None
    ratio = np.where(good, power / _background(power), 0.0)
    chance = min(1.0, _CLOSE * bins.total.size / 2 * float(np.exp(-min(float(ratio.max()), 700.0))))
    if chance > alarm:
        return None
    best = _stronger(freq, power, good, int(np.argmax(ratio)), cycle_s)
    return Found(1 / _top(freq, ratio, best), 0.0, chance)


def _stronger(freq: Floats, power: Floats, good: NDArray[np.bool_], peak: int, cycle_s: float) -> int:
    """The peak itself, or that of its aliases by the passes, f +- k / cycle, where the power is greater.

    A wave and its aliases stand together; over a background that is lower at an alias, the alias may stand out more.
    """
    away = freq[peak] + np.arange(-_ALIASES, _ALIASES + 1) / cycle_s
    places = np.searchsorted(freq, np.abs(away))
    near = np.unique(np.clip(places[:, None] + np.arange(-2 * _PAD, 2 * _PAD + 1), 1, freq.size - 1))
    return int(max((*near[good[near]].tolist(), peak), key=lambda i: power[i]))


def _binned(time: Floats, value: Floats, pass_s: float) -> _Bins:
    span = float(time[-1] - time[0])
    dense = float(np.median(np.diff(time[:100_000])))
    step = max(span / _BINS, dense)
    index = ((time - time[0]) / step).astype(np.int64)
    total, count = np.bincount(index, value), np.bincount(index).astype(np.float64)
    return _Bins(step, total.astype(np.float64), count)


def _power(bins: _Bins, pass_s: float) -> tuple[Floats, Floats, Floats]:
    """Frequency; power, of unit mean in white noise of unit variance; share of a wave's power the levels leave."""
    from scipy.fft import next_fast_len, rfft

    size = next_fast_len(_PAD * bins.total.size, real=True)
    freq: Floats = np.fft.rfftfreq(size, bins.step).astype(np.float64)
    spectrum = rfft(bins.total, size)
    power = (spectrum.real**2 + spectrum.imag**2) / bins.count.sum()
    left = 1 - np.sinc(freq * pass_s) ** 2
    return freq, power / np.maximum(left, _LEFT), left


def _searched(freq: Floats, left: Floats, cycle_s: float, span: float, step: float) -> NDArray[np.bool_]:
    locked = freq * 2 * cycle_s
    near = np.where(locked < 4.5, np.maximum(_SLOPES, 6 * cycle_s / span), 6 * cycle_s / span)
    away = abs(locked - np.round(locked)) > near
    return (left >= _LEFT) & (freq < 0.4 / step) & (away | (freq > 8 / cycle_s))


def _background(power: Floats) -> Floats:
    """Mean of the noise at each frequency: the median of its band over ln 2 (noise is exponential), lines between."""
    band = min(_BAND * _PAD, power.size)
    many = power.size // band
    level = np.median(power[: many * band].reshape(many, band), axis=1) / np.log(2)
    out = np.interp(np.arange(power.size), (np.arange(many) + 0.5) * band, level)
    return np.asarray(np.maximum(out, 1e-300), np.float64)


def _top(freq: Floats, ratio: Floats, best: int) -> float:
    """Frequency of the parabola's top through three points."""
    if not 0 < best < ratio.size - 1:
        return float(freq[best])
    a, b, c = ratio[best - 1 : best + 2]
    bend = a - 2 * b + c
    return float(freq[best] + (0.5 * (a - c) / bend if bend < 0 else 0.0) * (freq[1] - freq[0]))
