"""What the faces to the air add to the light inside (Saunderson's correction), as layers of their own.

    R = k1 g + (1 - k1)(1 - k2) R' / (1 - k2 R')        k1 from the air, k2 from inside, g share of the gloss measured

k1 and k2 for diffuse light are the mean of Fresnel's reflectance over the hemisphere, weighed by the cosine; light
goes both ways alike, so 1 - k1 = n^2 (1 - k2).  Valid for smooth faces and fully diffuse light.  A rough white coat
lies between this and no correction: say which was used.  Source: Fresnel's equations; ISO 18314-2 names the correction.
"""

from math import sqrt

from reelmark.measure.given import within
from reelmark.stations.coat.layers import Layer

__all__ = ["corrected", "face", "inside", "outside"]

STEPS = 400  # of the midpoint rule in the cosine: 6 digits, as a test holds against the closed form


def face(index: float, gloss: float = 1.0) -> Layer:
    """The face between air, above, and a body of this index, below; index 1 is no face.

    gloss : share of the light thrown back by the face itself that the instrument sees (0: gloss trap)
    """
    within("index", index, 1.0, 3.0, "1")
    within("gloss", gloss, 0.0, 1.0, "as a share of 1")
    if index == 1:
        return Layer(0.0, 0.0, 1.0, 1.0)
    k1 = outside(index)
    return Layer(k1 * gloss, inside(index), 1 - k1, (1 - k1) / index**2)


def outside(index: float) -> float:
    """k1: diffuse light from the air, thrown back by the face."""
    cosines = ((n + 0.5) / STEPS for n in range(STEPS))
    return sum(2 * c * _fresnel(1 - c * c, index) for c in cosines) / STEPS


def inside(index: float) -> float:
    """k2: diffuse light from inside; what meets the face beyond the critical angle all stays in."""
    return 1 - (1 - outside(index)) / index**2


def corrected(body: float, index: float, gloss: float = 1.0) -> float:
    """Measured reflectance of a body that reflects so much inside."""
    one = face(index, gloss)
    return one.front + one.down * one.up * body / (1 - one.back * body)


def _fresnel(sine2: float, index: float) -> float:
    """Unpolarised reflectance of light from the air, sine2 the square of the sine of its angle."""
    before, after = sqrt(1 - sine2), sqrt(1 - sine2 / index**2)
    s = (before - index * after) / (before + index * after)
    p = (index * before - after) / (index * before + after)
    return (s * s + p * p) / 2
