"""Opacity, always with its definition: on one film the definitions differ by points.

    C0.89 = 100 R0 / R0.89      printing opacity, paper backing = 100 R0 / Rpile      ratio = 100 Rblack / Rwhite

Sources: TAPPI T 425 om-21 (white body 89 %, black 0.5 % at most; standardshare.best, ipstesting.com), ISO 2471 and ISO
13655 (texts at ipstesting.com and ulstandardspdf.com).  The model has one kind of light; instruments of different
geometry may differ where these formulas do not.
"""

from dataclasses import dataclass
from enum import Enum
from typing import Final

from reelmark.measure.given import within
from reelmark.stations.coat.layers import Layer, over, pile

__all__ = ["WHITE", "WHITE_BLACK", "Backings", "Definition", "Opacity", "lightness", "opacity"]

BLACK, WHITE = 0.0, 0.89
BRIGHT = 216 / 24389  # CIE 15:2004, (6/29)^3; below it L* is straight


class Definition(Enum):
    """How opacity is defined; the value is the sentence that is stored beside the number."""

    WHITE_BACKING = "C0.89 = 100 R0/R0.89: black body over white body of 89 %, TAPPI T 425 om-21"
    PAPER_BACKING = "100 R0/Rinf: one sheet over black, over a pile of itself, ISO 2471 (paper backing)"
    RATIO = "100 Rblack/Rwhite: over the black and the white backing in use, ISO 13655"
    PRINTING = "printing opacity, 100 R0/Rinf of the pile, as TAPPI T 425 names it; by formula that of paper backing"


@dataclass(frozen=True, slots=True)
class Opacity:
    """percent, and the definition it holds under; two of unlike definition are not to be compared."""

    percent: float
    definition: Definition


@dataclass(frozen=True, slots=True)
class Backings:
    """Reflectances of the backings in use, for the ratio."""

    black: float = BLACK
    white: float = WHITE

    def __post_init__(self) -> None:
        within("black backing", self.black, 0.0, 0.2, "as a share of 1")
        within("white backing", self.white, 0.3, 1.0, "as a share of 1")


WHITE_BLACK: Final = Backings()


def opacity(sheet: Layer, definition: Definition, backings: Backings = WHITE_BLACK) -> Opacity:
    """Of a coated sheet seen from its front; 100 where it reflects nothing, whatever lies below."""
    ratio = definition is Definition.RATIO
    dark = over(sheet, backings.black if ratio else BLACK)
    if ratio:
        light = over(sheet, backings.white)
    else:
        light = over(sheet, WHITE) if definition is Definition.WHITE_BACKING else pile(sheet)
    return Opacity(100 * dark / light if light > 0 else 100.0, definition)


def lightness(reflectance: float) -> float:
    """CIE L* of a neutral of this luminance factor.  Source: CIE 15:2004."""
    within("reflectance", reflectance, 0.0, 1.0, "as a share of 1")
    return 116 * reflectance ** (1 / 3) - 16 if reflectance > BRIGHT else reflectance * 24389 / 27
