"""How a film is coated, its opacity coat by coat, and the coats needed for a target or what would reach it.

Opacity rises with every coat, with S and with K, and comes near 100 % only slowly; so each question has one answer or
none, found by bisection.  A greyer ink is more opaque and less white: both are told, always together.
Valid as ``layers``.  Source: the definitions of ``opacity`` over the stack of ``layers``.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil

from reelmark.errors import BadValue
from reelmark.measure.given import within
from reelmark.stations.coat.layers import CLEAR, Coat, Layer, layer, over, pile, stack
from reelmark.stations.coat.opacity import WHITE, WHITE_BLACK, Backings, Definition, lightness, opacity
from reelmark.stations.coat.surface import face

__all__ = ["Coated", "Reach", "Shade", "grounds", "percent", "reach", "shade", "sheet", "thickness_for"]

THICKEST = 1e-3  # m of coat in all; nothing above it is a coat
STEPS = 200  # of a bisection; it ends when the halves no longer differ
GREYEST = 1.0  # K/S beyond which nobody calls it white


@dataclass(frozen=True, slots=True)
class Coated:
    """A film with alike coats on one side or on both.

    coat : each; its ink and thickness;  under : of another ink, laid first on each side in the place of a coat
    sides : 1 or 2;  index : of coats and film against the air, 1 leaves the faces out;  gloss : as in ``surface.face``
    film : what the clear film does by itself, in the coats' index
    """

    coat: Coat
    under: Coat | None = None
    sides: int = 2
    index: float = 1.0
    gloss: float = 1.0
    film: Layer = CLEAR
    definition: Definition = Definition.WHITE_BACKING
    backings: Backings = WHITE_BLACK

    def __post_init__(self) -> None:
        if self.sides not in (1, 2):
            raise BadValue("sides", self.sides, "a film has two", "give 1 or 2")
        within("scattering", self.coat.scattering, 1e3, 1e7, "1/m")
        for one in (self.coat, *([self.under] if self.under else [])):
            within("coat", one.thickness, 1e-8, 1e-4, "m")


def sheet(made: Coated, coats: float) -> Layer:
    """The film with so many coats a side; a part of a coat is a thinner one.  Front up."""
    side = _side(made, coats)
    top = face(made.index, made.gloss)
    back = tuple(reversed(side)) if made.sides == 2 else ()
    return stack((top, *side, made.film, *back, face(made.index).flipped()))


def _side(made: Coated, coats: float) -> tuple[Layer, ...]:
    """From the air to the film.  Like coats are one thick coat: the sum over them gives the same."""
    under = min(coats, 1.0) if made.under else 0.0
    white = layer(replace(made.coat, thickness=made.coat.thickness * (coats - under)))
    if made.under is None:
        return (white,)
    return white, layer(replace(made.under, thickness=made.under.thickness * under))


def percent(made: Coated, coats: float, definition: Definition | None = None) -> float:
    """Opacity of so many coats a side, by the film's own definition or another."""
    return opacity(sheet(made, coats), definition or made.definition, made.backings).percent


@dataclass(frozen=True, slots=True)
class Shade:
    """Opacity and whiteness of one ink side by side.

    absorption : K, 1/m;  white, black, own : reflectance over the white body of 89 %, over black, over its own pile
    lightness : CIE L* over the white body
    """

    absorption: float
    percent: float
    white: float
    black: float
    own: float
    lightness: float


def shade(made: Coated, coats: float) -> Shade:
    """How opaque and how white so many coats a side are."""
    one = sheet(made, coats)
    white = over(one, WHITE)
    return Shade(made.coat.absorption, percent(made, coats), white, over(one, 0.0), pile(one), lightness(white))


def grounds(made: Coated, coats: float, absorptions: tuple[float, ...]) -> tuple[Shade, ...]:
    """The same coats with other K, 1/m: greyer is more opaque, and less white."""
    return tuple(shade(_with(made, absorption=k), coats) for k in absorptions)


def thickness_for(made: Coated, target: float) -> float | None:
    """Coat in all, m, on the sides that are coated, that reaches a target in percent; None where no coat does."""
    coats = _rise(lambda n: percent(made, n), target, THICKEST / made.coat.thickness)
    return None if coats is None else made.sides * sum(_laid(made, coats))


def _laid(made: Coated, coats: float) -> tuple[float, float]:
    under = min(coats, 1.0) if made.under else 0.0
    return made.coat.thickness * (coats - under), made.under.thickness * under if made.under else 0.0


@dataclass(frozen=True, slots=True)
class Reach:
    """What a target asks for.  None where nothing of that kind reaches it.

    thickness : m in all;  coats : in all, with their part;  coats_a_side : whole;  reachable : with `most` a side
    thicker_coat : m each, at `most` a side;  scattering, absorption : 1/m that reach it at `most`, all else alike
    grey : the shade at that absorption
    """

    target: float
    most: int
    thickness: float | None
    coats: float | None
    coats_a_side: int | None
    reachable: bool
    thicker_coat: float | None
    scattering: float | None
    absorption: float | None
    grey: Shade | None


def reach(made: Coated, target: float, most: int) -> Reach:
    """Coats for a target in percent, or what would reach it with `most` a side.  BadValue for a target of no film."""
    if not 1 <= target < 100:
        cure = 'write "90 %", and below 100 %: no coat hides all'
        raise BadValue("target", f"{target:g} %", "opacity is asked for from 1 % to below 100 %", cure)
    coats = _rise(lambda n: percent(made, n), target, THICKEST / made.coat.thickness)
    side = None if coats is None else max(1, ceil(coats - 1e-9))
    if side is not None and side <= most:
        return Reach(target, most, thickness_for(made, target), made.sides * _known(coats), side, True, *[None] * 4)
    white = made.coat
    thick = _rise(lambda x: percent(_with(made, thickness=x), most), target, 1e-4, white.thickness)
    more = _rise(lambda s: percent(_with(made, scattering=s), most), target, 1e7, white.scattering)
    grey = _rise(
        lambda k: percent(_with(made, absorption=k), most), target, GREYEST * white.scattering, white.absorption
    )
    told = None if grey is None else shade(_with(made, absorption=grey), most)
    total = None if coats is None else made.sides * coats
    return Reach(target, most, thickness_for(made, target), total, side, False, thick, more, grey, told)


def _known(value: float | None) -> float:
    assert value is not None
    return value


def _with(made: Coated, **changed: float) -> Coated:
    return replace(made, coat=replace(made.coat, **changed))


def _rise(of: Callable[[float], float], target: float, high: float, low: float = 0.0) -> float | None:
    """Where a rising function comes to the target in (low, high]; None where it does not."""
    if high <= low or of(high) < target:
        return None
    for _ in range(STEPS):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        low, high = (middle, high) if of(middle) < target else (low, middle)
    return high
