"""Heat that the cast film must lose: from melt to solid, with what freezes on the way.

    dH = int cp_solid dT (cold..Tf) + X dHf + int cp_melt dT (Tf..hot)      P = mdot dH      m_w = P / (cp_w dT_w)

Temperatures in K, heats in J/kg.  cp of the solid is straight between the points of its table and goes on along its
last piece beyond; ``Heat.beyond`` says by how many kelvin.  Valid at room pressure, without heat of mixing or shear.
Source: first law; values with their sources in ``measure.material``.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.measure.material import Material

__all__ = ["Curve", "Heat", "curve", "heat", "melt_cp", "solid_cp", "water_flow"]

Vector = NDArray[np.float64]
LEAST, MOST = 200.0, 650.0  # K; below and above, polypropylene's tables say nothing and it chars
FINE: Final = 0.05  # K between the points of the enthalpy curve; exact at them, straight in between


@dataclass(frozen=True, slots=True)
class Heat:
    """J/kg of solid, melt and freezing; beyond : K by which the cp table was gone on with."""

    solid: float
    melt: float
    latent: float
    beyond: float

    @property
    def total(self) -> float:
        return self.solid + self.melt + self.latent


@dataclass(frozen=True, slots=True)
class Curve:
    """Enthalpy against temperature, both rising, latent heat spread over the melting range.  K and J/kg."""

    temperature: Vector
    enthalpy: Vector

    def of(self, temperature: float) -> float:
        return float(np.interp(temperature, self.temperature, self.enthalpy))


def solid_cp(material: Material, temperature: Vector) -> Vector:
    """cp of the solid, J/(kg K): straight in the table and along its last piece above it."""
    at, cp = np.array(material.solid_cp.points).T
    slope = (cp[-1] - cp[-2]) / (at[-1] - at[-2])
    above = cp[-1] + slope * (temperature - at[-1])
    return np.asarray(np.where(temperature > at[-1], above, np.interp(temperature, at, cp)))


def melt_cp(material: Material, temperature: Vector) -> Vector:
    """cp of the melt, J/(kg K), straight in T."""
    return material.melt_cp_at_zero.value + material.melt_cp_rise.value * temperature


def heat(material: Material, hot: float, cold: float) -> Heat:
    """Heat from hot to cold, K.  BadValue for temperatures in the wrong order or of no melt; latent only if passed."""
    _ordered(hot, cold)
    turn = material.freezing.value
    solid = _between(material, cold, min(hot, turn))
    at = np.array([max(cold, turn), max(hot, turn)])
    melt = float(np.trapezoid(melt_cp(material, at), at))
    frozen = material.crystallinity.value * material.fusion.value if cold < turn < hot else 0.0
    return Heat(solid, melt, frozen, max(0.0, min(hot, turn) - material.solid_cp.points[-1][0]) if cold < turn else 0.0)


def water_flow(duty: float, rise: float, water_cp: float) -> float:
    """kg/s of water that takes this duty, W, with this rise, K.  BadValue for a rise that is none."""
    within("duty", duty, 0, 1e8, "W")
    return duty / (within("water_cp", water_cp, 3000, 5000, "J/(kg K)") * within("water_rise", rise, 0.1, 80, "K"))


def curve(material: Material, hot: float, cold: float) -> Curve:
    """Enthalpy over cold..hot, zero at cold, with the latent heat spread evenly over the melting range."""
    _ordered(hot, cold)
    least, most, turn = material.melting_from.value, material.melting_to.value, material.freezing.value
    corners = [t for t in (cold, hot, least, most, turn, *(t for t, _ in material.solid_cp.points)) if cold <= t <= hot]
    at = np.unique(np.concatenate([np.arange(cold, hot, FINE), corners]))
    middle = (at[1:] + at[:-1]) / 2
    cp = np.where(middle < turn, solid_cp(material, middle), melt_cp(material, middle))
    sensible = np.concatenate([[0.0], np.cumsum(cp * np.diff(at))])
    share = np.clip((at - least) / (most - least), 0, 1)
    latent = material.crystallinity.value * material.fusion.value * (share - share[0])
    return Curve(at, sensible + latent)


def _between(material: Material, low: float, high: float) -> float:
    """Integral of the solid's cp, exact: the table's corners are among the points."""
    if high <= low:
        return 0.0
    corners = [t for t, _ in material.solid_cp.points if low < t < high]
    at = np.array([low, *corners, high])
    return float(np.trapezoid(solid_cp(material, at), at))


def _ordered(hot: float, cold: float) -> None:
    for name, value in (("melt_temperature", hot), ("cast_temperature", cold)):
        within(name, value, LEAST, MOST, "K")
    if not hot > cold:
        true = f"it must lie above the {cold:g} K that the film is cooled to"
        raise BadValue("melt_temperature", hot, true, "give both in kelvin, the hotter as melt")
