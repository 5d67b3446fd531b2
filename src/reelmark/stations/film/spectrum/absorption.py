"""Absorption gauge: thickness from how much one band takes away, with what the fringes add to it stated.

A = -ln(T / T_clear) = a d.  Within the band the fringes swing the answer by +-2 artanh(q)/(a d), q = R exp(-a d), if
one wavenumber is read; a band of width w averages them by |sinc(2 n d w)|.  The cure is p-polarised light at
Brewster's angle: no reflection, no fringes, and a path longer by sqrt(1 + 1/n^2).
Weak bands that suit 65 to 80 um lie near 1.7 and 2.3 um wavelength (from memory); their strength must be measured.
"""

from dataclasses import dataclass

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.airy import CM_PER_UM, reflectance
from reelmark.stations.film.spectrum.gauge import CAUTION
from reelmark.stations.film.spectrum.index import Index, Input

__all__ = ["Absorbed", "absorption", "averaging", "brewster_deg", "brewster_path", "fringe_swing"]

_SATURATED = 0.02  # T below: one part of stray light in a thousand is already a twentieth of what is left
_MOST_BIAS = 0.5


@dataclass(frozen=True, slots=True)
class Absorbed:
    """One thickness by absorption, um.

    sd_um : standard deviation by noise; an error of the band's strength goes in one to one on top
    fringe_um : the most that fringes add or take; no standard deviation, and reading again does not average it
    """

    thickness_um: float
    sd_um: float
    fringe_um: float
    notes: tuple[str, ...]


def brewster_deg(n: float) -> float:
    """Angle of incidence without p reflection, arctan n, degrees."""
    return float(np.degrees(np.arctan(n)))


def brewster_path(n: float) -> float:
    """Path in the film at Brewster's angle over its thickness, sqrt(1 + 1/n^2)."""
    return float(np.sqrt(1 + 1 / n**2))


def fringe_swing(absorbance: float, n: float) -> float:
    """Half the swing of the thickness over a fringe, as a share of it, at one wavenumber: 2 artanh(R exp(-A))/A."""
    if not absorbance > 0:
        raise BadValue("absorbance", absorbance, "without absorption there is no thickness in it", "choose a band")
    return float(2 * np.arctanh(reflectance(n) * np.exp(-absorbance)) / absorbance)


def averaging(thickness_um: float, n: float, width_cm1: float) -> float:
    """|sinc(2 n d w)|: share of the fringes left by a filter with a flat top w wide, 1/cm.  n: the group index."""
    if width_cm1 < 0:
        raise BadValue("width_cm1", width_cm1, "a width is not negative", "give it in 1/cm")
    return float(abs(np.sinc(2 * n * thickness_um * CM_PER_UM * width_cm1)))


def absorption(
    transmittance: float,
    band_per_um: Input,
    wavenumber_cm1: float,
    index: Index,
    *,
    width_cm1: float = 0.0,
    noise: float = 0.005,
    brewster: bool = False,
) -> Absorbed:
    """Thickness from the transmittance of one band.

    transmittance : 0 to 1, against the empty beam
    band_per_um : a, natural, per um of path, of the band as this filter sees it; calibrated by weighing (ISO 4591)
    width_cm1 : of the filter; 0 for a laser or a narrow line.  noise : standard deviation of the transmittance
    brewster : p-polarised at Brewster's angle

    BadValue for a saturated band and where the fringes could move the answer by half of it.
    """
    _refuse_dark(transmittance, noise)
    n = float(index.n(wavenumber_cm1))
    R = 0.0 if brewster else float(reflectance(n))
    per_um = band_per_um.value * (brewster_path(n) if brewster else 1.0)
    if per_um <= 0:
        raise BadValue("band_per_um", band_per_um.value, "a band absorbs", "give the calibrated value, 1/um")
    absorbance = _absorbance(transmittance, R)
    d = absorbance / per_um
    swing = 0.0 if brewster else fringe_swing(absorbance, n) * _kept(d, float(index.group(wavenumber_cm1)), width_cm1)
    if swing > _MOST_BIAS:
        cure = f"use p-polarised light at {brewster_deg(n):.1f} degrees, a wider filter, or a stronger band"
        raise BadValue("transmittance", transmittance, f"fringes move this thickness by +-{swing:.0%}", cure)
    return Absorbed(d, noise / transmittance / per_um, swing * d, tuple(_notes(d, swing, n, band_per_um)))


def _kept(d_um: float, group: float, width_cm1: float) -> float:
    """Fringes left, by the envelope of the sinc: no film is known well enough to sit at a zero of it."""
    turns = 2 * group * d_um * CM_PER_UM * width_cm1
    return min(1.0, 1 / (np.pi * turns)) if turns > 0 else 1.0


def _absorbance(T: float, R: float) -> float:
    """a d of the fringe-averaged film, T = (1-R)^2 y / (1 - R^2 y^2) solved for y = exp(-a d)."""
    b = (1 - R) ** 2
    y = 2 * T / (b + np.sqrt(b**2 + 4 * T**2 * R**2))
    if y >= 1:
        true = f"a film that takes nothing lets {b / (1 - R**2):.3f} through"
        raise BadValue("transmittance", T, true, "take the background again, or choose a band that absorbs")
    return float(-np.log(y))


def _refuse_dark(T: float, noise: float) -> None:
    if not 0 <= T <= 1:
        raise BadValue(
            "transmittance", T, "it lies between 0 and 1", "divide percent by 100; take the background again"
        )
    if not noise > 0:
        raise BadValue("noise", noise, "every detector has some", "give the standard deviation of an empty reading")
    if max(_SATURATED, 5 * noise) > T:
        true = f"below {max(_SATURATED, 5 * noise):g} the band is saturated: stray light and noise are read, not film"
        cure = (
            "use a weaker band: CH at 3.4 um is black at 65 um and more; bands near 1.7 and 2.3 um (from memory) suit"
        )
        raise BadValue("transmittance", T, true, cure)


def _notes(d: float, swing: float, n: float, band: Input) -> list[str]:
    said = f"fringes: up to +-{swing:.1%} or {swing * d:.2f} um, the same at each reading of the same film"
    cure = f"without fringes: p-polarised at {brewster_deg(n):.3f} degrees, path x {brewster_path(n):.5f}"
    clear = "Brewster's angle: no fringes; the angle must hold to the beam's own spread"
    return [said if swing else clear, *([cure] if swing else []), f"band strength: {band.source}", CAUTION]
