"""Lomb-Scargle power on true time stamps, at a grid of frequencies, in a time that grows as n log n.

spectrum(t, y, shortest)         floating mean, optional weights; power is the share of the variance a sine explains
false_alarm_level(...)           power that white noise reaches somewhere in the band with a given probability
background(spectrum)             local median power: what a wave must stand above where the noise is not white
thin(t, y, width)                means over short bins of time, where a million readings say no more than their means

Sums over readings are taken on an even grid of a smooth kernel and its transform divided out: agrees with the direct
sums to about 1e-7 of the largest.
"""

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reelmark.errors import BadValue
from reelmark.measure.series import Floats, between, row

__all__ = ["OVERSAMPLE", "Spectrum", "background", "false_alarm", "false_alarm_level", "spectrum", "thin"]

OVERSAMPLE: Final = 5.0  # frequencies per peak
_WIDE: Final = 10  # grid points a reading is spread over
_SHARP: Final = 2.30 * _WIDE  # of the kernel exp(b (sqrt(1 - z^2) - 1)): Barnett, Magland & af Klinteberg 2019
_MOST: Final = 1 << 26  # grid points: 512 MB


@dataclass(frozen=True, slots=True)
class Spectrum:
    """frequency : 1/unit of time, even steps;  power : 0 to 1 at each;  n : readings

    rms_time : weighted sd of the time stamps, which the false-alarm level needs
    """

    frequency: Floats
    power: Floats
    n: int
    rms_time: float

    @property
    def period(self) -> Floats:
        return 1.0 / self.frequency


def spectrum(
    t: ArrayLike, y: ArrayLike, shortest: float, longest: float | None = None, w: ArrayLike | None = None,
    oversample: float = OVERSAMPLE,
) -> Spectrum:  # fmt: skip
    """Generalised Lomb-Scargle power (Zechmeister & Kuerster 2009, from memory) between two periods.

    t, y : shape (n,), n >= 8, any order, uneven;  w : weights above 0, e.g. counts;  None: equal
    shortest, longest : periods in the unit of t; longest None: the whole stretch.  Frequencies in steps of
    1/(oversample x stretch).  A period below twice the scan period is still seen: stamps are uneven; see waves.alias.
    """
    time, values, weight = _given(t, y, w)
    time = time - time.min()
    stretch = float(time.max())
    longest = stretch if longest is None else longest
    if not 0 < shortest < longest <= stretch * (1 + 1e-9):
        true = f"periods must rise within the stretch of {stretch:g}"
        raise BadValue("shortest", (shortest, longest), true, "ask for periods the record can show")
    step = 1 / (oversample * stretch)
    first, last = max(1, math.ceil(1 / (longest * step) - 1e-9)), math.floor(1 / (shortest * step) + 1e-9)
    values = values - weight @ values
    square = float(weight @ values**2)
    bins = np.arange(first, last + 1)
    ones = _transform(time * step, weight, 2 * last)
    mixed = _transform(time * step, weight * values, last)[bins]
    power = _power(ones[bins], ones[2 * bins], mixed) / square if square > 0 else np.zeros(len(bins))
    spread = math.sqrt(float(weight @ time**2) - float(weight @ time) ** 2)
    share: Floats = np.clip(power, 0.0, 1.0)
    return Spectrum(np.asarray(bins * step, np.float64), share, len(time), spread)


def _given(t: ArrayLike, y: ArrayLike, w: ArrayLike | None) -> tuple[Floats, Floats, Floats]:
    time, values = row("time", t, 8), row("values", y, 8)
    weight = np.ones(len(time)) if w is None else row("weights", w, 8)
    if not len(time) == len(values) == len(weight):
        counts = (len(time), len(values), len(weight))
        raise BadValue("values", counts, "times, values and weights differ in number", "give one of each per reading")
    if not weight.min() > 0:
        raise BadValue("weights", float(weight.min()), "a weight is above 0", "leave the reading out instead")
    if not np.ptp(time) > 0:
        raise BadValue("time", float(time[0]), "all stamps are equal", "look at the clock of the gauge")
    return time, values, weight / weight.sum()


def _power(one: NDArray[np.complex128], two: NDArray[np.complex128], mixed: NDArray[np.complex128]) -> Floats:
    """What the best sine with its own mean explains: the 2 x 2 normal equations of cos and sin, solved."""
    c, s, yc, ys = one.real, -one.imag, mixed.real, -mixed.imag
    cc = 0.5 * (1 + two.real) - c * c
    ss = 0.5 * (1 - two.real) - s * s
    cs = 0.5 * -two.imag - c * s
    det = cc * ss - cs * cs
    top = yc * yc * ss + ys * ys * cc - 2 * yc * ys * cs
    return np.divide(top, det, out=np.zeros_like(top), where=det > 1e-6)


def _transform(x: Floats, amount: Floats, last: int) -> NDArray[np.complex128]:
    """sum amount exp(-2 pi i k x), k = 0..last: spread over an even grid, transformed, the kernel divided out."""
    size = _even(max(4 * last, 4 * _WIDE))
    place = np.mod(x, 1.0) * size
    base = np.ceil(place - _WIDE / 2).astype(np.int64)
    grid = np.zeros(size)
    for i in range(_WIDE):
        z = (base + i - place) * (2 / _WIDE)
        touch = np.exp(_SHARP * (np.sqrt(np.maximum(1 - z * z, 0.0)) - 1))
        grid += np.bincount((base + i) % size, amount * touch, size)
    done: NDArray[np.complex128] = np.fft.rfft(grid)[: last + 1] / _kernel(size, last)
    return done


