"""Infrared spectrum of clear film -> thickness.  One spectrum in, one reading or one refusal out.

index        n0 and Lorentz bands, each number with its source; phase index and group index
airy         what a film with wedge lets through a line of some width
given        the spectrum as it came: what is wrong with it
start        Fourier transform over n nu
fit          least squares of one order: thickness, visibility, baseline
orders       which order; refusal where it could be another, or the index is not this film's
gauge        the reading, with its standard deviation and what the index adds
absorption   the gauge by one band, with what the fringes do to it
calibrate    the index from a weighed film
study        the same spectrum with a wrong index

Wavenumbers in 1/cm and thickness in um all through, as instruments write them; names say so.
"""

from reelmark.stations.film.spectrum.absorption import (
    Absorbed,
    absorption,
    averaging,
    brewster_deg,
    brewster_path,
    fringe_swing,
)
from reelmark.stations.film.spectrum.airy import contrast, phase, reflectance, transmittance
from reelmark.stations.film.spectrum.calibrate import calibrated
from reelmark.stations.film.spectrum.gauge import CAUTION, SOUGHT_UM, Reading, from_fringes, thickness
from reelmark.stations.film.spectrum.given import CARBON_DIOXIDE, Window
from reelmark.stations.film.spectrum.index import POLYSTYRENE, PP, Index, Input, Lorentz
from reelmark.stations.film.spectrum.study import Effect, index_errors

__all__ = [
    "CARBON_DIOXIDE",
    "CAUTION",
    "POLYSTYRENE",
    "PP",
    "SOUGHT_UM",
    "Absorbed",
    "Effect",
    "Index",
    "Input",
    "Lorentz",
    "Reading",
    "Window",
    "absorption",
    "averaging",
    "brewster_deg",
    "brewster_path",
    "calibrated",
    "contrast",
    "fringe_swing",
    "from_fringes",
    "index_errors",
    "phase",
    "reflectance",
    "thickness",
    "transmittance",
]
