"""Solvents of coats: molar mass, lower flammable limit, heats; and blends of them.

The limits are those of clean air near 20 degC.  A blend's air is the sum of its parts' air, which is Le Chatelier's
rule for lower limits (from memory).  Put the data sheet's own values in their place with ``over``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isfinite
from types import MappingProxyType
from typing import Final

from reelmark.errors import BadValue
from reelmark.measure.known import Known, Sourced

__all__ = ["SOLVENTS", "Blend", "Solvent", "blend_of"]

LIMITS: Final = "IEC 60079-20-1 (2010), by the table of PyPI chemicals 1.5.2"
HEATS: Final = "CRC Handbook, by the tables of PyPI chemicals 1.5.2"
MASSES: Final = "from the formula, by PyPI chemicals 1.5.2"


@dataclass(frozen=True, slots=True)
class Solvent(Sourced):
    """molar_mass kg/mol;  lfl : lower flammable limit, share of the air by volume, infinite where it does not burn
    heat : of vaporisation at the boiling point, J/kg;  cp : of the liquid at 25 degC, J/(kg K)"""

    molar_mass: Known
    lfl: Known
    heat: Known
    cp: Known

    def __post_init__(self) -> None:
        for name, known in self.items():
            if not (isinstance(known, Known) and known.value > 0):
                raise BadValue(name, known, "it must be above 0", "give it in SI")
        if isfinite(self.lfl.value) and self.lfl.value > 0.3:
            true = "a lower limit is a share of 1, and of no solvent above 0.3"
            raise BadValue("lfl", self.lfl.value, true, f"write {self.lfl.value / 100:g} for {self.lfl.value:g} %")


def _solvent(molar_g: float, lfl: float, heat_kj_mol: float, cp_mol: float) -> Solvent:
    limit = LIMITS if isfinite(lfl) else "it does not burn"
    return Solvent(
        Known(molar_g / 1000, "kg/mol", MASSES),
        Known(lfl, "1", limit),
        Known(heat_kj_mol * 1e6 / molar_g, "J/kg", HEATS),
        Known(cp_mol * 1e3 / molar_g, "J/(kg K)", HEATS),
    )


SOLVENTS: Final[Mapping[str, Solvent]] = MappingProxyType({
    "ethyl acetate": _solvent(88.10512, 0.020, 31.94, 170.7),
    "n-propyl acetate": _solvent(102.1317, 0.017, 33.92, 196.2),
    "2-propanol": _solvent(60.09502, 0.020, 39.85, 156.5),
    "1-propanol": _solvent(60.09502, 0.021, 41.44, 143.9),
    "ethanol": _solvent(46.06844, 0.031, 38.56, 112.3),
    "acetone": _solvent(58.07914, 0.025, 29.10, 126.3),
    "2-butanone": _solvent(72.10572, 0.015, 31.30, 158.7),
    "toluene": _solvent(92.13842, 0.010, 33.18, 157.3),
    "water": _solvent(18.01528, inf, 40.65, 75.3),
})  # fmt: skip

Blend = tuple[tuple[str, Solvent, float], ...]  # (name, solvent, share by mass), the shares 1 in all


def blend_of(shares: Mapping[str, float], own: Mapping[str, Solvent] = MappingProxyType({})) -> Blend:
    """The blend of solvents by name and share of mass.  own : solvents of the works, in the place of those here."""
    table = {**SOLVENTS, **own}
    for name, share in shares.items():
        if name not in table:
            raise BadValue("solvent", name, "it is none known here", f"take of {', '.join(table)}")
        if not 0 < share <= 1:
            raise BadValue(f"solvent {name}", share, "its part is a share of 1, above 0", "write 0.7 for 70 %")
    if not shares or abs(sum(shares.values()) - 1) > 1e-6:
        true = f"the parts make {sum(shares.values()):g}"
        raise BadValue("solvent", ", ".join(shares) or "none", true, "let them be 1 in all, by mass")
    return tuple((name, table[name], share) for name, share in shares.items())
