"""A coat in diffuse light, and any pile of unlike layers.

    a = 1 + K/S    b = sqrt(a^2 - 1)    x = b S X
    R0 = sinh x / (a sinh x + b cosh x)    T = b / (a sinh x + b cosh x)    Rinf = a - b
    R12 = R1 + T1 T1' R2 / (1 - R1' R2)    T12 = T1 T2 / (1 - R1' R2)         layer 1 on top, primes from below

S, K scattering and absorption in 1/m, X thickness in m; reflectances are shares of 1.  Valid for diffuse light all the
way, coats that scatter evenly, one index of refraction from coat to coat, no fluorescence; the faces to the air are
``surface``.  Source: Kubelka and Munk's two-flux equations (handwiki.org, Kubelka-Munk theory); a test holds them
against the differential equation dR/dX = S - 2 (K + S) R + S R^2 and against the sum over layers.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from math import atanh, exp, expm1, inf, sqrt

from reelmark.errors import BadValue
from reelmark.measure.given import within

__all__ = [
    "CLEAR",
    "MOST_COAT",
    "Coat",
    "Layer",
    "endless",
    "layer",
    "over",
    "pile",
    "ratio_of",
    "stack",
    "thickness_of",
]

MOST_RATE = 1e8  # 1/m: a hundred times the most that any white pigment scatters, so the unit is wrong
MOST_COAT = 0.01  # m, of all coats of a side as one


@dataclass(frozen=True, slots=True)
class Layer:
    """Diffuse light on a layer: what each face returns and what passes each way, shares of 1.

    front, back : reflectance from above and from below;  down, up : transmittance
    """

    front: float
    back: float
    down: float
    up: float

    def flipped(self) -> "Layer":
        """The same, other face up."""
        return Layer(self.back, self.front, self.up, self.down)


CLEAR = Layer(0.0, 0.0, 1.0, 1.0)  # clear film of the coat's index between two coats


@dataclass(frozen=True, slots=True)
class Coat:
    """One dry coat.  scattering, absorption : S and K, 1/m;  thickness : m.  BadValue outside what a coat can be."""

    scattering: float
    absorption: float
    thickness: float

    def __post_init__(self) -> None:
        within("scattering", self.scattering, 0.0, MOST_RATE, "1/m")
        within("absorption", self.absorption, 0.0, MOST_RATE, "1/m")
        within("coat", self.thickness, 0.0, MOST_COAT, "m")


def layer(coat: Coat) -> Layer:
    """The coat by itself, in its own index."""
    S, K, X = coat.scattering, coat.absorption, coat.thickness
    x = sqrt(K * (K + 2 * S)) * X  # b S X, without the quotient by S
    if x < 1e-9:  # no absorption, or nothing there
        return _alike(S * X / (1 + S * X), 1 / (1 + S * X))
    once, twice = exp(-x), -expm1(-2 * x)  # sinh and cosh times 2 exp(-x): no overflow
    below = (K + S) * X * twice + x * (2 - twice)
    return _alike(S * X * twice / below, 2 * x * once / below)


def _alike(reflected: float, passed: float) -> Layer:
    return Layer(reflected, reflected, passed, passed)


def stack(layers: Iterable[Layer]) -> Layer:
    """Layers from the top down as one."""
    return reduce(_two, layers, CLEAR)


def _two(top: Layer, under: Layer) -> Layer:
    rest = 1 - top.back * under.front
    if rest <= 0:
        true = "both return all light and nothing takes any"
        raise BadValue("layers", (top.back, under.front), true, "give one of them some absorption")
    return Layer(
        top.front + top.down * top.up * under.front / rest,
        under.back + under.up * under.down * top.back / rest,
        top.down * under.down / rest,
        top.up * under.up / rest,
    )


def over(one: Layer, backing: float) -> float:
    """Reflectance with the layer lying on a backing of that reflectance."""
    return stack((one, Layer(backing, backing, 0.0, 0.0))).front


def pile(one: Layer) -> float:
    """Reflectance of a pile of the same sheet, all the same way up, so thick that one more changes nothing.

    The lesser root of Rb R^2 - (1 + Rf Rb - Td Tu) R + Rf = 0; for like faces R + 1/R = (1 + R1^2 - T1^2) / R1.
    """
    half = (1 + one.front * one.back - one.down * one.up) / 2
    if half <= 0:
        return 0.0
    return one.front / (half + sqrt(max(0.0, half * half - one.front * one.back)))


def endless(scattering: float, absorption: float) -> float:
    """Rinf, a coat so thick that its ground is not seen; nan where nothing scatters or absorbs."""
    if scattering <= 0:
        return 0.0 if absorption > 0 else float("nan")
    a = 1 + absorption / scattering
    return 1 / (a + sqrt(a * a - 1))


def ratio_of(endless_reflectance: float) -> float:
    """K/S = (1 - Rinf)^2 / (2 Rinf)."""
    within("Rinf", endless_reflectance, 1e-9, 1.0, "as a share of 1")
    return (1 - endless_reflectance) ** 2 / (2 * endless_reflectance)


def thickness_of(over_black: float, ratio: float) -> float:
    """S X of the coat that reflects so much over perfect black; inf at Rinf.  ratio : K/S.  BadValue beyond Rinf."""
    most = endless(1.0, ratio)
    within("over_black", over_black, 0.0, 1.0, "as a share of 1")
    if over_black > most:
        cure = "measure again, or give a smaller K/S"
        raise BadValue("over_black", over_black, f"a coat of K/S {ratio:g} reflects {most:.4g} at most", cure)
    a = 1 + ratio
    b = sqrt(a * a - 1)
    if b == 0:
        return over_black / (1 - over_black) if over_black < 1 else inf
    share = b * over_black / (1 - a * over_black)
    return atanh(share) / b if 0 <= share < 1 else inf
