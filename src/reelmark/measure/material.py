"""The polymer, its film and its stack, as numbers that say where they come from (``known``).

>>> ours = POLYPROPYLENE.over("our laboratory, lot 12", density=910)
>>> ours.density
Known(value=910.0, unit='kg/m3', source='our laboratory, lot 12')
"""

import math
from dataclasses import dataclass
from typing import Final

from reelmark.errors import BadValue
from reelmark.measure.known import Known, Sourced, Table

__all__ = ["KELVIN", "POLYPROPYLENE", "Material"]

HANDBOOK: Final = "Springer Handbook of Condensed Matter and Materials Data, table 3.3-6, as excerpted"
MEMORY: Final = "from memory: verify before quoting"
KELVIN: Final = 273.15


@dataclass(frozen=True, slots=True)
class Material(Sourced):
    """One film polymer.  All values SI; BadValue where one is not finite or has the wrong sign.

    density, melt_density, cooling_density : of the film, the melt, and the mean on the way from one to the other
    solid_cp : table; melt_cp = melt_cp_at_zero + melt_cp_rise * T with T in K
    fusion, crystallinity : heat of fusion of full crystal, and the share of it that freezes
    freezing, melting_from, melting_to : where heat changes from melt to solid, and the range the latent heat lies in
    conductivity : of the wall as it cools; diffusivity is never given, but taken as k / (rho c)
    youngs_modulus, poisson : along the web
    stack_k1, stack_k2 : radial modulus of the stack at pressure P is K2 (K1 + P), Pfeiffer's form
    hardening : Jm of the limited-stretch law, the most that I1 - 3 can be
    draw_limit : the most the film may be stretched either way before it breaks
    """

    density: Known
    melt_density: Known
    cooling_density: Known
    solid_cp: Table
    melt_cp_at_zero: Known
    melt_cp_rise: Known
    fusion: Known
    crystallinity: Known
    freezing: Known
    melting_from: Known
    melting_to: Known
    conductivity: Known
    youngs_modulus: Known
    poisson: Known
    stack_k1: Known
    stack_k2: Known
    hardening: Known
    draw_limit: Known

    def __post_init__(self) -> None:
        _signs(self)
        for name in ("density", "melt_density", "cooling_density"):
            value = getattr(self, name).value
            if not 300 <= value <= 3000:
                true = "no polymer weighs that: 300 to 3,000 kg/m3"
                raise BadValue(name, value, true, "write 905 kg/m3 or 0.905 g/cm3, and 905 where SI is asked")
        if self.draw_limit.value < 1:
            raise BadValue("draw_limit", self.draw_limit.value, "film is not drawn by less than 1", "give 7 for 7 : 1")
        if self.crystallinity.value > 1:
            raise BadValue("crystallinity", self.crystallinity.value, "it is a share of 1", "write 0.45 for 45 %")
        if not self.melting_from.value < self.freezing.value < self.melting_to.value:
            true = f"the range is {self.melting_from.value:g} to {self.melting_to.value:g} K"
            raise BadValue("freezing", self.freezing.value, true, "take a temperature inside the melting range, in K")

    def diffusivity(self, cp: float) -> float:
        """a = k / (rho c), m2/s, of the cooling wall, for one heat capacity in J/(kg K).

        A published 5.53e-7 m2/s near melting (abstract on researcher.life) is 6 to 7 times this: not used.
        """
        return self.conductivity.value / (self.cooling_density.value * cp)


def _signs(one: Material) -> None:
    for name, known in one.items():
        if isinstance(known, Known) and not (math.isfinite(known.value) and known.value > 0):
            if name == "fusion" and known.value == 0:  # a polymer that does not crystallise
                continue
            raise BadValue(name, known.value, "it must be finite and above zero", f"give it in {known.unit}")


def _cp_table() -> Table:
    # The excerpt lists eight values for nine temperatures; 1.68 at 20 degC is confirmed there, so they are aligned
    # on it.  A second source for about 25 degC: 1.6395 J/(g K) for full crystal, NIST WebBook C25085534.
    cold = ((-200, 460), (-150, 770), (-100, 1030), (-50, 1280), (0, 1570), (20, 1680), (50, 1920), (100, 2350))
    return Table(tuple((t + KELVIN, float(cp)) for t, cp in cold), "J/(kg K)", HANDBOOK)


MOLAR: Final = 0.0420797  # kg/mol of C3H6, NIST WebBook C25085534

POLYPROPYLENE: Final = Material(
    density=Known(905.0, "kg/m3", "range 902 to 907, china-sups.com, table of biaxially oriented PP, row ASTM D1505"),
    melt_density=Known(740.0, "kg/m3", MEMORY),
    cooling_density=Known(850.0, "kg/m3", "assumed: between melt and film"),
    solid_cp=_cp_table(),
    melt_cp_at_zero=Known(42.956 / MOLAR, "J/(kg K)", MEMORY),
    melt_cp_rise=Known(0.15129 / MOLAR, "J/(kg K2)", MEMORY),
    fusion=Known(207e3, "J/kg", "from memory: 8.7 kJ/mol, full crystal; verify before quoting"),
    crystallinity=Known(0.45, "1", "assumed"),
    freezing=Known(115 + KELVIN, "K", "assumed"),
    melting_from=Known(105 + KELVIN, "K", "assumed: latent heat spread over 105 to 125 degC"),
    melting_to=Known(125 + KELVIN, "K", "assumed: latent heat spread over 105 to 125 degC"),
    conductivity=Known(0.20, "W/(m K)", HANDBOOK + ", 0.20 hot and 0.22 at 20 to 50 degC, columns uncertain"),
    youngs_modulus=Known(2e9, "Pa", "1.7 to 2.5 GPa, inkjet-media.com, data of oriented PP"),
    poisson=Known(0.3, "1", MEMORY),
    stack_k1=Known(1.5e3, "Pa", "from memory: must be measured on a stack of this film"),
    stack_k2=Known(150.0, "1", "from memory: must be measured on a stack of this film"),
    hardening=Known(120.0, "1", "assumed: fit it to a stretching test of the cast film"),
    draw_limit=Known(10.0, "1", "from memory: tubular film is drawn 6 to 7 each way; the break must be measured"),
)
