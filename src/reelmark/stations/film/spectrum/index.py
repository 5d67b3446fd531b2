"""Refractive index of the film in the infrared: a constant and Lorentz bands, every number an input with its source.

n(nu)^2 = n0^2 + sum S_j / (nu_j^2 - nu^2 - i g_j nu).  Phase follows n; the fringe period follows the group index
n_g = d(n nu)/d nu.  A period read with n from a table was 2.1 % (more than a whole order) wrong on the model film
(own earlier computation against tmm 0.2.0), so n_g is never replaced by n here.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reelmark.errors import BadValue

__all__ = ["POLYSTYRENE", "PP", "Floats", "Index", "Input", "Lorentz"]

Floats = NDArray[np.float64]
_MEMORY = "from memory; measure on weighed samples (ISO 4591)"
_ASSUMED = "assumed, set so that n_g/n0 = 1.0190 at 2350 cm-1 (own earlier computation); measure"
_UM_PER_CM = 1e4


@dataclass(frozen=True, slots=True)
class Input:
    """A number that the works may replace, and where it is from.  No number goes without a source."""

    value: float
    source: str

    def __post_init__(self) -> None:
        if not np.isfinite(self.value):
            raise BadValue("value", self.value, "a material value is a finite number", "give the measured value")
        if not self.source.strip():
            raise BadValue("source", self.source, f"{self.value} stands without a source", "say where it is from")


@dataclass(frozen=True, slots=True)
class Lorentz:
    """One absorption band.  position, width (full width at half maximum): 1/cm; strength S: 1/cm2, not negative."""

    position: Input
    strength: Input
    width: Input

    def __post_init__(self) -> None:
        for name, one in (("position", self.position), ("width", self.width)):
            if one.value <= 0:
                raise BadValue(name, one.value, "a band lies above 0 1/cm and has a width", "give it in 1/cm")
        if self.strength.value < 0:
            raise BadValue("strength", self.strength.value, "a band that amplifies", "give 0 or more, 1/cm2")


@dataclass(frozen=True, slots=True)
class Index:
    """Index of one film.

    n0 : index far from the bands, 1 to 3
    relative_sd : standard deviation of n, as a share of n; goes into the thickness one to one
    birefringence : spread of n over the directions in the film, with the light's polarisation unknown
    """

    name: str
    n0: Input
    bands: tuple[Lorentz, ...]
    relative_sd: Input
    birefringence: Input

    def __post_init__(self) -> None:
        if not 1 < self.n0.value <= 3:
            true = "clear films lie between 1 and 3; at 1 the film has no surface and no fringes"
            raise BadValue("n0", self.n0.value, true, "give the index, 1.48 or so for polypropylene")
        for name, one in (("relative_sd", self.relative_sd), ("birefringence", self.birefringence)):
            if not 0 <= one.value < 0.2:
                raise BadValue(name, one.value, "it lies between 0 and 0.2", "give 0.003 for 0.3 %")

    def over(self, source: str, **values: float) -> "Index":
        """The same film with n0, relative_sd or birefringence from this source; `strength` times all its bands."""
        known = ("n0", "relative_sd", "birefringence", "strength")
        for name in values:
            if name not in known:
                raise BadValue("index", name, "it has no such number", f"take one of {', '.join(known)}")
        scaled = self.stronger(values.pop("strength")) if "strength" in values else self
        new: dict[str, Any] = {name: Input(value, source) for name, value in values.items()}
        return replace(scaled, **new)

    def complex_n(self, wavenumber_cm1: ArrayLike) -> NDArray[np.complex128]:
        """n + i k at each wavenumber, any shape."""
        return np.sqrt(self._permittivity(wavenumber_cm1))

    def n(self, wavenumber_cm1: ArrayLike) -> Floats:
        """Real part: the phase index."""
        return np.asarray(self.complex_n(wavenumber_cm1).real, dtype=np.float64)

    def group(self, wavenumber_cm1: ArrayLike) -> Floats:
        """n_g = d(n nu)/d nu, by the closed derivative of the formula."""
        nu = np.asarray(wavenumber_cm1, dtype=np.float64)
        slope = np.zeros(nu.shape, dtype=np.complex128)
        for band in self.bands:
            below = band.position.value**2 - nu**2 - 1j * band.width.value * nu
            slope += band.strength.value * (2 * nu + 1j * band.width.value) / below**2
        n = self.complex_n(nu)
        return np.asarray((n + nu * slope / (2 * n)).real, dtype=np.float64)

    def absorption_per_um(self, wavenumber_cm1: ArrayLike) -> Floats:
        """a = 4 pi k nu, so that one path through d um leaves exp(-a d)."""
        nu = np.asarray(wavenumber_cm1, dtype=np.float64)
        return np.asarray(4 * np.pi * self.complex_n(nu).imag * nu / _UM_PER_CM, dtype=np.float64)

    def scaled(self, factor: float) -> "Index":
        """The same film with n times factor at every wavenumber: a pure error of scale."""
        bands = tuple(replace(b, strength=_times(b.strength, factor**2)) for b in self.bands)
        return replace(self, n0=_times(self.n0, factor), bands=bands)

    def stronger(self, factor: float) -> "Index":
        """The same film with all bands factor times as strong: an error of dispersion."""
        return replace(self, bands=tuple(replace(b, strength=_times(b.strength, factor)) for b in self.bands))

    def _permittivity(self, wavenumber_cm1: ArrayLike) -> NDArray[np.complex128]:
        nu = np.asarray(wavenumber_cm1, dtype=np.float64)
        if nu.size and not nu.min() > 0:
            raise BadValue("wavenumber_cm1", float(nu.min()), "light has a wavenumber above 0", "give it in 1/cm")
        total = np.full(nu.shape, self.n0.value**2, dtype=np.complex128)
        for band in self.bands:
            total += band.strength.value / (band.position.value**2 - nu**2 - 1j * band.width.value * nu)
        return total


def _times(one: Input, factor: float) -> Input:
    return Input(one.value * factor, f"{one.source}; times {factor:g}")


def _ch_band(position: float, strength: float) -> Lorentz:
    return Lorentz(Input(position, _MEMORY), Input(strength, _ASSUMED), Input(25.0, _MEMORY))


PP = Index(
    "oriented polypropylene",
    Input(1.480, _MEMORY),
    (_ch_band(2952, 15_600), _ch_band(2919, 15_600), _ch_band(2868, 9_370), _ch_band(2838, 9_370)),
    Input(0.003, _MEMORY),
    Input(0.010, _MEMORY),
)
POLYSTYRENE = Index(
    "polystyrene, without dispersion",
    Input(1.59, "from memory; gives the thickness printed in a published note on film fringes"),
    (),
    Input(0.005, _MEMORY),
    Input(0.0, "film as cast: taken as isotropic"),
)
