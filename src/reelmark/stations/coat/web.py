"""The web as it is pulled, warmed and shrunk: strain, pitch, and what a cylinder of fixed repeat makes of it.

    eps = T / (E t)    neck-in = nu eps w    free dL = L a dT    held dT_pull = E t a dT    pitch off = C / (1 + eps)

T pull in N/m, E modulus along, t gauge, C the cylinder's repeat.  SI.  Steady strain gives no error between units of
equal cylinders; it is the pitch that is left for the next *pass* that does not fit.
Valid for small elastic strain; creep of a wound roll is not in it.  Source: Hooke's law, geometry.
"""

from dataclasses import dataclass
from typing import Final

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.measure.known import Known, Sourced

__all__ = ["WEB", "Pitch", "Web", "between_passes", "expansion", "held_tension", "neck_in", "pull", "strain", "stretch"]

EXAMPLE: Final = "assumed for an example: measure it on the coater"


@dataclass(frozen=True, slots=True)
class Web(Sourced):
    """The coater's way of the web.  SI.

    tension : N/m, at the printing units;  repeat : of the cylinders;  units : coats laid in one pass
    dryer_shrink : share of the length that a dryer takes for good;  expansion : 1/K, along
    heat_step : K between the place of printing and the roll;  span : m from unit to unit;  tension_step : N/m
    most_coats : coats a side that the works lays
    error_* : parts of the register budget, m, one sigma level and independent
    """

    tension: Known
    repeat: Known
    units: Known
    dryer_shrink: Known
    expansion: Known
    heat_step: Known
    span: Known
    tension_step: Known
    most_coats: Known
    error_cylinder: Known
    error_drive: Known
    error_sensor: Known
    error_across: Known

    def __post_init__(self) -> None:
        for name, (least, most) in BOUNDS.items():
            known: Known = getattr(self, name)
            within(name, known.value, least, most, known.unit)
        for name in ("units", "most_coats"):
            value = getattr(self, name).value
            if value != int(value):
                raise BadValue(name, value, "it counts whole ones", "give a whole number")


BOUNDS: Final = {
    "tension": (1.0, 2000.0), "repeat": (0.05, 5.0), "units": (1.0, 20.0), "dryer_shrink": (0.0, 0.05),
    "expansion": (0.0, 1e-3), "heat_step": (-100.0, 100.0), "span": (0.1, 100.0), "tension_step": (-500.0, 500.0),
    "most_coats": (1.0, 20.0), "error_cylinder": (0.0, 1e-3), "error_drive": (0.0, 1e-3),
    "error_sensor": (0.0, 1e-3), "error_across": (0.0, 1e-3),
}  # fmt: skip

WEB: Final = Web(
    tension=Known(150.0, "N/m", EXAMPLE),
    repeat=Known(0.6, "m", EXAMPLE),
    units=Known(5.0, "1", "assumed for an example: printing units in line"),
    dryer_shrink=Known(5e-4, "1", EXAMPLE),
    expansion=Known(1e-4, "1/K", "from memory, oriented PP; a handbook row of unoriented reads 1.43e-4"),
    heat_step=Known(5.0, "K", EXAMPLE),
    span=Known(3.0, "m", EXAMPLE),
    tension_step=Known(10.0, "N/m", EXAMPLE),
    most_coats=Known(5.0, "1", "common practice, no source"),
    error_cylinder=Known(15e-6, "m", EXAMPLE),
    error_drive=Known(10e-6, "m", EXAMPLE),
    error_sensor=Known(20e-6, "m", EXAMPLE),
    error_across=Known(30e-6, "m", EXAMPLE),
)
MOST_STRAIN: Final = 0.02  # beyond it oriented PP yields (from memory) and Hooke no longer holds


def strain(tension: float, modulus: float, gauge: float) -> float:
    """A share of the length.  BadValue where the web would yield."""
    found = tension / (modulus * gauge)
    if not abs(found) <= MOST_STRAIN:
        true = f"it strains the web by {found:.2%}, and Hooke's law ends near {MOST_STRAIN:.0%}"
        raise BadValue("tension", f"{tension:g} N/m", true, "pull less, or look at gauge and modulus")
    return found


def pull(modulus: float, gauge: float, eps: float) -> float:
    """N/m that a strain, or a draw between nips, asks for."""
    return modulus * gauge * eps


def stretch(repeat: float, eps: float) -> float:
    """M by which one repeat of slack web is longer under the strain."""
    return repeat * eps


def neck_in(width: float, eps: float, poisson: float) -> float:
    """M by which the web is narrower."""
    return poisson * eps * width


def expansion(repeat: float, coefficient: float, step: float) -> float:
    """M by which a free repeat grows with so many K."""
    return repeat * coefficient * step


def held_tension(modulus: float, gauge: float, coefficient: float, step: float) -> float:
    """N/m that a web loses when it is warmed by so many K between nips that hold its length."""
    return pull(modulus, gauge, coefficient * step)


@dataclass(frozen=True, slots=True)
class Pitch:
    """relaxed, shrunk : pitch off the first pass and after the dryer, m;  fit : strain that brings it to the repeat
    tension : N/m for that strain;  off : m a repeat if the next pass pulls as the first;  sheet : m over a sheet"""

    relaxed: float
    shrunk: float
    fit: float
    tension: float
    off: float
    sheet: float


def between_passes(
    repeat: float,
    eps: float,
    shrink: float,
    stiffness: float,
    repeats_a_sheet: float = 1.0,
    eps_next: float | None = None,
) -> Pitch:
    """What the next pass meets.  stiffness : E t, N/m;  eps_next : its strain, None: as the first."""
    within("shrink", shrink, 0.0, 0.05, "as a share of 1")
    relaxed = repeat / (1 + eps)
    shrunk = relaxed * (1 - shrink)
    fit = repeat / shrunk - 1
    off = shrunk * (1 + (eps if eps_next is None else eps_next)) - repeat
    return Pitch(relaxed, shrunk, fit, fit * stiffness, off, off * repeats_a_sheet)
