"""The coat between the windows: pinholes, streaks, and mean greys along the web; windows painted out.

Eight bits all the way, for speed.  Holes: smooth(3x3) - mean(about 13x13) over k robust sd of the frame.  Streaks:
narrow minus wide means of the column means.  Limits widen where the texture's own tail is longer than a normal one's.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.streaks import Stripe, stripes

__all__ = ["Coat", "Hole", "Room", "look_at_coat"]

_GREY = 90.0  # where the coat's median is brought to: holes of 2.8 times that still differ


@dataclass(frozen=True, slots=True)
class Hole:
    """x, y : middle, px;  box : column, row, columns, rows;  across : diameter of the same area, px;  over : limit"""

    x: float
    y: float
    box: tuple[int, int, int, int]
    across: float
    over: float


class Room:
    """Three pictures to work in, kept from frame to frame: fresh memory would cost as much as the filters."""

    def __init__(self) -> None:
        self.grey: Picture = np.empty((0, 0), np.uint8)
        self.smooth = self.base = self.grey

    def of(self, shape: tuple[int, ...]) -> "Room":
        if self.grey.shape != shape:
            self.grey, self.smooth, self.base = (np.empty(shape, np.uint8) for _ in range(3))
        return self


@dataclass(frozen=True, slots=True)
class Coat:
    """noise : robust sd after filtering, grey of the picture;  rows : mean grey of each row"""

    holes: tuple[Hole, ...]
    stripes: tuple[Stripe, ...]
    noise: float
    rows: Floats


def look_at_coat(
    picture: Picture, boxes: Ints, coat: float, pixel: float, settings: LookSettings, more: bool, room: Room
) -> Coat:
    """boxes : (n, 4) x0, y0, x1, y1 of what is to be painted out;  more : streaks and rows too;  room : to work in"""
    import cv2

    alpha = _GREY / max(coat, 1.0)
    room = room.of(picture.shape)
    cv2.convertScaleAbs(picture, dst=room.grey, alpha=alpha)
    grey = room.grey
    value = _paint(grey, boxes)
    smooth, base, half = _filtered(grey, pixel, settings, room)
    cv2.subtract(smooth, base, dst=smooth)
    over = smooth
    share = 1 - float(_area(boxes)) / grey.size
    sd, limit = _limit(over, share, settings.hole_sd)
    binary = cv2.threshold(over, min(limit, 254), 255, cv2.THRESH_BINARY, dst=base)[1]
    found: Any = cv2.findContours(binary, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]
    holes = tuple(_holes(found, over, limit, settings))
    if not more:
        return Coat(holes, (), sd / alpha, np.empty(0))
    less = np.column_stack([boxes[:, :2] // 2, np.minimum((boxes[:, 2:] + 1) // 2, half.shape[::-1])])
    seen, rows = stripes(half, less, value, 2 * pixel, settings)
    rows = np.pad(np.repeat(rows / alpha, 2), (0, 2), mode="edge")[: grey.shape[0]]
    return Coat(holes, tuple(_doubled(one) for one in seen), sd / alpha, rows)


def _doubled(one: Stripe) -> Stripe:
    return Stripe(2 * one.x + 0.5, 2 * one.wide, 2 * one.top, 2 * one.bottom, one.depth, one.over)


def _area(boxes: Ints) -> int:
    return int(((boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])).sum()) if len(boxes) else 0


def _paint(grey: Picture, boxes: Ints) -> NDArray[np.int64]:
    """Paint each box, in place, with the median grey around it, which is given back."""
    import cv2

    if not len(boxes):
        return np.zeros(0, np.int64)
    rows, columns = grey.shape
    t = np.linspace(0, 1, 9)
    x0, y0, x1, y1 = (boxes[:, k : k + 1] for k in range(4))
    x = np.concatenate([x0 + t * (x1 - x0), x0 + t * (x1 - x0), x0 - 2 + 0 * t, x1 + 1 + 0 * t], axis=1)
    y = np.concatenate([y0 - 2 + 0 * t, y1 + 1 + 0 * t, y0 + t * (y1 - y0), y0 + t * (y1 - y0)], axis=1)
    at = np.clip(y, 0, rows - 1).astype(np.int64) * columns + np.clip(x, 0, columns - 1).astype(np.int64)
    value: NDArray[np.int64] = np.median(grey.ravel().take(at), axis=1).astype(np.int64)
    for box, one in zip(boxes.tolist(), value.tolist(), strict=True):
        cv2.rectangle(grey, (box[0], box[1]), (box[2] - 1, box[3] - 1), one, -1)
    return value


def _filtered(grey: Picture, pixel: float, settings: LookSettings, room: Room) -> tuple[Picture, Picture, Picture]:
    """(smoothed, background, the picture at half its size).  The background is found at a quarter of the size."""
    import cv2

    side = max(3, 2 * int(settings.hole_mm / pixel / 2) + 1)
    if side == 3:
        cv2.GaussianBlur(grey, (3, 3), 0, dst=room.smooth, borderType=cv2.BORDER_REPLICATE)
    else:
        cv2.blur(grey, (side, side), dst=room.smooth)
    half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    few = cv2.resize(half, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    few = cv2.blur(few, (side, side))
    cv2.resize(few, grey.shape[::-1], dst=room.base, interpolation=cv2.INTER_LINEAR)
    return room.smooth, room.base, np.asarray(half, dtype=np.uint8)


def _limit(over: Picture, share: float, k: float) -> tuple[float, float]:
    """(robust sd, limit).  Only the upper half is left of the differences; greys are whole, so the normal curve is

    laid through the count at a grey where it is told well; the tail at one in two thousand widens the limit.
    """
    import cv2
    from scipy.special import ndtri

    many = np.asarray(cv2.calcHist([np.ascontiguousarray(over[::8, ::8])], [0], None, [256], [0, 256])).ravel()
    above = many[::-1].cumsum()[::-1] / max(many.sum() * share, 1)  # above[v]: share at v or over
    v = int(np.clip(np.searchsorted(-above, -0.16) - 1, 1, 254))
    sd = max((v - 0.5) / float(-ndtri(np.clip(above[v], 1e-4, 0.45))), 0.4)
    tail = (int(np.searchsorted(-above, -5e-4)) - 0.5) / (3.29 * sd)
    return sd, k * sd * max(1.0, tail) ** 1.5


def _holes(found: Any, over: Picture, limit: float, settings: LookSettings) -> Iterator[Hole]:
    """Those that stand out from their own neighbourhood too; at most 500, for then the coat itself is at fault."""
    import cv2

    for contour in found[:500]:
        x, y, wide, high = cv2.boundingRect(contour)
        part = over[y : y + high, x : x + wide]
        peak = float(part.max())
        if peak < settings.hole_sd * _local(over, x + wide // 2, y + high // 2, limit):
            continue
        area = float((part > limit).sum())
        weight = part.astype(float)
        total = weight.sum()
        cx = x + float((weight.sum(axis=0) * np.arange(wide)).sum() / total)
        cy = y + float((weight.sum(axis=1) * np.arange(high)).sum() / total)
        yield Hole(cx, cy, (x, y, wide, high), float(np.sqrt(4 * area / np.pi)), peak / limit)


def _local(over: Picture, x: int, y: int, limit: float) -> float:
    """Sd of the differences near by: of the upper half of them, as the painted ones are 0."""
    near = over[max(y - 40, 0) : y + 41, max(x - 40, 0) : x + 41].astype(np.float32)
    some = near[(near > 0) & (near < 0.8 * limit)]
    return float(np.sqrt((some * some).mean())) if some.size > 100 else 0.0
