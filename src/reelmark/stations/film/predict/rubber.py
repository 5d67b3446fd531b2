"""Why pressure does not hold the gauge of a film drawn as a solid: one ring of it, stretched like rubber.

The stretch along is set by the nips at lz; the ring is blown to the stretch l across.  With a strain energy that
hardens towards a greatest stretch, I1 - 3 < Jm,

    dp = (G h0 / (r0 lz)) (1 - 1/(l^4 lz^2)) Jm / (Jm - I1 + 3)            I1 = l^2 + lz^2 + 1/(l lz)^2
    d ln p / d ln l = 4 x / (1 - x) + 2 (l^2 - (l lz)^-2) / (Jm - I1 + 3)  x = 1 / (l^4 lz^2)

Without hardening (Jm endless) the second is nearly nothing at 7 x 6: pressure settles no width.  Hardening does.
Source: derived from the limited-stretch law with the hoop balance of ``bubble``; a reduced model, without time or heat.
"""

from dataclasses import dataclass
from math import inf, isinf

from reelmark.errors import BadValue
from reelmark.measure.given import within

__all__ = ["Held", "held"]


@dataclass(frozen=True, slots=True)
class Held:
    """pressure in G h0 / r0; pressure_to_width = d ln p / d ln l; gauge_to_pressure = d ln h / d ln p at fixed lz."""

    pressure: float
    pressure_to_width: float
    gauge_to_pressure: float


def held(across: float, along: float, hardening: float = inf) -> Held:
    """Pressure and its slope at these stretches.  BadValue where the law ends: I1 - 3 at or beyond Jm."""
    within("draw_across", across, 1.0, 100, "")
    within("draw_along", along, 1.0, 100, "")
    invariant = across**2 + along**2 + 1 / (across * along) ** 2
    if not hardening > invariant - 3:
        true = f"these draws need {invariant - 3:.4g}, so the law says the film cannot be stretched so far"
        raise BadValue("hardening", hardening, true, "draw less, or fit Jm to a stretching test")
    x = 1 / (across**4 * along**2)
    left = hardening - invariant + 3
    factor, stiff = (1.0, 0.0) if isinf(hardening) else (hardening / left, 2 / left)
    slope = (4 * x / (1 - x) if x < 1 else inf) + stiff * (across**2 - (across * along) ** -2)
    return Held((1 - x) / along * factor, slope, -1 / slope)
