"""First thickness from the fringe period.

The Fourier transform runs over n nu, not over nu: there the period is 1/(2 d) whatever the dispersion, which is
what dividing by the group index does point by point.
"""

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.airy import CM_PER_UM
from reelmark.stations.film.spectrum.given import Spectrum

__all__ = ["first_thickness"]

_FINE = 8  # zeros added, in lengths of the record


def first_thickness(spectrum: Spectrum, sought_um: tuple[float, float]) -> float:
    """The strongest period's thickness inside sought_um; good to well under half an order when fringes are there."""
    even = np.linspace(spectrum.path[0], spectrum.path[-1], spectrum.path.size)
    wave = spectrum.T - np.polyval(np.polyfit(spectrum.x, spectrum.T, 2), spectrum.x)
    record = np.interp(even, spectrum.path, wave) * np.hanning(even.size)
    size = _FINE * even.size
    power = np.log(np.abs(np.fft.rfft(record, size)) + 1e-300)
    d_um = np.fft.rfftfreq(size, even[1] - even[0]) / 2 / CM_PER_UM
    allowed = np.flatnonzero((d_um >= sought_um[0]) & (d_um <= sought_um[1]))
    if allowed.size < 3:
        raise BadValue("sought_um", sought_um, "too narrow for this window", "widen it to some um")
    peak = int(allowed[1:-1][power[allowed[1:-1]].argmax()])
    left, top, right = power[peak - 1 : peak + 2]
    bend = left - 2 * top + right
    return float(d_um[peak] + (0.5 * (left - right) / bend if bend < 0 else 0.0) * d_um[1])
