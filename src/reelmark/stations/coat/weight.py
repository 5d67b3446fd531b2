"""Coat weight dry and wet, the ink for an area less its windows, and the cells that carry it.

    dry = X rho_d    wet = dry / s    solvent = wet - dry    ink = wet area (1 - windows)    cell = wet / (rho_ink tau)

X dry thickness, rho_d density of the dry coat, s solids by mass, tau the share of a cell that leaves it.  SI.
Source: conservation of mass.
"""

from dataclasses import dataclass
from typing import Final

from reelmark.measure.given import SHARE, within
from reelmark.measure.known import Known, Sourced

__all__ = ["INK", "Ink", "Weight", "ink_for", "weight"]

MEMORY: Final = "from memory: put the maker's data sheet in its place"


@dataclass(frozen=True, slots=True)
class Ink(Sourced):
    """The ink as delivered to the cells.  SI.

    dry_density : of the dry coat;  solids : dry share of the wet ink, by mass;  wet_density : of the ink
    transfer : share of a cell's ink that the film takes;  windows : share of the web left clear
    """

    dry_density: Known
    solids: Known
    wet_density: Known
    transfer: Known
    windows: Known

    def __post_init__(self) -> None:
        within("dry_density", self.dry_density.value, 300, 5000, "kg/m3")
        within("wet_density", self.wet_density.value, 300, 5000, "kg/m3")
        for name, least in (("solids", 0.01), ("transfer", 0.01), ("windows", 0.0)):
            within(name, getattr(self, name).value, least, 0.9 if name == "windows" else 1.0, SHARE)


INK: Final = Ink(
    dry_density=Known(1650.0, "kg/m3", MEMORY),
    solids=Known(0.50, "1", MEMORY),
    wet_density=Known(1150.0, "kg/m3", MEMORY),
    transfer=Known(0.50, "1", MEMORY),
    windows=Known(0.03, "1", "assumed for an example: take it from the note's layout"),
)


@dataclass(frozen=True, slots=True)
class Weight:
    """Of one coat where it is laid: dry, wet, solvent, kg/m2;  cells : m3 of cell for a m2 of web."""

    dry: float
    wet: float
    solvent: float
    cells: float


def weight(ink: Ink, thickness: float) -> Weight:
    """Of a coat of this dry thickness, m."""
    dry = within("coat", thickness, 1e-8, 1e-4, "m") * ink.dry_density.value
    wet = dry / ink.solids.value
    return Weight(dry, wet, wet - dry, wet / (ink.wet_density.value * ink.transfer.value))


def ink_for(ink: Ink, thickness: float, length: float, width: float) -> float:
    """Kg of wet ink for one coat on so much web, the windows left out; what stays in the pan is not in it."""
    within("length", length, 0.0, 1e9, "m")
    within("width", width, 0.01, 20.0, "m")
    return weight(ink, thickness).wet * length * width * (1 - ink.windows.value)
