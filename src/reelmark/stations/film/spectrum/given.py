"""A spectrum as an instrument's file gives it -> the points that can be read, or what is wrong with it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from reelmark.errors import BadValue
from reelmark.stations.film.spectrum.airy import CM_PER_UM, reflectance
from reelmark.stations.film.spectrum.index import Floats, Index

__all__ = ["CARBON_DIOXIDE", "Spectrum", "Window", "taken"]

_LEAST_FRINGES = 3.0
_LEAST_POINTS = 40
_STUCK = 0.08  # share of points at the very highest or lowest value; a clear fringe in three digits has 0.06
_OPAQUE = 0.02
CARBON_DIOXIDE: Final = (2280.0, 2400.0)  # 1/cm, band of the air's carbon dioxide about 2349: from memory


@dataclass(frozen=True, slots=True)
class Window:
    """Which wavenumbers are read, 1/cm.  leave_out : stretches inside with bands of air or of the film.

    2000 to 2700 lies between the film's bands.  None looks for the air's carbon dioxide, which an instrument's
    background never quite takes away, and leaves it out where it is seen; () reads all of the window.
    """

    low: float = 2000.0
    high: float = 2700.0
    leave_out: tuple[tuple[float, float], ...] | None = None

    def __post_init__(self) -> None:
        for name, (low, high) in (
            ("window", (self.low, self.high)),
            *(("leave_out", one) for one in self.leave_out or ()),
        ):
            if not 0 < low < high < np.inf:
                raise BadValue(name, (low, high), "it must rise from above 0", "give low and high in 1/cm")

    @property
    def gaps(self) -> str:
        """What is left out inside the window, in words; empty where nothing is."""
        inside = [(low, high) for low, high in self.leave_out or () if low < self.high and high > self.low]
        return ", ".join(f"{low:g} to {high:g}" for low, high in inside)

    def holds(self, wavenumber_cm1: Floats) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
        """Which points are read."""
        inside = (wavenumber_cm1 >= self.low) & (wavenumber_cm1 <= self.high)
        for low, high in self.leave_out or ():
            inside &= (wavenumber_cm1 < low) | (wavenumber_cm1 > high)
        return np.asarray(inside, dtype=np.bool_).reshape(-1)


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """The points read, rising.  nu: 1/cm; T: 0 to 1; path: n nu, 1/cm; R: of one face; x: -1 to 1 over the window."""

    nu: Floats
    T: Floats
    path: Floats
    R: Floats
    x: Floats

    @property
    def centre(self) -> float:
        """Middle of the window, 1/cm."""
        return float(self.nu[0] + self.nu[-1]) / 2

    @property
    def middle(self) -> float:
        """n nu there, 1/cm."""
        return float(np.interp(self.centre, self.nu, self.path))


def taken(
    wavenumber_cm1: ArrayLike, transmittance: ArrayLike, index: Index, window: Window, sought_um: Sequence[float]
) -> Spectrum:
    """The spectrum inside the window.  Rising or falling wavenumbers; BadValue says what is wrong with others."""
    nu, T = _pair(wavenumber_cm1, transmittance)
    inside = window.holds(nu)
    nu, T = nu[inside], T[inside]
    _long_enough(nu, index, window, sought_um)
    _is_fraction(T)
    _is_alive(T)
    n = index.n(nu)
    x = 2 * (nu - nu[0]) / (nu[-1] - nu[0]) - 1
    return Spectrum(nu, T, n * nu, reflectance(n), x)


def _pair(wavenumber_cm1: ArrayLike, transmittance: ArrayLike) -> tuple[Floats, Floats]:
    nu, T = np.asarray(wavenumber_cm1, dtype=np.float64), np.asarray(transmittance, dtype=np.float64)
    if nu.ndim != 1 or nu.shape != T.shape:
        raise BadValue("spectrum", (nu.shape, T.shape), "each wavenumber has one transmittance", "give two equal rows")
    for name, row in (("wavenumber_cm1", nu), ("transmittance", T)):
        if not np.isfinite(row).all():
            at = int((~np.isfinite(row)).argmax())
            true = f"row {at + 1} is no number, {int((~np.isfinite(row)).sum())} rows in all"
            raise BadValue(name, float(row[at]), true, "export the spectrum again, or leave these rows out")
    return _rising(nu, T)


def _rising(nu: Floats, T: Floats) -> tuple[Floats, Floats]:
    if nu.size < _LEAST_POINTS:
        raise BadValue("spectrum", f"{nu.size} points", f"{_LEAST_POINTS} are the least", "export all points")
    if nu[0] > nu[-1]:  # instruments write falling wavenumbers as often as rising ones
        nu, T = nu[::-1], T[::-1]
    steps = np.diff(nu)
    if (steps == 0).any():
        at = float(nu[int((steps == 0).argmax())])
        raise BadValue(
            "wavenumber_cm1", at, "this wavenumber stands twice", "export one spectrum only, each point once"
        )
    if (steps < 0).any():
        at = float(nu[int((steps < 0).argmax()) + 1])
        raise BadValue("wavenumber_cm1", at, "the wavenumbers are not in order here", "sort rows by wavenumber")
    if nu[-1] < 100:
        true = f"all lie below {nu[-1]:g}: these look like wavelengths in um"
        raise BadValue("wavenumber_cm1", float(nu[-1]), true, "give 10000 / wavelength in um")
    return nu, T


def _long_enough(nu: Floats, index: Index, window: Window, sought_um: Sequence[float]) -> None:
    low_um, high_um = sought_um
    if not 0 < low_um < high_um < np.inf:
        raise BadValue(
            "sought_um", tuple(sought_um), "they must rise from above 0", "give the thinnest and the thickest film"
        )
    said = f"{window.low:g} to {window.high:g} 1/cm" + (f" without {window.gaps}" if window.gaps else "")
    if nu.size < _LEAST_POINTS:
        true = f"{nu.size} points lie in the window {said}; {_LEAST_POINTS} are the least"
        raise BadValue("window", said, true, "scan the whole window at 4 1/cm or finer")
    ends, span = nu[[0, -1]], float(nu[-1] - nu[0])
    fringes = 2 * float(np.diff(index.n(ends) * ends)[0]) * low_um * CM_PER_UM
    if fringes < _LEAST_FRINGES:
        need = span * _LEAST_FRINGES / fringes
        true = f"{_LEAST_FRINGES:g} fringes of {low_um:g} um, the thinnest sought, need {need:.0f} 1/cm"
        raise BadValue("window", f"{span:.0f} 1/cm", true, "scan a longer stretch, or raise the thinnest sought")
    step, fine = float(np.median(np.diff(nu))), span * low_um / (4 * fringes * high_um)
    if step > fine:
        true = f"{high_um:g} um, the thickest sought, needs a point every {fine:.1f} 1/cm"
        raise BadValue("wavenumber_cm1", f"a point every {step:.2f}", true, "scan finer, or lower the thickest sought")


def _is_fraction(T: Floats) -> None:
    middle, top = float(np.median(T)), float(T.max())
    if middle > 1.5:
        raise BadValue("transmittance", middle, "the middle value is above 1: these are percent", "divide by 100")
    if top > 1.1 or float(T.min()) < -0.05:
        worst = top if top > 1.1 else float(T.min())
        raise BadValue("transmittance", worst, "a film lets 0 to 1 through", "take the background again")


def _is_alive(T: Floats) -> None:
    middle = float(np.median(T))
    if np.ptp(T) <= 1e-9:
        raise BadValue("transmittance", middle, "every point is the same: a dead detector", "check it and scan again")
    if middle < _OPAQUE:
        true = f"the middle value is {middle:.3g}, nothing comes through: a saturated band, or an opaque coat"
        raise BadValue("transmittance", middle, true, "read bare film, in a window between the bands")
    if middle < 0.3:
        true = f"the middle value is {middle:.3g}; bare film lets about 0.9 through: absorbance, or a coated film"
        raise BadValue("transmittance", middle, true, "give 10^-absorbance, or read bare film")
    for end in (float(T.max()), float(T.min())):
        share = float(np.mean(end == T))
        if share > _STUCK:
            true = f"{share:.0%} of the points stand at exactly {end:g}: the detector is saturated or stuck"
            raise BadValue("transmittance", end, true, "lower the gain or the source, and scan again")
