"""The coat between the windows: pinholes, streaks, and mean greys along the web; windows painted out.

Eight bits all the way, for speed.  Holes: smooth(3x3) - mean(about 13x13) over k robust sd of the frame.  Streaks:
narrow minus wide means of the column means.  Limits widen where the texture's own tail is longer than a normal one's.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reelmark.frames import Picture
from reelmark.stations.window.inspect.looked import Floats, Ints
from reelmark.stations.window.inspect.settings import LookSettings
from reelmark.stations.window.inspect.streaks import Stripe, stripes

__all__ = ["Coat", "Hole", "Room", "look_at_coat"]

_GREY = 90.0  # where the coat's median is brought to: holes of 2.8 times that still differ

_SMALLEST_MM = 0.25  # hole that is looked for


@dataclass(frozen=True, slots=True)
class Hole:
    """x, y : middle, px;  box : column, row, columns, rows;  across : diameter of the same area, px;  over : limit"""

    x: float
    y: float
    box: tuple[int, int, int, int]
    across: float
    over: float


class Room:
    """Pictures to work in, kept from frame to frame: fresh memory would cost as much as the filters.

    grey, smooth, over : of the picture's size;  half : half of it both ways;  wide : as wide, a quarter as high
    """

    def __init__(self) -> None:
        none: Picture = np.empty((0, 0), np.uint8)
        self.grey = self.smooth = self.over = self.half = self.wide = none

    def of(self, shape: tuple[int, ...]) -> "Room":
        if self.grey.shape != shape:
            rows, columns = shape
            self.grey, self.smooth, self.over = (np.empty(shape, np.uint8) for _ in range(3))
            self.half = np.empty(((rows + 1) // 2, (columns + 1) // 2), np.uint8)
            self.wide = np.empty(((rows + 3) // 4, columns), np.uint8)
        return self

    def __reduce__(self) -> tuple[type["Room"], tuple[()]]:
        return Room, ()  # what is in it is nobody's, so nothing of it goes to another process


@dataclass(frozen=True, slots=True)
class Coat:
    """noise : robust sd after filtering, grey of the picture;  rows : mean grey of each row"""

    holes: tuple[Hole, ...]
    stripes: tuple[Stripe, ...]
    noise: float
    rows: Floats

    def moved(self, by: int) -> "Coat":
        """The same, `by` columns to the right."""
        if not by:
            return self
        holes = tuple(replace(one, x=one.x + by, box=(one.box[0] + by, *one.box[1:])) for one in self.holes)
        return replace(self, holes=holes, stripes=tuple(replace(one, x=one.x + by) for one in self.stripes))


def look_at_coat(
    picture: Picture,
    boxes: Ints,
    coat: float,
    pixel: float,
    spread: float,
    settings: LookSettings,
    more: bool,
    room: Room,
) -> Coat:
    """boxes : (n, 4) x0, y0, x1, y1 of what is to be painted out;  spread : sd of an edge, px, as the lens makes it

    more : streaks and rows too;  room : to work in
    """
    import cv2

    alpha = _GREY / max(coat, 1.0)
    room = room.of(picture.shape)
    cv2.convertScaleAbs(picture, dst=room.grey, alpha=alpha)
    grey = room.grey
    value = _paint(grey, boxes)
    over, most, half = _filtered(grey, pixel, settings, room)
    share = 1 - float(_area(boxes)) / grey.size
    sd, limit = _limit(over, share, settings.hole_sd)
    holes = tuple(_holes(_spots(over, most, min(limit, 254)), over, grey, limit, spread, pixel, settings))
    if not more:
        return Coat(holes, (), sd / alpha, np.empty(0))
    less = np.column_stack([boxes[:, :2] // 2, np.minimum((boxes[:, 2:] + 1) // 2, half.shape[::-1])])
    spots = _spots_out(half, holes)
    less, value = np.concatenate([less, spots[:, :4]]), np.concatenate([value, spots[:, 4]])
    seen, rows = stripes(half, less, value, 2 * pixel, settings)
    rows = np.pad(np.repeat(rows / alpha, 2), (0, 2), mode="edge")[: grey.shape[0]]
    return Coat(holes, tuple(_doubled(one) for one in seen), sd / alpha, rows)


def _spots_out(half: Picture, holes: Sequence[Hole]) -> NDArray[np.int64]:
    """Holes painted out of the halved picture, in place, lest one looks like a streak: (n, 5) boxes and greys."""
    out = np.zeros((len(holes), 5), np.int64)
    for n, one in enumerate(holes):
        x, y, wide, high = one.box
        low = max(x // 2 - 2, 0), max(y // 2 - 2, 0)
        top = min((x + wide) // 2 + 3, half.shape[1]), min((y + high) // 2 + 3, half.shape[0])
        part = half[low[1] : top[1], low[0] : top[0]]
        grey = int(np.median(np.concatenate([part[0], part[-1]])))
        part[:] = grey
        out[n] = *low, *top, grey
    return out


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
    """(smoothed less background, most of each of its rows, the picture at half its size); background at a quarter."""
    import cv2

    from reelmark.stations.window.inspect.kernels import over, smooth

    side = _side(pixel, settings)
    if side == 3:
        smooth(grey, room.smooth)
    else:
        cv2.blur(grey, (side, side), dst=room.smooth)
    cv2.resize(grey, room.half.shape[::-1], dst=room.half, interpolation=cv2.INTER_AREA)
    few = cv2.resize(room.half, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    cv2.resize(cv2.blur(few, (side, side)), room.wide.shape[::-1], dst=room.wide, interpolation=cv2.INTER_LINEAR)
    return room.over, over(room.smooth, room.wide, room.over), room.half


def _side(pixel: float, settings: LookSettings) -> int:
    """Of the smallest filter, px, odd."""
    return max(3, 2 * int(settings.hole_mm / pixel / 2) + 1)


def _limit(over: Picture, share: float, k: float) -> tuple[float, float]:
    """(robust sd, limit).  Only the upper half is left of the differences; greys are whole, so the normal curve is

    laid through the count at a grey where it is told well; the tail at one in two thousand widens the limit.
    """
    import cv2
    from scipy.special import ndtri

    many = np.asarray(
        cv2.calcHist([np.ascontiguousarray(over[:: max(over.shape[0] // 64, 1)])], [0], None, [256], [0, 256])
    ).ravel()
    above = many[::-1].cumsum()[::-1] / max(many.sum() * share, 1)  # above[v]: share at v or over
    v = int(np.clip(np.searchsorted(-above, -0.16) - 1, 1, 254))
    sd = max((v - 0.5) / float(-ndtri(np.clip(above[v], 1e-4, 0.45))), 0.4)
    tail = (int(np.searchsorted(-above, -5e-4)) - 0.5) / (3.29 * sd)
    return sd, k * sd * min(max(1.0, tail), 4.0) ** 1.5


def _spots(over: Picture, most: Picture, limit: float) -> Iterator[Any]:
    """Contours of what is over the limit; looked for only in the bands of rows that have any, which are few."""
    import cv2

    rows = np.flatnonzero(most > limit)
    for band in np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1) if rows.size else []:
        first = int(band[0])
        binary = cv2.threshold(over[first : int(band[-1]) + 1], limit, 255, cv2.THRESH_BINARY)[1]
        yield from cv2.findContours(binary, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE, offset=(0, first))[0]


def _holes(
    found: Iterator[Any],
    over: Picture,
    grey: Picture,
    limit: float,
    spread: float,
    pixel: float,
    settings: LookSettings,
) -> Iterator[Hole]:
    """Those that stand out from their own neighbourhood too; at most 500, for then the coat itself is at fault."""
    import cv2

    for contour in islice(found, 500):
        x, y, wide, high = cv2.boundingRect(contour)
        part = over[y : y + high, x : x + wide]
        peak = float(part.max())
        if peak < settings.hole_sd * _local(over, x + wide // 2, y + high // 2, limit):
            continue
        if max(wide, high) <= _side(pixel, settings) + 2 and _hot(grey, (x, y, wide, high), spread, pixel):
            continue
        area = float((part > limit).sum())
        weight = part.astype(float)
        total = weight.sum()
        cx = x + float((weight.sum(axis=0) * np.arange(wide)).sum() / total)
        cy = y + float((weight.sum(axis=1) * np.arange(high)).sum() / total)
        yield Hole(cx, cy, (x, y, wide, high), float(np.sqrt(4 * area / np.pi)), peak / limit)


def _hot(grey: Picture, box: tuple[int, int, int, int], spread: float, pixel: float) -> bool:
    """A pixel of the camera that is light by itself: no lens shows so sharp a point.

    Its eight neighbours would have (e + e2) / 2 of it on average, e = exp(-1 / 2 s2), for a Gaussian lens and the
    smallest hole, whose variance is a sixteenth of its diameter squared; less than half of that is no light.
    """
    x, y, wide, high = box
    near = grey[max(y - 3, 0) : y + high + 3, max(x - 3, 0) : x + wide + 3].astype(float)
    if near.shape != (high + 6, wide + 6):  # at the rim
        near = np.pad(near, [_lacks(y, high, grey.shape[0]), _lacks(x, wide, grey.shape[1])], mode="reflect")
    row, column = np.unravel_index(near[2:-2, 2:-2].argmax(), near[2:-2, 2:-2].shape)
    nine = near[row + 1 : row + 4, column + 1 : column + 4]
    level = float(np.sort(near, axis=None)[near.size // 2])
    middle = nine[1, 1] - level
    e = np.exp(-0.5 / (spread**2 + (_SMALLEST_MM / pixel) ** 2 / 16))
    return bool((nine.sum() - nine[1, 1] - 8 * level) / 8 < 0.5 * middle * (e + e * e) / 2)


def _lacks(first: int, many: int, whole: int) -> tuple[int, int]:
    """How many of three pixels before and after lie beyond the picture."""
    return max(3 - first, 0), max(first + many + 3 - whole, 0)


def _local(over: Picture, x: int, y: int, limit: float) -> float:
    """Sd of the differences near by: of the upper half of them, as the painted ones are 0."""
    near = over[max(y - 40, 0) : y + 41, max(x - 40, 0) : x + 41].astype(np.float32)
    some = near[(near > 0) & (near < 0.8 * limit)]
    return float(np.sqrt((some * some).mean())) if some.size > 100 else 0.0
