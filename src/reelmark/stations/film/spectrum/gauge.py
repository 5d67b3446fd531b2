"""Infrared spectrum -> thickness of the film."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.airy import CM_PER_UM
from reelmark.stations.film.spectrum.given import CARBON_DIOXIDE, Spectrum, Window, taken
from reelmark.stations.film.spectrum.index import PP, Index
from reelmark.stations.film.spectrum.orders import Order, best_order, dipped
from reelmark.stations.film.spectrum.start import first_thickness

__all__ = ["CAUTION", "SOUGHT_UM", "Reading", "from_fringes", "settled", "thickness"]

CAUTION = (
    "The infrared source is hot and its beam cannot be seen: keep its cover closed, do not look into it, let no film "
    "stand still in it."
)
SOUGHT_UM = (40.0, 200.0)
_WINDOW = Window()


@dataclass(frozen=True, slots=True)
class Reading:
    """One thickness, um.

    sd_um : standard deviation from the fit: noise only, the index held
    index_um : standard deviation by the index, the same sign for every reading with this index
    birefringence_um : the whole range of answers over the polarisations of the light
    visibility : share of a parallel film's fringes, at the middle of the window
    wedge_um : root mean square thickness within the spot, had all lost contrast been wedge; an upper bound
    order : of the bright fringe next to the middle of the window
    fringes : in the window
    margin : chi-squared by which the next order fits worse
    notes : what stands behind the number; the last is a caution
    """

    thickness_um: float
    sd_um: float
    visibility: float
    order: int
    index_um: float
    birefringence_um: float
    wedge_um: float
    fringes: float
    margin: float
    notes: tuple[str, ...]

    @property
    def combined_sd_um(self) -> float:
        """Root sum of squares; the range by birefringence as a rectangle (its width over root 12)."""
        return float(np.sqrt(self.sd_um**2 + self.index_um**2 + self.birefringence_um**2 / 12))


def thickness(
    wavenumber_cm1: ArrayLike,
    transmittance: ArrayLike,
    index: Index = PP,
    *,
    window: Window = _WINDOW,
    sought_um: tuple[float, float] = SOUGHT_UM,
) -> Reading:
    """Thickness of one clear, bare film from its fringes in transmission at normal incidence.

    wavenumber_cm1 : rising or falling, 1/cm; even steps are not needed
    transmittance : 0 to 1, as many; points outside the window are not read
    index : of this film; every number in it can be replaced
    sought_um : the thinnest and the thickest film looked for

    BadValue where the spectrum is none, the fringes are fainter than a tenth, the order is in doubt, or the film lies
    outside the range sought.
    Valid for one layer with air on both sides, clear in the window: not for coated film.  Scale: n 0.5 % too high
    reads 0.4975 % too low, and no spectrum shows it; only weighed samples do (ISO 4591).
    """
    window = settled(wavenumber_cm1, transmittance, index, window, sought_um)
    spectrum = taken(wavenumber_cm1, transmittance, index, window, sought_um)
    first = first_thickness(spectrum, sought_um)
    return _reading(spectrum, best_order(spectrum, first, sought_um), index, window)


def settled(
    wavenumber_cm1: ArrayLike, transmittance: ArrayLike, index: Index, window: Window, sought_um: tuple[float, float]
) -> Window:
    """The window with what is left out settled: carbon dioxide, where it was to be looked for and is seen.

    Where the band lies over an end of the window it is left out unseen: there is nothing on its other side.
    """
    low, high = CARBON_DIOXIDE
    if window.leave_out is not None or high < window.low or low > window.high:
        return replace(window, leave_out=window.leave_out or ())
    without = replace(window, leave_out=(CARBON_DIOXIDE,))
    whole = taken(wavenumber_cm1, transmittance, index, replace(window, leave_out=()), sought_um)
    clear = taken(wavenumber_cm1, transmittance, index, without, sought_um)
    if not clear.nu[0] < low < high < clear.nu[-1]:
        return without
    seen = dipped(clear, whole, first_thickness(clear, sought_um), CARBON_DIOXIDE)
    return without if seen else replace(window, leave_out=())


def from_fringes(count: float, first_cm1: float, last_cm1: float, group_index: float) -> float:
    """d = m / (2 n_g |nu_2 - nu_1|), um: the hand rule, good to the reading of the two ends.

    count : fringes between the ends, both bright or both dark
    group_index : not the index of a table: n_g, which a band beside the window raises
    """
    for name, value in (("count", count), ("first_cm1", first_cm1), ("last_cm1", last_cm1)):
        if not value > 0:
            raise BadValue(name, value, "it is above 0", "count from the spectrum")
    if group_index < 1 or first_cm1 == last_cm1:
        raise BadValue("ends", (first_cm1, last_cm1, group_index), "two ends and an index of 1 or more", "correct them")
    return count / (2 * group_index * abs(last_cm1 - first_cm1)) / CM_PER_UM


def _reading(spectrum: Spectrum, order: Order, index: Index, window: Window) -> Reading:
    fit = order.fit
    d, n = fit.thickness_um, float(index.n(spectrum.centre))
    middle = spectrum.middle
    wedge = np.sqrt(max(-np.log(fit.visibility), 0.0) / 2) / (2 * np.pi * middle) / CM_PER_UM
    return Reading(
        d,
        fit.sd(),
        fit.visibility,
        round(2 * middle * d * CM_PER_UM),
        d * index.relative_sd.value,
        d * index.birefringence.value / n,
        float(wedge),
        2 * float(spectrum.path[-1] - spectrum.path[0]) * d * CM_PER_UM,
        order.margin,
        tuple(_notes(order, index, window)),
    )


def _notes(order: Order, index: Index, window: Window) -> list[str]:
    fit, d = order.fit, order.fit.thickness_um
    share = index.relative_sd
    notes = [
        f"index: n {share.value:.1%} too high reads {share.value / (1 + share.value):.2%} too low ({share.source})"
    ]
    if index.birefringence.value:
        spread = index.birefringence.value / index.n0.value
        notes.append(f"birefringence: up to {spread * d:.2f} um between polarisations ({index.birefringence.source})")
    bent = abs(order.bend) > max(0.05, 4 * order.bend_sd)
    if bent or abs(order.offset) > max(0.02, 4 * order.offset_sd):
        notes.append(
            f"the index leaves {order.bend:+.2f} rad of bend and {order.offset:+.2f} orders over: calibrate it"
        )
    if window.gaps:
        air = CARBON_DIOXIDE in (window.leave_out or ())
        why = "; the air's carbon dioxide absorbs there (place from memory)" if air else ""
        notes.append(f"left out: {window.gaps} 1/cm{why}")
    if fit.visibility > 1.1:
        notes.append(f"contrast {fit.visibility:.2f} of a bare film's: a coat, or a higher index than {index.name}")
    if not 0.9 < fit.clear < 1.05:
        notes.append(f"the film lets {fit.clear:.2f} of a clear film's light through: check background, haze, coat")
    return [*notes, CAUTION]
