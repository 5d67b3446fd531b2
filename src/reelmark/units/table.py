"""Every unit factor of the program, each with its source.

A unit not here is added here, with the paper that gives its factor, and nowhere else.
"""

from dataclasses import dataclass
from decimal import Decimal
from typing import Final


@dataclass(frozen=True, slots=True)
class Dimension:
    """What kind of quantity: its name with the article, its SI unit, an example, and the least it can be."""

    name: str
    si: str
    example: str
    least: Decimal | None = None

    @property
    def noun(self) -> str:
        """The name without its article."""
        return self.name.split(" ", 1)[1]


@dataclass(frozen=True, slots=True)
class Unit:
    """One unit: value in SI = value * times / over + offset.  Two whole numbers keep 1/60 and 1/3.6 exact."""

    symbol: str
    dimension: Dimension
    times: Decimal
    over: Decimal
    offset: Decimal
    source: str


LENGTH: Final = Dimension("a length", "m", "8 km")
AREA: Final = Dimension("an area", "m2", "0.5 m2")
MASS: Final = Dimension("a mass", "kg", "1.5 t")
TIME: Final = Dimension("a time", "s", "8 h")
SPEED: Final = Dimension("a speed", "m/s", "150 m/min")
TEMPERATURE: Final = Dimension("a temperature", "K", "190 degC", least=Decimal(0))
TEMPERATURE_STEP: Final = Dimension("a temperature difference", "K", "5 K")
PRESSURE: Final = Dimension("a pressure", "Pa", "6 bar")
FORCE: Final = Dimension("a force", "N", "12 kN")
TENSION: Final = Dimension("a web tension", "N/m", "120 N/m")
POWER: Final = Dimension("a power", "W", "45 kW")
ENERGY: Final = Dimension("an energy", "J", "3 kJ")
DENSITY: Final = Dimension("a density", "kg/m3", "0.91 g/cm3")
GRAMMAGE: Final = Dimension("a mass per area", "kg/m2", "12 g/m2")
MASS_FLOW: Final = Dimension("a mass flow", "kg/s", "500 kg/h")
VISCOSITY: Final = Dimension("a viscosity", "Pa.s", "900 Pa.s")
FRACTION: Final = Dimension("a fraction", "1", "2.5 %")

# BIPM, The International System of Units (SI), 9th edition, 2019.
BASE = "SI Brochure, 9th ed., 2.3, table 2"
NAMED = "SI Brochure, 9th ed., 2.3.4, table 4"
DERIVED = "SI Brochure, 9th ed., 2.3.4, tables 5 and 6"
PREFIX = "SI Brochure, 9th ed., chapter 3, table 7"
BESIDE = "SI Brochure, 9th ed., chapter 4, table 8"
CELSIUS = "SI Brochure, 9th ed., 2.3.4: t/degC = T/K - 273.15"
NUMBER = "SI Brochure, 9th ed., 5.4.7"
# Thompson and Taylor, Guide for the Use of the SI, NIST Special Publication 811, 2008.
GUIDE = "NIST SP 811, 2008, appendix B.8"

UNITS: Final[tuple[Unit, ...]] = tuple(
    Unit(symbol, dimension, Decimal(times), Decimal(over), Decimal(offset), source)
    for symbol, dimension, times, over, offset, source in (
        ("nm", LENGTH, "1e-9", 1, 0, PREFIX),
        ("um", LENGTH, "1e-6", 1, 0, PREFIX),
        ("mm", LENGTH, "1e-3", 1, 0, PREFIX),
        ("cm", LENGTH, "1e-2", 1, 0, PREFIX),
        ("m", LENGTH, 1, 1, 0, BASE),
        ("km", LENGTH, 1000, 1, 0, PREFIX),
        ("mm2", AREA, "1e-6", 1, 0, PREFIX),
        ("cm2", AREA, "1e-4", 1, 0, PREFIX),
        ("m2", AREA, 1, 1, 0, DERIVED),
        ("mg", MASS, "1e-6", 1, 0, PREFIX),
        ("g", MASS, "1e-3", 1, 0, PREFIX),
        ("kg", MASS, 1, 1, 0, BASE),
        ("t", MASS, 1000, 1, 0, BESIDE),
        ("ms", TIME, "1e-3", 1, 0, PREFIX),
        ("s", TIME, 1, 1, 0, BASE),
        ("min", TIME, 60, 1, 0, BESIDE),
        ("h", TIME, 3600, 1, 0, BESIDE),
        ("d", TIME, 86400, 1, 0, BESIDE),
        ("mm/s", SPEED, "1e-3", 1, 0, PREFIX),
        ("m/s", SPEED, 1, 1, 0, DERIVED),
        ("m/min", SPEED, 1, 60, 0, BESIDE),
        ("km/h", SPEED, 1000, 3600, 0, BESIDE),
        ("K", TEMPERATURE, 1, 1, 0, BASE),
        ("degC", TEMPERATURE, 1, 1, "273.15", CELSIUS),
        ("K", TEMPERATURE_STEP, 1, 1, 0, BASE),
        ("Pa", PRESSURE, 1, 1, 0, NAMED),
        ("kPa", PRESSURE, 1000, 1, 0, PREFIX),
        ("MPa", PRESSURE, 1000000, 1, 0, PREFIX),
        ("bar", PRESSURE, 100000, 1, 0, GUIDE),
        ("N", FORCE, 1, 1, 0, NAMED),
        ("kN", FORCE, 1000, 1, 0, PREFIX),
        ("N/m", TENSION, 1, 1, 0, DERIVED),
        ("W", POWER, 1, 1, 0, NAMED),
        ("kW", POWER, 1000, 1, 0, PREFIX),
        ("J", ENERGY, 1, 1, 0, NAMED),
        ("kJ", ENERGY, 1000, 1, 0, PREFIX),
        ("MJ", ENERGY, 1000000, 1, 0, PREFIX),
        ("kWh", ENERGY, 3600000, 1, 0, GUIDE),
        ("kg/m3", DENSITY, 1, 1, 0, DERIVED),
        ("g/cm3", DENSITY, 1000, 1, 0, PREFIX),
        ("kg/m2", GRAMMAGE, 1, 1, 0, DERIVED),
        ("g/m2", GRAMMAGE, "1e-3", 1, 0, PREFIX),
        ("kg/s", MASS_FLOW, 1, 1, 0, DERIVED),
        ("kg/h", MASS_FLOW, 1, 3600, 0, BESIDE),
        ("Pa.s", VISCOSITY, 1, 1, 0, DERIVED),
        ("1", FRACTION, 1, 1, 0, NUMBER),
        ("%", FRACTION, "1e-2", 1, 0, NUMBER),
    )
)
DIMENSIONS: Final[tuple[Dimension, ...]] = tuple(dict.fromkeys(one.dimension for one in UNITS))
