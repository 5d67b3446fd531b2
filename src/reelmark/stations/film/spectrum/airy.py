"""What a film lets through: closed form for a parallel film, harmonics for one with a wedge, through a line of width.

Parallel: t = (1 - r^2) z / (1 - r^2 z^2), T = |t|^2, r = (n-1)/(n+1) and z = exp(2 pi i n nu d) with n complex; exact.
Else T = (1-R)^2 y / (1 - q^2) * (1 + 2 sum q^k cos k phi), y = exp(-a d), q = R y, phi = 4 pi n nu d, R = r^2 of the
real n; a spread of phi leaves exp(-k^2 s^2 / 2) of harmonic k.  That leaves k out of R: good to 2e-4 while k < 0.001.
Normal incidence, air on both sides.
Wavenumbers in 1/cm and thickness in um throughout the package, as the instruments write them.
"""

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.index import Floats, Index

__all__ = ["CM_PER_UM", "contrast", "phase", "reflectance", "transmittance"]

CM_PER_UM = 1e-4
_FWHM_PER_SD = 2 * np.sqrt(2 * np.log(2))
_HARMONICS = 12  # R^12 is 1e-17 for n = 1.5


def reflectance(n: ArrayLike) -> Floats:
    """R of one face at normal incidence."""
    real = np.asarray(n, dtype=np.float64)
    return np.asarray(((real - 1) / (real + 1)) ** 2, dtype=np.float64)


def phase(wavenumber_cm1: Floats, thickness_um: float, index: Index) -> Floats:
    """phi: phase of the light that went to and fro once more, radians."""
    return np.asarray(4 * np.pi * index.n(wavenumber_cm1) * wavenumber_cm1 * thickness_um * CM_PER_UM)


def contrast(
    wavenumber_cm1: Floats, thickness_um: float, index: Index, wedge_um: float = 0.0, line_cm1: float = 0.0
) -> Floats:
    """Share of a parallel film's fringes that wedge and line width leave, 0 to 1.

    wedge_um : root mean square of the thickness inside the spot, taken as normal
    line_cm1 : full width at half maximum of the instrument's line, taken as normal
    """
    for name, value in (("wedge_um", wedge_um), ("line_cm1", line_cm1)):
        if value < 0:
            raise BadValue(name, value, "a width is not negative", "give 0 or more")
    by_wedge = 4 * np.pi * index.n(wavenumber_cm1) * wavenumber_cm1 * wedge_um * CM_PER_UM
    by_line = 4 * np.pi * index.group(wavenumber_cm1) * thickness_um * CM_PER_UM * line_cm1 / _FWHM_PER_SD
    return np.asarray(np.exp(-(by_wedge**2 + by_line**2) / 2))


def transmittance(
    wavenumber_cm1: ArrayLike, thickness_um: float, index: Index, wedge_um: float = 0.0, line_cm1: float = 0.0
) -> Floats:
    """T of a film at each wavenumber; the exact form without wedge and line, else the series."""
    nu = np.asarray(wavenumber_cm1, dtype=np.float64)
    if not thickness_um > 0:
        raise BadValue("thickness_um", thickness_um, "a film is thicker than 0", "give it in um")
    if not wedge_um and not line_cm1:
        return _parallel(nu, thickness_um, index)
    kept = contrast(nu, thickness_um, index, wedge_um, line_cm1)
    R, y = reflectance(index.n(nu)), np.exp(-index.absorption_per_um(nu) * thickness_um)
    q, phi = R * y, phase(nu, thickness_um, index)
    waves = sum((q * kept**k) ** k * np.cos(k * phi) for k in range(1, _HARMONICS + 1))
    return np.asarray((1 - R) ** 2 * y / (1 - q**2) * (1 + 2 * waves))


def _parallel(nu: Floats, thickness_um: float, index: Index) -> Floats:
    n = index.complex_n(nu)
    r2, z = ((n - 1) / (n + 1)) ** 2, np.exp(2j * np.pi * n * nu * thickness_um * CM_PER_UM)
    return np.asarray(np.abs((1 - r2) * z / (1 - r2 * z**2)) ** 2)
