"""What is wanted of the film line, and what the line is: the one argument of ``settings``.

``Recipe`` holds the engineer's targets, ``Line`` the figures of the line itself.  The line's defaults are examples
and say so; put the works' own in their place with ``Line.over`` before you act on an answer.
"""

from dataclasses import dataclass
from typing import Final

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.measure.known import Known, Sourced
from reelmark.measure.material import KELVIN, POLYPROPYLENE, Material

__all__ = ["LINE", "Line", "Recipe", "TubeAsk"]

EXAMPLE: Final = "assumed for an example: measure it on the line"
TRADE: Final = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Line(Sourced):
    """The line.  All SI.

    melt_temperature, cast_temperature : at the die, and mean of the wall where it leaves the bath
    water_* : bath temperature, its rise through the bath, film coefficient, heat capacity, density
    die_over_tube, die_gap : die diameter over that of the cast tube; lip gap
    melt_volume : melt between screw tip and lips
    draw_stress : in the film as it is drawn, both ways alike
    cast_path, draw_length, hold_length, gauge_path : die to draw zone (bath in it), draw zone, freeze line to nip, nip
        to gauge
    winding_stress, core_modulus : wound into the roll; of the core against pressure
    *_tolerance : relative, one sigma level, independent; roll_width_tolerance is in m
    cast_wall_limit, bath_limit : the thickest wall and the longest bath that a line is built for
    draw_down_least, draw_down_limit : the melt piles up under the die below the one, and breaks above the other
    """

    melt_temperature: Known
    cast_temperature: Known
    water_temperature: Known
    water_rise: Known
    water_coefficient: Known
    water_cp: Known
    water_density: Known
    die_over_tube: Known
    die_gap: Known
    melt_volume: Known
    draw_stress: Known
    cast_path: Known
    draw_length: Known
    hold_length: Known
    gauge_path: Known
    winding_stress: Known
    core_modulus: Known
    output_tolerance: Known
    width_tolerance: Known
    density_tolerance: Known
    speed_tolerance: Known
    roll_length_tolerance: Known
    roll_width_tolerance: Known
    roll_gauge_tolerance: Known
    cast_wall_limit: Known
    bath_limit: Known
    draw_down_least: Known
    draw_down_limit: Known


LINE: Final = Line(
    melt_temperature=Known(250 + KELVIN, "K", TRADE),
    cast_temperature=Known(30 + KELVIN, "K", EXAMPLE),
    water_temperature=Known(15 + KELVIN, "K", EXAMPLE),
    water_rise=Known(5.0, "K", EXAMPLE),
    water_coefficient=Known(1000.0, "W/(m2 K)", "from memory: 500 to 2000 for a water bath"),
    water_cp=Known(4180.0, "J/(kg K)", "from memory"),
    water_density=Known(1000.0, "kg/m3", "from memory"),
    die_over_tube=Known(1.05, "1", EXAMPLE),
    die_gap=Known(4e-3, "m", EXAMPLE),
    melt_volume=Known(0.02, "m3", EXAMPLE),
    draw_stress=Known(25e6, "Pa", "assumed: from memory of the order; measure pressure and width"),
    cast_path=Known(12.0, "m", EXAMPLE),
    draw_length=Known(3.0, "m", EXAMPLE),
    hold_length=Known(4.0, "m", EXAMPLE),
    gauge_path=Known(10.0, "m", EXAMPLE),
    winding_stress=Known(2e6, "Pa", "assumed for an example: 150 N/m on 75 um"),
    core_modulus=Known(8e9, "Pa", EXAMPLE),
    output_tolerance=Known(0.005, "1", EXAMPLE),
    width_tolerance=Known(0.002, "1", EXAMPLE),
    density_tolerance=Known(0.003, "1", EXAMPLE),
    speed_tolerance=Known(0.002, "1", EXAMPLE),
    roll_length_tolerance=Known(0.002, "1", EXAMPLE),
    roll_width_tolerance=Known(1e-3, "m", EXAMPLE),
    roll_gauge_tolerance=Known(0.01, "1", EXAMPLE),
    cast_wall_limit=Known(0.012, "m", TRADE),
    bath_limit=Known(80.0, "m", TRADE),
    draw_down_least=Known(0.5, "1", TRADE),
    draw_down_limit=Known(60.0, "1", TRADE),
)


_TUBES: Final = {"blow_up": (1.02, 10.0, ""), "draw": (1.02, 100.0, ""), "length": (1.0, 30.0, "radii")}  # searched


@dataclass(frozen=True, slots=True)
class TubeAsk:
    """A tube of melt for the thin-film model: blow-up, draw ratio, and length from ring to freeze line in radii."""

    blow_up: float
    draw: float
    length: float

    def __post_init__(self) -> None:
        for name, (least, most, unit) in _TUBES.items():
            within(name, getattr(self, name), least, most, unit)


@dataclass(frozen=True, slots=True)
class Recipe:
    """Targets, SI.  Give exactly three of gauge, width (lay-flat), speed and output; the fourth is found.

    trim : share of the lay-flat width cut off after the nip
    roll_length, core_diameter, air : of each roll; the tube is slit into two webs of one gauge, wound side by side
    order_length : metres of web wanted in all, or None
    cooled_sides : 1, water outside only, or 2
    tube : what to ask of the thin-film model, or None
    """

    gauge: float | None = None
    width: float | None = None
    speed: float | None = None
    output: float | None = None
    draw_across: float = 7.0
    draw_along: float = 6.0
    trim: float = 0.0
    roll_length: float = 8000.0
    core_diameter: float = 0.1524
    air: float = 0.0
    order_length: float | None = None
    cooled_sides: int = 1
    tube: TubeAsk | None = None
    material: Material = POLYPROPYLENE
    line: Line = LINE

    def __post_init__(self) -> None:
        if 1 < self.trim <= 50:
            cure = f'write "{self.trim:g} %" or {self.trim / 100:g} if you mean percent'
            raise BadValue(
                "trim", self.trim, f"it is a share of the width: {self.trim:.0%}, and 50 % is the most", cure
            )
        within("trim", self.trim, 0.0, 0.5, "as a share of 1")
        within("air", self.air, 0.0, 0.5, "as a share of 1")
        within("roll_length", self.roll_length, 10, 1e5, "m")
        within("core_diameter", self.core_diameter, 0.02, 1, "m")
        if self.order_length is not None:
            within("order_length", self.order_length, 1, 1e9, "m")
        for name, known in self.line.items():
            if isinstance(known, Known):
                _line(name, known)
        least, most = self.line.draw_down_least.value, self.line.draw_down_limit.value
        if not least < most:
            true = f"draw_down_limit is {most:g}, and nothing lies between"
            raise BadValue("draw_down_least", least, true, "give the lower one as least")


BOUNDS: Final = {"melt_volume": (1e-5, 10.0), "cast_path": (0.0, 1000.0), "gauge_path": (0.0, 1000.0)}  # believable


def _line(name: str, known: Known) -> None:
    if name in BOUNDS:
        within(name, known.value, *BOUNDS[name], known.unit)
    if not 0 <= known.value < float("inf"):
        raise BadValue(name, known.value, "it must be finite and not below zero", f"give it in {known.unit}")
    if known.unit == "K" and name != "water_rise":
        within(name, known.value, 250, 650, "K")
    if name.endswith("_tolerance"):
        within(name, known.value, 0, 0.5, known.unit)
