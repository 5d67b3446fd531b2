"""What was given, looked at before any physics: finite, and of a size that the thing can have."""

import math
from numbers import Real
from typing import Final

from reelmark.errors import BadValue

__all__ = ["SHOWN", "within"]

SHOWN: Final = {  # SI inside; where people write another unit they are answered in that one
    "gauge": ("um", 1e6), "speed": ("m/min", 60.0), "output": ("kg/h", 3600.0), "die_gap": ("mm", 1e3),
    "core_diameter": ("mm", 1e3), "coat": ("um", 1e6),
    "scattering": ("/um", 1e-6), "absorption": ("/um", 1e-6),
}  # fmt: skip
SHARE: Final = "as a share of 1"


def within(field: str, value: float, least: float, most: float, unit: str) -> float:
    """The value, finite and in [least, most]; else BadValue, which names both bounds and points to the unit."""
    shown, times = SHOWN.get(field, ("" if unit == "1" else unit, 1.0))
    span = f"{least * times:g} to {most * times:,.10g} {shown}".rstrip()
    if isinstance(value, bool) or not isinstance(value, Real) or not math.isfinite(value):
        raise BadValue(field, value, "that is no finite number", f"give one from {span}")
    if not least <= value <= most:
        told = f"{value * times:.6g} {shown}" if field in SHOWN else value
        raise BadValue(field, told, f"it lies outside {span}", _cure(shown))
    return float(value)


def _cure(unit: str) -> str:
    if not unit:
        return "take one inside"
    if unit == SHARE:
        return 'write 2 % as "2 %" or 0.02'
    kelvin = ", which is 273.15 more than in degC," if unit == "K" else ""
    return f"look at its unit, {unit} here{kelvin or ','} and at its sign"
