"""Which order: the best fit of five neighbouring ones, and the three ways in which it must not be in doubt.

visibility   fringes below a tenth of a parallel film's, or below five standard deviations: nothing to read
neighbours   the next order fits nearly as well
half order   the thickness by period alone differs from that by phase by a quarter of an order or more, or the phase
             bends over the window, or may for all the noise shows: the index, or its dispersion, is not this film's
"""

from dataclasses import dataclass

import numpy as np

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.fit import Fit, carrier, fit_order, free_phase, order_um
from reelmark.stations.film.spectrum.given import Spectrum

__all__ = ["LEAST_VISIBILITY", "Order", "best_order"]

LEAST_VISIBILITY = 0.1
_CLEARLY = 5.0  # standard deviations
_LEAST_MARGIN = 25.0  # chi-squared; a slip past it needs five standard deviations, however near the orders lie
_MOST_OFFSET = 0.25  # orders
_MOST_BEND = 0.5  # radians, middle against ends; a dispersion wrong enough to slip a whole order bends by 0.55 or more
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


def best_order(spectrum: Spectrum, first_um: float) -> Order:
    """The one order that fits, near first_um; refused where it could be another."""
    best, second = _two_best(spectrum, carrier(spectrum, first_um))
    _refuse_faint(best)
    margin = (second.cost - best.cost) / max(best.variance, 1e-300)
    _refuse_neighbour(best, second, margin)
    free = free_phase(spectrum, best)
    n = free.at.size
    offset, offset_sd = -float(free.at[n - 2]) / (2 * np.pi), free.sd(n - 2) / (2 * np.pi)
    order = Order(best, margin, offset, offset_sd, float(free.at[n - 1]), free.sd(n - 1))
    _refuse_index(spectrum, order)
    return order


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


def _refuse_faint(best: Fit) -> None:
    seen, sd = best.visibility, best.sd(1)
    cure = "use a smaller spot, hold the film flat and square to the beam, or measure where the gauge is more even"
    if seen < LEAST_VISIBILITY:
        true = (
            f"the fringes have {seen:.3f} of a parallel film's contrast; below {LEAST_VISIBILITY} they cannot be read"
        )
        raise BadValue("visibility", round(seen, 4), true, cure)
    if seen < _CLEARLY * sd:
        true = f"its standard deviation is {sd:.3f}: the fringes do not stand out of the noise"
        raise BadValue("visibility", round(seen, 4), true, f"average more scans; {cure}")


def _refuse_neighbour(best: Fit, second: Fit, margin: float) -> None:
    if margin < _LEAST_MARGIN:
        true = (
            f"{second.thickness_um:.3f} um fits nearly as well (chi-squared {margin:.1f} more, {_LEAST_MARGIN:g} asked)"
        )
        cure = "average more scans, read a longer stretch, or use a smaller spot; a gauge reading tells the two apart"
        raise BadValue("order", round(best.thickness_um, 3), true, cure)


def _refuse_index(spectrum: Spectrum, order: Order) -> None:
    cure = "calibrate the index on samples weighed after ISO 4591, or read a window farther from the bands"
    if abs(order.offset) > _MOST_OFFSET:
        other = order.offset * order_um(spectrum)
        true = (
            f"by period alone the film is {other:+.2f} um thicker, {abs(order.offset):.2f} of an order: n and n_g clash"
        )
        raise BadValue("index", round(order.fit.thickness_um, 3), true, cure)
    if abs(order.bend) + 2 * order.bend_sd > _MOST_BEND:
        said = f"{order.bend:+.2f} rad (sd {order.bend_sd:.2f})"
        true = f"the fringes' phase bends by {said} that this index does not explain"
        if abs(order.bend) < 3 * order.bend_sd:
            true = f"the noise leaves {2 * order.bend_sd:.2f} rad of phase open: a wrong dispersion would not be seen"
            cure = f"average more scans, or use a smaller spot; {cure}"
        raise BadValue("index", round(order.fit.thickness_um, 3), true, cure)
