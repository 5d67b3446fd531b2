"""Index of a film from its own fringes and one thickness known by weighing."""

from dataclasses import replace

from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.fit import Fit, carrier, fit_order, order_um
from reelmark.stations.film.spectrum.gauge import settled, thickness
from reelmark.stations.film.spectrum.given import Spectrum, Window, taken
from reelmark.stations.film.spectrum.index import Index, Input

__all__ = ["calibrated"]

_WINDOW = Window()
_MOST_STRENGTH = 3.0


def calibrated(
    wavenumber_cm1: ArrayLike,
    transmittance: ArrayLike,
    known_um: float,
    known_sd_um: float,
    index: Index,
    source: str,
    *,
    window: Window = _WINDOW,
) -> Index:
    """index with n scaled and its bands made as strong as this film's fringes ask, so that it reads known_um.

    known_um, known_sd_um : of the very spot, by mass and area (ISO 4591); good to a sixth of an order, about 0.2 um,
        else n would be set to a neighbouring order
    source : the sample and the day, kept with the new numbers

    BadValue where the known thickness is too rough or the fringes do not fit with any strength of these bands.
    """
    sought = (known_um * 0.7, known_um * 1.3)
    window = settled(wavenumber_cm1, transmittance, index, window, sought)
    spectrum = taken(wavenumber_cm1, transmittance, index, window, sought)
    if not 0 < known_sd_um <= order_um(spectrum) / 6:
        true = f"an order is {order_um(spectrum):.2f} um; a sixth of it is the roughest that names the order"
        raise BadValue("known_sd_um", known_sd_um, true, "weigh a larger piece, or the mean of more")
    strength = _best_strength(spectrum, known_um, index) if index.bands else 1.0
    stronger = index.stronger(strength)
    scale = _fit(_seen(spectrum, stronger), known_um).thickness_um / known_um
    new = _sourced(stronger.scaled(scale), known_sd_um / known_um, f"calibrated on {known_um:g} um: {source}")
    thickness(wavenumber_cm1, transmittance, new, window=window, sought_um=sought)
    return new


def _best_strength(spectrum: Spectrum, known_um: float, index: Index) -> float:
    from scipy.optimize import minimize_scalar

    def cost(strength: float) -> float:
        return _fit(_seen(spectrum, index.stronger(strength)), known_um).cost

    rough = min((k * _MOST_STRENGTH / 12 for k in range(13)), key=cost)
    step = _MOST_STRENGTH / 12
    found = minimize_scalar(cost, bounds=(max(rough - step, 0.0), rough + step), method="bounded")
    return float(found.x)


def _seen(spectrum: Spectrum, index: Index) -> Spectrum:
    return replace(spectrum, path=index.n(spectrum.nu) * spectrum.nu)


def _fit(spectrum: Spectrum, known_um: float) -> Fit:
    return fit_order(spectrum, carrier(spectrum, known_um))


def _sourced(index: Index, relative_sd: float, source: str) -> Index:
    bands = tuple(replace(band, strength=Input(band.strength.value, source)) for band in index.bands)
    return replace(index, n0=Input(index.n0.value, source), bands=bands, relative_sd=Input(relative_sd, source))
