"""Which order: the best fit of five neighbouring ones, and the three ways in which it must not be in doubt.

visibility   fringes below a tenth of a parallel film's, or below five standard deviations: nothing to read
neighbours   the next order fits nearly as well
half order   the thickness by period alone differs from that by phase by a quarter of an order or more, or the phase
             bends over the window, or may for all the noise shows: the index, or its dispersion, is not this film's
"""

from dataclasses import dataclass

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.airy import CM_PER_UM
from reelmark.stations.film.spectrum.fit import Fit, carrier, fit_order, free_phase, order_um, predicted
from reelmark.stations.film.spectrum.given import Spectrum
from reelmark.stations.film.spectrum.start import elsewhere

__all__ = ["LEAST_VISIBILITY", "Order", "best_order", "dipped"]

LEAST_VISIBILITY = 0.1
_CLEARLY = 5.0  # standard deviations
_LEAST_MARGIN = 25.0  # chi-squared; a slip past it needs five standard deviations, however near the orders lie
_MOST_OFFSET = 0.25  # orders
_MOST_BEND = 0.5  # radians, middle against ends; a dispersion wrong enough to slip a whole order bends by 0.55 or more
_COUNTED = 5.0  # fringes in the window, below which their period is rough
_REACH = 2
_ROUNDS = 3


@dataclass(frozen=True, slots=True)
class Order:
    """The order taken.

    margin : chi-squared by which the next best order is worse
    offset : thickness by period less thickness by phase, in orders; offset_sd its standard deviation
    bend, bend_sd : phase the index leaves over, at the ends of the window against its middle, radians
    """

    fit: Fit
    margin: float
    offset: float
    offset_sd: float
    bend: float
    bend_sd: float


def best_order(spectrum: Spectrum, first_um: float, sought_um: tuple[float, float]) -> Order:
    """The one order that fits, near first_um; refused where it could be another, or lies outside sought_um."""
    best, second = _two_best(spectrum, carrier(spectrum, first_um))
    _refuse_outside(spectrum, best, sought_um)
    _refuse_faint(best, sought_um)
    margin = (second.cost - best.cost) / max(best.variance, 1e-300)
    _refuse_neighbour(best, second, margin)
    free = free_phase(spectrum, best)
    n = free.at.size
    offset, offset_sd = -float(free.at[n - 2]) / (2 * np.pi), free.sd(n - 2) / (2 * np.pi)
    order = Order(best, margin, offset, offset_sd, float(free.at[n - 1]), free.sd(n - 1))
    _refuse_index(spectrum, order)
    return order


def dipped(clear: Spectrum, whole: Spectrum, first_um: float, band: tuple[float, float]) -> bool:
    """Less light comes through in the band than the best fit of the rest says, by five standard deviations.

    clear, whole : the spectrum without and with the band, 1/cm, which lies inside it.  Weighed by a bell, in which
    a fringe averages out; the deviation takes in what the fit itself leaves open there.
    """
    fit = _two_best(clear, carrier(clear, first_um))[0]
    told, slopes = predicted(fit, whole)
    inside = (whole.nu >= band[0]) & (whole.nu <= band[1])
    bell = np.where(inside, np.exp(-(((whole.nu - sum(band) / 2) / (band[1] - band[0]) * 5) ** 2) / 2), 0.0)
    lean = bell @ slopes
    variance = fit.variance * (bell @ bell + lean @ fit.covariance @ lean)
    return bool(bell @ (whole.T - told) < -_CLEARLY * np.sqrt(variance))


def _two_best(spectrum: Spectrum, start: np.ndarray) -> tuple[Fit, Fit]:
    """The two lowest minima of the orders round start; moved on while the lowest is at the edge."""
    fits: dict[int, Fit] = {}
    centre = 0
    for _ in range(_ROUNDS):
        for j in range(centre - _REACH, centre + _REACH + 1):
            if j not in fits:
                moved = start.copy()
                moved[0] += j * order_um(spectrum)
                fits[j] = fit_order(spectrum, moved)
        centre = min(fits, key=lambda j: fits[j].cost)
    best, second = sorted(fits.values(), key=lambda fit: fit.cost)[:2]
    return best, second


def _refuse_outside(spectrum: Spectrum, best: Fit, sought_um: tuple[float, float]) -> None:
    """Fringes of a film that was not looked for: they leave a harmonic or a flank inside the range, and no film."""
    said = f"{sought_um[0]:g} to {sought_um[1]:g} um"
    cure = "widen it with the thinnest and the thickest film looked for"
    other = elsewhere(spectrum, sought_um)
    if other is not None:
        fringes = 2 * float(spectrum.path[-1] - spectrum.path[0]) * other * CM_PER_UM
        thin = " or less" if fringes < _COUNTED else ""
        true = f"the strongest fringes are those of a film of about {other:.3g} um{thin}"
        raise BadValue("sought_um", said, true, cure)
    if not sought_um[0] <= best.thickness_um <= sought_um[1]:
        raise BadValue("sought_um", said, f"the best fit lies outside it, at {best.thickness_um:.2f} um", cure)


def _refuse_faint(best: Fit, sought_um: tuple[float, float]) -> None:
    seen, sd = best.visibility, best.sd(1)
    searched = f"; {sought_um[0]:g} to {sought_um[1]:g} um were searched"
    cure = "use a smaller spot, hold the film flat and square to the beam, or measure where the gauge is more even"
    if seen < LEAST_VISIBILITY:
        true = (
            f"the fringes have {seen:.3f} of a parallel film's contrast; below {LEAST_VISIBILITY} they cannot be read"
            f"{searched}"
        )
        raise BadValue("visibility", round(seen, 4), true, cure)
    if seen < _CLEARLY * sd:
        true = f"its standard deviation is {sd:.3f}: the fringes do not stand out of the noise{searched}"
        raise BadValue("visibility", round(seen, 4), true, f"average more scans; {cure}")


def _refuse_neighbour(best: Fit, second: Fit, margin: float) -> None:
    if margin < _LEAST_MARGIN:
        true = (
            f"{second.thickness_um:.3f} um fits nearly as well (chi-squared {margin:.1f} more, {_LEAST_MARGIN:g} asked)"
        )
        cure = "average more scans, read a longer stretch, or use a smaller spot; a gauge reading tells the two apart"
        raise BadValue("thickness_um", round(best.thickness_um, 3), true, cure)


def _refuse_index(spectrum: Spectrum, order: Order) -> None:
    cure = "calibrate the index on samples weighed after ISO 4591, or read a window farther from the bands"
    if abs(order.offset) > _MOST_OFFSET:
        other = order.offset * order_um(spectrum)
        true = (
            f"by period alone the film is {other:+.2f} um thicker, {abs(order.offset):.2f} of an order: n and n_g clash"
        )
        raise BadValue("thickness_um", round(order.fit.thickness_um, 3), true, cure)
    if abs(order.bend) + 2 * order.bend_sd > _MOST_BEND:
        said = f"{order.bend:+.2f} rad (sd {order.bend_sd:.2f})"
        true = f"the fringes' phase bends by {said} that this index does not explain"
        if abs(order.bend) < 3 * order.bend_sd:
            true = f"the noise leaves {2 * order.bend_sd:.2f} rad of phase open: a wrong dispersion would not be seen"
            cure = f"average more scans, or use a smaller spot; {cure}"
        raise BadValue("thickness_um", round(order.fit.thickness_um, 3), true, cure)