def _even(least: int) -> int:
    from scipy.fft import next_fast_len

    if least > _MOST:
        raise BadValue("shortest", least, "so many frequencies do not fit the memory", "ask for longer periods")
    size = int(next_fast_len(least, real=True))
    return size + size % 2


def _kernel(size: int, last: int) -> Floats:
    """Transform of the kernel at k/size, k = 0..last: by quadrature at few places, a polynomial between."""
    from numpy.polynomial import Chebyshev, legendre

    nodes, weights = legendre.leggauss(60)
    amount = weights * _WIDE / 2 * np.exp(_SHARP * (np.sqrt(1 - nodes**2) - 1))

    def exact(share: Floats) -> Floats:
        found: Floats = np.cos(np.pi * _WIDE * np.multiply.outer(share, nodes)) @ amount
        return found

    smooth = Chebyshev.interpolate(exact, 40, (0.0, 0.26))
    return np.asarray(smooth(np.arange(last + 1) / size), np.float64)


def false_alarm(power: float, seen: Spectrum) -> float:
    """Probability that white noise reaches this power somewhere in the band: Baluev 2008 (from memory), an upper bound.

    Right for white noise only: with slow drifts in the readings ask background as well.
    """
    known, free = seen.n - 1, seen.n - 3
    if not 0 < power < 1:
        return 1.0 if power <= 0 else 0.0
    single = math.exp(0.5 * free * math.log1p(-power))
    peaks = math.exp(min(700.0, _log_peaks(power, seen)))
    return -math.expm1(math.log1p(-single) - peaks) if single < 1 and known > 0 else 1.0


def _log_peaks(power: float, seen: Spectrum) -> float:
    """log of the expected number of peaks above the power."""
    known, free = seen.n - 1, seen.n - 3
    wide = float(seen.frequency[-1]) * math.sqrt(4 * math.pi) * seen.rms_time
    gamma = 0.5 * math.log(2 / known) + math.lgamma(known / 2) - math.lgamma((known - 1) / 2)
    return math.log(wide) + gamma + 0.5 * (free - 1) * math.log1p(-power) + 0.5 * math.log(0.5 * known * power)


def false_alarm_level(seen: Spectrum, probability: float = 0.01) -> float:
    """The power white noise reaches somewhere in the band with this probability (0 to .5)."""
    from scipy.optimize import brentq

    between("probability", probability, 0, 0.5)
    low, high = min(0.5, 3.0 / seen.n), 1 - 1e-12
    return float(brentq(lambda p: math.log(max(false_alarm(p, seen), 1e-300) / probability), low, high))


def background(seen: Spectrum, least: int = 150, wide: float = 1.3) -> Floats:
    """Local median power at each frequency, shape of seen.power: noise as it is, with waves left out.

    Blocks of at least `least` frequencies and a ratio `wide`, joined straight over log frequency.  The power of noise
    is exponential about its mean, median/ln 2.
    """
    count = len(seen.power)
    edges = [0]
    while edges[-1] < count:
        edges.append(max(edges[-1] + least, int(edges[-1] * wide)))
    edges = [*edges[:-2], count] if len(edges) > 2 else [0, count]
    blocks = list(pairwise(edges))
    at = np.log([seen.frequency[(a + b) // 2] for a, b in blocks])
    level = np.log([max(float(np.median(seen.power[a:b])), 1e-300) for a, b in blocks])
    where = np.log(seen.frequency)
    ground = np.interp(where, at, level)
    if len(at) > 1:  # noise that rises towards long periods goes on rising past the middle of the first block
        slope = min(0.0, float(level[1] - level[0]) / float(at[1] - at[0]))
        ground += slope * np.minimum(0.0, where - at[0])
    return np.maximum(np.exp(ground), _drift(seen, blocks[0][1]))


def _drift(seen: Spectrum, most: int) -> Floats:
    """Among the lowest frequencies: the median just below each, which noise that rises steeply cannot outdo far."""
    level = np.zeros(len(seen.power))
    near, far = 1.5 * OVERSAMPLE, 8 * OVERSAMPLE
    for i in range(math.ceil(near), min(most, len(level))):
        level[i] = np.median(seen.power[max(0, i - int(far)) : i - int(near) + 1])
    return level


def thin(t: ArrayLike, y: ArrayLike, width: float) -> tuple[Floats, Floats, Floats]:
    """Mean time, mean reading and count of each bin of time that holds any.

    width : of a bin; a wave of period P loses its amplitude by sinc(width/P) at most: 2.6 % at P = 8 widths
    """
    time, values = row("time", t, 1), row("values", y, 1)
    between("width", width, 0, math.inf)
    bins = np.floor((time - time.min()) / width)
    index = bins.astype(np.int64)
    if bins.max() > 4 * len(time) + 1000:
        index = np.unique(bins, return_inverse=True)[1]
    count = np.bincount(index).astype(np.float64)
    held = count > 0
    sums = (np.bincount(index, column)[held] / count[held] for column in (time - time.min(), values))
    means = tuple(sums)
    return means[0] + time.min(), means[1], count[held]
