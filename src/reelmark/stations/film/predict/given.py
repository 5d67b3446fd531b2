"""What was given, looked at before any physics: finite, and of a size that the thing can have."""

import math
from numbers import Real

from reelmark.errors import BadValue

__all__ = ["within"]


def within(field: str, value: float, least: float, most: float, unit: str) -> float:
    """The value, finite and in [least, most]; else BadValue, which names both bounds and points to the unit."""
    span = f"{least:g} to {most:g} {unit}".rstrip()
    if isinstance(value, bool) or not isinstance(value, Real) or not math.isfinite(value):
        raise BadValue(field, value, "that is no finite number", f"give one from {span}")
    if not least <= value <= most:
        cure = f"look at its unit, which is {unit} here, or at its sign" if unit else "take one inside"
        raise BadValue(field, value, f"it lies outside {span}", cure)
    return float(value)
