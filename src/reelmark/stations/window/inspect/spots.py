"""How large a hole is, from the light spot that the lens makes of it.

A disc of diameter D under a Gaussian lens of standard deviation s gives at r from its middle

    P(r) = F(D2 / 4 s2; 2, r2 / s2)        F the non-central chi-squared distribution of two degrees

(the chance that a point strewn by the lens about r falls within the disc).  The diameter at half of the peak is 2.355 s
of a point and D of a large disc; between them it is worked out and read back.  Below some 1.5 s it hardly tells D.
"""

from functools import lru_cache

import numpy as np

from reelmark.frames import Picture
from reelmark.stations.window.inspect.looked import Floats

__all__ = ["hole_across"]

_FINER = 8
_FULL = 250  # of the coat's grey brought to the usual: lighter is read from the picture itself


def hole_across(raw: Picture, grey: Picture, box: tuple[int, int, int, int], spread: float) -> float:
    """Diameter of a hole, px, half a pixel at least.  box : column, row, columns, rows of what stands out

    raw : the picture;  grey : the same with windows painted out and the coat's grey brought to the usual
    """
    import cv2

    x, y, wide, high = box
    spare = max(4, max(wide, high) // 2)
    part = np.s_[max(y - spare, 0) : y + high + spare, max(x - spare, 0) : x + wide + spare]
    light = _light(raw[part], grey[part])
    rim = np.concatenate([light[0], light[-1], light[:, 0], light[:, -1]])
    fine = cv2.resize(light, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_CUBIC)
    level = float(np.median(rim))
    lit = (fine > (level + float(light[_within(part, box)].max())) / 2).astype(np.uint8)
    area = float(_largest(lit)) / _FINER**2
    return _true(float(np.sqrt(4 * area / np.pi)), spread)


def _within(part: tuple[slice, slice], box: tuple[int, int, int, int]) -> tuple[slice, slice]:
    x, y, wide, high = box
    top, left = y - part[0].start, x - part[1].start
    return slice(top, top + high), slice(left, left + wide)


def _light(raw: Picture, grey: Picture) -> Floats:
    """Grey of the picture, windows painted out: where the painted one is full, the picture's own."""
    coat = grey < _FULL
    many = float(grey[coat].sum())
    scale = float(raw[coat].sum()) / many if many else 1.0
    return np.where(coat, grey * np.float32(scale), raw).astype(np.float32)


def _largest(lit: Picture) -> int:
    """Points of the largest connected part."""
    import cv2

    _, _, told, _ = cv2.connectedComponentsWithStats(lit, connectivity=4)
    return int(told[1:, cv2.CC_STAT_AREA].max(initial=0))


def _true(across: float, spread: float) -> float:
    """The disc's diameter whose spot is so wide at half of its peak."""
    disc, spot = _spots()
    s = max(spread, 0.1)
    return max(0.5, float(np.interp(across / s, spot, disc) * s) if across < spot[-1] * s else across)


@lru_cache(maxsize=1)
def _spots() -> tuple[Floats, Floats]:
    """(D, diameter at half of the peak) of discs, both over s."""
    from scipy.stats import ncx2

    disc = np.linspace(0.05, 12, 80)
    r = np.linspace(0, 7.5, 400)
    half = []
    for d in disc:
        p = np.asarray(ncx2.cdf(d * d / 4, 2, r * r))
        half.append(2 * float(np.interp(-p[0] / 2, -p, r)))
    return disc, np.maximum.accumulate(np.array(half))
