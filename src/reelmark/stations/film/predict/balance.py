"""Mass along the line: any one of gauge, width, speed and output from the other three, then the cast tube and die.

    mdot = rho h 2 W v    W = pi r    h0 = h TD MD    r0 = r / TD    v0 = v / MD    v_die = mdot / (rho_m pi D g)

h gauge, W lay-flat width before trimming, v line speed, TD and MD draw ratios across and along, D and g diameter and
gap of the die, rho_m melt density.  SI throughout.  Valid in steady running with one density of the solid (a quenched
tube is about 1 % less dense: from memory), and a wall thin beside the radius.
Source: conservation of mass.
"""

from dataclasses import dataclass
from math import hypot, inf, pi, prod

from reelmark.errors import BadValue
from reelmark.measure.given import SHOWN, within

__all__ = ["GAUGE_LEANS", "Cast", "Die", "Flow", "Running", "cast", "die", "gauge_tolerance", "solve"]

# d ln gauge / d ln cause, exactly, from h = mdot / (rho 2 W v).
GAUGE_LEANS = {"output": 1.0, "width": -1.0, "speed": -1.0, "density": -1.0}
# Believable sizes of the four; beyond them the unit is wrong.  From memory, wide on purpose.
BOUNDS = {
    "gauge": (2e-6, 5e-4, "m"),
    "width": (0.05, 20.0, "m"),
    "speed": (1e-3, 30.0, "m/s"),
    "output": (1e-5, 10.0, "kg/s"),
}


@dataclass(frozen=True, slots=True)
class Flow:
    """What is given of the four of ``Running``: None for the one that is wanted."""

    gauge: float | None = None
    width: float | None = None
    speed: float | None = None
    output: float | None = None


@dataclass(frozen=True, slots=True)
class Running:
    """The four of a line that runs, all known: gauge, width (lay-flat), speed (at the nip), output.  SI."""

    gauge: float
    width: float
    speed: float
    output: float


@dataclass(frozen=True, slots=True)
class Cast:
    """The cast tube: wall, radius, speed; and radius of the bubble it is blown to.  m and m/s."""

    wall: float
    radius: float
    speed: float
    bubble_radius: float


@dataclass(frozen=True, slots=True)
class Die:
    """Diameter and gap, speed of the melt in the gap, and draw-down from there to the cast tube."""

    diameter: float
    gap: float
    speed: float
    draw_down: float


def solve(flow: Flow, density: float) -> Running:
    """The flow with its one None found.  BadValue unless exactly three are given, or for one outside its bounds."""
    given = {name: getattr(flow, name) for name in BOUNDS if getattr(flow, name) is not None}
    for name, value in given.items():
        within(name, value, *BOUNDS[name])
    if len(given) != 3:
        true = f"{len(given)} of gauge, width, speed and output are given, and three settle the fourth"
        if len(given) == 4:
            makes = _missing("output", given, 2 * density) * 3600
            true += f": gauge, width and speed make {makes:.5g} kg/h, not {given['output'] * 3600:.5g}"
        raise BadValue("flow", ", ".join(given) or "nothing given", true, "give exactly three of them")
    wanted = next(name for name in BOUNDS if name not in given)
    given[wanted] = _missing(wanted, given, 2 * within("density", density, 300, 3000, "kg/m3"))
    least, most, unit = BOUNDS[wanted]
    if not least <= given[wanted] <= most:
        shown, times = SHOWN.get(wanted, (unit, 1.0))
        made, ends = f"{given[wanted] * times:.4g} {shown}", f"{least * times:g} to {most * times:g}"
        true = f"the other three make it {made}, outside {ends}"
        raise BadValue(wanted, made, true, "look at the units of the other three")
    return Running(**given)


def cast(flow: Running, across: float, along: float, limit: float, thickest: float = inf) -> Cast:
    """The cast tube that is drawn by these ratios to this gauge and width.

    limit : the most the material may be drawn either way; thickest : wall, m, that a line is built for.  BadValue
    beyond them, below a draw of 1, or where the wall would be thicker than the tube is wide: nothing is left inside.
    """
    for name, ratio in (("draw_across", across), ("draw_along", along)):
        if within(name, ratio, -1e6, 1e6, "") < 1:
            raise BadValue(name, ratio, "film is not drawn by less than 1", "give width after over width before")
        if ratio > limit:
            true = f"the material's draw limit is {limit:g}, beyond which it breaks"
            raise BadValue(name, ratio, true, "draw less, or give the limit that was measured for this film")
    bubble = flow.width / pi
    wall, radius = flow.gauge * across * along, bubble / across
    if wall >= radius:
        true = f"a cast wall of {wall * 1e3:.3g} mm in a tube of radius {radius * 1e3:.3g} mm leaves its inside below 0"
        raise BadValue("gauge", flow.gauge, true, "make a thinner or wider film, or draw it less")
    if wall > thickest:
        true = (
            f"{flow.gauge * 1e6:.4g} um drawn {across:g} x {along:g} needs that, and {thickest * 1e3:g} mm is the most"
        )
        cure = "draw it less, make it thinner, or give the line's own cast_wall_limit"
        raise BadValue("cast_wall", f"{wall * 1e3:.3g} mm", true, cure)
    return Cast(wall, radius, flow.speed / along, bubble)


def die(
    output: float,
    tube: Cast,
    melt_density: float,
    diameter: float,
    gap: float,
    believed: tuple[float, float] = (0.0, inf),
) -> Die:
    """Speed in the die gap and draw-down to the tube.  BadValue for a gap of no die.

    believed : the least and the most draw-down that melt can be run with; BadValue outside.
    """
    within("die_gap", gap, 1e-4, 0.05, "m")
    within("die_diameter", diameter, 4 * gap, 10, "m")
    speed = output / (melt_density * pi * diameter * gap)
    down = tube.speed / speed
    if not believed[0] <= down <= believed[1]:
        does = "piles up under the die" if down < believed[0] else "breaks"
        true = f"draw-down is {down:.3g}, and outside {believed[0]:g} to {believed[1]:g} the melt {does}"
        cure = f"take a gap near {gap / down * 1e3:.3g} mm, or give the line's own draw_down_least and draw_down_limit"
        raise BadValue("die_gap", f"{gap * 1e3:g} mm", true, cure)
    return Die(diameter, gap, speed, down)


def gauge_tolerance(**relative: float) -> float:
    """Relative tolerance of the gauge from those of its causes, independent and at one sigma level: root sum square.

    relative : by names of GAUGE_LEANS, such as output=0.005.  Causes that move together add linearly instead.
    """
    for name, value in relative.items():
        if name not in GAUGE_LEANS:
            raise BadValue("tolerance", name, "gauge does not depend on it here", f"take of {', '.join(GAUGE_LEANS)}")
        within(name, value, 0.0, 0.5, "as a share of 1")
    return hypot(*(GAUGE_LEANS[name] * value for name, value in relative.items()))


def _missing(name: str, given: dict[str, float], doubled: float) -> float:
    """mdot = 2 rho h W v, turned to the one that is not given; doubled is 2 rho."""
    if name == "output":
        return doubled * given["gauge"] * given["width"] * given["speed"]
    return given["output"] / (doubled * prod(value for other, value in given.items() if other != "output"))
