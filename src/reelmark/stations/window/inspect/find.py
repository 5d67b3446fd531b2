"""Bright patches of a picture: threshold on a subsample, outer contours.

Labels are not needed: contours of a sparse picture cost a thirtieth of labelling it (project's notes on vision, 2/3).
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture, WindowLayout
from reelmark.stations.window.inspect.looked import Floats

__all__ = ["Patches", "Tones", "otsu", "patches", "stride_for", "thin", "tones"]


@dataclass(frozen=True, slots=True)
class Tones:
    """Greys.  limit : between coat and windows (Otsu);  low, high : medians below and above it;  clear : share above"""

    limit: float
    low: float
    high: float
    clear: float
    at_255: float


@dataclass(frozen=True, slots=True)
class Patches:
    """Bright patches, in pixels of the whole picture.  middle : (n, 2) x, y;  box : (n, 4) x, y, wide, high

    whole : (n,) not cut by the picture's edge: only the middles of these are places of windows
    """

    middle: Floats
    box: Floats
    area: Floats
    whole: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.area)


def stride_for(layout: WindowLayout) -> int:
    """Every how manieth pixel is enough: eight over the smallest side of a window."""
    side = min(min(one.across_mm, one.along_mm) for one in layout.windows) / layout.mm_per_pixel
    return int(np.clip(side // 8, 1, 16))


def thin(picture: Picture, stride: int) -> Picture:
    """Every stride-th pixel each way: the subsample."""
    from reelmark.stations.window.inspect.kernels_windows import thinned

    few: Picture = thinned(np.ascontiguousarray(picture), stride)
    return few


def tones(few: Picture) -> Tones:
    """Of a subsample, by Otsu's threshold: the one that parts the greys into the two most unlike classes."""
    from reelmark.stations.window.inspect.kernels_windows import counted

    many: Floats = counted(few).sum(axis=0).astype(float)
    limit = otsu(many)
    cut = int(limit) + 1
    low, high = _median(many[:cut], 0), _median(many[cut:], cut)
    clear = float(many[cut:].sum())
    between = (low + high) / 2  # Otsu leans to the larger class; the middle is where an edge is half clear
    return Tones(between, low, high, clear / max(many.sum(), 1), float(many[255]) / max(clear, 1.0))


def otsu(many: Floats) -> int:
    """The grey up to which the lower class reaches: largest variance between the classes."""
    grey = np.arange(len(many))
    below, sum_below = np.cumsum(many, dtype=float)[:-1], np.cumsum(many * grey, dtype=float)[:-1]
    total, whole = float(many.sum()), float((many * grey).sum())
    between = (whole * below - total * sum_below) ** 2 / np.maximum(below * (total - below), 1e-9)
    return int(between.argmax())


def _median(many: Floats, start: int) -> float:
    """Of a histogram; its own start where it is empty."""
    up = np.cumsum(many)
    return float(start) if not up.size or up[-1] == 0 else float(start + np.searchsorted(up, up[-1] / 2))


def patches(few: Picture, limit: float, stride: int) -> Patches:
    """All brighter than `limit`; `few` is every stride-th pixel each way."""
    import cv2

    from reelmark.stations.window.inspect.kernels_windows import outlines

    binary = cv2.threshold(few, limit, 255, cv2.THRESH_BINARY)[1]
    found: Any = cv2.findContours(binary, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    if not found:
        return Patches(np.zeros((0, 2)), np.zeros((0, 4)), np.zeros(0), np.zeros(0, bool))
    got = outlines(np.concatenate(found)[:, 0], np.cumsum([len(one) for one in found]))
    got = got[(got[:, 4] >= 3) & (got[:, 5] >= 3) & (got[:, 6] > 0)]
    stop = got[:, 2:4] + got[:, 4:6]
    whole = ((got[:, 2:4] > 0) & (stop < (few.shape[1], few.shape[0]))).all(axis=1)
    got *= stride
    return Patches(got[:, :2], got[:, 2:6], got[:, 6] * stride, whole)
