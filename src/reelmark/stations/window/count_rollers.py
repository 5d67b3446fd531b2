"""Rollers that a roll's marks point to: rows of its frames, and holes at one place across, folded at circumferences."""

from collections.abc import Iterable, Mapping
from typing import Final

import numpy as np

from reelmark.frames import WindowLayout
from reelmark.stations.window.count_marks import WindowMark
from reelmark.stations.window.count_part import PartSeen
from reelmark.stations.window.inspect.rollers import Suspect, by_points, by_rows, rows_of

__all__ = ["suspects"]

FRAMES: Final = 150  # that rows are taken of: some 100 m, a hundred turns and more of most rollers
LEAST: Final = 5  # holes at one place across that are looked at
ACROSS_MM: Final = 3.0  # what counts as one place across: weave of the web, assumed


def suspects(
    parts: Iterable[PartSeen], marks: Iterable[WindowMark], layout: WindowLayout, rollers_mm: Mapping[str, float]
) -> list[Suspect]:
    """Each roller once, as it stands out most; empty where no circumference is given."""
    if not rollers_mm:
        return []
    found: dict[str, Suspect] = {}
    for part in parts:
        looks = [(one.encoder_mm, look) for one, look in zip(part.part.sights, part.part.looked, strict=True)][:FRAMES]
        for one in by_rows(*rows_of(looks, layout.mm_per_pixel), rollers_mm) if looks else ():
            found[one.roller] = max(found.get(one.roller, one), one, key=lambda s: s.z)
    holes = sorted((one.across_mm, one.metre_m * 1e3) for one in marks if one.kind == "pinhole")
    edges = np.flatnonzero(np.diff([x for x, _ in holes]) > ACROSS_MM) + 1
    for some in np.split(np.array(holes).reshape(-1, 2), edges):
        for one in by_points(np.sort(some[:, 1]), rollers_mm) if len(some) >= LEAST else ():
            found[one.roller] = max(found.get(one.roller, one), one, key=lambda s: s.z)
    return sorted(found.values(), key=lambda one: -one.z)
