"""Units: what people write ("65 um", "8 km") into SI numbers, and back.

Text is read through Decimal, so "50 um" is 0.00005 m to the last digit, and a whole number of micrometres, seconds
or grams comes out as an exact int.  A number without a unit is refused, and so is a comma or a mark between
thousands.  ``table`` holds the factors with their sources, ``text`` reads and shows.

>>> parse("65 um", LENGTH)
Decimal('0.000065')
>>> whole("5214.25 m", "um")
5214250000
>>> metres(5214250000)
'5214.250 m'
>>> show(2.5, "m/min", 1)
'150.0 m/min'
"""

from reelmark.units.table import (
    AREA,
    DENSITY,
    DIMENSIONS,
    ENERGY,
    FORCE,
    FRACTION,
    GRAMMAGE,
    LENGTH,
    MASS,
    MASS_FLOW,
    POWER,
    PRESSURE,
    SPEED,
    TEMPERATURE,
    TEMPERATURE_STEP,
    TENSION,
    TIME,
    UNITS,
    VISCOSITY,
    Dimension,
    Unit,
)
from reelmark.units.text import in_metres, metres, parse, show, whole, written

__all__ = [
    "AREA",
    "DENSITY",
    "DIMENSIONS",
    "ENERGY",
    "FORCE",
    "FRACTION",
    "GRAMMAGE",
    "LENGTH",
    "MASS",
    "MASS_FLOW",
    "POWER",
    "PRESSURE",
    "SPEED",
    "TEMPERATURE",
    "TEMPERATURE_STEP",
    "TENSION",
    "TIME",
    "UNITS",
    "VISCOSITY",
    "Dimension",
    "Unit",
    "in_metres",
    "metres",
    "parse",
    "show",
    "whole",
    "written",
]
