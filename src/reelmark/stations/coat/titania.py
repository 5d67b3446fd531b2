"""The most that a white pigment can scatter: single spheres by Mie, made less as they crowd.  A bound, never a value.

    S = (3/4) mu_s (1 - g)    mu_s = (3/4) Q phi / r    crowding 1 - (phi / 0.74)^(1/3)

Q scattering efficiency and g asymmetry of a sphere of radius r in the binder, phi share of the dry coat by volume.
S in 1/m.  Valid as an upper bound for even spheres, none touching; real coats lie below (clumps, spread of sizes), so S
is fitted per ink lot by ``drawdown``.  Sources: Mie's series as in Bohren and Huffman, 1983, chapter 4; index of rutile
(ordinary ray): Devore 1951 at refractiveindex.info; 3/4 and the crowding factor: from memory.
"""

from dataclasses import dataclass
from math import cbrt, ceil, pi, sqrt
from typing import Final

from reelmark.measure.given import within
from reelmark.measure.known import Known, Sourced

__all__ = ["RUTILE", "Pigment", "Sphere", "bound", "dilute", "mie", "rutile_index"]


@dataclass(frozen=True, slots=True)
class Pigment(Sourced):
    """wavelength : of the light in air, m;  binder : its index;  density : of the pigment, kg/m3
    packing : share at which scattering is crowded out;  diffusion : S over mu_s (1 - g)"""

    wavelength: Known
    binder: Known
    density: Known
    packing: Known
    diffusion: Known

    def __post_init__(self) -> None:
        within("wavelength", self.wavelength.value, 4.3e-7, 1.5e-6, "m")  # where Devore measured
        within("binder", self.binder.value, 1.0, 2.0, "1")


RUTILE: Final = Pigment(
    wavelength=Known(550e-9, "m", "assumed: middle of what the eye sees"),
    binder=Known(1.50, "1", "from memory"),
    density=Known(4230.0, "kg/m3", "from memory"),
    packing=Known(0.74, "1", "from memory"),
    diffusion=Known(0.75, "1", "from memory"),
)


@dataclass(frozen=True, slots=True)
class Sphere:
    """scattering : efficiency, cross-section over pi r^2;  asymmetry : mean cosine"""

    scattering: float
    asymmetry: float


def rutile_index(wavelength: float) -> float:
    """Of the ordinary ray, Devore 1951: n^2 = 5.913 + 0.2441 / (L^2 - 0.0803), L in um, 0.43 to 1.53 um."""
    return sqrt(5.913 + 0.2441 / ((wavelength * 1e6) ** 2 - 0.0803))


def mie(index: float, size: float) -> Sphere:
    """A sphere that does not absorb.  index : over that of what is around;  size : 2 pi r over the wavelength there."""
    import numpy as np
    from scipy.special import spherical_jn, spherical_yn

    n = np.arange(1, ceil(size + 4 * size ** (1 / 3) + 10))
    x, y = size, index * size
    psi, chi, inner = (z * f(n, z) for f, z in ((spherical_jn, x), (spherical_yn, x), (spherical_jn, y)))
    psi_, chi_, inner_ = (
        f(n, z) + z * f(n, z, derivative=True) for f, z in ((spherical_jn, x), (spherical_yn, x), (spherical_jn, y))
    )
    xi, xi_ = psi + 1j * chi, psi_ + 1j * chi_
    a = (index * inner * psi_ - psi * inner_) / (index * inner * xi_ - xi * inner_)
    b = (inner * psi_ - index * psi * inner_) / (inner * xi_ - index * xi * inner_)
    total = np.sum((2 * n + 1) * (abs(a) ** 2 + abs(b) ** 2))
    k = n[:-1]
    next_ = k * (k + 2) / (k + 1) * (a[:-1] * a[1:].conj() + b[:-1] * b[1:].conj()).real
    forward = np.sum(next_) + np.sum((2 * n + 1) / (n * (n + 1)) * (a * b.conj()).real)
    return Sphere(float(2 * total / x**2), float(2 * forward / total))


def bound(pigment: Pigment, diameter: float, share: float) -> float:
    """The most S, 1/m, of a dry coat with such a share of pigment by volume.  diameter : m."""
    within("pigment_size", diameter, 5e-8, 2e-6, "m")
    within("pigment", share, 0.0, pigment.packing.value, "as a share of 1")
    crowded = 1 - cbrt(share / pigment.packing.value)
    return dilute(pigment, diameter) * pigment.density.value * share * crowded


def dilute(pigment: Pigment, diameter: float) -> float:
    """The most S of a kg of pigment on a m2, m2/kg, where no sphere is near another."""
    binder, wave = pigment.binder.value, pigment.wavelength.value
    one = mie(rutile_index(wave) / binder, pi * diameter * binder / wave)
    reduced = 1.5 * one.scattering * (1 - one.asymmetry) / diameter  # 3/4 Q (1 - g) / r
    return pigment.diffusion.value * reduced / pigment.density.value
