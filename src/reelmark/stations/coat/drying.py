"""Heat that one dryer needs: solvent, web and the air that must be warmed.  An estimate.

    P = mdot (h_v + cp dT) + m_web cp_web dT v w + Q rho cp_air (T_dryer - T_air)

SI.  Left out: losses of the casing, air that is led back (which saves heat and needs its own gas alarm), heat of the
coat's own solids.  Source: first law; the safety air is the greatest part, as a test holds on an example.
"""

from dataclasses import dataclass
from typing import Final

from reelmark.measure.given import within
from reelmark.measure.known import Known, Sourced
from reelmark.measure.material import KELVIN
from reelmark.stations.coat.solvents import Blend
from reelmark.stations.coat.vapour import GAS, PRESSURE

__all__ = ["DRYER", "Dryer", "DryingHeat", "drying_heat"]

AIR_MOLAR: Final = 0.0289647  # kg/mol, dry air, from memory (US standard atmosphere)


@dataclass(frozen=True, slots=True)
class Dryer(Sourced):
    """One dryer.  SI.

    web_in, dryer_temperature : the web enters at the one and leaves at the other, K;  air_temperature : drawn in
    limit_share : of the lower flammable limit that the vapour may reach;  hot_from, hot_factor : B and where it begins
    air_cp : J/(kg K)
    """

    web_in: Known
    dryer_temperature: Known
    air_temperature: Known
    limit_share: Known
    hot_from: Known
    hot_factor: Known
    air_cp: Known

    def __post_init__(self) -> None:
        for name in ("web_in", "dryer_temperature", "air_temperature", "hot_from"):
            within(name, getattr(self, name).value, 250, 500, "K")
        within("air_cp", self.air_cp.value, 900, 1200, "J/(kg K)")

    @property
    def hot(self) -> float:
        """B at the dryer's temperature."""
        return self.hot_factor.value if self.dryer_temperature.value > self.hot_from.value else 1.0


DRYER: Final = Dryer(
    web_in=Known(23 + KELVIN, "K", "assumed for an example: the room"),
    dryer_temperature=Known(60 + KELVIN, "K", "assumed for an example: set it as the film bears it"),
    air_temperature=Known(20 + KELVIN, "K", "assumed for an example"),
    limit_share=Known(0.25, "1", "NFPA 86, continuous ovens, as told at controlinstruments.com"),
    hot_from=Known(120 + KELVIN, "K", "from memory: about 120 degC"),
    hot_factor=Known(0.7, "1", "from memory"),
    air_cp=Known(1006.0, "J/(kg K)", "from memory"),
)


@dataclass(frozen=True, slots=True)
class DryingHeat:
    """W: to boil the solvent off, to warm it, the web, and the air."""

    latent: float
    solvent: float
    web: float
    air: float

    @property
    def total(self) -> float:
        """Of all four."""
        return self.latent + self.solvent + self.web + self.air


def drying_heat(dryer: Dryer, rate: float, blend: Blend, web: float, web_cp: float, air: float) -> DryingHeat:
    """rate : solvent, kg/s;  web : film, kg/s;  web_cp : J/(kg K);  air : m3/s at the air's temperature."""
    rise = dryer.dryer_temperature.value - dryer.web_in.value
    warmed = dryer.dryer_temperature.value - dryer.air_temperature.value
    density = PRESSURE * AIR_MOLAR / (GAS * dryer.air_temperature.value)
    return DryingHeat(
        latent=sum(rate * part * one.heat.value for _, one, part in blend),
        solvent=sum(rate * part * one.cp.value for _, one, part in blend) * max(rise, 0.0),
        web=web * web_cp * max(rise, 0.0),
        air=air * density * dryer.air_cp.value * max(warmed, 0.0),
    )
