"""What is wanted of the coater: the one argument of ``settings``.  SI inside."""

from dataclasses import dataclass
from typing import Final

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.measure.material import POLYPROPYLENE, Material
from reelmark.stations.coat.cover import Coated
from reelmark.stations.coat.drying import DRYER, Dryer
from reelmark.stations.coat.solvents import Blend, blend_of
from reelmark.stations.coat.web import WEB, Web
from reelmark.stations.coat.weight import INK, Ink

__all__ = ["Recipe"]

SOLVENT: Final = blend_of({"ethyl acetate": 1.0})
SIZES: Final = {  # believable; beyond them the unit is wrong
    "length": (1.0, 1e6, "m"), "order_length": (1.0, 1e9, "m"), "width": (0.01, 20.0, "m"),
    "speed": (0.01, 30.0, "m/s"), "gauge": (5e-6, 5e-4, "m"), "repeats_a_sheet": (0.01, 100.0, "1"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Recipe:
    """Coats and what they are laid on.  None: not asked, and the figures that need it are left empty.

    made : ink, thickness, sides, faces;  coats : a side;  target : opacity in percent, by made's definition
    length : of a roll, m;  order_length : of all web, m;  width : of the web, m;  speed : m/s;  gauge : clear film, m
    repeats_a_sheet : of the cylinder in one sheet
    """

    made: Coated
    coats: int = 5
    target: float | None = None
    length: float | None = None
    order_length: float | None = None
    width: float | None = None
    speed: float | None = None
    gauge: float = 75e-6
    repeats_a_sheet: float = 1.0
    ink: Ink = INK
    solvent: Blend = SOLVENT
    web: Web = WEB
    dryer: Dryer = DRYER
    material: Material = POLYPROPYLENE

    def __post_init__(self) -> None:
        most = int(self.web.most_coats.value)
        if isinstance(self.coats, bool) or not isinstance(self.coats, int) or not 1 <= self.coats <= most:
            true = f"1 to {most} a side are laid here"
            raise BadValue("coats", self.coats, true, "give one of these, or the coater's own --web most_coats=")
        for name, (least, high, unit) in SIZES.items():
            if (value := getattr(self, name)) is not None:
                within(name, value, least, high, unit)

    @property
    def clear(self) -> float:
        """Share of the web that stays clear."""
        return self.ink.windows.value

    @property
    def passes(self) -> int:
        """Through the coater: one side after the other, as many coats at once as it has units."""
        return self.made.sides * -(-self.coats // int(self.web.units.value))
