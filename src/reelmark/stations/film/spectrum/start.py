"""First thickness from the fringe period.

The Fourier transform runs over n nu, not over nu: there the period is 1/(2 d) whatever the dispersion, which is
what dividing by the group index does point by point.
"""

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.airy import CM_PER_UM
from reelmark.stations.film.spectrum.given import Spectrum
from reelmark.stations.film.spectrum.index import Floats

__all__ = ["elsewhere", "first_thickness"]

_BASELINE = 3.0  # periods in the window up to which a bent baseline may pass for fringes
_GAP = 8.0  # steps without a point that count as left out
_FINE = 8  # zeros added, in lengths of the record
_CLEARLY = 4.0  # power over that of the strongest period sought: twice the fringes, where a window's lobes leave half


def first_thickness(spectrum: Spectrum, sought_um: tuple[float, float]) -> float:
    """The strongest period's thickness inside sought_um; good to well under half an order when fringes are there."""
    d_um, power = _periods(spectrum)
    allowed = np.flatnonzero((d_um >= sought_um[0]) & (d_um <= sought_um[1]))
    if allowed.size < 3:
        raise BadValue("sought_um", sought_um, "too narrow for this window", "widen it to some um")
    peak = int(allowed[1:-1][power[allowed[1:-1]].argmax()])
    left, top, right = power[peak - 1 : peak + 2]
    bend = left - 2 * top + right
    return float(d_um[peak] + (0.5 * (left - right) / bend if bend < 0 else 0.0) * d_um[1])


def elsewhere(spectrum: Spectrum, sought_um: tuple[float, float]) -> float | None:
    """The thickness of the strongest period where that lies outside sought_um and far above all inside; else None."""
    d_um, power = _periods(spectrum)
    rest = (_BASELINE / 2 / CM_PER_UM) / float(spectrum.path[-1] - spectrum.path[0])  # um of a period seen so often
    inside = (d_um >= sought_um[0]) & (d_um <= sought_um[1])
    outside = ~inside & (d_um > rest)
    if not outside.any():
        return None
    best = int(np.flatnonzero(outside)[power[outside].argmax()])
    return float(d_um[best]) if power[best] > power[inside].max() + np.log(_CLEARLY) / 2 else None


def _periods(spectrum: Spectrum) -> tuple[Floats, Floats]:
    """(thickness, ln of the amplitude) of every period; what was left out of the window counts as no fringe."""
    step = float(np.median(np.diff(spectrum.path)))
    even = np.linspace(spectrum.path[0], spectrum.path[-1], 1 + round((spectrum.path[-1] - spectrum.path[0]) / step))
    wave = spectrum.T - np.polyval(np.polyfit(spectrum.x, spectrum.T, 2), spectrum.x)
    beside = np.searchsorted(spectrum.path, even).clip(1, spectrum.path.size - 1)
    gap = np.diff(spectrum.path)[beside - 1] > _GAP * step
    record = np.where(gap, 0.0, np.interp(even, spectrum.path, wave)) * np.hanning(even.size)
    size = _FINE * even.size
    return np.fft.rfftfreq(size, even[1] - even[0]) / 2 / CM_PER_UM, np.log(np.abs(np.fft.rfft(record, size)) + 1e-300)
